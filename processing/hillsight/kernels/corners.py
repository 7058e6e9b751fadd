"""The posts around a place and their weights, for compiled code: twin of ``ground.grid.corner_posts``."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled, inlined
from hillsight.words.posts import ON_LINE

if TYPE_CHECKING:
    from hillsight.arrays import AnyArray, Floats


@compiled
def on_line(place: float) -> float:
    """A fractional row or column, brought onto a grid line that it all but touches."""
    whole = math.floor(place + 0.5)
    return float(whole) if abs(place - whole) < ON_LINE else place


@compiled
def corner_posts(row: float, column: float, rows: int, columns: int, corners: Floats) -> int:
    """The posts that bear the bilinear ground at a place, those of no weight left out.

    Parameters
    ----------
    row, column : fractional, whole numbers are posts
    rows, columns : number of posts
    corners : (4, 3) is filled with row, column, weight, from the north-west on

    Returns
    -------
    how many were filled; 0 off the posts and where the place is NaN
    """
    row, column = on_line(row), on_line(column)
    if not (0.0 <= row <= rows - 1.0 and 0.0 <= column <= columns - 1.0):
        return 0
    top, left = min(math.floor(row), max(rows - 2, 0)), min(math.floor(column), max(columns - 2, 0))
    down, right = row - top, column - left
    used = 0
    for corner in range(4):
        weight = (down if corner // 2 else 1.0 - down) * (right if corner % 2 else 1.0 - right)
        if weight > 0.0:
            corners[used, 0] = top + corner // 2
            corners[used, 1] = left + corner % 2
            corners[used, 2] = weight
            used += 1
    return used


@inlined
def between_posts(values: AnyArray, row: float, column: float) -> float:
    """Value at a fractional place, bilinear: what ``ground.grid.between_posts`` gives for arrays.

    NaN off the posts, where the place is NaN, and where a void has a weight.
    """
    rows, columns = values.shape
    row, column = on_line(row), on_line(column)
    if not (0.0 <= row <= rows - 1.0 and 0.0 <= column <= columns - 1.0):
        return np.nan
    top, left = min(int(row), max(rows - 2, 0)), min(int(column), max(columns - 2, 0))
    down, right = row - top, column - left
    total = 0.0
    weight = (1.0 - down) * (1.0 - right)
    if weight > 0.0:
        total += weight * values[top, left]
    weight = (1.0 - down) * right
    if weight > 0.0:
        total += weight * values[top, left + 1]
    weight = down * (1.0 - right)
    if weight > 0.0:
        total += weight * values[top + 1, left]
    weight = down * right
    if weight > 0.0:
        total += weight * values[top + 1, left + 1]
    return total
