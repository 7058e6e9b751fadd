"""The sky's edge: the highest-standing ground on a bearing, sought as far as any ground could rise.

A reach bounds what is asked of the ground, not the sky: a far range beyond it may stand above all that is
near. So bearings are followed on to where even the file's highest ground, lowered by curvature and
refraction, would stand below what is already seen. Blocks that cannot rise against the sky are passed over
by the ladder of their maxima; where one could, its crossings are looked at one by one, by the very same rule
as in ``bearings``. Oracle: a walk over every crossing to the end of the file.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled
from hillsight.kernels.threads import in_slices
from hillsight.sight.crossings import ground_on_line, may_rise
from hillsight.sight.maxima import FINEST, LEVELS, Maxima
from hillsight.sight.screens import tops_along
from hillsight.sight.under_cover import screens_of, standing_m
from hillsight.sight.viewing import Eye

if TYPE_CHECKING:
    from hillsight.arrays import Bytes, Flags, Floats, Floats32, Integers
    from hillsight.ground.cover import ScreenSquares
    from hillsight.ground.grid import Surface
    from hillsight.sight.bearings import BearingSight

#: A slope below all others, which can be reckoned with.
_STRAIGHT_DOWN = -1e12

#: Bearings that a thread follows before it looks up for an interruption: milliseconds.
_BEARINGS_AT_A_TIME = 128


@dataclass(frozen=True)
class FarGround:
    """All ground that may stand against the sky, made once for all eyes.

    surface : posts as far as they are known, or are held, and what stands on them
    is_cut : whether there is more of the file than that
    highest_m : of all its posts, what stands on them included, screens apart
    """

    surface: Surface
    maxima: Maxima
    highest_m: float
    is_cut: bool = False

    @classmethod
    def of(cls, surface: Surface, *, is_cut: bool = False) -> FarGround:
        """The ladder of a surface."""
        maxima = Maxima.over(surface)
        coarsest = maxima.ladder_m[maxima.offsets[-1] :]
        return cls(surface, maxima, float(coarsest.max(initial=-np.inf)), is_cut)


@dataclass(frozen=True)
class FarSky:
    """The sky's edge along bearings, (n,) each.

    slope, distance_m, height_m : of what stands against the sky; as given where nothing farther does
    end : uint8, one of ``bearings.SKYLINE_ENDS``: nothing could rise above it; ground beyond what is held
        could; ground beyond the file's edge could, if it were no higher than the file's highest; ground in a
        void could
    edge_distance_m : grid distance at which known ground ends on the bearing
    edge_height_m : how high ground there would have to be to stand against the sky
    cover_m : how much of the height is cover on the ground
    """

    slope: Floats
    distance_m: Floats
    height_m: Floats
    end: Bytes
    edge_distance_m: Floats
    edge_height_m: Floats
    cover_m: Floats


def to_the_sky(
    far: FarGround,
    easting_m: float,
    northing_m: float,
    level_m: float,
    drop_per_m: float,
    bearings_grid_deg: Floats,
    along: BearingSight,
    from_m: float = 0.0,
) -> BearingSight:
    """What is seen along bearings within a reach, with its skyline followed to the sky's edge."""
    sky = far_sky(
        far,
        easting_m,
        northing_m,
        level_m,
        drop_per_m,
        bearings_grid_deg,
        along.skyline_slope,
        along.skyline_distance_m,
        along.skyline_height_m,
        from_m,
    )
    return replace(
        along,
        skyline_slope=sky.slope,
        skyline_distance_m=sky.distance_m,
        skyline_height_m=sky.height_m,
        skyline_end=sky.end,
        edge_distance_m=sky.edge_distance_m,
        edge_height_m=sky.edge_height_m,
        skyline_cover_m=sky.cover_m,
    )


def far_sky(
    far: FarGround,
    easting_m: float,
    northing_m: float,
    level_m: float,
    drop_per_m: float,
    bearings_grid_deg: Floats,
    slope: Floats,
    distance_m: Floats,
    height_m: Floats,
    from_m: float = 0.0,
) -> FarSky:
    """Follow bearings from a near skyline to the sky's edge.

    Parameters
    ----------
    easting_m, northing_m, level_m, drop_per_m : of the eye; see ``viewing.Eye``
    bearings_grid_deg : (n,) from grid north
    slope, distance_m, height_m : (n,) of the skyline within a reach; NaN where there is none
    from_m : ground nearer than this is passed over; voids there do not count
    """
    grid = far.surface.grid
    row, column = (float(v) for v in grid.to_array(easting_m, northing_m))
    angles = np.radians(np.atleast_1d(np.asarray(bearings_grid_deg, np.float64)))
    easts, norths = np.sin(angles), np.cos(angles)
    # A bearing along a grid line must not wander off it by rounding.
    easts[np.abs(easts) < 1e-14] = 0.0
    norths[np.abs(norths) < 1e-14] = 0.0
    n = angles.size
    best = np.where(np.isnan(slope), _STRAIGHT_DOWN, slope)
    found_m, lowered_m = np.full(n, np.nan), np.full(n, np.nan)
    end, edge_m = np.zeros(n, np.uint8), np.zeros(n)
    heights_m = np.ascontiguousarray(far.surface.blocking_m, np.float32)
    bare_m = np.ascontiguousarray(far.surface.height_m, np.float32)
    lines, squares = screens_of(far.surface)

    def some(first: int, last: int) -> None:
        s = slice(first, last)
        raise_to_screens(
            bare_m,
            grid.spacing_x_m,
            grid.spacing_y_m,
            float(drop_per_m),
            row,
            column,
            float(level_m),
            float(from_m),
            easts[s],
            norths[s],
            lines,
            squares,
            best[s],
            found_m[s],
            lowered_m[s],
        )
        follow(
            heights_m,
            far.maxima.ladder_m,
            far.maxima.ladder_void,
            far.maxima.offsets,
            grid.spacing_x_m,
            grid.spacing_y_m,
            float(drop_per_m),
            row,
            column,
            float(level_m),
            far.highest_m,
            float(from_m),
            easts[s],
            norths[s],
            best[s],
            found_m[s],
            lowered_m[s],
            end[s],
            edge_m[s],
        )

    in_slices(some, n, _BEARINGS_AT_A_TIME)
    farther = np.isfinite(found_m)
    end[(end == _EDGE) & far.is_cut] = _HELD
    with np.errstate(invalid="ignore"):
        needed_m = level_m + best * edge_m + drop_per_m * edge_m**2
    best = np.where(best > _STRAIGHT_DOWN, best, np.nan)
    at_m = np.where(farther, found_m, distance_m)
    top_m = np.where(farther, lowered_m + drop_per_m * found_m**2, height_m)
    eye = Eye(row, column, level_m, drop_per_m)
    return FarSky(
        best,
        at_m,
        top_m,
        end,
        edge_m,
        np.where(np.isfinite(best), needed_m, np.nan),
        standing_m(far.surface, eye, easts, norths, at_m, top_m),
    )


#: The finest blocks have two to this power posts a side.
_FINEST_SHIFT = FINEST.bit_length() - 1

#: Codes of ``bearings.SKYLINE_ENDS``.
_GROUND, _HELD, _EDGE, _VOID = 0, 1, 2, 3


@compiled
def _crossed(eye: float, speed: float, posts: int) -> tuple[float, float]:
    """Distances between which a bearing is between the outermost lines of one direction."""
    if speed == 0.0:
        return (0.0, np.inf) if 0.0 <= eye <= posts - 1.0 else (np.inf, -np.inf)
    one, other = (0.0 - eye) / speed, (posts - 1.0 - eye) / speed
    return max(min(one, other), 0.0), max(one, other)


@compiled
def raise_to_screens(
    bare_m: Floats32,
    spacing_x_m: float,
    spacing_y_m: float,
    drop_per_m: float,
    eye_row: float,
    eye_column: float,
    level_m: float,
    from_m: float,
    easts: Floats,
    norths: Floats,
    lines: Floats,
    squares: ScreenSquares,
    slope: Floats,
    found_m: Floats,
    lowered_m: Floats,
) -> None:
    """Raise ``slope``, (n,), to the highest-standing screen of each bearing; fill where that raised it.

    bare_m : of the ground that screens stand on
    """
    if squares.screens.size == 0:
        return
    met = np.empty((16, 2))
    for i in range(easts.size):
        count, met = tops_along(
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
        for k in range(count):
            distance_m, top_m = met[k, 0], met[k, 1]
            if distance_m >= from_m and (top_m - level_m) / distance_m > slope[i]:
                slope[i] = (top_m - level_m) / distance_m
                found_m[i], lowered_m[i] = distance_m, top_m


@compiled
def follow(
    height_m: Floats32,
    ladder_m: Floats32,
    ladder_void: Flags,
    offsets: Integers,
    spacing_x_m: float,
    spacing_y_m: float,
    drop_per_m: float,
    eye_row: float,
    eye_column: float,
    level_m: float,
    highest_m: float,
    from_m: float,
    easts: Floats,
    norths: Floats,
    slope: Floats,
    found_m: Floats,
    lowered_m: Floats,
    end: Bytes,
    edge_m: Floats,
) -> None:
    """Raise ``slope``, (n,), bearing by bearing; fill where it was raised, how it ends, where ground ends."""
    rows, columns = height_m.shape
    flat_m = height_m.reshape(height_m.size)
    widest_m = max(spacing_x_m, spacing_y_m)
    tiny_m = 1e-7 * min(spacing_x_m, spacing_y_m)
    for i in range(easts.size):
        per_column = spacing_x_m / abs(easts[i]) if easts[i] != 0.0 else np.inf
        per_row = spacing_y_m / abs(norths[i]) if norths[i] != 0.0 else np.inf
        columns_per_m, rows_per_m = easts[i] / spacing_x_m, -norths[i] / spacing_y_m
        enters, leaves = _crossed(eye_column, columns_per_m, columns)
        enters_row, leaves_row = _crossed(eye_row, rows_per_m, rows)
        enter_m, leave_m = max(enters, enters_row, from_m), min(leaves, leaves_row)
        best, void_m, at_m, level = slope[i], np.inf, enter_m, LEVELS - 1
        edge_m[i] = max(leave_m, 0.0)
        rising = True
        while at_m < leave_m:
            if not may_rise(highest_m, level_m, drop_per_m, best, at_m):
                rising = False
                break
            ahead_m = at_m + tiny_m
            # Shifts, for this is gone through oftener than anything else, and divisions are slow.
            shift = _FINEST_SHIFT + 2 * level
            size = 1 << shift
            across, down = ((columns - 1) >> shift) + 1, ((rows - 1) >> shift) + 1
            block_row = min(max(int(eye_row + rows_per_m * ahead_m), 0) >> shift, down - 1)
            block_column = min(max(int(eye_column + columns_per_m * ahead_m), 0) >> shift, across - 1)
            out_m = leave_m
            if rows_per_m > 0.0:
                out_m = min(out_m, ((block_row + 1) * size - eye_row) / rows_per_m)
            elif rows_per_m < 0.0:
                out_m = min(out_m, (block_row * size - eye_row) / rows_per_m)
            if columns_per_m > 0.0:
                out_m = min(out_m, ((block_column + 1) * size - eye_column) / columns_per_m)
            elif columns_per_m < 0.0:
                out_m = min(out_m, (block_column * size - eye_column) / columns_per_m)
            out_m = max(out_m, ahead_m)
            block = offsets[level] + block_row * across + block_column
            # The posts beside a crossing may be nearer by a spacing, and so are lowered less.
            nearest_m = max(at_m - 1.5 * widest_m, 0.0)
            most_m = drop_per_m * nearest_m * nearest_m if drop_per_m > 0.0 else drop_per_m * out_m * out_m
            above_m = np.float64(ladder_m[block]) - most_m - level_m
            passed = at_m > 0.0 and above_m <= best * (at_m if above_m > 0.0 else out_m)
            if passed and (void_m < np.inf or not ladder_void[block]):
                at_m, level = out_m, min(level + 1, LEVELS - 1)
                continue
            if level > 0:
                level -= 1
                continue
            # Crossing by crossing, as in bearings._walk.
            column = math.floor(eye_column + columns_per_m * at_m) + (1 if easts[i] > 0 else 0)
            row = math.floor(eye_row + rows_per_m * at_m) + (1 if norths[i] < 0 else 0)
            column += -1 if easts[i] > 0 else 1
            row += -1 if norths[i] < 0 else 1
            while True:
                along_column = (column - eye_column) / columns_per_m if per_column < np.inf else np.inf
                along_row = (row - eye_row) / rows_per_m if per_row < np.inf else np.inf
                distance_m = min(along_column, along_row)
                if distance_m > out_m + tiny_m:
                    break
                on_column, on_row = along_column <= along_row, along_row <= along_column
                if distance_m > 0.0:
                    distance_m = (
                        abs(column - eye_column) * per_column if on_column else abs(row - eye_row) * per_row
                    )
                    at_column = float(column) if on_column else eye_column + columns_per_m * distance_m
                    at_row = float(row) if on_row else eye_row + rows_per_m * distance_m
                    if -1e-9 <= at_column <= columns - 1.0 + 1e-9 and -1e-9 <= at_row <= rows - 1.0 + 1e-9:
                        if at_row == math.floor(at_row):
                            height = ground_on_line(
                                flat_m,
                                int(at_row),
                                min(max(at_column, 0.0), columns - 1.0),
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
                                min(max(at_row, 0.0), rows - 1.0),
                                1,
                                columns,
                                eye_column,
                                eye_row,
                                spacing_x_m,
                                spacing_y_m,
                                drop_per_m,
                            )
                        if height != height:
                            void_m = min(void_m, distance_m)
                        elif (height - level_m) / distance_m > best:
                            best = (height - level_m) / distance_m
                            found_m[i], lowered_m[i] = distance_m, height
                if on_column:
                    column += 1 if easts[i] > 0 else -1
                if on_row:
                    row += 1 if norths[i] < 0 else -1
            at_m, level = out_m, 1
        slope[i] = best
        if void_m < np.inf and may_rise(highest_m, level_m, drop_per_m, best, void_m):
            end[i] = _VOID
        elif rising and may_rise(highest_m, level_m, drop_per_m, best, max(leave_m, 0.0)):
            end[i] = _EDGE
        else:
            end[i] = _GROUND
