"""Whether a thing stands against the sky."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from hillsight.arrays import known_or
from hillsight.plan.kinds.shared.chances import any_of, said_of
from hillsight.plan.kinds.shared.exclusions import alike
from hillsight.plan.kinds.shared.kind import Question, StatementKind
from hillsight.plan.kinds.shared.likeliest_words import PLAINLY_FROM
from hillsight.plan.kinds.shared.nouns import in_part
from hillsight.plan.kinds.shared.things import SHOWS_FROM, WHAT, absent, definite, fact_of, likeliest
from hillsight.plan.statement import Statement
from hillsight.plan.vocabulary import SightingField

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.plan.kinds.shared.exclusions import NamedThings
    from hillsight.plan.kinds.shared.kind import Case, Subjects
    from hillsight.plan.kinds.shared.nouns import Nouns
    from hillsight.plan.verdict import Fact

#: A thing so far below the skyline is as often said to stand on it as not, and the spread of that, degrees.
_ON_SKY_DEG, _SKY_SPREAD_DEG = 0.25, 0.15


def _stands(statement: Statement) -> bool:
    return bool(statement.values.get("stands", True))


def fit(case: Case) -> Floats:
    """Chance that a thing there would be said to stand against the sky, or below the skyline, (h,)."""
    what, seen = case.values["what"], case.glance.things
    rows = case.rows(what)
    spread = np.hypot(_SKY_SPREAD_DEG, seen.vertical_spread_deg[rows])
    on_sky = known_or(special.ndtr((_ON_SKY_DEG - seen.below_sky_deg[rows]) / spread), 0.0)
    fits = on_sky if _stands(case.statement) else 1.0 - on_sky
    return said_of(any_of(case.shown(what) * fits[None, :]), what, case)


def fact(case: Case) -> Fact:
    """Whether it stands against the sky, or how far below the skyline."""
    what = case.values["what"]
    one, chance = likeliest(case, what)
    if chance < SHOWS_FROM:
        return absent(case, what)
    below = float(case.glance.things.below_sky_deg[one])
    name = definite(what, case.things)
    own = case.of_one(what, one)

    def said(stands: bool) -> float:
        one = replace(case.statement, values={"what": what, "stands": stands})
        return float(fit(own.saying(one))[case.direction])

    chances = {stands: said(stands) for stands in (True, False)}
    stands = chances[True] >= chances[False]
    words = f"{name} stands against the sky" if stands else f"{name} lies below the skyline"
    if not stands:
        words += f", by {below:.1f} degrees"
    plain = chances[stands] > PLAINLY_FROM
    told = words if plain else f"{words}: hard to tell"
    found = fact_of(case, one, told, below, "degrees below the skyline")
    return replace(found, word=str(stands) if plain else "")


def sentence(statement: Statement, nouns: Nouns) -> str:
    """Whether it stands against the sky."""
    noun = nouns(statement.values["what"])
    stands = noun.verb("stands", "stand") if _stands(statement) else f"{noun.verb('does', 'do')} not stand"
    return f"{in_part(statement.part)}{noun.the} {stands} against the sky"


def excludes(one: Statement, other: Statement, things: NamedThings) -> str:
    """One thing said to stand against the sky and not to."""
    same = alike(one, other) and things.same(one.values["what"], other.values["what"])
    return "a thing stands against the sky or it does not" if same and _stands(one) != _stands(other) else ""


def questions(subjects: Subjects) -> list[Question]:
    """Whether each named thing stands against the sky, man-made features apart."""
    return [
        Question(
            f"Does {what} stand against the sky, or is there ground behind it?",
            tuple(Statement("against_sky", {"what": what, "stands": stands}) for stands in (True, False)),
        )
        for what in subjects.named
        if subjects.things.evidence_class(what) != "man_made"
    ]


KIND = StatementKind(
    name="against_sky",
    meaning="whether a thing stands against the sky",
    place=50,
    section="The skyline",
    fields=(
        WHAT,
        SightingField("stands", "yes_no", "false where there is ground behind it; true if not said"),
    ),
    example={"what": "knoll", "stands": True},
    fit=fit,
    fact=fact,
    sentence=sentence,
    excludes=excludes,
    questions=questions,
    asked_once=True,
    described=60,
)
