"""To which side a spur or a stream comes down in the picture."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from hillsight.arrays import known_or
from hillsight.plan.kinds.shared.chances import any_of, said_of
from hillsight.plan.kinds.shared.exclusions import differ
from hillsight.plan.kinds.shared.kind import StatementKind
from hillsight.plan.kinds.shared.nouns import in_part
from hillsight.plan.kinds.shared.things import SHOWS_FROM, WHAT, absent, definite, fact_of, likeliest
from hillsight.plan.vocabulary import SightingField

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.plan.kinds.shared.exclusions import NamedThings
    from hillsight.plan.kinds.shared.kind import Case
    from hillsight.plan.kinds.shared.nouns import Nouns
    from hillsight.plan.statement import Statement
    from hillsight.plan.verdict import Fact

#: How far its lower end lies to a side is judged with this spread, degrees.
_SIDE_DEG = 1.5


def fit(case: Case) -> Floats:
    """Chance that such a line would be said to come down to that side, (h,)."""
    what = case.values["what"]
    falls = case.glance.things.falls_right_deg[case.rows(what)]
    side = 1.0 if case.values["to"] == "right" else -1.0
    fits = known_or(special.ndtr(side * falls / _SIDE_DEG), 0.0)
    fits = np.where(np.isfinite(falls), fits, 0.0)
    return said_of(any_of(case.shown(what) * fits[None, :]), what, case)


def fact(case: Case) -> Fact:
    """To which side it comes down."""
    what = case.values["what"]
    one, chance = likeliest(case, what)
    if chance < SHOWS_FROM:
        return absent(case, what)
    falls = float(case.glance.things.falls_right_deg[one])
    name = definite(what, case.things)
    if not np.isfinite(falls):
        return fact_of(case, one, f"{name} comes down to neither side")
    words = f"{name} comes down to the {'right' if falls > 0 else 'left'}, over {abs(falls):.0f} degrees"
    return fact_of(case, one, words, falls, "degrees to the right")


def sentence(statement: Statement, nouns: Nouns) -> str:
    """To which side it comes down."""
    noun = nouns(statement.values["what"])
    return (
        f"{in_part(statement.part)}{noun.the} {noun.verb('comes', 'come')} down to the "
        f"{statement.values['to']}"
    )


def excludes(one: Statement, other: Statement, things: NamedThings) -> str:
    """A named line that comes down to both sides."""
    if other.kind != one.kind or not things.is_name(one.values["what"]):
        return ""
    same = things.same(one.values["what"], other.values["what"])
    return "it comes down to one side" if same and differ(one, other, "to") else ""


KIND = StatementKind(
    name="comes_down",
    meaning="to which side a spur or a stream comes down in the picture",
    place=110,
    section="Things",
    fields=(
        WHAT,
        SightingField("to", "word", "the side its lower end lies", ("left", "right"), needed=True),
    ),
    example={"what": "spur", "to": "left"},
    fit=fit,
    fact=fact,
    sentence=sentence,
    excludes=excludes,
)
