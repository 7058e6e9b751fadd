"""What cover makes of a sweep's answers: screens that cross the ways, woods that let some sight pass."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from hillsight.sight.inside import mark_inside
from hillsight.sight.under_cover import (
    Clear,
    Lines,
    decided,
    eye_is_inside,
    is_inside,
    lowered_targets,
    screens_over,
    state_of_light,
)
from hillsight.words.states import GroundState

if TYPE_CHECKING:
    from collections.abc import Callable

    from hillsight.arrays import Bytes, Flags, Floats, Floats32, Integers
    from hillsight.ground.grid import Surface
    from hillsight.sight.answers import Answers
    from hillsight.sight.maxima import Maxima
    from hillsight.sight.viewing import Eye

#: Posts that are looked at together: more would need much memory.
_AT_A_TIME = 1 << 19

_NO_LIGHT = np.empty(0, np.float32)


@dataclass(frozen=True)
class SweptPosts:
    """The answers of one eye over all that stands on the ground, and over what lets no sight pass.

    answers : over all; screens are not among it yet; changed by ``decide``
    opaque : over what lets no sight pass; the same object where nothing lets any
    light : (posts of asked,) float32 is filled with the share of sight that comes through from the first
        target's place; of no posts where it is not asked for
    maxima : of the surface
    """

    surface: Surface
    eye: Eye
    target_heights_m: Floats
    answers: Answers
    opaque: Answers
    light: Floats32
    maxima: Maxima

    def decide(self, progress: Callable[[float], None] | None = None) -> None:
        """Bring screens and woods into the answers, and doubt where eye or target is inside cover."""
        size = self.answers.states.shape[1]
        for first in range(0, size, _AT_A_TIME):
            self._some(first, min(first + _AT_A_TIME, size))
            if progress is not None:
                progress(min(first + _AT_A_TIME, size) / size)

    def _some(self, first: int, last: int) -> None:
        part = slice(first, last)
        for target, height_m in enumerate(self.target_heights_m):
            light = self.light[part] if target == 0 else _NO_LIGHT
            mark_inside(self.answers.states[target, part], self._tallest_m[part], float(height_m), light)
        if self.opaque is not self.answers or self._with_screens:
            chosen = first + np.flatnonzero(self._to_look_at(part))
            if chosen.size:
                self._look(chosen)

    @cached_property
    def _with_screens(self) -> bool:
        assert self.surface.cover is not None
        return bool(self.surface.cover.screens.height_m.any())

    @cached_property
    def _tallest_m(self) -> Floats32:
        """(posts of asked,) height of what stands at each post; infinite where the eye is inside cover."""
        if eye_is_inside(self.surface, self.eye):
            return np.full(self.answers.states.shape[1], np.inf, np.float32)
        row, column, rows, columns = self.answers.asked
        assert self.surface.cover is not None
        return self.surface.cover.tallest_m[row : row + rows, column : column + columns].ravel()

    def _to_look_at(self, part: slice) -> Flags:
        """Posts whose answer a screen or a wood may change."""
        every, opaque = self.answers.states[:, part], self.opaque.states[:, part]
        open_to_sight = (opaque != GroundState.HIDDEN) & (opaque != GroundState.BEYOND)
        look: Flags
        if self._with_screens:
            look = open_to_sight.any(axis=0)
            if self.answers.clearance_m.size:
                look = every[0] != GroundState.BEYOND
        else:
            look = (open_to_sight & (every == GroundState.HIDDEN)).any(axis=0)
        return look

    def _places(self, chosen: Integers) -> tuple[Integers, Integers]:
        """Rows and columns on the surface's lattice."""
        asked = self.answers.asked
        return asked.row + chosen // asked.columns, asked.column + chosen % asked.columns

    def _look(self, chosen: Integers) -> None:
        eye, grid = self.eye, self.surface.grid
        rows, columns = (np.asarray(v, np.float64) for v in self._places(chosen))
        ground_m = lowered_targets(self.surface, eye, rows, columns)
        distance_m = np.hypot((rows - eye.row) * grid.spacing_y_m, (columns - eye.column) * grid.spacing_x_m)
        eyes = np.array([[eye.row, eye.column, eye.level_m, eye.drop_per_m]])
        screens = None
        if self._with_screens:
            screens = screens_over(self.surface, Lines(eyes, rows, columns, ground_m))
        for target, height_m in enumerate(self.target_heights_m):
            lines = Lines(eyes, rows, columns, ground_m + height_m)
            every = opaque = self._clear(self.answers, target, chosen, distance_m)
            if self.opaque is not self.answers:
                opaque = self._clear(self.opaque, target, chosen, distance_m)
            if screens is not None:
                one = opaque is every
                every = every.with_screens(lines, screens)
                opaque = every if one else opaque.with_screens(lines, screens)
            inside = is_inside(self._tallest_m[chosen], float(height_m))
            found, light = decided(self.surface, lines, every, opaque, inside, self.maxima)
            self._write(target, chosen, found, light, distance_m)

    def _clear(self, answers: Answers, target: int, chosen: Integers, distance_m: Floats) -> Clear:
        """Answers as clearances; of targets whose clearance is not asked for the sign alone."""
        if target == 0 and answers.clearance_m.size:
            clearance_m = answers.clearance_m[chosen].astype(np.float64)
        else:
            states = answers.states[target, chosen]
            seen = (states == GroundState.VISIBLE) | (states == GroundState.UNCERTAIN)
            clearance_m = np.select([seen, states == GroundState.HIDDEN], [np.inf, -np.inf], np.nan)
        if target == 0 and answers.crest_distance_m.size:
            with np.errstate(invalid="ignore", divide="ignore"):
                fraction = answers.crest_distance_m[chosen] / distance_m
            return Clear(clearance_m, fraction)
        return Clear(clearance_m, np.zeros(chosen.size))

    def _write(self, target: int, chosen: Integers, found: Clear, light: Floats, distance_m: Floats) -> None:
        answers = self.answers
        state: Bytes = state_of_light(light)
        answers.states[target, chosen] = np.where(np.isnan(light), GroundState.UNKNOWN, state)
        if target > 0:
            return
        if answers.clearance_m.size:
            answers.clearance_m[chosen] = found.clearance_m
        if answers.crest_distance_m.size:
            # At the post under the eye the way has no length.
            crest_m = np.where(distance_m > 0, found.fraction * distance_m, 0.0)
            answers.crest_distance_m[chosen] = crest_m
        if self.light.size:
            self.light[chosen] = light
