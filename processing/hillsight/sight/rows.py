"""Reads rows of posts for the sweep, and looks up what the blocks around them hold."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled, compiled_without_nan
from hillsight.sight.answers import SweepGround
from hillsight.sight.maxima import MIDDLE as BLOCK
from hillsight.sight.octants import Octant

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Floats32


@compiled
def load_row(
    heights_m: Floats32,
    origin: int,
    step: int,
    across: float,
    level_m: float,
    across_drop: float,
    rows: Floats,
    slot: int,
    first: int,
    last: int,
) -> None:
    """Put lowered heights less the eye's level of some posts of one row at rows[slot, first..last].

    origin, across : place among the heights, and offset across, of the first post; the next is ``step`` on
    """
    if step == 1:
        for x in range(last - first + 1):
            beside = across + x
            rows[slot, first + x] = heights_m[np.uint64(origin + x)] - (
                level_m + across_drop * (beside * beside)
            )
    elif step == -1:
        for x in range(last - first + 1):
            beside = across + x
            rows[slot, first + x] = heights_m[np.uint64(origin - x)] - (
                level_m + across_drop * (beside * beside)
            )
    else:
        for x in range(last - first + 1):
            beside = across + x
            rows[slot, first + x] = heights_m[np.uint64(origin + x * step)] - (
                level_m + across_drop * (beside * beside)
            )


@compiled
def load_block(
    heights_m: Floats32,
    origin: int,
    step: int,
    cross: int,
    across: float,
    along: float,
    eye_level_m: float,
    along_drop: float,
    across_drop: float,
    rows: Floats,
    count: int,
    last: int,
) -> None:
    """Like load_row for rows[1..count, 0..last], where it is the rows' own direction that runs along memory.

    origin, across, along : place among the heights and offsets of the first post of the first row
    step, cross : from row to row, and from post to post of a row, among the heights
    """
    for x in range(last + 1):
        beside, place = across + x, origin + x * cross
        level_m = eye_level_m + across_drop * (beside * beside)
        for r in range(count):
            on = along + r
            rows[r + 1, x] = heights_m[np.uint64(place + r * step)] - (level_m + along_drop * (on * on))


@compiled
def greatest(rows: Floats, slot: int, first: int, last: int) -> float:
    """Greatest height of some posts of a row, voids left out."""
    greatest = -np.inf
    for x in range(first, last + 1):
        greatest = rows[slot, x] if rows[slot, x] > greatest else greatest
    return greatest


@compiled_without_nan
def greatest_known(flat_rows: Floats, place: int, count: int) -> float:
    """Greatest height of some posts from a place on in rows one after another, none of them a void."""
    greatest = -1e300
    for x in range(count):
        greatest = max(greatest, flat_rows[np.uint64(place + x)])
    return greatest


@compiled
def steps_within(start: int, step: int, first: int, count: int) -> tuple[int, int]:
    """First and last number of steps, >= 0, from a row or column that lead into a range of them."""
    if step > 0:
        return max(first - start, 0), first + count - 1 - start
    return max(start - (first + count - 1), 0), start - first


@compiled
def holds_void(rows: Floats, slot: int, first: int, last: int) -> bool:
    void = False
    for x in range(first, last + 1):
        void |= rows[slot, x] != rows[slot, x]
    return void


@compiled
def blocks_of(ground: SweepGround, octant: Octant, i: int, first_j: int, last_j: int) -> tuple[float, bool]:
    """Greatest height of the blocks that posts first_j..last_j of row i touch; whether they hold a void."""
    row, column = octant.row - ground.held.row, octant.column - ground.held.column
    if octant.along_rows:
        first_row = last_row = (row + octant.row_step * i) // BLOCK
        a, b = column + octant.column_step * first_j, column + octant.column_step * last_j
        first_column, last_column = min(a, b) // BLOCK, max(a, b) // BLOCK
    else:
        first_column = last_column = (column + octant.column_step * i) // BLOCK
        a, b = row + octant.row_step * first_j, row + octant.row_step * last_j
        first_row, last_row = min(a, b) // BLOCK, max(a, b) // BLOCK
    top_m, void = np.float32(-np.inf), False
    for r in range(first_row, last_row + 1):
        for c in range(first_column, last_column + 1):
            top_m = max(top_m, ground.highest_m[r, c])
            void = void or ground.has_void[r, c]
    return float(top_m), void
