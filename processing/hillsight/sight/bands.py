"""What an eye sees of terrain larger than memory: read band by band, outwards, and swept as it comes.

Each side of the eye is walked in bands of rows (or columns) that are read as they are needed; between bands
only the wedges and their horizons are kept. Bands end where blocks of posts end, so the sweep takes the same
steps as in memory and gives the same bits. What is held is the states (a byte a post and target), one band,
and the wedges (a few megabytes).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import CallError
from hillsight.ground.grid import Surface
from hillsight.kernels.threads import in_slices
from hillsight.sight.answers import Answers, SweepGround
from hillsight.sight.fan import open_fan
from hillsight.sight.field import FieldOfView
from hillsight.sight.maxima import MIDDLE as BLOCK
from hillsight.sight.maxima import Maxima
from hillsight.sight.octants import Window
from hillsight.sight.posts import answer_underfoot, ground_of, look_of, wedges_of
from hillsight.sight.sweep import walk_fan
from hillsight.sight.under_cover import eye_is_inside, is_inside
from hillsight.sight.viewing import Eye
from hillsight.words.states import GroundState

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from hillsight.arrays import Bytes, Floats, Floats32, Integers
    from hillsight.ground.cover import Cover
    from hillsight.ground.grid import Grid
    from hillsight.sight.fan import Fan
    from hillsight.sight.octants import Octant

    #: Gives the heights of a part of the lattice, (rows, columns) float32, NaN void.
    Read = Callable[[Window], Floats32]
    #: Gives what stands on a part of the lattice, of which the heights are at hand.
    CoverOn = Callable[[Window, Floats32], Cover | None]

_NO_VALUES = np.empty(0, np.float32)


def see_in_bands(
    read: Read,
    grid: Grid,
    eye: Eye,
    field: FieldOfView | float,
    target_heights_m: Sequence[float] | float = 0.0,
    progress: Callable[[float], None] | None = None,
    *,
    states: Bytes | None = None,
    band_posts: int = 16_000_000,
    cover_on: CoverOn | None = None,
) -> Bytes:
    """State of every post of a field of view, of terrain that is read as it is needed.

    Parameters
    ----------
    read : called from the calling thread with windows of at most about ``band_posts`` posts; quick for
        files that are stored in tiles
    grid : the whole lattice
    eye, field, target_heights_m, progress : as for see_states
    states : (targets, rows, columns) of the field's window, to be filled in place of a new array; it may
        lie in a file (numpy.memmap)
    band_posts : posts to read at a time; fewer take less memory and more reading
    cover_on : what stands on the ground, likewise asked for band by band; screens cannot be told

    Returns
    -------
    codes of GroundState, (rows, columns) of ``field.window(grid, eye)`` or, of several target heights,
    (targets, rows, columns); the same as see_states gives there, but that what only woods hide that let some
    sight pass is UNCERTAIN, however long the way through them is

    Raises
    ------
    CallError : there are screens
    ValueError : the eye's position, level or drop is not a number; ``states`` does not fit
    """
    field = field if isinstance(field, FieldOfView) else FieldOfView(field)
    source = _Source(grid, read, cover_on)
    heights = np.atleast_1d(np.asarray(target_heights_m, np.float64))
    found = _swept(source, eye, field, heights, progress, states, band_posts)
    if source.lets_pass:
        solid = _Source(grid, read, cover_on, opaque=True)
        opaque = _swept(solid, eye, field, heights, progress, None, band_posts)
        only_woods = (found == GroundState.HIDDEN) & (opaque != GroundState.HIDDEN)
        unknown = opaque[only_woods] == GroundState.UNKNOWN
        found[only_woods] = np.where(unknown, GroundState.UNKNOWN, GroundState.UNCERTAIN)
    return found.reshape((*np.shape(target_heights_m), *found.shape[1:]))


@dataclass
class _Source:
    """Where the bands come from.

    opaque : whether woods that let some sight pass are left out
    lets_pass : whether there have been any
    """

    grid: Grid
    read: Read
    cover_on: CoverOn | None
    opaque: bool = False
    lets_pass: bool = False

    def surface(self, window: Window) -> Surface:
        """Part of the lattice, with what stands on it."""
        heights_m = np.ascontiguousarray(self.read(window), np.float32)
        if heights_m.shape != (window.rows, window.columns):
            raise ValueError(f"{window} was asked for and {heights_m.shape} heights were read")
        cover = None if self.cover_on is None else self.cover_on(window, heights_m)
        if cover is not None and cover.screens.height_m.any():
            raise CallError(
                "walls, fences and hedges cannot be told of a view that is larger than memory",
                remedy="Give a shorter reach, or cover without lines",
                parameters=("reach", "cover"),
            )
        self.lets_pass |= cover is not None and cover.lets_pass
        return Surface(self.grid.part(*window), heights_m, cover)

    def ground(self, surface: Surface, window: Window) -> SweepGround:
        """The same as the sweep reads it."""
        ground = ground_of(surface, Maxima.over(surface))._replace(held=window)
        if self.opaque:
            ground = ground._replace(heights_m=np.ascontiguousarray(surface.opaque_m, np.float32).ravel())
        return ground


def _swept(
    source: _Source,
    eye: Eye,
    field: FieldOfView,
    target_heights_m: Floats,
    progress: Callable[[float], None] | None,
    states: Bytes | None,
    band_posts: int,
) -> Bytes:
    """States (targets, rows, columns) over one choice of what hides."""
    grid = source.grid
    look = look_of(eye, field, target_heights_m)
    asked = field.window(grid, eye)
    shape = (target_heights_m.size, asked.rows, asked.columns)
    if states is None:
        states = np.empty(shape, np.uint8)
    if states.shape != shape or states.dtype != np.uint8 or not states.flags.c_contiguous:
        raise ValueError(f"states must be {shape} uint8 without gaps, not {states.shape} {states.dtype}")
    answers = Answers(asked, states.reshape(target_heights_m.size, -1), _NO_VALUES, _NO_VALUES)
    field.ask(grid, eye, asked, asked, _NO_VALUES, False, answers.states, ())

    eye_inside = _eye_is_inside(source, eye)
    wedges = wedges_of(grid, eye, field)
    wedges.sort(key=_side)
    sides = [list(some) for _, some in groupby(wedges, _side)]
    ends = [max(_last_i(octant, field, first_u) for octant, first_u, _ in side) for side in sides]
    to_walk, walked = max(sum(ends), 1), 0
    for side, end_i in zip(sides, ends, strict=True):
        octants = [octant for octant, _, _ in side]
        fans = [open_fan(octant, first_u, last_u) for octant, first_u, last_u in side]
        for from_i, to_i in _bands(octants[0], end_i, band_posts):
            held = _held(octants, grid, from_i, to_i)
            surface = source.surface(held)
            ground = source.ground(surface, held)
            if ground.any_void:
                _mark_voids(ground, answers)

            def some(
                first: int,
                last: int,
                octants: list[Octant] = octants,
                fans: list[Fan] = fans,
                ground: SweepGround = ground,
                to_i: int = to_i,
            ) -> None:
                for k in range(first, last):
                    fans[k] = walk_fan(octants[k], ground, look, answers, fans[k], to_i, True)

            in_slices(some, len(fans), 1)
            _mark_inside(surface, held, target_heights_m, eye_inside, answers)
            walked += to_i - from_i
            if progress is not None:
                progress(min(walked / to_walk, 1.0))
    _answer_underfoot(source, eye, target_heights_m, eye_inside, answers)
    return states


def _side(wedge: tuple[Octant, float, float]) -> tuple[bool, int]:
    """Which way an octant is walked: octants walked the same way read the same bands."""
    octant = wedge[0]
    return octant.along_rows, octant.row_step if octant.along_rows else octant.column_step


def _last_i(octant: Octant, field: FieldOfView, first_u: float) -> int:
    """Row of an octant after the last that its wedges come to within the reach."""
    reach = field.reach_m / math.hypot(octant.along_m, first_u * octant.across_m) - octant.first_along
    return octant.posts_along if reach >= octant.posts_along else min(octant.posts_along, int(reach) + 2)


def _bands(octant: Octant, end_i: int, band_posts: int) -> Iterator[tuple[int, int]]:
    """Rows i from, to of one band after another, each ending where a block ends."""
    start = octant.row if octant.along_rows else octant.column
    step = octant.row_step if octant.along_rows else octant.column_step
    from_i = octant.first_i
    while from_i < end_i:
        at = (start + step * from_i) % BLOCK
        to_i = from_i + (BLOCK - at if step > 0 else at + 1)
        while to_i < end_i and (to_i + BLOCK - from_i) * 2 * (octant.first_along + to_i + BLOCK) < band_posts:
            to_i += BLOCK
        yield from_i, min(to_i, end_i)
        from_i = to_i


def _held(octants: list[Octant], grid: Grid, from_i: int, to_i: int) -> Window:
    """The part of the lattice that octants walked one way need for rows from_i to to_i, in whole blocks."""
    spans = []
    for octant in octants:
        widest = math.ceil(octant.first_along + to_i - octant.first_across) + 1
        last_j = max(min(octant.posts_across - 1, widest), octant.first_j)
        i, j = (from_i - (1 if from_i > 0 or octant.has_before else 0), to_i - 1), (octant.first_j, last_j)
        rows, columns = (i, j) if octant.along_rows else (j, i)
        spans.append(
            [
                *(octant.row + octant.row_step * k for k in rows),
                *(octant.column + octant.column_step * k for k in columns),
            ]
        )
    edges = np.array(spans)
    first_row, last_row = _whole_blocks(edges[:, :2], grid.rows)
    first_column, last_column = _whole_blocks(edges[:, 2:], grid.columns)
    return Window(first_row, first_column, last_row - first_row + 1, last_column - first_column + 1)


def _whole_blocks(places: Integers, posts: int) -> tuple[int, int]:
    """First and last row (or column) of the blocks that hold some, with what they share with the next."""
    first = max(int(places.min()), 0) // BLOCK * BLOCK
    return first, min(posts - 1, (int(places.max()) // BLOCK + 1) * BLOCK)


def _shared(held: Window, asked: Window) -> tuple[tuple[slice, slice], tuple[slice, slice]]:
    """Rows and columns of what two windows share, in the one and in the other."""
    top, left = max(held.row, asked.row), max(held.column, asked.column)
    bottom = max(min(held.row + held.rows, asked.row + asked.rows), top)
    right = max(min(held.column + held.columns, asked.column + asked.columns), left)
    one, other = (
        (slice(top - w.row, bottom - w.row), slice(left - w.column, right - w.column)) for w in (held, asked)
    )
    return one, other


def _states_there(answers: Answers, part: tuple[slice, slice]) -> Bytes:
    """States (targets, rows, columns) of part of what is asked, to be changed in place."""
    asked = answers.asked
    there: Bytes = answers.states.reshape(-1, asked.rows, asked.columns)[:, *part]
    return there


def _mark_voids(ground: SweepGround, answers: Answers) -> None:
    """Turn the asked posts of a band that are voids from HIDDEN to UNKNOWN."""
    part, there = _shared(ground.held, answers.asked)
    void = np.isnan(ground.heights_m.reshape(ground.held.rows, ground.held.columns)[part])
    states = _states_there(answers, there)
    states[void & (states == GroundState.HIDDEN)] = GroundState.UNKNOWN


def _mark_inside(
    surface: Surface, held: Window, target_heights_m: Floats, eye_inside: bool, answers: Answers
) -> None:
    """Turn the asked posts of a band that are seen, but from or inside cover, to UNCERTAIN."""
    if surface.cover is None:
        return
    part, there = _shared(held, answers.asked)
    tallest_m = surface.cover.tallest_m[part]
    for states, height_m in zip(_states_there(answers, there), target_heights_m, strict=True):
        doubtful = (states == GroundState.VISIBLE) & (eye_inside | is_inside(tallest_m, height_m))
        states[doubtful] = GroundState.UNCERTAIN


def _eye_is_inside(source: _Source, eye: Eye) -> bool:
    grid = source.grid
    if source.cover_on is None or not (0 <= eye.row <= grid.rows - 1 and 0 <= eye.column <= grid.columns - 1):
        return False
    row, column = int(eye.row), int(eye.column)
    around = Window(row, column, min(2, grid.rows - row), min(2, grid.columns - column))
    return eye_is_inside(
        source.surface(around), Eye(eye.row - row, eye.column - column, eye.level_m, eye.drop_per_m)
    )


def _answer_underfoot(
    source: _Source, eye: Eye, target_heights_m: Floats, eye_inside: bool, answers: Answers
) -> None:
    row, column = int(eye.row), int(eye.column)
    if not (0 <= row < source.grid.rows and 0 <= column < source.grid.columns):
        return
    window = Window(row, column, 1, 1)
    surface = source.surface(window)
    ground = source.ground(surface, window)
    if ground.any_void:
        _mark_voids(ground, answers)
    answer_underfoot(eye, ground, answers)
    _mark_inside(surface, window, target_heights_m, eye_inside, answers)
