"""What tells places apart before anybody has looked, and what would mislead because it looks alike."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.relocation.next_questions import chances_of
from hillsight.plan.sighting.wording import statement_words
from hillsight.plan.weighing.facts import fact
from hillsight.plan.weighing.questions import information, questions
from hillsight.words.trust import trust_order

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.plan.look.framing import Framing
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.verdict import Fact
    from hillsight.plan.weighing.statements import Weighing

#: Information from which a question tells places apart, and below which they look alike in it, bits.
APART_FROM_BITS, ALIKE_BELOW_BITS = 0.15, 0.03

#: An answer is plain to see if it is given with this chance.
_PLAIN_FROM = 0.7


@dataclass(frozen=True)
class Compared:
    """One question, with what each place answers.

    looks : the view in words
    kind : the kind of statement that answers it
    information_bits : expected information about which place it is, of one answer
    plainness : chance of the likeliest answer, at the place where it is least
    answers : of each place, its likeliest answer in words; facts : what it rests on
    """

    looks: str
    kind: str
    question: str
    evidence_class: str
    information_bits: float
    plainness: float
    answers: tuple[str, ...]
    facts: tuple[Fact, ...]


def compare(
    glances: Sequence[Glance], weighing: Weighing, views: Sequence[tuple[str, Framing]]
) -> tuple[list[Compared], list[Compared]]:
    """(what tells the places apart, what looks alike), each by trust, then by how much it tells.

    Parameters
    ----------
    views : each a name and the way it looks
    """
    apart, alike = [], []
    even = np.full(len(glances), 1.0 / len(glances))
    for looks, framing in views:
        looking = replace(weighing, framing=framing)
        directions = np.repeat(framing.prior[None, :], len(glances), axis=0)
        direction = int(np.argmax(framing.prior))
        asked = questions(glances, looking)
        named = {what for q in asked for what in q.answers[0].things if weighing.things.is_named(what)}
        for question in asked:
            chances = chances_of(question, glances, looking, directions)
            bits = information(chances, even)
            if ALIKE_BELOW_BITS <= bits < APART_FROM_BITS:
                continue
            best = chances.argmax(axis=1)
            told = Compared(
                looks,
                question.answers[0].kind,
                question.text,
                looking.evidence_class(question.answers[0]),
                bits,
                float(chances.max(axis=1).min()),
                tuple(statement_words(question.answers[int(k)], named) for k in best),
                tuple(
                    fact(question.answers[int(k)], glance, looking, direction)
                    for k, glance in zip(best, glances, strict=True)
                ),
            )
            if bits >= APART_FROM_BITS:
                apart.append(told)
            elif told.plainness >= _PLAIN_FROM and len(set(told.answers)) == 1:
                alike.append(told)
    apart.sort(key=lambda one: (trust_order(one.evidence_class), -one.information_bits * one.plainness))
    alike.sort(key=lambda one: (trust_order(one.evidence_class), -one.plainness))
    return apart, alike


def varied(ranked: Sequence[Compared], most: int, of_a_kind: int = 2) -> list[Compared]:
    """The first of a ranking, in its order, with no more than a few of one kind while others are left."""
    told: dict[str, int] = {}
    chosen = []
    for k, one in enumerate(ranked):
        told[one.kind] = told.get(one.kind, 0) + 1
        if told[one.kind] <= of_a_kind:
            chosen.append(k)
    rest = [k for k in range(len(ranked)) if k not in set(chosen)]
    return [ranked[k] for k in sorted((chosen + rest)[:most])]
