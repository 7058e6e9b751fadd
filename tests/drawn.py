"""Drawn views over made ground, for the tests of their data and of their drawings."""

from __future__ import annotations

import geopandas
import numpy as np
import shapely

from hillsight.reading.drawn.drawn_view import DrawnView, drawn_view
from hillsight.reading.view import SightLines
from hillsight.sight.far_sky import FarGround
from hillsight.sight.viewing import Viewing
from terrains import fractal
from views import CRS, GEODESY, surface_of

ROWS, COLUMNS = 140, 160
EYE_ROW, EYE_COLUMN = 71.3, 78.6


def looking(height_m, row: float, column: float, *, refraction: float = 0.13) -> SightLines:
    """The sight lines of an eye 1.6 m above the ground, over all of it."""
    surface = surface_of(height_m)
    east, north = (float(v) for v in surface.grid.to_map(row, column))
    stands_m = surface.height_at_m(east, north)
    far = FarGround.of(surface)
    viewing = Viewing(1.6, 0.0, 20_000.0, refraction)
    return SightLines.from_place(surface, east, north, stands_m, viewing, GEODESY, far.maxima, far)


def thing(name: str | None, kind: str, evidence_class: str, shape, height_m: float = np.nan) -> dict:
    """A map feature, its geometry in posts: columns to the right, rows down."""
    surface = surface_of(np.zeros((ROWS, COLUMNS), np.float32))

    def on_map(xy):
        return np.column_stack(surface.grid.to_map(xy[:, 1], xy[:, 0]))

    return {
        "name": name, "kind": kind, "evidence_class": evidence_class, "target_height_m": height_m,
        "source": "made", "geometry": shapely.transform(shape, on_map),
    }  # fmt: skip


def features_of(rows) -> geopandas.GeoDataFrame:
    return geopandas.GeoDataFrame(rows, geometry="geometry", crs=CRS)


def made_features(number: int = 40, seed: int = 2) -> geopandas.GeoDataFrame:
    """Tops and cairns strewn about, streams, a wall, a wood."""
    random = np.random.default_rng(seed)
    rows = []
    for i in range(number):
        column, row = random.uniform(4, COLUMNS - 5), random.uniform(4, ROWS - 5)
        kind, evidence = [("summit", "ground_shape"), ("cairn", "man_made"), ("saddle", "ground_shape")][
            i % 3
        ]
        # Cairns as tall as a church, so that many of them show.
        rows.append(
            thing(f"Made Name {i}", kind, evidence, shapely.Point(column, row), [2.0, 25.0, 0.0][i % 3])
        )
    for i in range(4):
        ends = random.uniform(5, 130, (2, 2))
        rows.append(thing(f"Beck {i}", "stream", "water", shapely.LineString(ends)))
    rows.append(thing("Long Wall", "wall", "man_made", shapely.LineString([(10, 20), (150, 90)]), 1.5))
    rows.append(thing("Square Wood", "wood", "unclassed", shapely.box(95, 60, 125, 85), 12.0))
    rows.append(thing(None, "path", "man_made", shapely.LineString([(20, 130), (80, 75), (150, 20)])))
    return features_of(rows)


def busy_view(
    seed: int = 5, left_deg: float = 0.0, span_deg: float = 360.0, step_deg: float = 0.2
) -> DrawnView:
    """A view over rough ground with features."""
    lines = looking(fractal(ROWS, COLUMNS, seed=seed, relief_m=220), EYE_ROW, EYE_COLUMN)
    return drawn_view(lines, left_deg, span_deg, step_deg, features=made_features(seed=seed))
