"""How many things of a kind are seen."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.kinds.shared.chances import said_of
from hillsight.plan.kinds.shared.exclusions import differ
from hillsight.plan.kinds.shared.kind import Question, StatementKind, about_unseen
from hillsight.plan.kinds.shared.nouns import in_part
from hillsight.plan.kinds.shared.pairs import places
from hillsight.plan.kinds.shared.things import SHOWS_FROM, WHAT
from hillsight.plan.statement import Statement
from hillsight.plan.verdict import Fact
from hillsight.plan.vocabulary import SightingField
from hillsight.words.english import number_word, plural

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Floats
    from hillsight.plan.kinds.shared.exclusions import NamedThings
    from hillsight.plan.kinds.shared.kind import Case, Subjects
    from hillsight.plan.kinds.shared.nouns import Nouns

_COUNTED = ("spur", "re-entrant")


def fit(case: Case) -> Floats:
    """Chance that so many of a kind would be counted, (h,)."""
    what, count = case.values["what"], case.values["count"]
    each = case.shown(what)
    expected = each.sum(axis=1)
    own = (each * (1.0 - each)).sum(axis=1)
    # What makes one re-entrant or two is a matter of judgement: a quarter either way, and one.
    spread = np.sqrt(own + 0.8**2 + (0.25 * expected) ** 2)
    off = (float(count) - expected) / spread
    fits = np.asarray(0.8 / spread * np.exp(-0.5 * off**2), np.float64)
    if count == 0:  # said to be absent, as in ``seen``
        noticing = case.observer.noticing[case.things.evidence_class(what)]
        return noticing.missed_if_shown + (noticing.missed_if_not - noticing.missed_if_shown) * fits
    return said_of(fits, what, case)


def fact(case: Case) -> Fact:
    """How many show."""
    what = case.values["what"]
    chances = case.shown(what)[case.direction]
    count = float(chances.sum())
    rows = case.rows(what)[chances >= SHOWS_FROM]
    number = round(count)
    words = f"about {number_word(number)} {plural(what)} show"
    if number < 2:
        words = f"about one {what} shows" if number else f"no {what} shows"
    return Fact(
        words,
        count,
        "expected number",
        places(case, rows.tolist()) if rows.size else None,
    )


def sentence(statement: Statement, nouns: Nouns) -> str:
    """How many are seen."""
    noun, count = nouns(statement.values["what"]), int(statement.values["count"])
    many = count != 1 and (count > 1 or noun.is_many)
    what = plural(noun.bare) if many and not (noun.is_name or noun.is_many) else noun.bare
    return f"{in_part(statement.part)}{number_word(count)} {what} {'are' if many else 'is'} seen"


def excludes(one: Statement, other: Statement, things: NamedThings) -> str:
    """Two numbers of one kind, or none where some are seen."""
    if one.part != other.part or other.kind not in ("number", "seen"):
        return ""
    if not things.same(one.values["what"], other.values["what"]):
        return ""
    if other.kind == one.kind:
        return "there are so many in a part" if differ(one, other, "count") else ""
    none_and_some = one.values["count"] == 0 and other.values.get("seen", True)
    return "there are none or there are some" if none_and_some else ""


def questions(subjects: Subjects) -> list[Question]:
    """How many spurs and re-entrants there are."""
    return [
        Question(
            f"How many {plural(kind)} are seen?",
            tuple(Statement("number", {"what": kind, "count": count}) for count in (0, 1, 2, 3, 5, 8)),
        )
        for kind in _COUNTED
        if subjects.things.rows(kind).size
    ]


def left_unsaid(statement: Statement, said: Sequence[Statement]) -> bool:
    """Nobody writes down that there are none."""
    return statement.values["count"] == 0 or about_unseen(statement, said)


KIND = StatementKind(
    name="number",
    meaning="how many things of a kind are seen; only for few and plain ones",
    place=100,
    section="Things",
    fields=(
        WHAT,
        SightingField("count", "number", "how many", least=0, most=100, needed=True, is_whole=True),
    ),
    example={"what": "re-entrant", "count": 3},
    fit=fit,
    fact=fact,
    sentence=sentence,
    excludes=excludes,
    questions=questions,
    described=90,
    left_unsaid=left_unsaid,
    of_best=False,
)
