"""Questions of the trade and the answers an observer may give: for the next one to ask, and to compare.

The same questions, asked of one place, write its sighting; asked of two, they tell them apart.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from hillsight.plan.kinds.registry import KINDS
from hillsight.plan.kinds.shared.kind import Subjects
from hillsight.plan.look.noticing import noticed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Floats
    from hillsight.plan.kinds.shared.kind import Question
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.statement import Statement
    from hillsight.plan.weighing.statements import Weighing

#: Things asked about: the most noticeable ones of each place, so many.
_MOST_THINGS = 14

#: Chance of being noticed from which a thing is worth a question.
_WORTH_ASKING = 0.25


def questions(glances: Sequence[Glance], weighing: Weighing) -> list[Question]:
    """All that is worth asking about what any of these places sees."""
    subjects = Subjects(tuple(worth_asking(glances, weighing)), weighing.things)
    return [question for kind in KINDS.values() for question in kind.questions(subjects)]


def worth_asking(glances: Sequence[Glance], weighing: Weighing) -> list[str]:
    """Names and kinds of what stands out in any of the views, the most noticeable first."""
    things, framing = weighing.things, weighing.framing
    best = dict.fromkeys(map(things.called, range(len(things))), 0.0)
    for what in best:
        rows = things.rows(what)
        for one in glances:
            held = framing.holds("anywhere", one.things.left_deg[rows], one.things.width_deg[rows])
            chances = noticed(what, one, things, weighing.observer) * (framing.prior @ held)
            best[what] = max(best[what], float(chances.max(initial=0.0)))
    stand_out = [what for what, chance in best.items() if chance >= _WORTH_ASKING]
    stand_out.sort(key=lambda what: (not things.is_named(what), -best[what], what))
    return stand_out[:_MOST_THINGS]


def is_answered(question: Question, statement: Statement) -> bool:
    """Whether a statement already answers a question."""
    one = question.answers[0]
    if one.kind != statement.kind or _things(one) != _things(statement):
        return False
    whole = statement.part == "anywhere" and statement.values.get("across") == "all"
    if one.part != statement.part and not whole and not KINDS[one.kind].asked_once:
        return False
    return bool(_fields(one) & _fields(statement))


def _things(statement: Statement) -> set[str]:
    return {what.casefold() for what in statement.things}


def _fields(statement: Statement) -> set[str]:
    """What it says something of, in words or in metres."""
    return {key.removesuffix("_m") for key in statement.values}


def answer_chances(question: Question, glance: Glance, weighing: Weighing) -> Floats:
    """Chance of each answer in each direction, (a, h), adding up to one over the answers.

    One answer in twenty is given at random: nobody reads every picture right.
    """
    fits = weighing.fits(question.answers, glance) + 1e-6
    right = fits / fits.sum(axis=0, keepdims=True)
    chances: Floats = 0.95 * right + 0.05 / len(question.answers)
    return chances


def information(chances: Floats, posterior: Floats) -> float:
    """Expected information (bits) of an answer about the candidate.

    Parameters
    ----------
    chances : (c, a) of each answer from each candidate
    posterior : (c,) adding up to one
    """
    overall = posterior @ chances
    with np.errstate(divide="ignore", invalid="ignore"):
        bits = special.xlogy(chances, chances / overall[None, :]).sum(axis=1) / np.log(2.0)
    return float(posterior @ bits)
