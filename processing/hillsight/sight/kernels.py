"""Compiled walks along sight lines over a lattice of lowered posts.

Conventions shared by all: ``lowered`` is (rows, columns) float64, metres, each post already lowered
for curvature and refraction as seen from this eye, NaN for voids. Rows run south, columns run east.
Between neighbouring posts along a row or a column the ground is straight; a sight line meets it
where it crosses those lines (Franklin and Ray 1994, "R3"). A crossing within CROSSING_SNAP of a post
is at the post. Oracle: tests/oracle.py.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from hillsight.sight.compiled import compiled, inlined
from hillsight.sight.viewing import TIE_M

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: A sight line crossing a grid line this near to a post (in spacings) passes over the post itself.
CROSSING_SNAP = 1e-9


@inlined
def _height_on_row(lowered: NDArray[np.float64], row: int, column: float) -> float:
    left = math.floor(column)
    part = column - left
    if part < CROSSING_SNAP:
        return float(lowered[row, left])
    if part > 1.0 - CROSSING_SNAP:
        return float(lowered[row, left + 1])
    return float(lowered[row, left] * (1.0 - part) + lowered[row, left + 1] * part)


@inlined
def _height_on_column(lowered: NDArray[np.float64], row: float, column: int) -> float:
    top = math.floor(row)
    part = row - top
    if part < CROSSING_SNAP:
        return float(lowered[top, column])
    if part > 1.0 - CROSSING_SNAP:
        return float(lowered[top + 1, column])
    return float(lowered[top, column] * (1.0 - part) + lowered[top + 1, column] * part)


@compiled
def grazing_rise(
    lowered: NDArray[np.float64],
    eye_row: float,
    eye_column: float,
    eye_level_m: float,
    row: float,
    column: float,
) -> tuple[float, float, bool]:
    """Rise, over the whole length of a sight line, of the line grazing its highest nearer ground.

    Returns
    -------
    rise_m : metres above the eye at the target's distance; -inf if no ground is nearer
    fraction : where that ground lies, 0 at the eye to 1 at the target; the nearest on ties; 0 if none
    crosses_void : whether any nearer crossing rests on a void
    """
    rise_m, fraction, crosses_void = -np.inf, 0.0, False
    down, right = row - eye_row, column - eye_column
    if down != 0.0:
        first, last, step = math.floor(eye_row) + 1, math.ceil(row) - 1, 1
        if down < 0.0:
            first, last, step = math.ceil(eye_row) - 1, math.floor(row) + 1, -1
        for k in range(first, last + step, step):
            t = (k - eye_row) / down
            rise = (_height_on_row(lowered, k, eye_column + t * right) - eye_level_m) / t
            if rise > rise_m:
                rise_m, fraction = rise, t
            elif rise != rise:
                crosses_void = True
    if right != 0.0:
        first, last, step = math.floor(eye_column) + 1, math.ceil(column) - 1, 1
        if right < 0.0:
            first, last, step = math.ceil(eye_column) - 1, math.floor(column) + 1, -1
        for k in range(first, last + step, step):
            t = (k - eye_column) / right
            rise = (_height_on_column(lowered, eye_row + t * down, k) - eye_level_m) / t
            if rise > rise_m or (rise == rise_m and t < fraction):
                rise_m, fraction = rise, t
            elif rise != rise:
                crosses_void = True
    return rise_m, fraction, crosses_void


@inlined
def _judge(target_m: float, eye_level_m: float, rise_m: float, crosses_void: bool) -> float:
    """Clearance of a target; NaN where it cannot be known (see DEVELOPERS.md, the definition)."""
    clearance = target_m - (eye_level_m + rise_m)
    if -TIE_M <= clearance < 0.0:
        clearance = 0.0
    if clearance >= 0.0 and crosses_void:
        return np.nan
    return clearance


@compiled
def clearance_of_rows(
    lowered: NDArray[np.float64],
    first_row: int,
    last_row: int,
    spacing_x_m: float,
    spacing_y_m: float,
    eye_row: float,
    eye_column: float,
    eye_level_m: float,
    reach_m: float,
    target_height_m: float,
    clearance_m: NDArray[np.float32],
    crest_distance_m: NDArray[np.float32],
) -> None:
    """Clearance of every post of some rows within the reach; fills the two outputs in place.

    first_row, last_row : half-open range of rows to do
    clearance_m, crest_distance_m : (rows, columns) float32; posts beyond the reach are left alone
    """
    for row in range(first_row, last_row):
        north_south_m = (row - eye_row) * spacing_y_m
        if abs(north_south_m) > reach_m:
            continue
        half_m = math.sqrt(reach_m * reach_m - north_south_m * north_south_m)
        first = max(0, math.floor(eye_column - half_m / spacing_x_m))
        last = min(lowered.shape[1] - 1, math.ceil(eye_column + half_m / spacing_x_m))
        for column in range(first, last + 1):
            east_west_m = (column - eye_column) * spacing_x_m
            distance_m = math.sqrt(north_south_m * north_south_m + east_west_m * east_west_m)
            if distance_m > reach_m:
                continue
            rise_m, fraction, crosses_void = grazing_rise(
                lowered, eye_row, eye_column, eye_level_m, float(row), float(column)
            )
            target_m = lowered[row, column] + target_height_m
            clearance_m[row, column] = _judge(target_m, eye_level_m, rise_m, crosses_void)
            crest_distance_m[row, column] = fraction * distance_m


@inlined
def _height_in_cell(lowered: NDArray[np.float64], row: float, column: float) -> float:
    """Bilinear between the four posts around; posts of no weight may be voids."""
    top = min(math.floor(row), max(lowered.shape[0] - 2, 0))
    left = min(math.floor(column), max(lowered.shape[1] - 2, 0))
    down, right = row - top, column - left
    height_m = 0.0
    if (1.0 - down) * (1.0 - right) > 0.0:
        height_m += lowered[top, left] * (1.0 - down) * (1.0 - right)
    if (1.0 - down) * right > 0.0:
        height_m += lowered[top, left + 1] * (1.0 - down) * right
    if down * (1.0 - right) > 0.0:
        height_m += lowered[top + 1, left] * down * (1.0 - right)
    if down * right > 0.0:
        height_m += lowered[top + 1, left + 1] * down * right
    return height_m


@compiled
def clearance_of_points(
    lowered: NDArray[np.float64],
    eye_row: float,
    eye_column: float,
    eye_level_m: float,
    rows: NDArray[np.float64],
    columns: NDArray[np.float64],
    target_heights_m: NDArray[np.float64],
    clearance_m: NDArray[np.float64],
    crest_fraction: NDArray[np.float64],
    lowered_ground_m: NDArray[np.float64],
) -> None:
    """Clearance of targets anywhere on the lattice; fills the three outputs, each (n,) float64.

    rows, columns : (n,) fractional positions within the outermost posts
    lowered_ground_m : ground under each target, lowered as the posts are
    """
    for i in range(rows.size):
        rise_m, fraction, crosses_void = grazing_rise(
            lowered, eye_row, eye_column, eye_level_m, rows[i], columns[i]
        )
        lowered_ground_m[i] = _height_in_cell(lowered, rows[i], columns[i])
        target_m = lowered_ground_m[i] + target_heights_m[i]
        clearance_m[i] = _judge(target_m, eye_level_m, rise_m, crosses_void)
        crest_fraction[i] = fraction


@compiled
def walk_bearings(
    lowered: NDArray[np.float64],
    spacing_x_m: float,
    spacing_y_m: float,
    eye_row: float,
    eye_column: float,
    eye_level_m: float,
    reach_m: float,
    easts: NDArray[np.float64],
    norths: NDArray[np.float64],
    skyline_slope: NDArray[np.float64],
    skyline_distance_m: NDArray[np.float64],
    skyline_lowered_m: NDArray[np.float64],
    skyline_end: NDArray[np.uint8],
    brow_distance_m: NDArray[np.float64],
    crest_count: NDArray[np.int32],
    crests: NDArray[np.float64],
) -> None:
    """Follow each bearing outwards over every grid-line crossing within the reach.

    easts, norths : (n,) unit direction of each bearing on the grid
    skyline_* : (n,) slope above the level, distance and lowered height of the ground against the sky
    skyline_end : (n,) 0 ground, 1 ground still in view at the reach, 2 terrain ends before the reach,
        3 a void lies on the way
    brow_distance_m : (n,) distance at which ground first turns out of view, NaN if it never does
    crest_count : (n,) number of places where ground turns out of view
    crests : (n, most, 3) distance of the crest, distance of the re-emergence (NaN if none), greatest
        depth between; the first ``most`` crests of each bearing, the rest NaN

    Brow and crests are sought up to the first void only; a pocket that begins before it keeps the depth
    of hidden ground beyond it, but has no re-emergence there.
    """
    rows, columns = lowered.shape
    for i in range(easts.size):
        per_column = spacing_x_m / abs(easts[i]) if easts[i] != 0.0 else np.inf
        per_row = spacing_y_m / abs(norths[i]) if norths[i] != 0.0 else np.inf
        right, down = (1 if easts[i] > 0 else -1), (-1 if norths[i] > 0 else 1)
        column = math.floor(eye_column) + 1 if right > 0 else math.ceil(eye_column) - 1
        row = math.floor(eye_row) + 1 if down > 0 else math.ceil(eye_row) - 1
        slope, end, count = -np.inf, 0, 0
        best_m, best_lowered_m = np.nan, np.nan
        previous_m, previous_gap = 0.0, np.inf
        hidden, counted, depth_m, void = False, False, 0.0, False
        skyline_end[i] = 2
        while True:
            along_column = abs(column - eye_column) * per_column if per_column < np.inf else np.inf
            along_row = abs(row - eye_row) * per_row if per_row < np.inf else np.inf
            distance_m = min(along_column, along_row)
            if distance_m > reach_m:
                end = 1
                break
            at_column = eye_column + easts[i] * distance_m / spacing_x_m
            at_row = eye_row - norths[i] * distance_m / spacing_y_m
            if along_column <= along_row:
                at_column = float(column)
                column += right
            if along_row <= along_column:
                at_row = float(row)
                row += down
            if (
                at_column < -CROSSING_SNAP
                or at_row < -CROSSING_SNAP
                or at_column > columns - 1.0 + CROSSING_SNAP
                or at_row > rows - 1.0 + CROSSING_SNAP
            ):
                end = 2
                break
            if at_row == math.floor(at_row):
                height_m = _height_on_row(lowered, int(at_row), min(max(at_column, 0.0), columns - 1.0))
            else:
                height_m = _height_on_column(lowered, min(max(at_row, 0.0), rows - 1.0), int(at_column))
            if height_m != height_m:
                void = True
                continue
            here = (height_m - eye_level_m) / distance_m
            gap_m = (here - slope) * distance_m
            if gap_m >= -TIE_M:
                if hidden:
                    # Between the last hidden and the first seen crossing the gap closes in a straight line.
                    share = previous_gap / (previous_gap - gap_m) if gap_m > previous_gap else 1.0
                    if counted and not void and count <= crests.shape[1]:
                        crests[i, count - 1, 1] = previous_m + share * (distance_m - previous_m)
                    hidden, depth_m = False, 0.0
                if here > slope:
                    slope, best_m, best_lowered_m = here, distance_m, height_m
            else:
                if not hidden:
                    # Beyond a void nobody knows which ground is the first to hide this.
                    counted = not void
                    if counted:
                        count += 1
                        if count == 1:
                            brow_distance_m[i] = best_m
                        if count <= crests.shape[1]:
                            crests[i, count - 1, 0] = best_m
                hidden = True
                depth_m = max(depth_m, -gap_m)
                if counted and count <= crests.shape[1]:
                    crests[i, count - 1, 2] = depth_m
            previous_m, previous_gap = distance_m, gap_m
        skyline_slope[i] = slope
        skyline_distance_m[i] = best_m
        skyline_lowered_m[i] = best_lowered_m
        crest_count[i] = count
        if void:
            skyline_end[i] = 3
        elif end == 2:
            skyline_end[i] = 2
        elif not hidden:
            skyline_end[i] = 1
        else:
            skyline_end[i] = 0
