"""Compiled pieces that the walks share: where grid lines are crossed, and how high the ground is there.

Conventions shared by all: ``height_m`` is (rows, columns) float32, metres, C-contiguous, NaN for voids;
``flat_m`` the same, row after row. Rows run south, columns run east. Seen from an eye a post at grid
distance d stands at ``height - drop_per_m d^2``; between neighbouring posts along a row or a column the
ground is straight; a sight line meets it where it crosses those lines (Franklin and Ray 1994, "R3"). A
crossing within CROSSING_SNAP of a post is at the post. Lines off the terrain bear no ground. Oracle:
tests/oracle.py.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled
from hillsight.kernels.corners import corner_posts
from hillsight.sight.viewing import CROSSING_SNAP

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Floats32

#: A sight line enters the terrain at a place known this well (spacings); lines this near are looked at.
ENTRY_SLACK = 1e-6


@compiled
def post_as_seen(
    height_m: Floats32,
    row: int,
    column: int,
    eye_row: float,
    eye_column: float,
    spacing_x_m: float,
    spacing_y_m: float,
    drop_per_m: float,
) -> float:
    """Height of one post as seen from the eye."""
    north_south_m = (row - eye_row) * spacing_y_m
    east_west_m = (column - eye_column) * spacing_x_m
    squared = north_south_m * north_south_m + east_west_m * east_west_m
    return np.float64(height_m[row, column]) - drop_per_m * squared


@compiled
def ground_on_line(
    flat_m: Floats32,
    line: int,
    at: float,
    line_stride: int,
    along_stride: int,
    eye_line: float,
    eye_along: float,
    line_spacing_m: float,
    along_spacing_m: float,
    drop_per_m: float,
) -> float:
    """Lowered ground where a grid line, a row or a column, is crossed at a fractional place along it."""
    first = math.floor(at)
    part = at - first
    if part > 1.0 - CROSSING_SNAP:
        first, part = first + 1, 0.0
    across_m = (line - eye_line) * line_spacing_m
    along_m = (first - eye_along) * along_spacing_m
    here_m = np.float64(flat_m[line * line_stride + first * along_stride])
    here_m -= drop_per_m * (across_m * across_m + along_m * along_m)
    if part < CROSSING_SNAP:
        return here_m
    along_m = (first + 1 - eye_along) * along_spacing_m
    there_m = np.float64(flat_m[line * line_stride + (first + 1) * along_stride])
    there_m -= drop_per_m * (across_m * across_m + along_m * along_m)
    return here_m * (1.0 - part) + there_m * part


@compiled
def entry_share(eye: float, target: float, posts: int) -> float:
    """Share of the way at which a sight line to a target on the terrain comes between the outermost lines."""
    if eye < 0.0:
        return -eye / (target - eye)
    if eye > posts - 1.0:
        return (posts - 1.0 - eye) / (target - eye)
    return 0.0


@compiled
def start_on_terrain(eye: float, step: int, speed: float, posts: int) -> tuple[float, bool]:
    """Distance (m) at which a ray is between the outermost lines of one direction; whether it ever is.

    step : 1 or -1, the way it goes, ``speed`` spacings in each metre
    """
    if eye < 0.0:
        return (-eye / speed if speed > 0.0 else 0.0), step > 0 and speed > 0.0
    if eye > posts - 1.0:
        return ((eye - posts + 1.0) / speed if speed > 0.0 else 0.0), step < 0 and speed > 0.0
    return 0.0, True


@compiled
def first_line_beyond(eye: float, step: int, start: float, posts: int, outside: bool) -> int:
    """First grid line strictly beyond the eye, and for an eye outside the terrain on it."""
    if step > 0:
        first = math.floor(eye) + 1
        return max(first, 0, math.floor(start - ENTRY_SLACK) + 1) if outside else first
    first = math.ceil(eye) - 1
    return min(first, posts - 1, math.ceil(start + ENTRY_SLACK) - 1) if outside else first


@compiled
def may_rise(highest_m: float, level_m: float, drop_per_m: float, slope: float, distance_m: float) -> bool:
    """Whether the highest ground, here or farther, would stand above a slope."""
    if highest_m - drop_per_m * distance_m * distance_m - level_m > slope * distance_m:
        return True
    # Below an eye that looks down ground may rise against the sky farther on, until curvature takes it away.
    if slope >= 0.0:
        return drop_per_m < 0.0
    if drop_per_m <= 0.0:
        return True
    best_m = -slope / (2.0 * drop_per_m)
    return distance_m < best_m and highest_m - drop_per_m * best_m * best_m - level_m > slope * best_m


@compiled
def lines_between(eye: float, target: float, entry: float, posts: int) -> tuple[int, int, int]:
    """Grid lines on the terrain strictly between target and eye: the one nearest the target, step, number."""
    start = eye + entry * (target - eye)
    if target > eye:
        first, last = math.floor(eye) + 1, math.ceil(target) - 1
        if entry > 0.0:
            first = max(first, 0, math.floor(start - ENTRY_SLACK) + 1)
        return last, -1, max(0, last - first + 1)
    if target < eye:
        first, last = math.ceil(eye) - 1, math.floor(target) + 1
        if entry > 0.0:
            first = min(first, posts - 1, math.ceil(start + ENTRY_SLACK) - 1)
        return last, 1, max(0, first - last + 1)
    return math.floor(target), -1, 0


@compiled
def lowered_ground(
    height_m: Floats32,
    spacing_x_m: float,
    spacing_y_m: float,
    drop_per_m: float,
    eye_row: float,
    eye_column: float,
    rows: Floats,
    columns: Floats,
    ground_m: Floats,
) -> None:
    """Ground anywhere: bilinear between the lowered posts around; a void of no weight does not count.

    rows, columns : (n,) fractional places; ``ground_m`` (n,) is filled, NaN off the terrain
    """
    corners = np.empty((4, 3))
    for i in range(rows.size):
        used = corner_posts(rows[i], columns[i], height_m.shape[0], height_m.shape[1], corners)
        total_m = 0.0 if used else np.nan
        for k in range(used):
            row, column = int(corners[k, 0]), int(corners[k, 1])
            total_m += corners[k, 2] * post_as_seen(
                height_m, row, column, eye_row, eye_column, spacing_x_m, spacing_y_m, drop_per_m
            )
        ground_m[i] = total_m
