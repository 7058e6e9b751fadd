"""Hills made by formula, with things on them, and looks and weighings over them.

Places are metres east and north of a middle that lies on the grid's central meridian, so that grid north is
true north within thousandths of a degree. Posts are 10 m apart, 1 km to each side; neither curvature nor
refraction counts, so that what is seen follows from the formulas by plane trigonometry.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import geopandas
import numpy as np
import pandas as pd
import pyproj
import shapely

from hillsight.arrays import Floats
from hillsight.ground.accuracy import ErrorModel
from hillsight.ground.geodesy import Geodesy
from hillsight.ground.grid import Grid, Surface
from hillsight.plan.look.framing import Framing
from hillsight.plan.look.glance import Glance, glance
from hillsight.plan.look.things import Things
from hillsight.plan.observer import Observer
from hillsight.plan.statement import Statement
from hillsight.plan.weighing.statements import Weighing
from hillsight.sight.doubt import ErringGround
from hillsight.sight.viewing import Viewing

Formula = Callable[[Floats, Floats], Floats]
Thing = tuple[str | None, str, str, float, shapely.Geometry]

CRS = pyproj.CRS("EPSG:27700")
EAST_M, NORTH_M = 400_000.0, 300_000.0
SPACING_M = 10.0
GEODESY = Geodesy(CRS)
EXACT = ErrorModel(
    0.05,
    10.0,
    station_position_m=0.0,
    eye_height_m=0.0,
    refraction=0.0,
    feature_position_m=0.0,
    between_posts="straight",
)
"""A terrain model with hardly an error."""

EYE_M = 1.6


def surface_of(formula: Formula, half_m: float = 1_000.0, east_m: float = EAST_M) -> Surface:
    """Ground of heights given by metres east and north of the middle."""
    posts = round(2 * half_m / SPACING_M) + 1
    away_m = (np.arange(posts) - (posts - 1) / 2) * SPACING_M
    east, north = np.meshgrid(away_m, -away_m)
    height_m = np.broadcast_to(formula(east, north), east.shape)
    grid = Grid(CRS, east_m - half_m, NORTH_M + half_m, SPACING_M, SPACING_M, posts, posts)
    return Surface(grid, np.ascontiguousarray(height_m, np.float32))


def plane(slope_east_deg: float = 0.0, slope_north_deg: float = 0.0) -> Formula:
    """Ground that rises evenly."""
    east_rise, north_rise = np.tan(np.radians([slope_east_deg, slope_north_deg]))
    return lambda east, north: 500.0 + east_rise * east + north_rise * north


def steps(*stretches: tuple[float, float], first_deg: float = 0.0) -> Formula:
    """Ground that changes with the north alone: from each northing on it runs at a slope, rising positive.

    A terrace with its edge at 400 m is ``steps((400, -30), (500, 0))``.
    """
    starts = [north for north, _ in stretches]
    knots = np.array([-1e4, *starts, 1e4])
    rises = np.tan(np.radians([first_deg, *(slope for _, slope in stretches)]))
    heights = np.concatenate(([0.0], np.cumsum(rises * np.diff(knots))))
    base = float(np.interp(0.0, knots, heights))
    return lambda east, north: 500.0 + np.interp(north, knots, heights) - base


def cone(east_m: float, north_m: float, height_m: float, radius_m: float) -> Formula:
    """A knoll to lay on other ground: a cone with its top at a place."""
    return lambda east, north: (
        height_m * np.maximum(0.0, 1.0 - np.hypot(east - east_m, north - north_m) / radius_m)
    )


def ridge(north_m: float, half_width_m: float, crest: Callable[[Floats], Floats]) -> Formula:
    """A ridge running east and west to lay on other ground; its crest's height changes with the east."""
    return lambda east, north: crest(east) * np.maximum(0.0, 1.0 - np.abs(north - north_m) / half_width_m)


def valleys(apart_m: float, deep_m: float) -> Formula:
    """Valleys running north and south, the spurs between them; one lies on the middle's meridian."""
    return lambda east, north: deep_m * (1.0 - np.cos(2 * np.pi * east / apart_m)) / 2


def together(*formulas: Formula) -> Formula:
    """The sum of several grounds."""
    return lambda east, north: np.sum([one(east, north) for one in formulas], axis=0)


def saddle_crest(east_m: float = 0.0, high_m: float = 110.0, low_m: float = 50.0, half_m: float = 150.0):
    """Crest of a ridge with one saddle."""
    return lambda east: high_m - (high_m - low_m) * np.maximum(0.0, 1.0 - np.abs(east - east_m) / half_m)


def point(east_m: float, north_m: float) -> shapely.Point:
    """A place in the grid."""
    return shapely.Point(EAST_M + east_m, NORTH_M + north_m)


def line(*places: tuple[float, float]) -> shapely.LineString:
    """A line in the grid."""
    return shapely.LineString([(EAST_M + east, NORTH_M + north) for east, north in places])


def knoll(name: str | None, east_m: float, north_m: float, radius_m: float = 0.0) -> Thing:
    """The top of a knoll, or with a radius all of it about the top."""
    shape = point(east_m, north_m) if radius_m == 0 else point(east_m, north_m).buffer(radius_m)
    return name, "knoll", "ground_shape", 0.0, shape


def wall(name: str | None, *places: tuple[float, float], height_m: float = 1.4) -> Thing:
    """A wall."""
    return name, "wall", "man_made", height_m, line(*places)


def frame_of(things: Sequence[Thing]) -> geopandas.GeoDataFrame:
    """Things as ``landform_features`` gives them."""
    return geopandas.GeoDataFrame(
        {
            "name": pd.Series([thing[0] for thing in things], dtype=object),
            "kind": pd.Series([thing[1] for thing in things], dtype=object),
            "evidence_class": pd.Series([thing[2] for thing in things], dtype=object),
            "target_height_m": np.array([thing[3] for thing in things], np.float64),
            "source": pd.Series(["made"] * len(things), dtype=object),
        },
        geometry=[thing[4] for thing in things],
        crs=CRS,
    )


def things_of(*things: Thing) -> Things:
    """Things sampled every two posts."""
    return Things.of(frame_of(things), 2 * SPACING_M)


NOTHING = things_of()


def look(
    surface: Surface,
    east_m: float,
    north_m: float,
    things: Things = NOTHING,
    *,
    label: str = "A",
    eye_height_m: float = EYE_M,
    errors: ErrorModel = EXACT,
    reach_m: float = 5_000.0,
) -> Glance:
    """Look from a place in metres from the middle of the surface."""
    grid = surface.grid
    easting_m = (grid.west_m + grid.east_m) / 2 + east_m
    northing_m = NORTH_M + north_m
    return glance(
        ErringGround(surface, errors, feature=True),
        Geodesy(grid.crs),
        label,
        easting_m,
        northing_m,
        surface.height_at_m(easting_m, northing_m),
        Viewing(eye_height_m, 0.0, reach_m, 1.0),
        things,
    )


def weighing_of(
    things: Things = NOTHING,
    looks_deg: float | None = 0.0,
    *,
    give_or_take_deg: float = 2.0,
    width_deg: float = 60.0,
    declination_deg: float | None = None,
) -> Weighing:
    """A weighing of pictures that look north unless said otherwise."""
    observer = Observer()
    framing = Framing.of(looks_deg, give_or_take_deg, width_deg, observer.picture_edge)
    return Weighing(things, framing, observer, declination_deg)


def told(kind: str, part: str = "anywhere", sure: str = "sure", /, **values: Any) -> Statement:
    """A statement; ``is_`` stands for the field ``is``."""
    return Statement(kind, {("is" if key == "is_" else key): v for key, v in values.items()}, part, sure)


def likelihood(statement: Statement, place: Glance, weighing: Weighing) -> float:
    """Chance that the statement would be made, over the directions that the picture may look in."""
    return float(weighing.framing.prior @ weighing.fits([statement], place)[0])


def heading_index(weighing: Weighing, true_deg: float) -> int:
    """Index of the direction weighed that is nearest to a bearing."""
    off = (weighing.framing.heading_deg - true_deg + 180.0) % 360.0 - 180.0
    return int(np.argmin(np.abs(off)))
