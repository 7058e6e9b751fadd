"""Breaks of slope: lines along which the ground turns steeper, or gentler, on the way down."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import contourpy
import numpy as np

from hillsight.kernels.compiled import compiled
from hillsight.kernels.threads import in_slices
from hillsight.landform.axes import length_m, smoothed_lines

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats
    from hillsight.landform.scale import Worked

#: The change of slope is that between this share of the scale above a line and below it.
_BESIDE_SHARE = 0.25

#: A line that turns by the least change somewhere is followed as long as it turns by this share of it.
_WEAKEST_SHARE = 0.5

#: Where ground falls both ways from a line by more than this (degrees), within half a scale, it is a ridge;
#: where it rises both ways a valley; and neither is a break of slope.
_LEVEL_DEG = 3.0


@dataclass(frozen=True)
class Break:
    """A break of slope.

    places : (n, 2) easting and northing
    kind : convex_edge where it is steeper below, concave_foot where it is gentler below
    above_deg, below_deg : mean slope from a quarter to half a scale to either side, beyond the bend itself
    """

    places: Floats
    kind: str
    above_deg: float
    below_deg: float


def find_breaks(worked: Worked, least_change_deg: float) -> list[Break]:
    """Breaks of slope of the smoothed ground.

    The change of slope at a post is the mean slope over a quarter of a scale down its line of slope less that
    over a quarter of a scale up. A break runs where the change is greatest along the line of slope.

    Parameters
    ----------
    least_change_deg : least change of slope at the sharpest place of a line
    """
    beside_m = _BESIDE_SHARE * worked.scale_m
    near_up, near_down = _beside_all(worked, worked.height_m, beside_m)
    far_up, far_down = _beside_all(worked, worked.height_m, 2 * beside_m)
    above_deg = _slope_deg(near_up, worked.height_m, beside_m)
    below_deg = _slope_deg(worked.height_m, near_down, beside_m)
    beyond_up_deg = _slope_deg(far_up, near_up, beside_m)
    beyond_down_deg = _slope_deg(near_down, far_down, beside_m)
    found = []
    for sign, kind, here_deg, beyond_deg in (
        (1.0, "convex_edge", above_deg, beyond_up_deg),
        (-1.0, "concave_foot", below_deg, beyond_down_deg),
    ):
        one_way = (here_deg >= -_LEVEL_DEG) & (beyond_deg >= -_LEVEL_DEG)
        sharpness = np.where(one_way, sign * (below_deg - above_deg), np.nan)
        found += _lines(worked, sharpness, kind, least_change_deg, beyond_up_deg, beyond_down_deg)
    return found


def _slope_deg(upper_m: Floats, lower_m: Floats, apart_m: float) -> Floats:
    return np.degrees(np.arctan((upper_m - lower_m) / apart_m))


def _beside_all(worked: Worked, values: Floats, away_m: float) -> tuple[Floats, Floats]:
    """Values at a distance up and down the line of slope of every post; NaN where not known."""
    upper, lower = (np.full(values.shape, np.nan) for _ in range(2))
    grid = worked.grid

    def some(first: int, last: int) -> None:
        _beside(
            worked.height_m, values, grid.spacing_x_m, grid.spacing_y_m, away_m, first, last, upper, lower
        )

    in_slices(some, grid.rows, 64)
    return upper, lower


def _lines(
    worked: Worked,
    sharpness: Floats,
    kind: str,
    least_deg: float,
    above_deg: Floats,
    below_deg: Floats,
) -> list[Break]:
    """Lines of greatest sharpness along the slope: where its growth downhill goes through zero."""
    grid = worked.grid
    upper, lower = _beside_all(worked, sharpness, worked.spacing_m)
    weakest = _WEAKEST_SHARE * least_deg
    with np.errstate(invalid="ignore"):
        near = np.fmax(sharpness, np.fmax(upper, lower)) >= weakest
        growth = np.where(near, lower - upper, np.nan)
    if not np.isfinite(growth).any() or min(growth.shape) < 2:
        return []
    east, _ = grid.to_map(np.zeros(grid.columns), np.arange(grid.columns, dtype=np.float64))
    _, north = grid.to_map(np.arange(grid.rows, dtype=np.float64), np.zeros(grid.rows))
    generator = contourpy.contour_generator(east, north, np.ma.masked_invalid(growth), name="serial")
    peak = np.where(near, 2 * sharpness - upper - lower, np.nan)
    found = []
    for line in generator.lines(0.0):
        places = np.asarray(line, np.float64)
        sharp = grid.sampled(sharpness, places[:, 0], places[:, 1])
        crest = grid.sampled(peak, places[:, 0], places[:, 1])
        with np.errstate(invalid="ignore"):
            good = (sharp >= weakest) & (crest > 0)
        for part in _runs(good):
            run = places[part]
            if len(run) < 3 or np.nanmax(sharp[part]) < least_deg or length_m(run) < worked.scale_m:
                continue
            (smooth,) = smoothed_lines([run])
            over, under = (
                float(np.nanmean(grid.sampled(slope, run[:, 0], run[:, 1])))
                for slope in (above_deg, below_deg)
            )
            found.append(Break(smooth, kind, over, under))
    return found


def _runs(good: Flags) -> list[slice]:
    """Stretches of a line that hold throughout; of a closed line the one over its seam is left cut there."""
    ends = np.flatnonzero(np.diff(np.concatenate([[0], good.astype(np.int8), [0]])))
    return [slice(int(a), int(b)) for a, b in ends.reshape(-1, 2)]


@compiled
def _beside(
    height_m: Floats,
    values: Floats,
    spacing_x_m: float,
    spacing_y_m: float,
    away_m: float,
    first: int,
    last: int,
    upper: Floats,
    lower: Floats,
) -> None:
    """Values at a distance up and down the line of slope of each post; NaN where level or not known."""
    rows, columns = height_m.shape
    for row in range(max(first, 1), min(last, rows - 1)):
        for column in range(1, columns - 1):
            east = (height_m[row, column + 1] - height_m[row, column - 1]) / (2.0 * spacing_x_m)
            north = (height_m[row - 1, column] - height_m[row + 1, column]) / (2.0 * spacing_y_m)
            steep = math.hypot(east, north)
            if not steep > 1e-9:
                continue
            by_row, by_column = -north / steep * away_m / spacing_y_m, east / steep * away_m / spacing_x_m
            for side in range(2):
                r = row + by_row if side == 0 else row - by_row
                c = column + by_column if side == 0 else column - by_column
                if not (0.0 <= r <= rows - 1.0 and 0.0 <= c <= columns - 1.0):
                    continue
                top, left = min(int(r), rows - 2), min(int(c), columns - 2)
                down, across = r - top, c - left
                one = values[top, left] * (1.0 - across) + values[top, left + 1] * across
                other = values[top + 1, left] * (1.0 - across) + values[top + 1, left + 1] * across
                value = one * (1.0 - down) + other * down
                if side == 0:
                    upper[row, column] = value
                else:
                    lower[row, column] = value
