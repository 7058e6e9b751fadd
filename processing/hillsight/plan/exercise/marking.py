"""The marking guide of an exercise: which reasons are worth what, which are idle, and which tempt.

What a reason is worth is ours: the trust that its class of evidence deserves (common practice, no source),
for every wrong place that it rules out. Of reasons that stand and fall together one counts in full.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.exercise.draws import said
from hillsight.plan.sighting.wording import statement_words
from hillsight.plan.weighing.facts import fact
from hillsight.plan.weighing.questions import questions
from hillsight.plan.weighing.statements import matters
from hillsight.words.english import listed
from hillsight.words.trust import trust_order

if TYPE_CHECKING:
    from collections.abc import Hashable, Mapping, Sequence

    from hillsight.plan.exercise.exercise import Exercise
    from hillsight.plan.exercise.soundness import DecidingFact, Soundness
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.statement import Statement
    from hillsight.plan.verdict import Fact
    from hillsight.plan.weighing.statements import Weighing

#: What a reason is to the answer: it tells the true place from others, is true of every place, or is not so.
DECIDES, TELLS_NOTHING, NOT_SO = "decides", "tells_nothing", "not_so"

POINTS = {"ground_shape": 3, "water": 2, "unclassed": 1, "man_made": 1}
"""For each wrong place that a reason of this class rules out."""

AGAIN, COSTS = 1, -1
"""For a reason that says again what another one says, and for one that is not so."""

#: Most reasons of each role in a list, and most facts taken of one wrong place.
_MOST = {DECIDES: 8, TELLS_NOTHING: 3, NOT_SO: 4}
_MOST_OF_PLACE = 4

#: A false reason tempts if a wrong place is described so with this chance or more, the true one with less.
_TEMPTS_FROM, _FALSE_BELOW = 0.5, 0.1


@dataclass(frozen=True)
class Reason:
    """Something that a learner may give as a reason.

    words : said of the picture, a clause
    role : DECIDES, TELLS_NOTHING or NOT_SO
    worth : points
    because : why, a sentence without its full stop, with the places by their letters
    things : names of what it is about
    facts : what places show of it, by their numbers; the true place's too
    """

    words: str
    role: str
    evidence_class: str
    worth: int
    because: str
    things: tuple[str, ...]
    facts: Mapping[int, Fact]


def marking_guide(
    exercise: Exercise, found: Soundness, glances: Sequence[Glance], weighing: Weighing
) -> tuple[Reason, ...]:
    """Reasons by role, in order of trust within each role, the worthiest first.

    Parameters
    ----------
    glances : from each place, in the exercise's order
    weighing : its framing is the picture's
    """
    letters, truth = exercise.letters(), exercise.truth()
    named = {name for name in weighing.things.frame["name"] if isinstance(name, str)}
    idle = [one for one in found.misleading if one.about == "alike"]
    reasons = [
        *_deciding(found, letters, truth, named),
        *(
            Reason(
                one.words.partition(": ")[2], TELLS_NOTHING, one.evidence_class, 0,
                "True of every place", (), {},
            )
            for one in idle[: _MOST[TELLS_NOTHING]]
        ),
        *_tempting(glances, weighing, letters, truth, named),
    ]  # fmt: skip
    roles = tuple(_MOST)
    return tuple(
        sorted(
            {one.words: one for one in reversed(reasons)}.values(),
            key=lambda one: (roles.index(one.role), trust_order(one.evidence_class), -one.worth, one.words),
        )
    )


def shuffled(reasons: Sequence[Reason], seed: int) -> list[Reason]:
    """The reasons in an order that tells nothing of them, the same for the same seed."""
    return sorted(reasons, key=lambda one: hashlib.sha256(f"{seed} {one.words}".encode()).hexdigest())


def _deciding(found: Soundness, letters: Sequence[str], truth: int, named: set[str]) -> list[Reason]:
    """What tells the true place from others, the most trusted first."""
    by_words: dict[str, dict[int, DecidingFact]] = {}
    for one in found.against:
        for each in one.facts[:_MOST_OF_PLACE]:
            by_words.setdefault(each.words, {})
    for one in found.against:
        for each in one.facts:
            if each.words in by_words:
                by_words[each.words][one.place] = each
    ordered = sorted(
        by_words.values(),
        key=lambda told: (
            trust_order(next(iter(told.values())).evidence_class),
            -len(told),
            -max(fact.bits for fact in told.values()),
        ),
    )
    reasons: list[Reason] = []
    counted: set[int] = set()
    for told in ordered[: _MOST[DECIDES]]:
        first = next(iter(told.values()))
        again = first.matter in counted
        counted.add(first.matter)
        by_letter = sorted(told, key=lambda k: letters[k])
        others = "; ".join(f"from {letters[k]} {told[k].wrong_fact.words}" for k in by_letter)
        reasons.append(
            Reason(
                first.words,
                DECIDES,
                first.evidence_class,
                AGAIN if again else POINTS[first.evidence_class] * len(told),
                f"It rules out {listed([letters[k] for k in by_letter])}: from {letters[truth]} "
                f"{first.true_fact.words}; {others}"
                + (". It stands and falls with a reason above" if again else ""),
                tuple(name for name in first.statement.things if name in named),
                {truth: first.true_fact, **{k: one.wrong_fact for k, one in told.items()}},
            )
        )
    return reasons


def _tempting(
    glances: Sequence[Glance], weighing: Weighing, letters: Sequence[str], truth: int, named: set[str]
) -> list[Reason]:
    """What is not so in the picture and would be, were it taken from another place."""
    careful = replace(weighing, observer=weighing.observer.careful())
    every = questions(glances, careful)
    if not every:
        return []
    most = max(len(question.answers) for question in every)
    chances = np.array([said(every, glance, careful, most) for glance in glances])
    at = np.arange(len(every))
    direction = int(np.argmax(weighing.framing.prior))
    true_anywhere: dict[Hashable, float] = {}
    for question, given in zip(every, chances[truth], strict=True):
        for statement, chance in zip(question.answers, given, strict=False):
            key = _whatever_part(statement)
            true_anywhere[key] = max(true_anywhere.get(key, 0.0), float(chance))
    found: list[tuple[float, Reason, int]] = []
    for wrong in (k for k in range(len(glances)) if k != truth):
        answers = np.nanargmax(chances[wrong], axis=1)
        there, here = chances[wrong][at, answers], chances[truth][at, answers]
        statements = [question.answers[int(k)] for question, k in zip(every, answers, strict=True)]
        matter = matters(statements, careful.things)
        for k in np.flatnonzero((there >= _TEMPTS_FROM) & (here < _FALSE_BELOW)):
            statement = statements[k]
            # Who says it of the picture may mean that part of it of which it is true.
            if true_anywhere.get(_whatever_part(statement), 0.0) >= _FALSE_BELOW:
                continue
            shown = [fact(statement, glances[place], careful, direction) for place in (truth, wrong)]
            reason = Reason(
                statement_words(statement, named),
                NOT_SO,
                careful.evidence_class(statement),
                COSTS,
                f"It is what {letters[wrong]} shows: {shown[1].words}. "
                f"From {letters[truth]} {shown[0].words}",
                tuple(name for name in statement.things if name in named),
                {truth: shown[0], wrong: shown[1]},
            )
            found.append((float(there[k] / here[k]), reason, int(matter[k])))
    found.sort(key=lambda one: (trust_order(one[1].evidence_class), -one[0]))
    # Of each matter one, and of each wrong place some, as far as they go.
    kept: dict[int, Reason] = {}
    for _, reason, about in found:
        kept.setdefault(about, reason)
    return list(kept.values())[: _MOST[NOT_SO]]


def _whatever_part(statement: Statement) -> Hashable:
    """What a statement says, in whichever part of the picture."""
    return statement.kind, frozenset(statement.values.items())
