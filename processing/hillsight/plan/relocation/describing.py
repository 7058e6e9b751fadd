"""The sighting that a careful observer would write of a view: the reverse of relocation."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.kinds.registry import KINDS
from hillsight.plan.statement import Statement
from hillsight.plan.weighing.questions import answer_chances, questions
from hillsight.plan.weighing.statements import matters

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Floats
    from hillsight.plan.kinds.shared.kind import Question
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.weighing.statements import Weighing

#: Chance of an answer from which it is given, and from which it is given for sure.
_GIVEN_FROM, _SURE_FROM = 0.55, 0.85

#: What a further statement of one kind, and of one matter, tells of what the first one does.
_NEXT_OF_KIND, _NEXT_OF_MATTER = 0.75, 0.5

#: No statement is less likely than this anywhere.
_LEAST = 0.02


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


def most_telling(
    statements: Sequence[Statement],
    glance: Glance,
    others: Sequence[Glance],
    weighing: Weighing,
    count: int,
) -> tuple[Statement, ...]:
    """So many of the statements made of a view, those first that tell most of where it was taken.

    A statement tells as much as it is likelier there than at other places about (bits); each further one of
    its kind, or of its matter, tells less that is new, and works of man come after ground and water.

    Parameters
    ----------
    others : looked from, of the same things; without any the order stays as it is
    """
    if not others or not statements:
        return tuple(statements[:count])
    prior = weighing.framing.prior
    here = weighing.fits(statements, glance) @ prior
    there = np.mean([weighing.fits(statements, other) @ prior for other in others], axis=0)
    bits = np.log2(np.maximum(here, _LEAST) / np.maximum(there, _LEAST))
    matter = matters(statements, weighing.things)
    left, chosen = list(range(len(statements))), list[int]()

    def worth(k: int) -> float:
        kinds = sum(statements[m].kind == statements[k].kind for m in chosen)
        same = sum(matter[m] == matter[k] for m in chosen)
        trusted = 1.0 if weighing.evidence_class(statements[k]) in ("ground_shape", "water") else 0.5
        less: float = _NEXT_OF_KIND**kinds * _NEXT_OF_MATTER**same
        return float(bits[k]) * trusted * less

    while left and len(chosen) < count:
        best = max(left, key=worth)
        chosen.append(best)
        left.remove(best)
    return tuple(statements[k] for k in chosen)


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
