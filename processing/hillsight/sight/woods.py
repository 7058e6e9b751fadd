"""Compiled: how far sight lines run through woods, and how much of sight comes through.

A sight line that nothing solid hides is in wood where it runs below the top of what stands on the ground.
Ground and tops are straight between the crossings of the line with rows and columns, as everywhere. Of sight
along p metres through wood the share exp(-p / passing) comes through (common practice, no source): extinction
as in haze, for trunks and leaves that stand anyhow.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled
from hillsight.kernels.threads import in_slices
from hillsight.sight.crossings import ground_on_line
from hillsight.sight.maxima import Maxima
from hillsight.sight.screens import lowered_at
from hillsight.sight.viewing import CROSSING_SNAP

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Floats32, Integers
    from hillsight.ground.grid import Surface

#: A block that a line comes into is the one so far (spacings) ahead.
_AHEAD = 1e-6

#: How far (m) above the highest of a block a line must be to pass over it unseen: above all rounding.
_CLEAR_M = 1e-3

_NO_LADDER, _NO_OFFSETS = np.empty(0, np.float32), np.empty(0, np.int64)

#: Lines that a thread does before it looks up for an interruption: milliseconds.
_LINES_AT_A_TIME = 1024


@compiled
def _below(gap_m: float, next_gap_m: float) -> float:
    """Share of a stretch on which a gap, straight between its ends, is below nought; none where unknown."""
    if gap_m < 0.0:
        return 1.0 if next_gap_m < 0.0 else (gap_m / (gap_m - next_gap_m) if next_gap_m >= 0.0 else 0.0)
    if next_gap_m < 0.0 and gap_m >= 0.0:
        return next_gap_m / (next_gap_m - gap_m)
    return 0.0


@compiled
def _clear_until(
    ladder_m: Floats32,
    offsets: Integers,
    rows: int,
    columns: int,
    eye: tuple[float, float, float],
    way: tuple[float, float, float],
    share: float,
) -> tuple[bool, float]:
    """Whether a line stays above the whole block that it comes into; the share at which it leaves that.

    Blocks of 64 posts a side are looked at first, then of 16. ``eye`` is row, column and level, ``way`` what
    the line goes down the rows, along the columns and up.
    """
    eye_row, eye_column, level_m = eye
    down, right, climb_m = way
    row = eye_row + share * down + (_AHEAD if down > 0.0 else -_AHEAD)
    column = eye_column + share * right + (_AHEAD if right > 0.0 else -_AHEAD)
    if not (0.0 <= row <= rows - 1.0 and 0.0 <= column <= columns - 1.0):
        return False, share
    out = share
    for level in (2, 1):
        shift = 2 + 2 * level
        width = (columns + (1 << shift) - 1) >> shift
        block_row, block_column = int(row) >> shift, int(column) >> shift
        out = np.inf
        if down != 0.0:
            out = (((block_row + (1 if down > 0.0 else 0)) << shift) - eye_row) / down
        if right != 0.0:
            out = min(out, (((block_column + (1 if right > 0.0 else 0)) << shift) - eye_column) / right)
        lowest_m = level_m + min(share * climb_m, min(out, 1.0) * climb_m)
        if lowest_m > np.float64(ladder_m[offsets[level] + block_row * width + block_column]) + _CLEAR_M:
            return True, out
    return False, out


@compiled
def _paths(
    blocking_m: Floats32,
    ladder_m: Floats32,
    offsets: Integers,
    spacing_x_m: float,
    spacing_y_m: float,
    eyes: Floats,
    rows: Floats,
    columns: Floats,
    targets_m: Floats,
    most_m: float,
    path_m: Floats,
) -> None:
    """Fill the metres of each line below the top of what stands on the ground.

    ladder_m, offsets : as in Maxima, of what blocks; no offsets: no blocks to pass over
    eyes : (n, 4) or (1, 4) row, column, level, drop
    targets_m : (n,) heights of the targets as seen from the eyes
    most_m : a path that is longer is infinite, and not followed to its end
    """
    last_row, last_column = blocking_m.shape[0] - 1.0, blocking_m.shape[1] - 1.0
    flat_m = blocking_m.reshape(blocking_m.size)
    corners = np.empty((4, 3))
    for i in range(rows.size):
        eye = i if eyes.shape[0] > 1 else 0
        eye_row, eye_column, level_m, drop_per_m = eyes[eye, 0], eyes[eye, 1], eyes[eye, 2], eyes[eye, 3]
        row, column, climb_m = rows[i], columns[i], targets_m[i] - level_m
        down, right = row - eye_row, column - eye_column
        row_step, column_step = (1 if down > 0 else -1), (1 if right > 0 else -1)
        row_line = math.floor(eye_row) + 1 if down > 0 else math.ceil(eye_row) - 1
        column_line = math.floor(eye_column) + 1 if right > 0 else math.ceil(eye_column) - 1
        share, below = 0.0, 0.0
        under_m = lowered_at(
            blocking_m,
            eye_row,
            eye_column,
            eye_row,
            eye_column,
            spacing_x_m,
            spacing_y_m,
            drop_per_m,
            corners,
        )
        gap_m = level_m - under_m
        length_m = math.hypot(math.hypot(down * spacing_y_m, right * spacing_x_m), climb_m)
        # Curvature the other way lifts what is far off: no block's highest is then a bound.
        look_from = 0.0 if offsets.size > 0 and drop_per_m >= 0.0 else np.inf
        while share < 1.0 and below * length_m <= most_m:
            if share >= look_from and gap_m >= 0.0:
                clear, look_from = _clear_until(
                    ladder_m,
                    offsets,
                    blocking_m.shape[0],
                    blocking_m.shape[1],
                    (eye_row, eye_column, level_m),
                    (down, right, climb_m),
                    share,
                )
                if clear and look_from >= 1.0:
                    break
                if clear:
                    # On to the lines where it leaves the block; before them nothing counts.
                    row_out, column_out = eye_row + look_from * down, eye_column + look_from * right
                    if down > 0.0:
                        row_line = max(row_line, math.ceil(row_out - _AHEAD))
                    elif down < 0.0:
                        row_line = min(row_line, math.floor(row_out + _AHEAD))
                    if right > 0.0:
                        column_line = max(column_line, math.ceil(column_out - _AHEAD))
                    elif right < 0.0:
                        column_line = min(column_line, math.floor(column_out + _AHEAD))
            row_share = (row_line - eye_row) / down if down != 0.0 else np.inf
            column_share = (column_line - eye_column) / right if right != 0.0 else np.inf
            next_share = min(row_share, column_share)
            if next_share >= 1.0:
                next_share = 1.0
                under_m = lowered_at(
                    blocking_m,
                    row,
                    column,
                    eye_row,
                    eye_column,
                    spacing_x_m,
                    spacing_y_m,
                    drop_per_m,
                    corners,
                )
            else:
                at_row, at_column = eye_row + next_share * down, eye_column + next_share * right
                on_row, on_column = row_share <= column_share, column_share <= row_share
                if on_row:
                    at_row = float(row_line)
                    row_line += row_step
                if on_column:
                    at_column = float(column_line)
                    column_line += column_step
                if (
                    at_row < -CROSSING_SNAP
                    or at_column < -CROSSING_SNAP
                    or at_row > last_row + CROSSING_SNAP
                    or at_column > last_column + CROSSING_SNAP
                ):
                    under_m = np.nan
                elif on_row:
                    under_m = ground_on_line(
                        flat_m,
                        int(at_row),
                        min(max(at_column, 0.0), last_column),
                        blocking_m.shape[1],
                        1,
                        eye_row,
                        eye_column,
                        spacing_y_m,
                        spacing_x_m,
                        drop_per_m,
                    )
                else:
                    under_m = ground_on_line(
                        flat_m,
                        int(at_column),
                        min(max(at_row, 0.0), last_row),
                        1,
                        blocking_m.shape[1],
                        eye_column,
                        eye_row,
                        spacing_x_m,
                        spacing_y_m,
                        drop_per_m,
                    )
            next_gap_m = level_m + next_share * climb_m - under_m
            below += (next_share - share) * _below(gap_m, next_gap_m)
            share, gap_m = next_share, next_gap_m
        path_m[i] = below * length_m if below * length_m <= most_m else np.inf


def paths_through_wood(
    surface: Surface,
    eyes: Floats,
    rows: Floats,
    columns: Floats,
    targets_m: Floats,
    most_m: float = np.inf,
    maxima: Maxima | None = None,
) -> Floats:
    """Metres of each line through wood, (n,), of lines that nothing solid hides.

    Parameters
    ----------
    surface : with cover
    eyes : (n, 4) or (1, 4) row, column, level in the terrain's datum, drop
    rows, columns : (n,) fractional, of the targets, on the terrain
    targets_m : (n,) metres, their heights as seen from the eyes
    most_m : longer paths are told as infinite
    maxima : ``Maxima.over(surface)``, if there is one; else made if it is worth it
    """
    if maxima is None and rows.size * sum(surface.height_m.shape) > surface.height_m.size:
        maxima = Maxima.over(surface)
    ladder_m, offsets = (_NO_LADDER, _NO_OFFSETS) if maxima is None else (maxima.ladder_m, maxima.offsets)
    path_m = np.empty(rows.size)
    blocking_m = np.ascontiguousarray(surface.blocking_m, np.float32)
    eyes = np.ascontiguousarray(eyes, np.float64)

    def some(first: int, last: int) -> None:
        s = slice(first, last)
        _paths(
            blocking_m,
            ladder_m,
            offsets,
            surface.grid.spacing_x_m,
            surface.grid.spacing_y_m,
            eyes if eyes.shape[0] == 1 else eyes[s],
            np.ascontiguousarray(rows[s], np.float64),
            np.ascontiguousarray(columns[s], np.float64),
            np.ascontiguousarray(targets_m[s], np.float64),
            float(most_m),
            path_m[s],
        )

    in_slices(some, rows.size, _LINES_AT_A_TIME)
    return path_m
