"""Things from left to right."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from hillsight.plan.kinds.shared.chances import said_of
from hillsight.plan.kinds.shared.exclusions import sides
from hillsight.plan.kinds.shared.kind import StatementKind
from hillsight.plan.kinds.shared.nouns import in_part
from hillsight.plan.kinds.shared.pairs import (
    BESIDE_DEG,
    MOST_OF_A_KIND,
    least_trusted_thing,
    places,
)
from hillsight.plan.kinds.shared.things import SHOWS_FROM, absent, definite, from_middle, likeliest
from hillsight.plan.verdict import Fact
from hillsight.plan.vocabulary import SightingField
from hillsight.words.angles import signed_deg
from hillsight.words.english import listed

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.plan.kinds.shared.kind import Case
    from hillsight.plan.kinds.shared.nouns import Nouns
    from hillsight.plan.statement import Statement


def fit(case: Case) -> Floats:
    """Chance that things would be said to stand in that order from left to right, (h,).

    Of kinds with many things the best choice counts: the one with the likeliest order.
    """
    wanted = case.values["things"]
    best: Floats | None = None
    before: Floats = np.zeros(0)
    for what in wanted:
        rows = case.rows(what)
        each = np.maximum(case.shown(what), 1e-6)
        kept = np.argsort(-each.max(axis=0), kind="stable")[:MOST_OF_A_KIND]
        each, rows = each[:, kept], rows[kept]
        from_left = case.glance.things.middle_deg[rows][None, :] - case.framing.heading_deg[:, None]
        middle = signed_deg(from_left)
        if best is None:
            best, before = each, middle
            continue
        right_of = special.ndtr((middle[:, None, :] - before[:, :, None]) / BESIDE_DEG)
        best = (best[:, :, None] * right_of).max(axis=1) * each
        before = middle
    assert best is not None
    # One chance for the whole: that of a single thing, so that long lists do not weigh more by their length.
    fits = best.max(axis=1) ** (2.0 / (1.0 + len(wanted)))
    return said_of(fits, least_trusted_thing(wanted, case.things), case)


def fact(case: Case) -> Fact:
    """The things that show, from left to right."""
    found = []
    for what in case.values["things"]:
        one, chance = likeliest(case, what)
        if chance < SHOWS_FROM:
            return absent(case, what)
        found.append((from_middle(case, one), definite(what, case.things), one))
    found.sort(key=lambda each: each[0])
    return Fact(
        "from left to right stand " + ", ".join(name for _, name, _ in found),
        found[-1][0] - found[0][0],
        "degrees between first and last",
        places(case, [one for _, _, one in found]),
    )


def sentence(statement: Statement, nouns: Nouns) -> str:
    """The things in their order."""
    things = [nouns(what).the for what in statement.values["things"]]
    return f"{in_part(statement.part)}from left to right there are {listed(things)}"


KIND = StatementKind(
    name="order",
    meaning="things from left to right",
    place=60,
    section="Things",
    fields=(SightingField("things", "texts", "names or kinds, from left to right", needed=True),),
    example={"things": ["saddle", "knoll"]},
    fit=fit,
    fact=fact,
    sentence=sentence,
    excludes=sides,
)
