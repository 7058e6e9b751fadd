"""What is seen from an eye of single targets, and of the targets of many pairs."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.ground.grid import between_posts, on_lines
from hillsight.kernels.threads import in_slices
from hillsight.sight import walks
from hillsight.sight.crossings import lowered_ground
from hillsight.sight.maxima import Maxima
from hillsight.sight.under_cover import (
    Clear,
    Lines,
    decided,
    inside_cover,
    lowered_targets,
    screens_over,
    state_of_light,
)
from hillsight.words.states import GroundState

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from hillsight.arrays import Bytes, Floats, Floats32, Integers
    from hillsight.ground.grid import Grid, Surface
    from hillsight.sight.viewing import Eye


#: Sight lines that a thread walks before it looks up for an interruption: milliseconds.
_LINES_AT_A_TIME = 2048

#: Eyes are put in the order of squares of this many posts a side, whose surroundings stay in the cache.
_SQUARE_POSTS = 128


@dataclass(frozen=True)
class PointSight:
    """The view of single targets, each array (n,) float64.

    clearance_m : metres the target stands above the line grazing the highest nearer ground; >= 0 visible,
        < 0 hidden by that much; +inf where no ground is nearer; NaN unknown, or off the terrain
    crest_distance_m : metres on the grid from the eye to the ground that sets the grazing line; 0 where
        none does
    ground_m : height of the ground under the target, NaN where unknown
    slope : apparent rise of the target over grid distance, from the eye's level
    light : share of sight that comes through: 1 visible, 0 hidden, between where woods let some pass or where
        eye or target is inside cover, NaN unknown. Clearance is over what stops more than half
    """

    clearance_m: Floats
    crest_distance_m: Floats
    ground_m: Floats
    slope: Floats
    light: Floats


def see_points(
    surface: Surface,
    eye: Eye,
    rows: Floats,
    columns: Floats,
    target_heights_m: Floats | float = 0.0,
    maxima: Maxima | None = None,
) -> PointSight:
    """Clearance of targets at fractional rows and columns, by the same definition as for posts.

    Targets outside the outermost posts are unknown. The eye may stand there: ground off the terrain
    neither hides nor leaves in doubt. Whether a target lies within a reach is the caller's to judge.

    Parameters
    ----------
    surface : heights and cover
    eye : position on the surface's lattice, level, drop for curvature and refraction
    rows, columns : (n,) fractional, whole numbers are posts
    target_heights_m : (n,) or one, metres above the ground
    maxima : ``Maxima.over(surface)``, if there is one

    Raises
    ------
    ValueError : the eye's position is not finite
    """
    if not (math.isfinite(eye.row) and math.isfinite(eye.column)):
        raise ValueError(f"an eye at row {eye.row}, column {eye.column} is nowhere")
    rows, columns = np.broadcast_arrays(
        on_lines(np.atleast_1d(np.asarray(rows, np.float64))),
        on_lines(np.atleast_1d(np.asarray(columns, np.float64))),
    )
    heights_m = np.broadcast_to(np.asarray(target_heights_m, np.float64), rows.shape)
    grid = surface.grid
    ground_m = np.empty(rows.shape)

    def under(first: int, last: int) -> None:
        ground_m[first:last] = lowered_targets(surface, eye, rows[first:last], columns[first:last])

    in_slices(under, rows.size, 8 * _LINES_AT_A_TIME)
    found, light = _judged(
        surface,
        maxima,
        (
            np.broadcast_to(float(eye.drop_per_m), rows.shape),
            np.broadcast_to(eye.row, rows.shape),
            np.broadcast_to(eye.column, rows.shape),
            np.broadcast_to(float(eye.level_m), rows.shape),
            rows,
            columns,
            ground_m + heights_m,
        ),
        heights_m,
        lowered=True,
        state_only=False,
    )
    distance_m = np.hypot((rows - eye.row) * grid.spacing_y_m, (columns - eye.column) * grid.spacing_x_m)
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = (ground_m + heights_m - eye.level_m) / distance_m
    return PointSight(
        clearance_m=found.clearance_m,
        crest_distance_m=found.fraction * distance_m,
        ground_m=ground_m + eye.drop_per_m * distance_m**2,
        slope=slope,
        light=light,
    )


def ground_between_posts(surface: Surface, easting_m: Floats, northing_m: Floats) -> Floats:
    """Height of the ground at many places, (n,), quicker than ``Surface.heights_at_m`` and the same.

    NaN off the terrain, beside voids and where a place is NaN.
    """
    rows, columns = surface.grid.to_array(easting_m, northing_m)
    found = np.empty(rows.size)
    height_m = np.ascontiguousarray(surface.height_m, np.float32)
    lowered_ground(
        height_m,
        surface.grid.spacing_x_m,
        surface.grid.spacing_y_m,
        0.0,
        0.0,
        0.0,
        on_lines(rows),
        on_lines(columns),
        found,
    )
    return found


def see_pairs(
    surface: Surface,
    maxima: Maxima | None,
    from_rows: Floats | float,
    from_columns: Floats | float,
    from_levels_m: Floats | float,
    to_rows: Floats | float,
    to_columns: Floats | float,
    to_levels_m: Floats | float,
    drop_per_m: Floats | float = 0.0,
    progress: Callable[[float], None] | None = None,
) -> Bytes:
    """Whether the second place of each pair is seen from the first, by the same definition as for posts.

    A target off the terrain or at a level that is not a number is unknown, and so is what an eye without
    a finite place and level would see. An eye off the terrain sees: ground off the terrain neither hides
    nor leaves in doubt.

    Parameters
    ----------
    surface : heights and cover
    maxima : ``Maxima.over(surface)``, shared by many calls; None makes one if it is worth it
    from_rows, from_columns : eyes, fractional places on the lattice
    to_rows, to_columns : targets, likewise
    from_levels_m, to_levels_m : metres in the terrain's datum, not lowered
    drop_per_m : of each eye; a target at d metres on the grid stands lower by this times d squared
    progress : called with the share done, 0 to 1, from the calling thread

    All are (n,) or one number for all pairs.

    Returns
    -------
    (n,) uint8, GroundState HIDDEN, VISIBLE, UNKNOWN or, by cover alone, UNCERTAIN
    """
    light = light_of_pairs(
        surface,
        maxima,
        from_rows,
        from_columns,
        from_levels_m,
        to_rows,
        to_columns,
        to_levels_m,
        drop_per_m,
        progress,
    )
    return np.where(np.isnan(light), np.uint8(GroundState.UNKNOWN), state_of_light(light))


def light_of_pairs(
    surface: Surface,
    maxima: Maxima | None,
    from_rows: Floats | float,
    from_columns: Floats | float,
    from_levels_m: Floats | float,
    to_rows: Floats | float,
    to_columns: Floats | float,
    to_levels_m: Floats | float,
    drop_per_m: Floats | float = 0.0,
    progress: Callable[[float], None] | None = None,
) -> Floats:
    """Share of sight that comes through between the places of each pair; as ``see_pairs`` otherwise.

    Returns
    -------
    (n,) float64, 1 visible, 0 hidden, between by cover alone, NaN unknown; see ``PointSight.light``
    """
    lines = _lines_of_pairs(
        drop_per_m, from_rows, from_columns, from_levels_m, to_rows, to_columns, to_levels_m
    )
    above_m = lines[6]  # without cover nobody asks
    if surface.cover is not None and surface.cover.hides:
        above_m = lines[6] - between_posts(surface.height_m, lines[4], lines[5])
    return _judged(surface, maxima, lines, above_m, lowered=False, state_only=True, progress=progress)[1]


def clearance_of_pairs(
    surface: Surface,
    maxima: Maxima | None,
    from_rows: Floats | float,
    from_columns: Floats | float,
    from_levels_m: Floats | float,
    to_rows: Floats | float,
    to_columns: Floats | float,
    to_levels_m: Floats | float,
    drop_per_m: Floats | float = 0.0,
    progress: Callable[[float], None] | None = None,
    *,
    state_only: bool = False,
) -> Floats:
    """Clearance of the second place of each pair, as seen from the first; as ``see_pairs`` otherwise.

    state_only : only sign and NaN of what is returned mean anything; several times as fast

    Returns
    -------
    (n,) float64, metres; >= 0 visible, < 0 hidden by that much, +inf where no ground is nearer, NaN unknown
    """
    lines = _lines_of_pairs(
        drop_per_m, from_rows, from_columns, from_levels_m, to_rows, to_columns, to_levels_m
    )
    # Clearance does not hang on whether a target is inside cover.
    above_m = np.full(lines[0].shape, np.inf)
    found, _ = _judged(
        surface, maxima, lines, above_m, lowered=False, state_only=state_only, progress=progress
    )
    return found.clearance_m


def _lines_of_pairs(*values: Floats | float) -> list[Floats]:
    """The same as arrays (n,), as ``_walk`` takes them."""
    *lines, _ = np.broadcast_arrays(*(np.asarray(one, np.float64) for one in values), np.empty(1))
    return lines


def _judged(
    surface: Surface,
    maxima: Maxima | None,
    lines: Sequence[Floats],
    above_ground_m: Floats,
    *,
    lowered: bool,
    state_only: bool,
    progress: Callable[[float], None] | None = None,
) -> tuple[Clear, Floats]:
    """Clearance and crest fraction of sight lines, and the share of sight that comes through.

    above_ground_m : (n,) height of the targets above the ground; the rest as for ``_walk``
    """
    grid, cover = surface.grid, surface.cover
    every = Clear(
        *_walk(
            grid, surface.blocking_m, maxima, lines, lowered=lowered, state_only=state_only, progress=progress
        )
    )
    if cover is None or not cover.hides:
        with np.errstate(invalid="ignore"):
            light = np.where(every.clearance_m >= 0, 1.0, 0.0)
        light[np.isnan(every.clearance_m)] = np.nan
        return every, light
    drop, from_row, from_column, level_m, row, column, target_m = lines
    row, column = on_lines(row), on_lines(column)
    down_m, right_m = (row - from_row) * grid.spacing_y_m, (column - from_column) * grid.spacing_x_m
    fall_m = drop * (down_m**2 + right_m**2)
    asked = Lines(
        np.column_stack((on_lines(from_row), on_lines(from_column), level_m, drop)),
        row,
        column,
        target_m if lowered else target_m - fall_m,
    )
    # Elsewhere the answer is unknown, and no line can be followed.
    known = np.isfinite(asked.eyes).all(axis=1) & np.isfinite(row + column)
    asked = asked.some(known)
    opaque = every = every.some(known)
    if cover.lets_pass:
        # The way through a wood needs a target's height; so do the lines that all of them cross.
        chosen = [values[known] for values in lines]
        opaque = Clear(*_walk(grid, surface.opaque_m, maxima, chosen, lowered=lowered, state_only=state_only))
    if cover.screens.height_m.any():
        screens, one = screens_over(surface, asked), opaque is every
        every = every.with_screens(asked, screens)
        opaque = every if one else opaque.with_screens(asked, screens)
    inside = inside_cover(surface, row, column, above_ground_m)
    eye_m = between_posts(surface.height_m, from_row, from_column)
    inside |= inside_cover(surface, from_row, from_column, level_m - eye_m)
    found, light = decided(surface, asked, every, opaque, inside[known], maxima)
    clearance_m, fraction, all_light = (np.full(row.size, np.nan) for _ in range(3))
    clearance_m[known], fraction[known], all_light[known] = found.clearance_m, found.fraction, light
    return Clear(clearance_m, fraction), all_light


def _walk(
    grid: Grid,
    blocking_m: Floats32,
    maxima: Maxima | None,
    lines: Sequence[Floats],
    *,
    lowered: bool,
    state_only: bool,
    progress: Callable[[float], None] | None = None,
) -> tuple[Floats, Floats]:
    """Clearance and crest fraction of sight lines over heights (rows, columns) that block, or their ladder.

    maxima : of no lower heights
    lines : (n,) arrays: drop; row, column, level of the eye; row, column, level of the target
    lowered : whether the targets' levels are lowered as seen from the eyes
    """
    height_m = np.ascontiguousarray(blocking_m, np.float32)
    number = lines[0].size
    # Block maxima cost about as much as a look at every post.
    if maxima is None and number * (grid.rows + grid.columns) > height_m.size:
        maxima = Maxima.of(height_m)
    ladder = maxima if maxima is not None else _no_maxima(height_m.shape)
    if ladder.shape != height_m.shape:
        raise ValueError(f"block maxima of {ladder.shape} posts do not fit {height_m.shape}")
    clearance_m, fraction = np.empty(number), np.empty(number)
    order = _by_square(lines[1], lines[2]) if number > _LINES_AT_A_TIME else None

    def some(first: int, last: int) -> None:
        chosen = slice(first, last) if order is None else order[first:last]
        found = np.empty((2, last - first))
        walks.clearance_of_pairs(
            height_m,
            ladder.ladder_m,
            ladder.ladder_void,
            ladder.offsets,
            ladder.any_void,
            grid.spacing_x_m,
            grid.spacing_y_m,
            np.stack([values[chosen] for values in lines]),
            lowered,
            state_only,
            found,
        )
        clearance_m[chosen], fraction[chosen] = found

    in_slices(some, number, _LINES_AT_A_TIME, progress)
    return clearance_m, fraction


def _no_maxima(shape: tuple[int, ...]) -> Maxima:
    """A ladder without rungs, for walks that look at every crossing; a void may be anywhere."""
    nothing = np.empty(0, np.float32), np.empty(0, np.bool_), np.empty(0, np.int64)
    return Maxima(*nothing, any_void=True, shape=(shape[0], shape[1]))


def _by_square(rows: Floats, columns: Floats) -> Integers | None:
    """An order in which eyes near each other follow each other; None if all are near anyway."""
    with np.errstate(invalid="ignore"):
        squares = [np.nan_to_num(values // _SQUARE_POSTS).clip(0, 254) for values in (rows, columns)]
    key = (squares[0] * 255 + squares[1]).astype(np.uint16)
    return None if (key == key[0]).all() else np.argsort(key, kind="stable")
