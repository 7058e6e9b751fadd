"""Places that a search weighs: a lattice over an area, or spots along lines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from hillsight.errors import CallError
from hillsight.ground.grid import Grid
from hillsight.plan.search.searching import Places

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Floats32, Integers
    from hillsight.ground.grid import Surface

#: More places than these take an hour, and are refused.
MOST_PLACES = 2_000_000


@dataclass(frozen=True)
class LatticePlaces:
    """Places of a lattice.

    grid : the lattice; row, column : (p,) of each place on it
    """

    places: Places
    grid: Grid
    row: Integers
    column: Integers

    def raster(self, share: Floats) -> Floats32:
        """(rows, columns) shares, NaN where no place is."""
        found = np.full((self.grid.rows, self.grid.columns), np.nan, np.float32)
        found[self.row, self.column] = share
        return found


def over_area(area: shapely.Geometry, surface: Surface, apart_m: float) -> LatticePlaces:
    """Places of a lattice that lie within an area, edges included, on known ground.

    Parameters
    ----------
    area : polygons in the terrain's grid

    Raises
    ------
    CallError : there are none, or too many
    """
    grid = surface.grid
    west, south, east, north = shapely.bounds(area)
    west, east = max(west, grid.west_m), min(east, grid.east_m)
    south, north = max(south, grid.south_m), min(north, grid.north_m)
    if not (west <= east and south <= north):
        raise _none()
    columns, rows = int((east - west) // apart_m) + 1, int((north - south) // apart_m) + 1
    _check_count(rows * columns)
    lattice = Grid(grid.crs, west, north, apart_m, apart_m, rows, columns)
    row, column = (v.ravel() for v in np.meshgrid(np.arange(rows), np.arange(columns), indexing="ij"))
    easting_m, northing_m = lattice.to_map(row.astype(np.float64), column.astype(np.float64))
    shapely.prepare(area)
    kept = shapely.intersects_xy(area, easting_m, northing_m)
    kept &= np.isfinite(surface.heights_at_m(easting_m, northing_m))
    if not kept.any():
        raise _none()
    return LatticePlaces(Places(easting_m[kept], northing_m[kept], apart_m), lattice, row[kept], column[kept])


def along_lines(lines: list[shapely.Geometry], surface: Surface, apart_m: float) -> Places:
    """Spots along lines from their beginnings on, on known ground.

    Raises
    ------
    CallError : there are none, or too many
    """
    _check_count(int(sum(line.length for line in lines) / apart_m))
    spots = [
        shapely.get_coordinates(
            shapely.line_interpolate_point(
                line, np.minimum(apart_m * np.arange(int(line.length // apart_m) + 1), line.length)
            )
        )
        for line in lines
    ]
    found = np.concatenate(spots) if spots else np.zeros((0, 2))
    easting_m, northing_m = found[:, 0], found[:, 1]
    known = np.isfinite(surface.heights_at_m(easting_m, northing_m))
    if not known.any():
        raise _none()
    return Places(easting_m[known], northing_m[known], apart_m)


def _check_count(count: int) -> None:
    if count > MOST_PLACES:
        raise CallError(
            f"{count:,} places would be looked from, and {MOST_PLACES:,} are the most",
            remedy="Give a smaller area or a wider spacing",
            parameters=("area", "apart"),
        )


def _none() -> CallError:
    return CallError(
        "no place to search lies on known ground of the terrain",
        remedy="Give an area or lines on the terrain, and check their CRS",
        parameters=("area", "lines", "stations"),
    )
