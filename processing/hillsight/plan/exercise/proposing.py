"""Proposes whole exercises on a piece of ground, theme by theme, in an order drawn by seed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.exercise.judgement import JUDGEMENTS
from hillsight.plan.exercise.look_alikes import ALIKE_UP_TO, alike_first, look_alikes
from hillsight.plan.exercise.themes import SAID_FROM, SAID_UP_TO

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats
    from hillsight.plan.exercise.at_a_glance import AtAGlance
    from hillsight.plan.exercise.close_looks import CloseLooker
    from hillsight.plan.exercise.look_alikes import LookAlike
    from hillsight.plan.exercise.quick_looks import QuickLooks
    from hillsight.plan.exercise.themes import Contrast
    from hillsight.plan.statement import Statement

#: No two true spots stand nearer together than this, metres on the grid.
TRUE_APART_M = 500.0

#: Wrong places are sought within so much of the true one: farther off nobody mistakes the one for the other.
_WITHIN_M = 3_000.0

#: Places looked at with care for one true spot, and how many more wrong ones than are wanted are handed on.
_LOOKED_AT, _SPARE = 12, 2

#: More matters than these make a wrong place no surer.
_MATTERS = 4

#: True spots tried for each theme for one exercise, before the next theme has its turn.
_TRIES = 4


#: Why a true spot has no exercise.
_UNLIKE = "too few places that look alike have the theme the other way"
_CUT = "the terrain ends in the picture"
_NOT_SAID = "looked at with care, the theme does not show plainly at the true spot"
_NOT_OTHERWISE = "looked at with care, the theme shows the other way, within the terrain, at too few places"
_NOT_APART = "the ground tells too few of the places that look alike from the true spot"


@dataclass(frozen=True)
class Proposal:
    """An exercise proposed: a true spot, a direction, and wrong places, alike and most telling first.

    says : what is said of the true place on its theme, and not of the wrong ones
    """

    theme: str
    about: str
    number: int
    direction_deg: float
    wrong: tuple[LookAlike, ...]
    says: tuple[Statement, ...]


@dataclass
class Tally:
    """How many of each theme were looked at, judged and found sound, and why the rest were dropped."""

    looked_at: Counter[str] = field(default_factory=Counter)
    judged: Counter[str] = field(default_factory=Counter)
    sound: Counter[str] = field(default_factory=Counter)
    dropped: Counter[str] = field(default_factory=Counter)


@dataclass(frozen=True)
class Proposer:
    """All that exercises are proposed from.

    allowed : (n,) where somebody may stand
    looker_for : a close looker for a picture in a direction, degrees from true north, of a theme, from some
        places (k, 2)
    """

    looks: QuickLooks
    glance: AtAGlance
    contrasts: Sequence[Contrast]
    allowed: Flags
    looker_for: Callable[[float, str, Floats], CloseLooker]
    wrong: int
    seed: int

    def proposals(
        self, theme: str, taken_m: Sequence[tuple[float, float]], tally: Tally
    ) -> Iterator[Proposal]:
        """Exercises of a theme, none near the spots that are taken, which may grow meanwhile."""
        random = np.random.default_rng((self.seed, *theme.encode()))
        entries = [
            (number, place, direction)
            for number, one in enumerate(self.contrasts)
            if one.theme == theme
            for place, direction in self._promising(one)
        ]
        for k in random.permutation(len(entries)):
            number, place, direction = entries[k]
            if self._is_free(place, taken_m):
                tally.looked_at[theme] += 1
                found = self._proposal(self.contrasts[number], place, direction)
                if isinstance(found, Proposal):
                    yield found
                else:
                    tally.dropped[found] += 1

    def promising(self, theme: str) -> int:
        """How many true spots and directions a theme has on this ground."""
        return sum(len(self._promising(one)) for one in self.contrasts if one.theme == theme)

    def _promising(self, contrast: Contrast) -> list[tuple[int, int]]:
        """Places and directions that have enough of the other way within reach."""
        sides = contrast.sides() * self.allowed[:, None]
        enough = {side: (sides == side).sum(axis=0) >= self.wrong for side in (-1.0, 1.0)}
        fits = ((sides > 0) & enough[-1.0]) | ((sides < 0) & enough[1.0])
        return [(int(p), int(d)) for p, d in zip(*np.nonzero(fits), strict=True)]

    def _is_free(self, place: int, taken_m: Sequence[tuple[float, float]]) -> bool:
        east, north = self.spot(place)
        return all(np.hypot(east - e, north - n) >= TRUE_APART_M for e, n in taken_m)

    def spot(self, place: int) -> tuple[float, float]:
        """Easting and northing of a place."""
        return float(self.looks.easting_m[place]), float(self.looks.northing_m[place])

    def _proposal(self, contrast: Contrast, place: int, direction: int) -> Proposal | str:
        """An exercise about a place, or why there is none."""
        sides = contrast.sides()[:, direction]
        east, north = self.looks.easting_m, self.looks.northing_m
        true_m = self.spot(place)
        other = self.allowed & (sides == -sides[place])
        other &= np.hypot(east - true_m[0], north - true_m[1]) <= _WITHIN_M
        unlike = self.glance.unlikeness(place, direction, contrast.without)
        if np.count_nonzero(other & (unlike <= ALIKE_UP_TO)) < self.wrong:
            return _UNLIKE
        numbers = alike_first(true_m, east, north, unlike, other, _LOOKED_AT)
        if len(numbers) < self.wrong:
            return _UNLIKE
        at = np.array([true_m, *(self.spot(int(k)) for k in numbers)])
        looker = self.looker_for(float(self.glance.directions_deg[direction]), contrast.theme, at)
        if looker.is_cut(true_m):
            return _CUT
        says = [s for s in contrast.says(float(sides[place])) if looker.says(s, true_m) >= SAID_FROM]
        if not says:
            return _NOT_SAID
        apart = [
            int(k)
            for k in numbers
            if not looker.is_cut(self.spot(int(k)))
            and any(looker.says(s, self.spot(int(k))) <= SAID_UP_TO for s in says)
        ]
        if len(apart) < self.wrong:
            return _NOT_OTHERWISE
        found = look_alikes(looker, true_m, apart, east, north, unlike)
        if len(found) < self.wrong:
            return _NOT_APART
        # Of those alike enough, the ones that can be told most surely: an exercise must be sound first.
        best = sorted(found, key=_worth)[: self.wrong + _SPARE]
        return Proposal(
            contrast.theme,
            contrast.about,
            place,
            float(self.glance.directions_deg[direction]),
            tuple(best),
            tuple(says),
        )


def _worth(one: LookAlike) -> tuple[int, int, float]:
    """Told apart by most matters first, as the terrain's errors may take one away; then by plainness."""
    return -min(one.telling, _MATTERS), JUDGEMENTS.index(one.judgement), one.unlike


def exercises_by_turns(
    proposer: Proposer,
    themes: Sequence[str],
    count: int,
    judged: Callable[[Proposal], bool],
    tally: Tally,
    progress: Callable[[float], None] | None = None,
) -> list[Proposal]:
    """So many sound exercises, a theme after the other by turns; fewer where the ground has no more.

    Parameters
    ----------
    judged : whether an exercise made of a proposal is sound
    """
    taken_m: list[tuple[float, float]] = []
    found: list[Proposal] = []
    waiting = {theme: proposer.proposals(theme, taken_m, tally) for theme in themes}
    while waiting and len(found) < count:
        for theme in list(waiting):
            for _ in range(_TRIES):
                proposal = next(waiting[theme], None)
                if proposal is None:
                    del waiting[theme]
                    break
                tally.judged[theme] += 1
                if judged(proposal):
                    tally.sound[theme] += 1
                    found.append(proposal)
                    taken_m.append(proposer.spot(proposal.number))
                    break
            if progress is not None:
                progress(len(found) / count)
            if len(found) == count:
                break
    return found
