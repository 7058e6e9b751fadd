"""Breaks of slope: lines along which the ground turns steeper, or gentler, on the way down."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, cast

import numpy as np

from hillsight.kernels.compiled import compiled
from hillsight.kernels.threads import in_slices
from hillsight.landform.along import Bundle, starts_of
from hillsight.landform.axes import smoothed_lines
from hillsight.landform.outlines import contours
from hillsight.landform.sampling import sampled

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats, Integers
    from hillsight.ground.grid import Grid
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
    del near_up, near_down, far_up, far_down  # as large as the terrain, each
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
    peak = np.where(near, 2 * sharpness - upper - lower, np.nan)
    del upper, lower, near
    places, starts = _level_lines(grid, growth)
    sharp = sampled(grid, sharpness, places[:, 0], places[:, 1])
    crest = sampled(grid, peak, places[:, 0], places[:, 1])
    with np.errstate(invalid="ignore"):
        good = (sharp >= weakest) & (crest > 0)
    firsts, ends = _runs(good, starts)
    enough = ends - firsts >= 3
    firsts, ends = firsts[enough], ends[enough]
    if not firsts.size:
        return []
    sharpest = np.maximum.reduceat(np.append(sharp, 0.0), np.column_stack([firsts, ends]).ravel())[::2]
    firsts, ends = firsts[sharpest >= least_deg], ends[sharpest >= least_deg]
    runs = [places[first:end] for first, end in zip(firsts.tolist(), ends.tolist(), strict=True)]
    long_enough = Bundle.of(runs).length_m >= worked.scale_m
    runs = [run for run, is_long in zip(runs, long_enough.tolist(), strict=True) if is_long]
    if not runs:
        return []
    over, under = (_means(grid, slope, runs) for slope in (above_deg, below_deg))
    return [
        Break(smooth, kind, *slopes)
        for smooth, *slopes in zip(smoothed_lines(runs), over.tolist(), under.tolist(), strict=True)
    ]


def _level_lines(grid: Grid, values: Floats) -> tuple[Floats, Integers]:
    """Where values are zero between the posts: places of all lines, and where each of them starts."""
    (places,), (starts,) = cast(
        "tuple[list[Floats | None], list[Integers | None]]", contours(values, grid).lines(0.0)
    )
    if places is None or starts is None:
        return np.empty((0, 2)), np.zeros(1, np.int64)
    return places, starts.astype(np.int64)


def _runs(good: Flags, starts: Integers) -> tuple[Integers, Integers]:
    """First place of each stretch that holds throughout, and the one after its last.

    Of a closed line the stretch over its seam is left cut there.
    """
    first, last = (np.zeros(good.size, bool) for _ in range(2))
    first[starts[:-1]], last[starts[1:] - 1] = True, True
    begins, ends = good.copy(), good.copy()
    begins[1:] &= first[1:] | ~good[:-1]
    ends[:-1] &= last[:-1] | ~good[1:]
    return np.flatnonzero(begins), np.flatnonzero(ends) + 1


def _means(grid: Grid, values: Floats, lines: list[Floats]) -> Floats:
    """Mean of the known values along each line; NaN where none is known."""
    places, starts = np.concatenate(lines), starts_of(lines)
    found = sampled(grid, values, places[:, 0], places[:, 1])
    known = np.isfinite(found)
    total = np.add.reduceat(np.where(known, found, 0.0), starts[:-1])
    with np.errstate(invalid="ignore"):
        mean: Floats = total / np.add.reduceat(known.astype(np.float64), starts[:-1])
    return mean


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
