"""Surfaces, eyes and views over made ground, for the tests of the sight and reading rooms."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas
import numpy as np
import pyproj

from hillsight.ground.geodesy import Geodesy
from hillsight.ground.grid import Grid, Surface
from hillsight.reading.ground import cover
from hillsight.reading.ground.crest_lines import CrestLines, crest_lines
from hillsight.reading.ground.pockets import pockets
from hillsight.reading.ground.regions import Tiling
from hillsight.reading.view import View
from hillsight.sight.viewing import Viewing

CRS = pyproj.CRS("EPSG:27700")
WEST_M, NORTH_M = 400_000.0, 300_000.0  # on the central meridian: grid north is true north there
GEODESY = Geodesy(CRS)


def surface_of(height_m, spacing_x_m: float = 10.0, spacing_y_m: float | None = None) -> Surface:
    """Posts with the north-western one at (WEST_M, NORTH_M)."""
    height_m = np.asarray(height_m, np.float32)
    dy = spacing_x_m if spacing_y_m is None else spacing_y_m
    return Surface(Grid(CRS, WEST_M, NORTH_M, spacing_x_m, dy, *height_m.shape), height_m)


def view_of(
    height_m,
    row: float,
    column: float,
    *,
    spacing_x_m: float = 10.0,
    spacing_y_m: float | None = None,
    eye_height_m: float = 1.6,
    target_height_m: float = 0.0,
    reach_m: float = 10_000.0,
    refraction: float = 1.0,
) -> View:
    """The view from a fractional row and column; no curvature unless a refraction is given."""
    surface = surface_of(height_m, spacing_x_m, spacing_y_m)
    easting_m, northing_m = (float(v) for v in surface.grid.to_map(row, column))
    viewing = Viewing(eye_height_m, target_height_m, reach_m, refraction)
    ground_m = surface.height_at_m(easting_m, northing_m)
    return View.from_station(surface, easting_m, northing_m, ground_m, viewing, GEODESY)


@dataclass(frozen=True)
class Reading:
    """A view with all that is read off its tiling."""

    view: View
    tiling: Tiling
    cover: cover.Cover
    lines: CrestLines
    pockets: geopandas.GeoDataFrame


def reading_of(view: View, *, cells: bool = False, least_area_ha: float = 0.0) -> Reading:
    """Read a view's ground."""
    tiling = cover.tile(view)
    lines = crest_lines(view, tiling)
    ground = cover.celled(view) if cells else cover.contoured(view, tiling)
    return Reading(view, tiling, ground, lines, pockets(view, ground, lines, least_area_ha))
