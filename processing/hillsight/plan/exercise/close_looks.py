"""Two pictures looked at with care: by which answers they differ, and by how much.

The questions are those that a verdict asks (``plan.weighing.questions``), answered from the terrain taken at
its word; whether the answers hold although it errs is for ``soundness`` to say.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from hillsight.ground.stations import Station
from hillsight.plan.exercise.deciding import SAID_FROM, TIMES
from hillsight.plan.exercise.judgement import bits_apart, share_alike
from hillsight.plan.look.drawn import Draw, DrawnGround, bearings_in_pictures, drawn_glance
from hillsight.plan.relocation.summary import CUT_FROM
from hillsight.plan.weighing.questions import answer_chances, questions
from hillsight.plan.weighing.statements import topic

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Floats, Integers
    from hillsight.plan.kinds.shared.kind import Question
    from hillsight.plan.look.framing import Framing
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.look.looking import Looker
    from hillsight.plan.statement import Statement
    from hillsight.plan.weighing.statements import Weighing

#: What a fact must have beyond what decides, as most draws are against it: chance, and times as likely.
_SPARE_CHANCE, _SPARE_TIMES = 0.15, 1.5

#: Nothing is off: the ground, the place, the eye and the picture are as told.
_AS_TOLD = Draw(0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0)


@dataclass(frozen=True)
class Matter:
    """What one matter tells between a true place and a wrong one, by its question that tells most.

    bits : information of an answer given at the true place
    alike : share of answers that would be given at either place
    said : likeliest answer at the true place, and its chance there and at the wrong one
    """

    question: str
    evidence_class: str
    bits: float
    alike: float
    said: Statement
    true_chance: float
    wrong_chance: float

    @property
    def is_plain(self) -> bool:
        """Whether it would decide with something to spare, were the terrain right: see ``deciding``."""
        plainly_said = self.true_chance >= SAID_FROM + _SPARE_CHANCE
        return plainly_said and self.true_chance >= _SPARE_TIMES * TIMES * self.wrong_chance


@dataclass
class CloseLooker:
    """Looks with care from places over one piece of terrain, in one direction at a time.

    ground : the terrain taken at its word, which holds all places
    weighing : its framing is the picture's
    """

    looker: Looker
    ground: DrawnGround
    weighing: Weighing
    _seen: dict[tuple[float, float], Glance | None] = field(default_factory=dict, repr=False)
    _answers: dict[tuple[float, float], list[Floats]] = field(default_factory=dict, repr=False)
    _asked: list[Question] | None = field(default=None, repr=False)

    def looking(self, framing: Framing) -> CloseLooker:
        """The same for another picture."""
        return CloseLooker(self.looker, self.ground, replace(self.weighing, framing=framing))

    def glance(self, easting_m: float, northing_m: float) -> Glance | None:
        """What is seen from a place; None off the terrain."""
        key = easting_m, northing_m
        if key not in self._seen:
            place = self.looker.place(Station("", None, easting_m, northing_m, None, ""))
            self._seen[key] = drawn_glance(
                self.ground,
                place,
                _AS_TOLD,
                self.looker.viewing,
                self.weighing.things,
                self._bearings(),
                self.looker.far(place),
            )
        return self._seen[key]

    def is_cut(self, place_m: tuple[float, float]) -> bool:
        """Whether the terrain ends, or has a void, in more of the picture from a place than may be."""
        seen = self.glance(*place_m)
        return seen is None or self.weighing.framing.share_of(seen.is_cut) >= CUT_FROM

    def apart(self, true_m: tuple[float, float], wrong_m: tuple[float, float]) -> list[Matter]:
        """What tells a wrong place from the true one, by how much it tells, one question a matter."""
        if self._asked is None:
            true, wrong = self.glance(*true_m), self.glance(*wrong_m)
            seen = [one for one in (true, wrong) if one is not None]
            self._asked = questions(seen, self.weighing)
        best: dict[Hashable, Matter] = {}
        for question, here, there in zip(
            self._asked, self._answered(true_m), self._answered(wrong_m), strict=True
        ):
            likeliest = int(np.argmax(here))
            said = question.answers[likeliest]
            found = Matter(
                question.text,
                self.weighing.evidence_class(said),
                bits_apart(here, there),
                share_alike(here, there),
                said,
                float(here[likeliest]),
                float(there[likeliest]),
            )
            matter = topic(said, self.weighing.things)
            if matter not in best or _worth(found) > _worth(best[matter]):
                best[matter] = found
        return sorted(best.values(), key=lambda one: -one.bits)

    def says(self, statement: Statement, place_m: tuple[float, float]) -> float:
        """Chance that a statement would be made of the picture from a place, 0 to 1."""
        seen = self.glance(*place_m)
        if seen is None:
            return 0.0
        return float(self.weighing.fit(statement, seen) @ self.weighing.framing.prior)

    def _answered(self, place_m: tuple[float, float]) -> list[Floats]:
        """Chances of the answers to all questions at a place."""
        if place_m not in self._answers:
            seen, prior = self.glance(*place_m), self.weighing.framing.prior
            asked: Sequence[Question] = self._asked or ()
            self._answers[place_m] = [
                np.full(len(q.answers), 1.0 / len(q.answers))
                if seen is None
                else np.asarray(answer_chances(q, seen, self.weighing) @ prior, np.float64)
                for q in asked
            ]
        return self._answers[place_m]

    def _bearings(self) -> Integers:
        return bearings_in_pictures([self.weighing.framing])


def _worth(one: Matter) -> tuple[bool, float]:
    """What decides first, then what tells most."""
    return one.is_plain, one.bits
