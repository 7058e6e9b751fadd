"""The argument of a verdict: which statements decide, in order of trust, and in what words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.sighting.wording import statement_words
from hillsight.plan.verdict import Argument
from hillsight.plan.weighing.facts import denied, with_fit
from hillsight.words.trust import trust_order

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.plan.look.glance import Glance
    from hillsight.plan.relocation.decision import Evidence
    from hillsight.plan.statement import Statement
    from hillsight.plan.weighing.statements import Weighing


#: How many times likelier a statement must make the best candidate to decide, and to support at all.
DECIDES_FROM, SUPPORTS_FROM = 2.0, 1.15

#: Fit from which a statement is said to be as from a place.
FITS_FROM = 0.4

ROLES = ("decides", "supports", "tells_nothing", "against")


def arguments(
    statements: Sequence[Statement],
    glances: Sequence[Glance],
    weighing: Weighing,
    evidence: Evidence,
    best: int,
    rival: int | None,
) -> list[Argument]:
    """Every statement with what it does for the best candidate against its rival.

    Parameters
    ----------
    glances : of all candidates
    best, rival : indices of the likeliest candidate and of the one it is argued against; without a rival
        it is argued against a place that is none of them
    """
    table, elsewhere = evidence.table, evidence.elsewhere
    directions = table.directions().argmax(axis=1)
    # What leaving a statement out changes the odds of two answers by: no more and no less.
    gained = table.without()[:, None] - table.leave_one_out()
    against = elsewhere.without() - elsewhere.leave_one_out() if rival is None else gained[rival]
    times = np.exp(gained[best] - against)
    named = {what for s in statements for what in s.things if weighing.things.is_named(what)}
    made = []
    for k, statement in enumerate(statements):
        facts = tuple(
            with_fit(statement, glance, weighing, int(direction))
            for glance, direction in zip(glances, directions, strict=True)
        )
        says = statement_words(statement, named)
        role = role_of(float(times[k]), facts[best].agrees)
        spoken_for = facts[rival] if role == "against" and rival is not None else facts[best]
        labels = glances[best].label, None if rival is None else glances[rival].label
        words = facts[best].words, None if rival is None else facts[rival].words
        made.append(
            Argument(
                k + 1,
                statement,
                says,
                weighing.evidence_class(statement),
                role,
                float(times[k]),
                sentence(
                    says,
                    role,
                    labels,
                    words,
                    fits=spoken_for.agrees >= FITS_FROM and not denied(statement, spoken_for),
                ),
                facts,
            )
        )
    return sorted(made, key=_order)


def role_of(times: float, agrees: float = 1.0) -> str:
    """What a statement does that makes the best candidate so many times likelier than its rival.

    One that does not fit the best candidate itself decides nothing, however badly it fits the rival.
    """
    if times >= DECIDES_FROM and agrees >= FITS_FROM:
        return "decides"
    if times >= SUPPORTS_FROM:
        return "supports"
    return "against" if times <= 1.0 / SUPPORTS_FROM else "tells_nothing"


def sentence(
    says: str,
    role: str,
    labels: tuple[str, str | None],
    words: tuple[str, str | None],
    *,
    fits: bool = True,
) -> str:
    """The argument as an instructor would put it.

    Parameters
    ----------
    says : what the picture shows
    labels, words : of the best candidate and of its rival: what each is called, and what would show there
    fits : whether the statement fits the place that it speaks for: the best candidate, or its rival
    """
    best, rival = labels
    here, there = words
    claim = f"{says[0].upper()}{says[1:]}"
    if rival is None or there is None:
        return f"{claim}; from {best} {here}."
    if here == there:
        less = (
            ""
            if role == "tells_nothing"
            else f", if less plainly from {best if role == 'against' else rival}"
        )
        return f"{claim}; from {best} and from {rival} alike {here}{less}."
    if role != "tells_nothing" and not fits:
        less = rival if role == "against" else best
        return (
            f"{claim}: that fits neither well, {less} less badly; from {best} {here}, from {rival} {there}."
        )
    if role in ("decides", "supports"):
        return f"{claim}, as from {best}, where {here}; from {rival} {there}."
    if role == "against":
        return f"{claim}; this fits better from {rival}, where {there}; from {best} {here}."
    return f"{claim}; from {best} {here}, from {rival} {there}: that tells them apart little."


def _order(one: Argument) -> tuple[int, int, float]:
    """Deciding ones by trust, then those that support, tell nothing, speak against; the strongest first."""
    return ROLES.index(one.role), trust_order(one.evidence_class), -abs(float(np.log(one.times)))
