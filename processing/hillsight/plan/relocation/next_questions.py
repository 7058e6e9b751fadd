"""The next question: which observation would best separate the candidates that remain."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.sighting.wording import statement_words
from hillsight.plan.verdict import NextQuestion
from hillsight.plan.weighing.questions import answer_chances, information, is_answered, questions

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Floats
    from hillsight.plan.kinds.shared.kind import Question
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.statement import Statement
    from hillsight.plan.weighing.statements import Weighing


#: Information below which a question is not worth asking, bits.
_LEAST_BITS = 0.02

_LOOK = {
    "anywhere": "anywhere in the picture",
    "left": "in the left third of the picture",
    "middle": "in the middle third of the picture",
    "right": "in the right third of the picture",
    "left half": "in the left half of the picture",
    "right half": "in the right half of the picture",
}


def next_questions(
    glances: Sequence[Glance],
    weighing: Weighing,
    directions: Floats,
    posterior: Floats,
    told: Sequence[Statement],
    most: int = 3,
) -> tuple[NextQuestion, ...]:
    """The questions whose answers tell most about the candidate, best first.

    Parameters
    ----------
    glances : of the candidates, with all things that may be asked about
    directions : (c, h) probability of each direction from each candidate
    posterior : (c,) of the candidates
    told : statements already made: they are not asked for again
    """
    shares = posterior / posterior.sum()
    two = np.argsort(-shares, kind="stable")[:2]
    found: list[tuple[float, Question, Floats]] = []
    for question in questions(glances, weighing):
        if any(is_answered(question, statement) for statement in told):
            continue
        chances = chances_of(question, glances, weighing, directions)
        found.append((information(chances, shares), question, chances))
    # What the two likeliest candidates would most likely answer alike is asked last.
    found.sort(key=lambda each: (len({int(np.argmax(each[2][int(c)])) for c in two}) < 2, -each[0]))
    named = {what for _, q, _ in found for what in q.answers[0].things if weighing.things.is_named(what)}
    return tuple(
        NextQuestion(
            question.text,
            _LOOK[question.part],
            bits,
            tuple(
                (
                    glances[int(c)].label,
                    statement_words(question.answers[int(np.argmax(chances[int(c)]))], named),
                )
                for c in two
            ),
        )
        for bits, question, chances in found[:most]
        if bits >= _LEAST_BITS
    )


def chances_of(
    question: Question, glances: Sequence[Glance], weighing: Weighing, directions: Floats
) -> Floats:
    """Chance of each answer from each candidate, (c, a), over the directions it may look in."""
    return np.array(
        [
            answer_chances(question, glance, weighing) @ share
            for glance, share in zip(glances, directions, strict=True)
        ]
    )
