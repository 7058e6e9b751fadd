"""The sighting that a careful observer would write of a view: the reverse of relocation."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.kinds.registry import KINDS
from hillsight.plan.statement import Statement
from hillsight.plan.weighing.questions import answer_chances, questions

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.plan.kinds.shared.kind import Question
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.weighing.statements import Weighing

#: Chance of an answer from which it is given, and from which it is given for sure.
_GIVEN_FROM, _SURE_FROM = 0.55, 0.85


def describe_view(glance: Glance, weighing: Weighing) -> tuple[Statement, ...]:
    """What would be said of the view from a place, near ground first.

    Parameters
    ----------
    weighing : its framing says which way the picture looks; several directions are averaged
    """
    weighing = replace(weighing, observer=weighing.observer.careful())
    prior = weighing.framing.prior
    told = [
        statement
        for question in questions([glance], weighing)
        if (statement := _answer(question, answer_chances(question, glance, weighing) @ prior)) is not None
    ]
    direction = int(np.argmax(prior))
    for kind in KINDS.values():
        told += kind.adds(weighing.case(Statement(kind.name, {}), glance, direction), told)
    kept = [one for one in told if not KINDS[one.kind].left_unsaid(one, told)]
    return tuple(sorted(kept, key=_place))


def _place(statement: Statement) -> float:
    """Where an observer writes it: near ground first, then the skyline, then things."""
    described = KINDS[statement.kind].described
    return np.inf if described is None else described


def _answer(question: Question, chances: Floats) -> Statement | None:
    best = int(np.argmax(chances))
    # With few answers to choose from, a majority says less.
    even = 1.0 / len(question.answers)
    if chances[best] < max(_GIVEN_FROM, even + 0.2):
        return None
    return replace(question.answers[best], sure="sure" if chances[best] >= _SURE_FROM else "likely")
