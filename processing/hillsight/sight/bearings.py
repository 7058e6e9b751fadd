"""What is seen from an eye along bearings: the skyline, and the crests before it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled
from hillsight.kernels.threads import in_slices
from hillsight.sight.crossings import (
    ENTRY_SLACK,
    first_line_beyond,
    ground_on_line,
    start_on_terrain,
)
from hillsight.sight.screens import tops_along
from hillsight.sight.under_cover import screens_of, standing_m
from hillsight.sight.viewing import CROSSING_SNAP, TIE_M

if TYPE_CHECKING:
    from hillsight.arrays import Bytes, Floats, Floats32, Integers32
    from hillsight.ground.cover import ScreenSquares
    from hillsight.ground.grid import Surface
    from hillsight.sight.viewing import Eye

#: Crests kept in full for each bearing; the nearest matter to a person on the ground.
CRESTS_KEPT = 32

#: Meaning of ``BearingSight.skyline_end``, by code.
SKYLINE_ENDS = ("ground", "reach", "terrain_edge", "void")

#: Bearings that a thread walks before it looks up for an interruption: milliseconds.
_BEARINGS_AT_A_TIME = 128


@dataclass(frozen=True)
class BearingSight:
    """The view along bearings; each array has one entry a bearing, in the order asked.

    skyline_slope, skyline_distance_m, skyline_height_m : apparent slope, grid distance and height of the
        highest-standing ground, or cover on it, within the reach; NaN where there is none
    skyline_cover_m : how much of that height is cover on the ground; 0 where the ground itself stands there
    skyline_end : uint8, one of SKYLINE_ENDS
    brow_distance_m : grid distance at which ground first turns out of view; NaN if it never does
    crest_count : how often ground turns out of view
    crests : (n, crests kept, 3) crest distance, re-emergence distance, greatest depth between; metres

    edge_distance_m, edge_height_m : where known ground ends, and how high ground there would have to be to
        stand against the sky; NaN within a reach alone, see ``far_sky``

    Brow and crests are sought up to the first void on the way. They are of ground that turns out of view;
    what stands on nearer ground may hide it, and its distance is then the crest's.
    """

    skyline_slope: Floats
    skyline_distance_m: Floats
    skyline_height_m: Floats
    skyline_end: Bytes
    brow_distance_m: Floats
    crest_count: Integers32
    crests: Floats
    edge_distance_m: Floats
    edge_height_m: Floats
    skyline_cover_m: Floats


def see_bearings(
    surface: Surface, eye: Eye, reach_m: float, bearings_grid_deg: Floats, crests_kept: int = CRESTS_KEPT
) -> BearingSight:
    """Skyline and crests along bearings from grid north, each walked crossing by crossing.

    An eye outside the outermost posts sees the ground of the terrain and none before it; a bearing that
    does not meet the terrain within the reach ends at the terrain's edge.

    Raises
    ------
    ValueError : the eye's position is not finite
    """
    if not (math.isfinite(eye.row) and math.isfinite(eye.column)):
        raise ValueError(f"an eye at row {eye.row}, column {eye.column} is nowhere")
    angles = np.radians(np.atleast_1d(np.asarray(bearings_grid_deg, np.float64)))
    easts, norths = np.sin(angles), np.cos(angles)
    # A bearing along a grid line must not wander off it by rounding.
    easts[np.abs(easts) < 1e-14] = 0.0
    norths[np.abs(norths) < 1e-14] = 0.0
    n = angles.size
    slope, distance_m, lowered_m, brow_m = (np.full(n, np.nan) for _ in range(4))
    end = np.zeros(n, np.uint8)
    count = np.zeros(n, np.int32)
    crests = np.full((n, crests_kept, 3), np.nan)
    blocking_m = np.ascontiguousarray(surface.blocking_m, np.float32)
    ground_m = np.ascontiguousarray(surface.height_m, np.float32)
    lines, squares = screens_of(surface)

    def some(first: int, last: int) -> None:
        s = slice(first, last)
        _walk(
            blocking_m,
            ground_m,
            surface.cover is not None,
            lines,
            squares,
            surface.grid.spacing_x_m,
            surface.grid.spacing_y_m,
            float(eye.drop_per_m),
            eye.row,
            eye.column,
            float(eye.level_m),
            float(reach_m),
            easts[s],
            norths[s],
            slope[s],
            distance_m[s],
            lowered_m[s],
            end[s],
            brow_m[s],
            count[s],
            crests[s],
        )

    in_slices(some, n, _BEARINGS_AT_A_TIME)
    slope[~np.isfinite(slope)] = np.nan
    height_m = lowered_m + eye.drop_per_m * distance_m**2
    return BearingSight(
        skyline_slope=slope,
        skyline_distance_m=distance_m,
        skyline_height_m=height_m,
        skyline_end=end,
        brow_distance_m=brow_m,
        crest_count=count,
        crests=crests,
        edge_distance_m=np.full(n, np.nan),
        edge_height_m=np.full(n, np.nan),
        skyline_cover_m=standing_m(surface, eye, easts, norths, distance_m, height_m),
    )


@compiled
def _walk(
    height_m: Floats32,
    bare_m: Floats32,
    covered: bool,
    lines: Floats,
    squares: ScreenSquares,
    spacing_x_m: float,
    spacing_y_m: float,
    drop_per_m: float,
    eye_row: float,
    eye_column: float,
    eye_level_m: float,
    reach_m: float,
    easts: Floats,
    norths: Floats,
    skyline_slope: Floats,
    skyline_distance_m: Floats,
    skyline_lowered_m: Floats,
    skyline_end: Bytes,
    brow_distance_m: Floats,
    crest_count: Integers32,
    crests: Floats,
) -> None:
    """Follow each bearing outwards over every grid-line crossing within the reach.

    Nothing is passed over in blocks: the depth of a pocket needs the deepest of its crossings.

    height_m, bare_m : of what blocks sight, and of the ground that is seen or hidden; the same unless covered
    lines, squares : screens
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

    Stages, marked below by their numbers:
    (1) where the bearing meets the terrain, and the first grid lines beyond; then crossing by crossing:
    (2) the next crossing, of a row, a column or both, after the screens before it; (3) the ground there;
    (4) in view: close a pocket; (5) out of view: open a pocket, deepen it; (6) raise the skyline;
    (7) what the bearing has come to.
    """
    rows, columns = height_m.shape
    flat_m, bare_flat_m = height_m.reshape(height_m.size), bare_m.reshape(bare_m.size)
    met = np.empty((16, 2))
    for i in range(easts.size):
        # (1)
        per_column = spacing_x_m / abs(easts[i]) if easts[i] != 0.0 else np.inf
        per_row = spacing_y_m / abs(norths[i]) if norths[i] != 0.0 else np.inf
        right, down = (1 if easts[i] > 0 else -1), (-1 if norths[i] > 0 else 1)
        by_column_m, meets = start_on_terrain(eye_column, right, 1.0 / per_column, columns)
        by_row_m, meets_too = start_on_terrain(eye_row, down, 1.0 / per_row, rows)
        start_m = max(by_column_m, by_row_m)
        skyline_end[i] = 2
        if not (meets and meets_too) or start_m > reach_m:
            skyline_slope[i] = -np.inf
            continue
        outside = start_m > 0.0
        start_column = eye_column + easts[i] * start_m / spacing_x_m
        start_row = eye_row - norths[i] * start_m / spacing_y_m
        column = first_line_beyond(eye_column, right, start_column, columns, outside)
        row = first_line_beyond(eye_row, down, start_row, rows, outside)
        inside_m = start_m + 2.0 * ENTRY_SLACK * (spacing_x_m + spacing_y_m) if outside else 0.0
        columns_per_m, rows_per_m = easts[i] / spacing_x_m, -norths[i] / spacing_y_m
        slope, end, count = -np.inf, 0, 0
        best_m, best_lowered_m = np.nan, np.nan
        previous_m, previous_gap = 0.0, np.inf
        hidden, counted, depth_m, void, showing = False, False, 0.0, False, True
        screens, met = tops_along(
            bare_m,
            spacing_x_m,
            spacing_y_m,
            drop_per_m,
            eye_row,
            eye_column,
            easts[i],
            norths[i],
            reach_m,
            lines,
            squares,
            met,
        )
        screen = 0
        while True:
            # (2)
            along_column = abs(column - eye_column) * per_column if per_column < np.inf else np.inf
            along_row = abs(row - eye_row) * per_row if per_row < np.inf else np.inf
            distance_m = min(along_column, along_row)
            while screen < screens and met[screen, 0] < distance_m:
                screen_m, top_m = met[screen, 0], met[screen, 1]
                screen += 1
                if top_m != top_m:
                    void = True
                elif top_m - eye_level_m - slope * screen_m >= -TIE_M:
                    if hidden and counted and not void and count <= crests.shape[1]:
                        crests[i, count - 1, 1] = screen_m
                    hidden, depth_m, showing = False, 0.0, True
                    previous_m, previous_gap = screen_m, 0.0
                    here = (top_m - eye_level_m) / screen_m
                    if here > slope:
                        slope, best_m, best_lowered_m = here, screen_m, top_m
            if distance_m > reach_m:
                end = 1
                break
            at_column = eye_column + columns_per_m * distance_m
            at_row = eye_row + rows_per_m * distance_m
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
                if distance_m <= inside_m:
                    continue
                end = 2
                break
            # (3)
            on_row = at_row == math.floor(at_row)
            line, at = (int(at_row), at_column) if on_row else (int(at_column), at_row)
            at = min(max(at, 0.0), columns - 1.0 if on_row else rows - 1.0)
            line_stride, along_stride = (columns, 1) if on_row else (1, columns)
            eye_line, eye_along = (eye_row, eye_column) if on_row else (eye_column, eye_row)
            line_m, along_m = (spacing_y_m, spacing_x_m) if on_row else (spacing_x_m, spacing_y_m)
            top_m = ground_on_line(
                flat_m, line, at, line_stride, along_stride, eye_line, eye_along, line_m, along_m, drop_per_m
            )
            if top_m != top_m:
                void = True
                continue
            height = top_m
            if covered:
                height = ground_on_line(
                    bare_flat_m,
                    line,
                    at,
                    line_stride,
                    along_stride,
                    eye_line,
                    eye_along,
                    line_m,
                    along_m,
                    drop_per_m,
                )
            gap_m = height - eye_level_m - slope * distance_m
            # (4)
            if gap_m >= -TIE_M:
                if hidden:
                    # Between the last hidden and the first seen crossing the gap closes in a straight line.
                    share = previous_gap / (previous_gap - gap_m) if gap_m > previous_gap else 1.0
                    if counted and not void and count <= crests.shape[1]:
                        crests[i, count - 1, 1] = previous_m + share * (distance_m - previous_m)
                    hidden, depth_m = False, 0.0
            else:
                # (5)
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
            # (6)
            showing = bool(top_m - eye_level_m - slope * distance_m >= -TIE_M)
            here = (top_m - eye_level_m) / distance_m
            if here > slope:
                slope, best_m, best_lowered_m = here, distance_m, top_m
        # (7)
        skyline_slope[i] = slope
        skyline_distance_m[i] = best_m
        skyline_lowered_m[i] = best_lowered_m
        crest_count[i] = count
        if void:
            skyline_end[i] = 3
        elif end == 2:
            skyline_end[i] = 2
        elif showing:
            skyline_end[i] = 1
        else:
            skyline_end[i] = 0
