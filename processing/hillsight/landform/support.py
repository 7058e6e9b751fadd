"""Where the ground stands out from its flanks, as the axis of a spur does, or lies in from them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled, inlined
from hillsight.kernels.corners import between_posts
from hillsight.kernels.threads import in_slices

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats
    from hillsight.landform.scale import Worked

#: Least mean height of an axis over the ground half a scale to each side, as a share of the scale: flanks
#: that fall by 1 in 25 (2.3 degrees). By trial on real ground, no source.
LEAST_RELIEF_SHARE = 0.02

#: An axis stands out where the ground on its flanks does so no more than by this share of its own relief: on
#: a cone every line down the slope stands out alike, and none is a spur. By trial, no source.
_MOST_FLANK_SHARE = 0.5

#: What slopes less is level.
_LEVEL = 1e-9


def relief_m(worked: Worked, height_m: Floats) -> Floats:
    """Height of each post over the mean of two places half a scale along its contour to either side.

    A plane gives 0 whichever way it slopes, a roof its flanks' fall over half a scale, a valley minus that.

    On a level crest that lies on the posts themselves the two places lie across it.

    Parameters
    ----------
    height_m : (rows, columns) smoothed heights, or the same upside down

    Returns
    -------
    (rows, columns) metres; NaN where the ground is level, void, or a flank is not known
    """
    return _by_rows(_relief, worked, height_m)


def stands_out(worked: Worked, height_m: Floats, relief: Floats | None = None) -> Flags:
    """Posts on the axis of something that stands out from both flanks, (rows, columns).

    relief : ``relief_m`` of the same heights where that is known already
    """
    here = relief_m(worked, height_m) if relief is None else relief
    flanks = _by_rows(_flank_relief, worked, height_m, here)
    with np.errstate(invalid="ignore"):
        out: Flags = (here >= LEAST_RELIEF_SHARE * worked.scale_m) & (~(flanks > _MOST_FLANK_SHARE * here))
    return out


def _by_rows(kernel: object, worked: Worked, *arrays: Floats) -> Floats:
    out = np.full(arrays[0].shape, np.nan)
    grid, half_m = worked.grid, worked.scale_m / 2

    def some(first: int, last: int) -> None:
        kernel(*arrays, grid.spacing_x_m, grid.spacing_y_m, half_m, first, last, out)  # type: ignore[operator]

    in_slices(some, grid.rows, 64)
    return out


@inlined
def _along_contour(
    height_m: Floats, row: int, column: int, spacing_x_m: float, spacing_y_m: float
) -> tuple[float, float]:
    """Unit direction (east, north) of the contour through a post; NaN where the ground is level.

    On a level crest that lies on the posts themselves there is no slope to tell it by: across the crest.
    """
    east = (height_m[row, column + 1] - height_m[row, column - 1]) / (2.0 * spacing_x_m)
    north = (height_m[row - 1, column] - height_m[row + 1, column]) / (2.0 * spacing_y_m)
    steep = np.hypot(east, north)
    if steep > _LEVEL:
        return -north / steep, east / steep
    here = height_m[row, column]
    for down, right in ((0, 1), (1, 0), (1, 1), (1, -1)):
        east, north = right * spacing_x_m, -down * spacing_y_m
        level_m = _LEVEL * np.hypot(east, north)
        ahead = height_m[row + down, column + right] - here
        back = height_m[row - down, column - right] - here
        one = height_m[row + right, column - down] - here
        other = height_m[row - right, column + down] - here
        if max(abs(ahead), abs(back)) <= level_m and max(one, other) < -level_m:
            return -north / np.hypot(east, north), east / np.hypot(east, north)
    return np.nan, np.nan


@compiled
def _relief(
    height_m: Floats,
    spacing_x_m: float,
    spacing_y_m: float,
    half_m: float,
    first: int,
    last: int,
    out: Floats,
) -> None:
    rows, columns = height_m.shape
    for row in range(max(first, 1), min(last, rows - 1)):
        for column in range(1, columns - 1):
            east, north = _along_contour(height_m, row, column, spacing_x_m, spacing_y_m)
            if east != east:
                continue
            by_row, by_column = -north * half_m / spacing_y_m, east * half_m / spacing_x_m
            one = between_posts(height_m, row + by_row, column + by_column)
            other = between_posts(height_m, row - by_row, column - by_column)
            out[row, column] = height_m[row, column] - (one + other) / 2.0


@compiled
def _flank_relief(
    height_m: Floats,
    relief: Floats,
    spacing_x_m: float,
    spacing_y_m: float,
    half_m: float,
    first: int,
    last: int,
    out: Floats,
) -> None:
    rows, columns = height_m.shape
    for row in range(max(first, 1), min(last, rows - 1)):
        for column in range(1, columns - 1):
            if not relief[row, column] > 0.0:
                continue
            east, north = _along_contour(height_m, row, column, spacing_x_m, spacing_y_m)
            by_row, by_column = -north * half_m / spacing_y_m, east * half_m / spacing_x_m
            one = between_posts(relief, row + by_row, column + by_column)
            other = between_posts(relief, row - by_row, column - by_column)
            out[row, column] = (one + other) / 2.0
