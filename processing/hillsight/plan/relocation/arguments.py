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

#: Fit above which a statement is said to be as from a place: it would rather be said there than not.
FITS_FROM = 0.5

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
        two = facts[best], None if rival is None else facts[rival]
        holds = (
            two[0].agrees > FITS_FROM and not denied(statement, two[0]),
            two[1] is not None and two[1].agrees > FITS_FROM and not denied(statement, two[1]),
        )
        made.append(
            Argument(
                k + 1,
                statement,
                says,
                weighing.evidence_class(statement),
                role_of(float(times[k]), facts[best].agrees),
                float(times[k]),
                sentence(
                    says,
                    float(times[k]),
                    (glances[best].label, None if rival is None else glances[rival].label),
                    (two[0].words, None if two[1] is None else two[1].words),
                    holds,
                ),
                facts,
            )
        )
    return sorted(made, key=_order)


def role_of(times: float, agrees: float = 1.0) -> str:
    """What a statement does that makes the best candidate so many times likelier than its rival.

    One that does not hold at the best candidate decides nothing, however badly it fits the rival; and one
    that holds there does not speak against it, however well it fits the rival.
    """
    holds = agrees > FITS_FROM
    if holds and times >= DECIDES_FROM:
        return "decides"
    if holds and times >= SUPPORTS_FROM:
        return "supports"
    return "against" if not holds and times <= 1.0 / SUPPORTS_FROM else "tells_nothing"


def sentence(
    says: str,
    times: float,
    labels: tuple[str, str | None],
    words: tuple[str, str | None],
    holds: tuple[bool, bool],
) -> str:
    """The argument as an instructor would put it.

    Parameters
    ----------
    says : what the picture shows
    times : how many times likelier it makes the best candidate than its rival
    labels, words, holds : of the best candidate and of its rival: what each is called, what would show there,
        and whether the statement would rather be made there than not
    """
    best, rival = labels
    here, there = words
    claim = f"{says[0].upper()}{says[1:]}"
    if rival is None or there is None:
        return f"{claim}: {'so it is' if holds[0] else 'not so'} from {best}, where {here}."
    if here == there:
        return f"{claim}: from {best} and from {rival} alike {here}."
    apart = max(times, 1.0 / times) >= SUPPORTS_FROM
    likelier = best if times >= 1.0 else rival
    if all(holds):
        more = f", and more plainly from {likelier}" if apart else ""
        return f"{claim}: so it is from both{more}. From {best} {here}; from {rival} {there}."
    if not any(holds):
        more = f", though rather from {likelier}" if apart else ""
        return f"{claim}: not so from either{more}. From {best} {here}; from {rival} {there}."
    if holds[0]:
        return f"{claim}: so it is from {best}, where {here}; not from {rival}, where {there}."
    return f"{claim}: so it is from {rival}, where {there}; not from {best}, where {here}."


def _order(one: Argument) -> tuple[int, int, float]:
    """Deciding ones by trust, then those that support, tell nothing, speak against; the strongest first."""
    return ROLES.index(one.role), trust_order(one.evidence_class), -abs(float(np.log(one.times)))
