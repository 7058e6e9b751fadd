"""The ground in view along many fine bearings: what the rays of a drawn view are looked up in.

Each bearing is followed outwards once, by the very crossings that settle the skyline (``bearings``,
``far_sky``), as far as any ground of the file could still rise against the sky. What is kept are the
stretches of ground that are seen on it, from below upwards: near the eye one a crossing, far off as many as
a picture can show.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled
from hillsight.kernels.corners import between_posts
from hillsight.kernels.threads import in_slices
from hillsight.sight.crossings import (
    ENTRY_SLACK,
    first_line_beyond,
    ground_on_line,
    may_rise,
    start_on_terrain,
)
from hillsight.sight.screens import tops_along
from hillsight.sight.under_cover import screens_of
from hillsight.sight.viewing import CROSSING_SNAP

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Floats32, Integers
    from hillsight.ground.cover import ScreenSquares
    from hillsight.sight.far_sky import FarGround
    from hillsight.sight.viewing import Eye

#: Columns of a stretch: slope at its far end, grid distance of its near and of its far end (m), height above
#: the eye's level of its near end (m, lowered), sag of the bilinear ground between, 1 where it lies beyond a
#: void or before any known ground, else 0.
SLOPE, NEAR, FAR, RISE, SAG, BEYOND = range(6)
_WIDTH = 6

#: Neighbouring crossings are one stretch as long as it is seen under less than this share of the resolution.
_STRETCH = 0.25

#: Bearings that a thread follows before it looks up for an interruption: milliseconds.
_BEARINGS_AT_A_TIME = 64


@dataclass(frozen=True)
class SeenStretches:
    """The ground in view along evenly spaced bearings.

    first_bearing_grid_deg, step_deg : bearing i is the first and i steps
    whole : whether the last bearing is followed by the first
    stretches : (n, 6) float32, those of a bearing one after another, from below upwards
    offsets : (bearings + 1,) where those of each bearing begin
    void_slope : (bearings,) greatest slope at which ground in a void could stand in the way; -inf for none
    open_slope : (bearings,) greatest slope at which ground that nobody knows could stand against the sky; it
        matters only above the highest stretch
    """

    first_bearing_grid_deg: float
    step_deg: float
    whole: bool
    stretches: Floats32
    offsets: Integers
    void_slope: Floats
    open_slope: Floats


def seen_stretches(
    far: FarGround,
    eye: Eye,
    left_bearing_grid_deg: float,
    span_deg: float,
    step_deg: float,
    vertical_step_deg: float,
) -> SeenStretches:
    """Follow the ground along bearings, to the sky's edge.

    Parameters
    ----------
    far : all ground that may stand against the sky
    eye : on the lattice of ``far.surface``; it may be off the terrain
    left_bearing_grid_deg, span_deg : the sector, clockwise from its left edge, above 0 and up to 360
    step_deg : between bearings, at most; it is made a little finer to fit the sector
    vertical_step_deg : the finest vertical angle that matters, that of a pixel or a part of it

    Raises
    ------
    ValueError : the eye's position is not finite, or a step is not above 0
    """
    if not np.isfinite([eye.row, eye.column, eye.level_m]).all():
        raise ValueError(f"an eye at row {eye.row}, column {eye.column}, level {eye.level_m} is nowhere")
    if not (step_deg > 0 and vertical_step_deg > 0 and span_deg > 0):
        raise ValueError(f"no view of {span_deg} degrees in steps of {step_deg} and {vertical_step_deg}")
    whole = span_deg >= 360.0
    n = max(int(np.ceil(span_deg / step_deg)), 1)
    step_deg = min(span_deg, 360.0) / n
    # Bearings stand in the middle of their steps: a ray goes by the nearest.
    first_deg = left_bearing_grid_deg + step_deg / 2.0
    angles = np.radians(first_deg + step_deg * np.arange(n))
    easts, norths = np.sin(angles), np.cos(angles)
    # A bearing along a grid line must not wander off it by rounding.
    easts[np.abs(easts) < 1e-14] = 0.0
    norths[np.abs(norths) < 1e-14] = 0.0
    grid, heights_m = far.surface.grid, np.ascontiguousarray(far.surface.blocking_m, np.float32)
    bare_m = np.ascontiguousarray(far.surface.height_m, np.float32)
    lines, squares = screens_of(far.surface)
    void_slope, open_slope = np.full(n, -np.inf), np.full(n, -np.inf)
    counts, parts = np.zeros(n, np.int64), {}
    most = heights_m.shape[0] + heights_m.shape[1] + 2

    def some(first: int, last: int) -> None:
        s = slice(first, last)
        found = np.empty(((last - first) * most, _WIDTH), np.float32)
        used, found = _follow_all(
            heights_m,
            bare_m,
            lines,
            squares,
            grid.spacing_x_m,
            grid.spacing_y_m,
            float(eye.drop_per_m),
            eye.row,
            eye.column,
            float(eye.level_m),
            far.highest_m,
            float(_STRETCH * np.radians(vertical_step_deg)),
            easts[s],
            norths[s],
            found,
            counts[s],
            void_slope[s],
            open_slope[s],
        )
        parts[first] = found[:used].copy()

    in_slices(some, n, _BEARINGS_AT_A_TIME)
    return SeenStretches(
        float(first_deg),
        float(step_deg),
        whole,
        np.concatenate([parts[first] for first in sorted(parts)]),
        np.concatenate([[0], np.cumsum(counts)]),
        void_slope,
        open_slope,
    )


@compiled
def _highest_slope(above_m: float, drop_per_m: float, distance_m: float) -> float:
    """Greatest slope at which ground so far above the level may stand, lowered, at a distance or farther."""
    if above_m < 0.0:
        if drop_per_m <= 0.0:
            return np.inf if drop_per_m < 0.0 else 0.0
        best_m = np.sqrt(-above_m / drop_per_m)
        if best_m > distance_m:
            distance_m = best_m
    elif drop_per_m < 0.0:
        return np.inf
    return above_m / distance_m - drop_per_m * distance_m if distance_m > 0.0 else np.inf


@compiled
def _twist(height_m: Floats32, row: float, column: float) -> float:
    """By how much the bilinear ground of the cell about a place is no plane, metres; 0 beside a void."""
    rows, columns = height_m.shape
    top, left = min(max(int(row), 0), rows - 2), min(max(int(column), 0), columns - 2)
    if rows < 2 or columns < 2:
        return 0.0
    twist = np.float64(height_m[top, left]) - height_m[top, left + 1]
    twist += np.float64(height_m[top + 1, left + 1]) - height_m[top + 1, left]
    return twist if twist == twist else 0.0


@compiled
def _follow_all(
    height_m: Floats32,
    bare_m: Floats32,
    lines: Floats,
    squares: ScreenSquares,
    spacing_x_m: float,
    spacing_y_m: float,
    drop_per_m: float,
    eye_row: float,
    eye_column: float,
    level_m: float,
    highest_m: float,
    finest: float,
    easts: Floats,
    norths: Floats,
    found: Floats32,
    counts: Integers,
    void_slope: Floats,
    open_slope: Floats,
) -> tuple[int, Floats32]:
    """Stretches in view along bearings, one bearing after another; how many there are in all, and where.

    height_m, bare_m, lines, squares : of what blocks sight; of the ground; screens
    finest : slope across the level under which neighbouring crossings are one stretch
    found : (n, 6) is filled from the beginning and, where it is too small, taken over into a larger one
    counts, void_slope, open_slope : (bearings,) are filled
    """
    rows, columns = height_m.shape
    flat_m = height_m.reshape(height_m.size)
    used, met = 0, np.empty((16, 2))
    for i in range(easts.size):
        begun = used
        screens, met = tops_along(
            bare_m,
            spacing_x_m,
            spacing_y_m,
            drop_per_m,
            eye_row,
            eye_column,
            easts[i],
            norths[i],
            np.inf,
            lines,
            squares,
            met,
        )
        screen, needed = 0, used + rows + columns + 2 + screens
        if needed > found.shape[0]:
            larger = np.empty((2 * needed, found.shape[1]), np.float32)
            for r in range(used):
                for c in range(found.shape[1]):
                    larger[r, c] = found[r, c]
            found = larger
        per_column = spacing_x_m / abs(easts[i]) if easts[i] != 0.0 else np.inf
        per_row = spacing_y_m / abs(norths[i]) if norths[i] != 0.0 else np.inf
        right, down = (1 if easts[i] > 0 else -1), (-1 if norths[i] > 0 else 1)
        columns_per_m, rows_per_m = easts[i] / spacing_x_m, -norths[i] / spacing_y_m
        by_column_m, meets = start_on_terrain(eye_column, right, 1.0 / per_column, columns)
        by_row_m, meets_too = start_on_terrain(eye_row, down, 1.0 / per_row, rows)
        start_m = max(by_column_m, by_row_m)
        if not (meets and meets_too):
            open_slope[i] = np.inf
            counts[i] = 0
            continue
        outside = start_m > 0.0
        column = first_line_beyond(eye_column, right, eye_column + columns_per_m * start_m, columns, outside)
        row = first_line_beyond(eye_row, down, eye_row + rows_per_m * start_m, rows, outside)
        inside_m = start_m + 2.0 * ENTRY_SLACK * (spacing_x_m + spacing_y_m) if outside else 0.0
        best, best_m = -np.inf, -1.0
        last_m, last_rise_m = 0.0, np.nan
        if not outside:
            last_rise_m = between_posts(height_m, eye_row, eye_column) - level_m
        void, open_m = last_rise_m != last_rise_m and not outside, np.nan
        if void:
            void_slope[i] = np.inf
        group_slope = -np.inf
        while True:
            along_column = abs(column - eye_column) * per_column if per_column < np.inf else np.inf
            along_row = abs(row - eye_row) * per_row if per_row < np.inf else np.inf
            distance_m = min(along_column, along_row)
            while screen < screens and met[screen, 0] < distance_m:
                screen_m, top_m = met[screen, 0], met[screen, 1]
                screen += 1
                if top_m != top_m or (best_m >= 0.0 and top_m - level_m <= best * screen_m):
                    continue
                # A screen in view is a stretch of its own, all of it at one distance.
                slope = (top_m - level_m) / screen_m
                found[used, SLOPE], found[used, NEAR], found[used, FAR] = slope, screen_m, screen_m
                found[used, RISE], found[used, SAG] = top_m - level_m, 0.0
                found[used, BEYOND] = 1.0 if void else 0.0
                used += 1
                best, best_m = slope, screen_m
            at_column = eye_column + columns_per_m * distance_m
            at_row = eye_row + rows_per_m * distance_m
            on_row = along_row <= along_column
            if along_column <= along_row:
                at_column = float(column)
                column += right
            if on_row:
                at_row = float(row)
                row += down
            if (
                at_column < -CROSSING_SNAP
                or at_row < -CROSSING_SNAP
                or at_column > columns - 1.0 + CROSSING_SNAP
                or at_row > rows - 1.0 + CROSSING_SNAP
            ):
                if distance_m <= inside_m:
                    continue
                open_m = max(last_m, start_m)
                break
            at_column = min(max(at_column, 0.0), columns - 1.0)
            at_row = min(max(at_row, 0.0), rows - 1.0)
            if on_row:
                height = ground_on_line(
                    flat_m,
                    int(at_row),
                    at_column,
                    columns,
                    1,
                    eye_row,
                    eye_column,
                    spacing_y_m,
                    spacing_x_m,
                    drop_per_m,
                )
            else:
                height = ground_on_line(
                    flat_m,
                    int(at_column),
                    at_row,
                    1,
                    columns,
                    eye_column,
                    eye_row,
                    spacing_x_m,
                    spacing_y_m,
                    drop_per_m,
                )
            rise_m = height - level_m
            if rise_m != rise_m:
                if not void:
                    void = True
                    above_m = highest_m - level_m
                    void_slope[i] = max(void_slope[i], _highest_slope(above_m, drop_per_m, last_m))
            elif rise_m > best * distance_m or best_m < 0.0:
                slope = rise_m / distance_m
                joined = last_m == best_m and best_m > 0.0
                if joined and slope - group_slope < finest * (1.0 + slope * slope):
                    found[used - 1, SLOPE], found[used - 1, FAR] = slope, distance_m
                    found[used - 1, SAG] = 0.0
                else:
                    found[used, SLOPE], found[used, FAR] = slope, distance_m
                    found[used, BEYOND] = 1.0 if void else 0.0
                    if last_rise_m == last_rise_m:
                        found[used, NEAR], found[used, RISE] = last_m, last_rise_m
                        middle_m = 0.5 * (last_m + distance_m)
                        twist_m = _twist(
                            height_m, eye_row + rows_per_m * middle_m, eye_column + columns_per_m * middle_m
                        )
                        step_m = distance_m - last_m
                        found[used, SAG] = twist_m * rows_per_m * columns_per_m * step_m * step_m
                    else:
                        found[used, NEAR], found[used, RISE] = distance_m, rise_m
                        found[used, SAG] = 0.0
                        if outside and best_m < 0.0 and not void:
                            found[used, BEYOND], void_slope[i] = 1.0, slope
                    # Ground behind a gap begins out of view: its first stretch stays by itself.
                    group_slope = best if joined else -np.inf
                    used += 1
                best, best_m = slope, distance_m
            last_m, last_rise_m = distance_m, rise_m
            if (
                best_m < distance_m
                and screen == screens
                and not may_rise(highest_m, level_m, drop_per_m, best, distance_m)
            ):
                break
        counts[i] = used - begun
        if open_m == open_m:
            open_slope[i] = _highest_slope(highest_m - level_m, drop_per_m, open_m)
        open_slope[i] = max(open_slope[i], void_slope[i])
    return used, found
