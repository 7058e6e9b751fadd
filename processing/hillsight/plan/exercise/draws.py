"""What would be said from each place of an exercise, draw by draw of what is not known."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.look.drawn import draws
from hillsight.plan.relocation.drawn_fits import DrawnFits

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from hillsight.arrays import Flags, Floats
    from hillsight.plan.kinds.shared.kind import Question
    from hillsight.plan.look.drawn import Draw, Place
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.look.looking import Looker
    from hillsight.plan.weighing.statements import Weighing

#: One answer in twenty is given at random: nobody reads every picture right. As in ``weighing.questions``.
_AT_RANDOM = 0.05


@dataclass(frozen=True)
class AnswerChances:
    """Chances of answers to questions from several places.

    chances : of each place, of each draw, (q, a) with NaN after a question's last answer: (p, d, q, a)
    known : in which draws a place is on the terrain, (p, d)
    views : what the true place sees, by draw; None where it is off the terrain
    """

    chances: Floats
    known: Flags
    views: tuple[Glance | None, ...]


@dataclass(frozen=True)
class Asking:
    """Asks a careful observer the same questions at places, over ground as it may truly be.

    weighing : with the careful observer
    """

    looker: Looker
    weighing: Weighing
    questions: tuple[Question, ...]

    def of_places(
        self,
        places: Sequence[Place],
        truth: int,
        count: int,
        report: Callable[[float], None] | None = None,
    ) -> AnswerChances:
        """Answers in so many draws of ground, spots, eye and judgement.

        Ground, eye and judgement are drawn once for all places. Every spot is off by some 12 m each way (one
        standard deviation; ``look.drawn``): the picture's spot one way, the others at right angles to it, as
        nobody who argues for one of them is bound to the same error.
        """
        drawn = draws(count, self.weighing.observer)
        which = np.repeat(np.arange(len(places)), count)
        pairs = [
            draw if place == truth else replace(draw, east_m=-draw.north_m, north_m=draw.east_m)
            for place in range(len(places))
            for draw in drawn
        ]
        return self._asked(places, which, pairs, truth, count, report)

    def beside(self, places: Sequence[Place], count: int) -> AnswerChances:
        """The same from places as they are named, not beside them."""
        drawn = [replace(draw, east_m=0.0, north_m=0.0) for draw in draws(count, self.weighing.observer)]
        which = np.repeat(np.arange(len(places)), count)
        return self._asked(places, which, drawn * len(places), -1, count, None)

    def _asked(
        self,
        places: Sequence[Place],
        which: np.ndarray,
        drawn: Sequence[Draw],
        truth: int,
        count: int,
        report: Callable[[float], None] | None,
    ) -> AnswerChances:
        most = max((len(question.answers) for question in self.questions), default=0)
        chances = np.full((which.size, len(self.questions), most), np.nan)
        known = np.zeros(which.size, bool)
        views: list[Glance | None] = [None] * count
        statements = [answer for question in self.questions for answer in question.answers]
        fits = DrawnFits(self.looker, self.weighing, statements)
        for k, view, weighing in fits.looks(places, which, drawn, report):
            if view is None:
                continue
            known[k] = True
            chances[k] = said(self.questions, view, weighing, most)
            if which[k] == truth:
                views[k % count] = view
        shape = len(places), count
        return AnswerChances(chances.reshape(*shape, *chances.shape[1:]), known.reshape(shape), tuple(views))


def said(questions: Sequence[Question], view: Glance, weighing: Weighing, most: int) -> Floats:
    """Chance of every answer over the picture's directions, (q, most), NaN beyond a question's last."""
    found = np.full((len(questions), most), np.nan)
    if not questions:
        return found
    statements = [answer for question in questions for answer in question.answers]
    counts = np.array([len(question.answers) for question in questions])
    starts = np.concatenate(([0], np.cumsum(counts)[:-1]))
    fits = weighing.fits(statements, view)
    # Where no answer fits, as the thing does not show, none is likely: it is not as if all were.
    right = fits / np.repeat(np.maximum(np.add.reduceat(fits, starts, axis=0), 1.0), counts, axis=0)
    chances = (1.0 - _AT_RANDOM) * right @ weighing.framing.prior + _AT_RANDOM / np.repeat(counts, counts)
    at = np.repeat(np.arange(len(questions)), counts)
    found[at, np.arange(len(statements)) - np.repeat(starts, counts)] = chances
    return found
