"""How likely each statement is to be made from a place, whichever way the picture looks."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.kinds.registry import KINDS
from hillsight.plan.kinds.shared.kind import Case
from hillsight.plan.vocabulary import SURENESS
from hillsight.words.english import folded
from hillsight.words.trust import least_trusted

if TYPE_CHECKING:
    from collections.abc import Hashable, Sequence

    from hillsight.arrays import Floats, Integers
    from hillsight.plan.look.framing import Framing
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.look.things import Things
    from hillsight.plan.observer import Observer
    from hillsight.plan.statement import Statement


@dataclass(frozen=True)
class Weighing:
    """What all statements of a sighting are weighed with.

    declination_deg : magnetic north's true bearing; None where no day is known
    """

    things: Things
    framing: Framing
    observer: Observer
    declination_deg: float | None = None

    def case(self, statement: Statement, glance: Glance, direction: int = 0) -> Case:
        """A statement held against what a place sees; direction is an index among the framing's headings."""
        return Case(
            statement, glance, self.things, self.framing, self.observer, self.declination_deg, direction
        )

    def fit(self, statement: Statement, glance: Glance) -> Floats:
        """Chance that a right statement would say this, for each direction the picture may look in, (h,)."""
        return KINDS[statement.kind].fit(self.case(statement, glance))

    def fits(self, statements: Sequence[Statement], glance: Glance) -> Floats:
        """The same for each statement, (s, h)."""
        found = [np.clip(self.fit(statement, glance), 0.0, 1.0) for statement in statements]
        return np.array(found).reshape(len(statements), self.framing.heading_deg.size)

    def of_one(self, what: str, row: int) -> Weighing:
        """The same where a name or kind stands for one thing alone."""
        return replace(self, things=self.things.of_one(what, row))

    def evidence_class(self, statement: Statement) -> str:
        """Trust class: the least trusted of its things; the ground itself is ground shape."""
        return least_trusted(map(self.things.evidence_class, statement.things), "ground_shape")


def topic(statement: Statement, things: Things | None = None) -> Hashable:
    """What a statement hangs on: whoever mistakes one thing for another is wrong in all that is said of it.

    Things are one topic if the same of the map are meant, however they are written; without ``things``, if
    they are written alike.
    """
    of_kind = KINDS[statement.kind].topic
    if of_kind is not None:
        return of_kind(statement)
    return tuple(sorted(_meant(what, things) for what in statement.things))


def _meant(what: str, things: Things | None) -> str:
    rows = [] if things is None else things.rows(what).tolist()
    return ",".join(map(str, rows)) if rows else folded(what)


def matters(statements: Sequence[Statement], things: Things | None = None) -> Integers:
    """Number of the matter that each statement is about, (s,), from 0 in order of first mention."""
    numbers: dict[Hashable, int] = {}
    return np.array([numbers.setdefault(topic(s, things), len(numbers)) for s in statements], np.int64)


def judgements(statements: Sequence[Statement], things: Things | None = None) -> Integers:
    """Number of what each statement judges, (s,), from 0: the same of one matter in words or in metres."""
    numbers: dict[Hashable, int] = {}

    def key(one: Statement) -> Hashable:
        return one.kind, one.part, topic(one, things), frozenset(k.removesuffix("_m") for k in one.values)

    return np.array([numbers.setdefault(key(s), len(numbers)) for s in statements], np.int64)


def wrong_chances(statements: Sequence[Statement]) -> Floats:
    """Chance that each statement is wrong altogether, (s,)."""
    return np.array([SURENESS[statement.sure] for statement in statements], np.float64)
