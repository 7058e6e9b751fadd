"""What an eye sees of every post around it."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.threads import in_slices
from hillsight.sight.answers import Answers, Look, SweepGround
from hillsight.sight.fan import open_fan
from hillsight.sight.field import FieldOfView
from hillsight.sight.maxima import Maxima
from hillsight.sight.octants import Window, octants
from hillsight.sight.posts_under_cover import SweptPosts
from hillsight.sight.sweep import walk_fan

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from hillsight.arrays import Bytes, Floats, Floats32
    from hillsight.ground.grid import Grid, Surface
    from hillsight.sight.octants import Octant
    from hillsight.sight.viewing import Eye

#: Wedges that an octant is cut into at the eye, to be shared out among cores. Fixed, so that results do not
#: depend on the machine.
_WEDGES = 2

_UNASKED = np.uint8(0)
_VISIBLE = np.uint8(3)


@dataclass(frozen=True)
class PostSight:
    """The view of every post of a surface.

    clearance_m : (rows, columns) float32, metres the target stands above the line grazing the highest
        nearer ground; >= 0 visible, < 0 hidden by that much; +inf where no ground is nearer; NaN
        unknown or outside the field
    crest_distance_m : (rows, columns) float32, metres on the grid from the eye to the ground that sets
        the grazing line of each post; 0 where none does; NaN outside the field; empty if not asked for
    light : (rows, columns) float32, share of sight that comes through: 1 visible, 0 hidden, between where
        woods let some pass or where eye or target is inside cover, NaN unknown or outside the field; of no
        posts where nothing stands on the ground. Clearance is over what stops more than half
    """

    clearance_m: Floats32
    crest_distance_m: Floats32
    light: Floats32 = field(default_factory=lambda: np.empty((0, 0), np.float32))


def distance_from_m(grid: Grid, eye: Eye) -> Floats:
    """Grid distance of every post from an eye, (rows, columns) float64, metres."""
    north_south_m = (np.arange(grid.rows) - eye.row) * grid.spacing_y_m
    east_west_m = (np.arange(grid.columns) - eye.column) * grid.spacing_x_m
    # The same arithmetic as the kernel's, so that both draw the reach through the same posts.
    distance: Floats = np.sqrt((north_south_m**2)[:, None] + (east_west_m**2)[None, :])
    return distance


def see_posts(
    surface: Surface,
    eye: Eye,
    field: FieldOfView | float,
    target_height_m: float = 0.0,
    progress: Callable[[float], None] | None = None,
    *,
    maxima: Maxima | None = None,
    crests: bool = True,
) -> PostSight:
    """Clearance of every post of a field of view.

    Parameters
    ----------
    surface : heights and cover; an eye off its posts sees them over nothing, as if there were no other ground
    eye : position on the surface's lattice, level, drop for curvature and refraction
    field : what is asked for; a number is its reach in metres on the grid
    target_height_m : metres above the ground at each post
    progress : called with the share done, 0 to 1, from the calling thread
    maxima : of the surface, if already made
    crests : whether to tell the distances of the crests, which takes half as long again

    Raises
    ------
    ValueError : the eye's position, level or drop is not a number
    """
    shape = (surface.grid.rows, surface.grid.columns)
    window = Window(0, 0, *shape)
    states = np.empty((1, shape[0] * shape[1]), np.uint8)
    clearance_m = np.empty(states.size, np.float32)
    crest_distance_m = np.empty(states.size if crests else 0, np.float32)
    answers = Answers(window, states, clearance_m, crest_distance_m)
    light = light_for(surface, clearance_m.size)
    _see(surface, eye, field, [target_height_m], answers, light, maxima, progress)
    return PostSight(
        clearance_m.reshape(shape),
        crest_distance_m.reshape(shape if crests else (0, 0)),
        light.reshape(shape if light.size else (0, 0)),
    )


def see_states(
    surface: Surface,
    eye: Eye,
    field: FieldOfView | float,
    target_heights_m: float | Sequence[float] = 0.0,
    progress: Callable[[float], None] | None = None,
    *,
    maxima: Maxima | None = None,
) -> Bytes:
    """State of every post of a field of view; several times quicker than its clearance.

    Parameters are those of see_posts; ``target_heights_m`` may be several.

    Returns
    -------
    codes of GroundState, BEYOND outside the field, UNCERTAIN by cover alone, (rows, columns) or, of several
    target heights, (targets, rows, columns)
    """
    shape = (surface.grid.rows, surface.grid.columns)
    heights = np.atleast_1d(np.asarray(target_heights_m, np.float64))
    states = np.empty((heights.size, shape[0] * shape[1]), np.uint8)
    nothing = np.empty(0, np.float32)
    answers = Answers(Window(0, 0, *shape), states, nothing, nothing)
    _see(surface, eye, field, heights, answers, nothing, maxima, progress)
    return states.reshape((*np.shape(target_heights_m), *shape))


def _see(
    surface: Surface,
    eye: Eye,
    field: FieldOfView | float,
    target_heights_m: Sequence[float] | Floats,
    answers: Answers,
    light: Floats32,
    maxima: Maxima | None,
    progress: Callable[[float], None] | None,
) -> None:
    field = field if isinstance(field, FieldOfView) else FieldOfView(field)
    ground = GroundToSweep.of(surface, maxima)
    heights = np.asarray(target_heights_m, np.float64)
    answer(ground, eye, field, heights, answers, light, progress, alone=True)


@dataclass(frozen=True)
class GroundToSweep:
    """A surface made ready for the sweeps of many eyes.

    every : with all that stands on the ground
    opaque : with what lets no sight pass; None where nothing on the ground lets any
    maxima : of the surface
    """

    surface: Surface
    every: SweepGround
    opaque: SweepGround | None
    maxima: Maxima

    @classmethod
    def of(cls, surface: Surface, maxima: Maxima | None = None) -> GroundToSweep:
        """With ``Maxima.over(surface)``, if there are any."""
        maxima = Maxima.over(surface) if maxima is None else maxima
        every, cover = ground_of(surface, maxima), surface.cover
        if cover is None or not cover.lets_pass:
            return cls(surface, every, None, maxima)
        opaque_m = np.ascontiguousarray(surface.opaque_m, np.float32).ravel()
        # What is highest with the woods is no lower than what is without.
        return cls(surface, every, every._replace(heights_m=opaque_m), maxima)


def light_for(surface: Surface, posts: int) -> Floats32:
    """Room for the shares of sight that come through; for none where nothing stands on the ground."""
    return np.empty(posts if surface.cover is not None and surface.cover.hides else 0, np.float32)


def answer(
    ground: GroundToSweep,
    eye: Eye,
    field: FieldOfView,
    target_heights_m: Floats,
    answers: Answers,
    light: Floats32,
    progress: Callable[[float], None] | None = None,
    *,
    alone: bool = False,
) -> None:
    """Fill the answers of one eye, and the shares of sight that come through if there is room for them.

    alone : whether to spread the eye's octants over the cores, and not leave them to other eyes

    Raises
    ------
    ValueError : the eye's position, level or drop is not a number
    """
    surface = ground.surface
    sweep(surface.grid, eye, field, target_heights_m, ground.every, answers, progress, alone=alone)
    if surface.cover is None or not surface.cover.hides:
        return
    opaque = answers
    if ground.opaque is not None:
        opaque = answers._replace(
            states=np.empty_like(answers.states),
            clearance_m=np.empty_like(answers.clearance_m),
            crest_distance_m=np.empty_like(answers.crest_distance_m),
        )
        sweep(surface.grid, eye, field, target_heights_m, ground.opaque, opaque, alone=alone)
    SweptPosts(surface, eye, target_heights_m, answers, opaque, light, ground.maxima).decide()


def sweep(
    grid: Grid,
    eye: Eye,
    field: FieldOfView,
    target_heights_m: Floats,
    ground: SweepGround,
    answers: Answers,
    progress: Callable[[float], None] | None = None,
    *,
    alone: bool = False,
) -> None:
    """Fill the answers of one eye over one ground, screens apart.

    alone : whether to spread the eye's octants over the cores, and not leave them to other eyes

    Raises
    ------
    ValueError : the eye's position, level or drop is not a number
    """
    look = look_of(eye, field, target_heights_m)
    ask(grid, eye, field, ground, answers, alone=alone)
    wedges = wedges_of(grid, eye, field)

    def some(first: int, last: int) -> None:
        for octant, first_u, last_u in wedges[first:last]:
            fan = open_fan(octant, first_u, last_u)
            walk_fan(octant, ground, look, answers, fan, octant.posts_along, False)

    in_slices(some, len(wedges), 1 if alone else len(wedges), progress)
    answer_underfoot(eye, ground, answers)


def ground_of(surface: Surface, maxima: Maxima) -> SweepGround:
    """A surface as the sweep reads it, with all that stands on it.

    maxima : ``Maxima.over(surface)``
    """
    heights_m = np.ascontiguousarray(surface.blocking_m, np.float32).ravel()
    ground_m = np.empty(0, np.float32)
    if surface.cover is not None and surface.cover.raises:
        ground_m = np.ascontiguousarray(surface.height_m, np.float32).ravel()
    window = Window(0, 0, surface.grid.rows, surface.grid.columns)
    blocks = maxima.highest_16, maxima.has_void_16, maxima.any_void
    return SweepGround(window, heights_m, ground_m, *blocks)


def look_of(eye: Eye, field: FieldOfView, target_heights_m: Floats) -> Look:
    """What an eye asks of the ground.

    Raises
    ------
    ValueError : the eye's position, level or drop is not a number
    """
    if not np.isfinite([eye.row, eye.column, eye.level_m, eye.drop_per_m]).all():
        raise ValueError(f"an eye must stand somewhere: {eye}")
    tallest_m = max(0.0, float(target_heights_m.max()))
    level_m, drop_per_m = float(eye.level_m), float(eye.drop_per_m)
    return Look(level_m, drop_per_m, float(field.reach_m), target_heights_m, tallest_m)


def ask(
    grid: Grid, eye: Eye, field: FieldOfView, ground: SweepGround, answers: Answers, *, alone: bool
) -> None:
    """Mark the posts of the field in the answers, before the sweep."""
    values = (answers.clearance_m, answers.crest_distance_m)
    field.ask(
        grid,
        eye,
        answers.asked,
        ground.held,
        ground.heights_m,
        ground.any_void,
        answers.states,
        tuple(array for array in values if array.size),
        alone=alone,
    )


def wedges_of(grid: Grid, eye: Eye, field: FieldOfView) -> list[tuple[Octant, float, float]]:
    """The octants around an eye, cut into wedges; those beside the field left out."""
    edges = np.linspace(0.0, 1.0, _WEDGES + 1)
    return [
        (octant, float(first), float(last))
        for octant in octants(eye, grid.rows, grid.columns, grid.spacing_x_m, grid.spacing_y_m)
        for first, last in pairwise(edges)
        if field.crosses(octant, float(first), float(last))
    ]


def answer_underfoot(eye: Eye, ground: SweepGround, answers: Answers) -> None:
    """The post that an eye stands over, which no sweep away from it comes to, is seen."""
    row, column = int(eye.row), int(eye.column)
    asked, held = answers.asked, ground.held
    if not (eye.row == row and eye.column == column):
        return
    if not (0 <= row - asked.row < asked.rows and 0 <= column - asked.column < asked.columns):
        return
    place = (row - asked.row) * asked.columns + column - asked.column
    height_place = (row - held.row) * held.columns + column - held.column
    if answers.states[0, place] == _UNASKED:
        return
    if answers.crest_distance_m.size:
        answers.crest_distance_m[place] = 0.0
    if np.isnan(ground.heights_m[height_place]):
        return
    answers.states[:, place] = _VISIBLE
    if answers.clearance_m.size:
        answers.clearance_m[place] = np.inf
