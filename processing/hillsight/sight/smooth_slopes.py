"""Slopes of the ground that change without a break, at the fineness that a picture can show.

The bilinear ground is bent along every row and column of posts; lit as it is, it would show facets. The slope
for light is that of the uniform cubic B-spline over the same posts, which has no such bends (de Boor 1978, A
Practical Guide to Splines, from memory). Far off, where a pixel is wider than the posts are apart, the spline
stands on means of 2, 4, 8 and so on posts a side, so that no pixel picks one post among many.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import inlined

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Floats32, Integers

#: Coarser levels stop where a side has fewer posts.
_FEWEST_POSTS = 8


@dataclass(frozen=True)
class SlopeLadder:
    """Heights of a surface at halving fineness, for the slopes of light.

    heights_m : (n,) float32, level after level, each row after row; voids filled from the posts about them
    sizes : (levels, 3) where a level begins, its rows, its columns
    """

    heights_m: Floats32
    sizes: Integers

    @classmethod
    def of(cls, height_m: Floats32) -> SlopeLadder:
        """The ladder of (rows, columns) heights in metres, NaN void."""
        levels = [np.ascontiguousarray(height_m, np.float32)]
        while min(levels[-1].shape) >= 2 * _FEWEST_POSTS:
            levels.append(_halved(levels[-1]))
        if np.isnan(levels[0]).any():
            levels[-1] = np.where(np.isnan(levels[-1]), _mean(levels[-1]), levels[-1])
            for finer in range(len(levels) - 2, -1, -1):
                levels[finer] = _filled(levels[finer], levels[finer + 1])
        starts = np.cumsum([0, *(level.size for level in levels[:-1])])
        sizes = [(start, *level.shape) for start, level in zip(starts, levels, strict=True)]
        return cls(np.concatenate([level.ravel() for level in levels]), np.array(sizes, np.int64))


def _mean(height_m: Floats32) -> float:
    known = height_m[~np.isnan(height_m)]
    return float(known.mean()) if known.size else 0.0


def _halved(height_m: Floats32) -> Floats32:
    """Means of two by two posts, of those that are known; an odd last row or column is a mean by itself."""
    padded = np.pad(height_m, [(0, n % 2) for n in height_m.shape], mode="edge")
    quarters = [padded[i::2, j::2] for i in (0, 1) for j in (0, 1)]
    if not np.isnan(height_m).any():
        return np.asarray((quarters[0] + quarters[1] + quarters[2] + quarters[3]) * np.float32(0.25))
    known = sum((~np.isnan(one)).astype(np.float32) for one in quarters)
    total = sum(np.nan_to_num(one, nan=0.0) for one in quarters)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(total / known, np.float32)


def _filled(height_m: Floats32, coarser_m: Floats32) -> Floats32:
    """Voids take the mean of the block they are in."""
    rows, columns = height_m.shape
    spread = np.repeat(np.repeat(coarser_m, 2, axis=0), 2, axis=1)[:rows, :columns]
    return np.where(np.isnan(height_m), spread, height_m)


@inlined
def _weights(part: float, values: Floats, slopes: Floats) -> None:
    """Weights of four neighbours in a uniform cubic B-spline, and in its slope; ``part`` from 0 to 1."""
    rest = 1.0 - part
    values[0], values[3] = rest * rest * rest / 6.0, part * part * part / 6.0
    values[1] = (3.0 * part * part * part - 6.0 * part * part + 4.0) / 6.0
    values[2] = 1.0 - values[0] - values[1] - values[3]
    slopes[0], slopes[3] = -0.5 * rest * rest, 0.5 * part * part
    slopes[1] = 1.5 * part * part - 2.0 * part
    slopes[2] = -slopes[0] - slopes[1] - slopes[3]


@inlined
def add_smooth_slope(
    heights_m: Floats32,
    sizes: Integers,
    level: int,
    row: float,
    column: float,
    share: float,
    weights: Floats,
    slope: Floats,
) -> None:
    """Add a share of the rise a post eastwards and southwards, per post of the finest level.

    row, column : place on the finest level
    weights : (4, 4) scratch
    slope : (2,) is added to
    """
    size = 1 << level
    start, rows, columns = sizes[level, 0], sizes[level, 1], sizes[level, 2]
    row, column = (row + 0.5) / size - 0.5, (column + 0.5) / size - 0.5
    top, left = math.floor(row), math.floor(column)
    _weights(row - top, weights[0], weights[1])
    _weights(column - left, weights[2], weights[3])
    east, south = 0.0, 0.0
    for i in range(4):
        line = start + min(max(int(top) - 1 + i, 0), rows - 1) * columns
        along, across = 0.0, 0.0
        for j in range(4):
            height_m = np.float64(heights_m[line + min(max(int(left) - 1 + j, 0), columns - 1)])
            along += weights[3, j] * height_m
            across += weights[2, j] * height_m
        east += weights[0, i] * along
        south += weights[1, i] * across
    slope[0] += share * east / size
    slope[1] += share * south / size
