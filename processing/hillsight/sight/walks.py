"""Compiled walk along a sight line: the highest ground on the way, passing over blocks that cannot matter.

Conventions and definition as in crossings.py.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled
from hillsight.kernels.corners import on_line
from hillsight.sight.crossings import entry_share, ground_on_line, lines_between
from hillsight.sight.viewing import CROSSING_SNAP, TIE_M

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats, Floats32, Integers

#: Ground this far (m) below the grazing line is passed over without working it out exactly; more than all
#: rounding, and than snapping to a post can move a crossing on a face of 10 km.
_SURELY_BELOW_M = 1e-5


#: Where a sight line crosses from block to block it is in both, this wide (spacings).
_SHARED = CROSSING_SNAP / 2

#: Crossings passed over on a first, coarse walk that finds ground near the crest.
_STRIDE = 8

#: Lines that are quicker walked, where the clearance is asked for, than passed over in blocks.
_FEW = 100


@compiled
def _highest_of(
    flat_m: Floats32,
    lines: tuple[int, int, int],
    posts_along: int,
    strides: tuple[int, int],
    eye: tuple[float, float, float],
    way: tuple[float, float],
    spacings_m: tuple[float, float],
    drop_per_m: float,
    target_m: float,
    state_only: bool,
    limit_m: float,
    found: tuple[float, float, bool],
) -> tuple[float, float, bool]:
    """Look at the crossings of some parallel grid lines for ground that rises above what was found before.

    lines : first, step, number
    strides, spacings_m : from line to line, and along a line
    eye : place across the lines and along them, level
    way : from the eye to the target, across the lines and along them
    limit_m : ground that rises less does not matter
    found : rise, fraction, whether a void was met; returned as it is after these lines
    """
    first, step, number = lines
    line_stride, along_stride = strides
    eye_line, eye_along, level_m = eye
    across, along = way
    rise_m, fraction, crosses_void = found
    beside = along_stride if posts_along > 1 else 0
    last = np.float64(max(0, posts_along - 2))
    per_line = 1.0 / across
    square, length2 = spacings_m[1] ** 2, (across * spacings_m[0]) ** 2 + (along * spacings_m[1]) ** 2
    for n in range(number):
        line = first + n * step
        share = (line - eye_line) * per_line
        at = eye_along + share * along
        here = np.int64(max(0.0, min(last, at)))
        part = at - here
        index = line * line_stride + here * along_stride
        one_m = np.float64(flat_m[np.uint64(index)])
        other_m = np.float64(flat_m[np.uint64(index + beside)])
        about_m = one_m + part * (other_m - one_m) - level_m
        about_m -= drop_per_m * (share * share * length2 + part * (1.0 - part) * square)
        if about_m < share * limit_m - _SURELY_BELOW_M:
            continue
        # The exact word, in the arithmetic of the definition.
        share = (line - eye_line) / across
        at = eye_along + share * along
        if at < -CROSSING_SNAP or at > posts_along - 1.0 + CROSSING_SNAP:
            continue
        ground_m = ground_on_line(
            flat_m,
            line,
            at,
            line_stride,
            along_stride,
            eye_line,
            eye_along,
            spacings_m[0],
            spacings_m[1],
            drop_per_m,
        )
        here_m = (ground_m - level_m) / share
        if here_m > rise_m or (here_m == rise_m and share < fraction):
            rise_m, fraction = here_m, share
            limit_m = max(limit_m, rise_m)
            if state_only and target_m - (level_m + rise_m) < -TIE_M:
                break
        elif here_m != here_m:
            crosses_void = True
    return rise_m, fraction, crosses_void


@compiled
def grazing(
    flat_m: Floats32,
    rows: int,
    columns: int,
    ladder_m: Floats32,
    ladder_void: Flags,
    offsets: Integers,
    any_void: bool,
    spacing_x_m: float,
    spacing_y_m: float,
    drop_per_m: float,
    eye_row: float,
    eye_column: float,
    level_m: float,
    row: float,
    column: float,
    target_m: float,
    state_only: bool,
) -> tuple[float, float, bool]:
    """Rise, over the whole length of a sight line, of the line grazing its highest nearer ground.

    Parameters
    ----------
    flat_m : the heights, row after row
    ladder_m, ladder_void, offsets, any_void : as in Maxima; no offsets: no blocks to pass over
    eye_row, eye_column : anywhere; row, column : the target, on the terrain
    target_m : the target, lowered like the posts; NaN if not known
    state_only : stop where the target is known to be hidden, and do not work out ground that cannot hide it

    Returns
    -------
    rise_m : metres above the eye at the target's distance; -inf if no ground is nearer
    fraction : where that ground lies, 0 at the eye to 1 at the target; the nearest on ties; 0 if none
    crosses_void : whether a nearer crossing rests on a void; if the target is hidden, it need not be told

    Stages, marked below by their numbers:
    (1) turn the ground so that the sight line crosses at least as many lines as stiles;
    (2) walk coarsely for a first grazing line; then, from the target to the eye, stretch by stretch:
    (3) the stretch up to the far edge of a block of the ladder; (4) what the block can hold at most;
    (5) unless that lies below the grazing line, the crossings of the stretch; (6) on to the next.
    """
    # (1)
    entry = max(entry_share(eye_row, row, rows), entry_share(eye_column, column, columns))
    by_rows = abs(row - eye_row) >= abs(column - eye_column)
    # From here on the ground is turned so that the sight line crosses at least as many lines as stiles: the
    # lines are rows and the stiles columns, or the other way about.
    if by_rows:
        lines, stiles, line_stride, stile_stride = rows, columns, columns, 1
        eye_line, eye_stile, to_line, to_stile = eye_row, eye_column, row, column
        line_spacing_m, stile_spacing_m = spacing_y_m, spacing_x_m
    else:
        lines, stiles, line_stride, stile_stride = columns, rows, 1, columns
        eye_line, eye_stile, to_line, to_stile = eye_column, eye_row, column, row
        line_spacing_m, stile_spacing_m = spacing_x_m, spacing_y_m
    across, along = to_line - eye_line, to_stile - eye_stile
    # From the target to the eye: the ground that hides, or grazes, is mostly nearer the target.
    line, line_step, lines_left = lines_between(eye_line, to_line, entry, lines)
    stile, stile_step, stiles_left = lines_between(eye_stile, to_stile, entry, stiles)
    found = (-np.inf, 0.0, False)
    least_m = target_m - level_m if state_only else -np.inf
    per_line = 1.0 / across if across != 0.0 else 0.0
    length_m = math.sqrt((across * line_spacing_m) ** 2 + (along * stile_spacing_m) ** 2)
    slack_m = max(line_spacing_m, stile_spacing_m)
    # (2)
    levels = offsets.size if state_only or lines_left > _FEW else 0
    if not state_only and levels > 0:
        # A coarse walk first, so that most ground is then seen at once not to matter.
        found = _highest_of(
            flat_m,
            (line, _STRIDE * line_step, lines_left // _STRIDE),
            stiles,
            (line_stride, stile_stride),
            (eye_line, eye_stile, level_m),
            (across, along),
            (line_spacing_m, stile_spacing_m),
            drop_per_m,
            target_m,
            state_only,
            least_m,
            found,
        )
    # The line ahead bounds the cell that the walk is in: from above where lines are counted upwards.
    back = 1 if line_step > 0 else 0
    share, place, rung = 1.0, to_stile, 0
    while lines_left > 0 or stiles_left > 0:
        # (3)
        next_share, next_place = entry, eye_stile + entry * along
        lines_here, stiles_here = lines_left, stiles_left
        climb = False
        limit_m = max(least_m, found[0])
        if levels > 0:
            shift = 2 + 2 * rung
            block = max(0, min(lines - 2, line - back)) >> shift
            edge = (block + back) << shift
            to_edge = (edge - line) * line_step + 1
            if 0 < to_edge <= lines_left:
                lines_here = to_edge
                next_share = (edge - eye_line) * per_line
                next_place = eye_stile + next_share * along
                passed = math.floor(next_place) - stile if stile_step > 0 else stile - math.ceil(next_place)
                stiles_here = max(0, min(stiles_left, passed + 1))
                climb = rung + 1 < levels and edge & ((4 << shift) - 1) == 0
            # (4)
            low, high = min(place, next_place) + _SHARED, max(place, next_place) - _SHARED
            last = stiles - 1.0
            one = np.int64(max(0.0, min(last, low))) >> shift
            other = np.int64(max(0.0, min(last, high))) >> shift
            width = (columns + (1 << shift) - 1) >> shift
            if by_rows:
                first_at, second_at = block * width + one, block * width + other
            else:
                first_at, second_at = one * width + block, other * width + block
            first_at, second_at = first_at + offsets[rung], second_at + offsets[rung]
            bound_m = np.float64(max(ladder_m[np.uint64(first_at)], ladder_m[np.uint64(second_at)])) - level_m
            nearest_m = max(0.0, next_share * length_m - slack_m)
            if drop_per_m < 0.0:
                nearest_m = share * length_m + slack_m
            bound_m -= drop_per_m * nearest_m * nearest_m
            below = bool(bound_m < min(share * limit_m, next_share * limit_m) - _SURELY_BELOW_M)
            if below and any_void and (ladder_void[first_at] or ladder_void[second_at]):
                below = found[2] or bool(target_m - (level_m + found[0]) < -TIE_M)
            if not below and rung > 0:
                rung -= 1
                continue
        else:
            below = False
        # (5)
        if not below:
            found = _highest_of(
                flat_m,
                (line, line_step, lines_here),
                stiles,
                (line_stride, stile_stride),
                (eye_line, eye_stile, level_m),
                (across, along),
                (line_spacing_m, stile_spacing_m),
                drop_per_m,
                target_m,
                state_only,
                limit_m,
                found,
            )
            limit_m = max(limit_m, found[0])
            if stiles_here > 0:
                found = _highest_of(
                    flat_m,
                    (stile, stile_step, stiles_here),
                    lines,
                    (stile_stride, line_stride),
                    (eye_stile, eye_line, level_m),
                    (along, across),
                    (stile_spacing_m, line_spacing_m),
                    drop_per_m,
                    target_m,
                    state_only,
                    limit_m,
                    found,
                )
            if state_only and target_m - (level_m + found[0]) < -TIE_M:
                break
        # (6)
        share, place = next_share, next_place
        line += lines_here * line_step
        stile += stiles_here * stile_step
        lines_left -= lines_here
        stiles_left -= stiles_here
        if climb:
            rung += 1
    return found


@compiled
def clearance_of_pairs(
    height_m: Floats32,
    ladder_m: Floats32,
    ladder_void: Flags,
    offsets: Integers,
    any_void: bool,
    spacing_x_m: float,
    spacing_y_m: float,
    pairs: Floats,
    lowered: bool,
    state_only: bool,
    found: Floats,
) -> None:
    """Clearance of the target of each pair.

    pairs : (7, n) drop; row, column, level of the eye; row, column, level of the target; targets off the
        terrain are unknown
    lowered : whether the targets' levels are as seen from the eyes, or in the terrain's datum
    state_only : only sign and NaN of the clearance are told, and the fraction is not
    found : (2, n) clearance and fraction of the way at which the grazed ground lies; filled here
    """
    rows, columns = height_m.shape
    flat_m = height_m.reshape(height_m.size)
    for i in range(pairs.shape[1]):
        eye_row, eye_column, level_m = on_line(pairs[1, i]), on_line(pairs[2, i]), pairs[3, i]
        row, column, target_m = on_line(pairs[4, i]), on_line(pairs[5, i]), pairs[6, i]
        if not lowered:
            down_m, right_m = (row - eye_row) * spacing_y_m, (column - eye_column) * spacing_x_m
            target_m -= pairs[0, i] * (down_m * down_m + right_m * right_m)
        on_terrain = 0.0 <= row <= rows - 1.0 and 0.0 <= column <= columns - 1.0
        finite = math.isfinite(eye_row + eye_column + level_m + pairs[0, i])
        if not on_terrain or not finite or (state_only and math.isnan(target_m)):
            found[0, i] = found[1, i] = np.nan
            continue
        rise_m, fraction, crosses_void = grazing(
            flat_m,
            rows,
            columns,
            ladder_m,
            ladder_void,
            offsets,
            any_void,
            spacing_x_m,
            spacing_y_m,
            pairs[0, i],
            eye_row,
            eye_column,
            level_m,
            row,
            column,
            target_m,
            state_only,
        )
        clearance_m = target_m - (level_m + rise_m)
        if -TIE_M <= clearance_m < 0.0:
            clearance_m = 0.0
        if clearance_m >= 0.0 and crosses_void:
            clearance_m = np.nan
        found[0, i], found[1, i] = clearance_m, fraction
