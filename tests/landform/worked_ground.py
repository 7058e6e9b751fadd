"""Small grounds for tests of single steps: posts about one place, with heights by a formula or as drawn."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike
from pyproj import CRS

from hillsight.arrays import Floats
from hillsight.ground.grid import Grid, Surface
from hillsight.landform.flood import Drainage
from hillsight.landform.scale import SCALE_PER_SIGMA, Worked
from landform.known import CENTRE


def grid_of(rows: int, columns: int, spacing_x_m: float = 10.0, spacing_y_m: float | None = None) -> Grid:
    """Posts spread evenly about the centre."""
    spacing_y_m = spacing_y_m or spacing_x_m
    west, north = CENTRE[0] - (columns - 1) / 2 * spacing_x_m, CENTRE[1] + (rows - 1) / 2 * spacing_y_m
    return Grid(CRS.from_epsg(27700), west, north, spacing_x_m, spacing_y_m, rows, columns)


def places_on(grid: Grid) -> tuple[Floats, Floats]:
    """(rows, columns) metres east and north of the centre."""
    row, column = np.mgrid[: grid.rows, : grid.columns]
    east, north = grid.to_map(row, column)
    return east - CENTRE[0], north - CENTRE[1]


def ground(formula: Callable[[Floats, Floats], ArrayLike], grid: Grid) -> Surface:
    """The formula of metres east and north of the centre, at the posts."""
    height = np.broadcast_to(formula(*places_on(grid)), (grid.rows, grid.columns))
    return Surface(grid, height.astype(np.float32))


def as_it_is(formula: Callable[[Floats, Floats], ArrayLike], grid: Grid, scale_m: float) -> Worked:
    """Ground at a scale without any smoothing of its heights, so that closed forms hold to rounding."""
    height = np.broadcast_to(formula(*places_on(grid)), (grid.rows, grid.columns)).astype(np.float64)
    return Worked(scale_m, scale_m / SCALE_PER_SIGMA, grid, height, Surface(grid, height.astype(np.float32)))


def drainage_of(receiver: dict[int, int], shape: tuple[int, int]) -> Drainage:
    """Drainage drawn by hand: the receiver of each post, -1 for a way out; other posts are void."""
    flat = np.full(shape[0] * shape[1], -2, np.int32)
    order: list[int] = []
    waiting = sorted(post for post, below in receiver.items() if below == -1)
    while waiting:
        post = waiting.pop(0)
        order.append(post)
        waiting += sorted(above for above, below in receiver.items() if below == post)
    for post, below in receiver.items():
        flat[post] = below
    filled = np.full(shape, np.nan)
    filled.flat[order] = np.arange(len(order))
    return Drainage(filled, flat, np.array(order, np.int32))
