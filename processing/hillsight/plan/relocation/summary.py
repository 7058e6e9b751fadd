"""The verdict in a sentence, and what to be careful about."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from hillsight.plan.kinds.registry import KINDS
from hillsight.plan.relocation.decision import DECIDED, NONE_FITS
from hillsight.plan.verdict import NONE_OF_THESE
from hillsight.words.english import listed
from hillsight.words.quantities import per_cent, probability_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.plan.look.framing import Framing
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.statement import Sighting
    from hillsight.plan.verdict import Verdict
    from hillsight.plan.weighing.statements import Weighing


#: More times than these are not told apart: the method is not that fine.
MOST_TIMES = 100.0

#: A factor is rounded to one of these times a power of ten.
_ROUND = (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)


def times_words(times: float) -> str:
    """How many times as likely, no finer than it is known.

    >>> [times_words(value) for value in (1.32, 2.4, 7.1, 38.0, 9999.0)]
    ['1.5 times', '2 times', '8 times', '40 times', 'over 100 times']
    """
    if times > MOST_TIMES:
        return f"over {MOST_TIMES:.0f} times"
    power = 10.0 ** math.floor(math.log10(max(times, 1.0)))
    nearest = min(_ROUND, key=lambda one: abs(math.log(one * power / max(times, 1.0))))
    return f"{nearest * power:g} times"


def headline(verdict: Verdict) -> str:
    """The verdict in a sentence; the runner-up may be none of the candidates."""
    best, other = verdict.best, verdict.next
    chance = probability_words(best.probability, verdict.decide_from)
    if verdict.state == NONE_FITS:
        return (
            f"None fits: {probability_words(verdict.none_probability)} probable that the picture is from "
            f"none of these places; the nearest fit is {best.station} ({chance})"
        )
    second, second_chance = NONE_OF_THESE, verdict.none_probability
    if other is not None and other.probability >= second_chance:
        second, second_chance = other.station, other.probability
    if verdict.state == DECIDED:
        times = times_words(best.probability / max(second_chance, 1e-12))
        return f"Decided: taken from {best.station} ({chance} probable, {times} as likely as {second})"
    two = [(best.station, chance), (second, probability_words(second_chance))]
    if second_chance > best.probability:
        two.reverse()
    return f"Undecided: {two[0][0]} or {two[1][0]}, {two[0][1]} against {two[1][1]}"


#: More places than these are counted, not named.
_MOST_NAMED = 3

CUT_FROM = 0.1
"""Share of a picture that ends at a void or the terrain's edge, from which it is told."""


def _unjudged(sighting: Sighting, glances: Sequence[Glance], weighing: Weighing) -> list[str]:
    """What has a name, and from some candidate is beyond the reach or cannot be judged."""
    found = []
    for k, statement in enumerate(sighting.statements, 1):
        for what in filter(weighing.things.is_named, statement.things):
            rows = weighing.things.rows(what)
            unjudged = [g for g in glances if not g.things.judged[rows].any()]
            if not unjudged:
                continue
            places = _places_words([g.label for g in unjudged], len(glances))
            beyond = all((g.things.nearest_m[rows] > g.reach_m).all() for g in unjudged)
            why = "lies beyond the reach" if beyond else "cannot be judged, for want of terrain or reach"
            found.append(
                f"statement {k}: from {places} {what} {why}, and is taken not to be seen; "
                f"{'look farther' if beyond else 'give more terrain, look farther'} or leave it out"
            )
    return found


def cut_short(glances: Sequence[Glance], framing: Framing) -> list[str]:
    """From where much of the picture ends at a void or the terrain's edge: one sentence, or none."""
    shares = [framing.share_of(glance.is_cut) for glance in glances]
    cut = [(one.label, share) for one, share in zip(glances, shares, strict=True) if share >= CUT_FROM]
    if not cut:
        return []
    if len(cut) <= _MOST_NAMED:
        where = listed([f"{per_cent(share)} from {label}" for label, share in cut])
    else:
        where = (
            f"up to {per_cent(max(shares))} from {_places_words([label for label, _ in cut], len(glances))}"
        )
    return [
        f"the terrain ends, or has a void, within the picture's width: on {where}; all beyond is unknown, so "
        "there the true skyline may stand higher, and brows and dead ground farther off are not counted; "
        "give more terrain, or let nearer ground decide"
    ]


def _places_words(labels: Sequence[str], of: int) -> str:
    """Some of so many candidates, by their names where they are few."""
    if len(labels) == of > 1:
        return "every place"
    return listed(labels) if len(labels) <= _MOST_NAMED else f"{len(labels):,} places"


def cautions(
    sighting: Sighting, glances: Sequence[Glance], weighing: Weighing, *, measured: bool = False
) -> tuple[str, ...]:
    """What to be careful about, one sentence each.

    measured : whether the photograph was measured, and so the shape of the ground told
    """
    found = _unjudged(sighting, glances, weighing)
    if any(not statement.things for statement in sighting.statements):
        found += cut_short(glances, weighing.framing)
    framing = weighing.framing
    for k, statement in enumerate(sighting.statements, 1):
        kind = KINDS[statement.kind]
        if kind.any_direction or not kind.says_there(statement):
            continue
        for what in filter(weighing.things.is_named, statement.things):
            rows = weighing.things.rows(what)
            held = max(
                float(
                    framing.holds("anywhere", g.things.left_deg[rows], g.things.width_deg[rows]).max(
                        initial=0.0
                    )
                )
                for g in glances
            )
            if held < 0.05:
                found.append(
                    f"statement {k}: from no candidate does {what} lie in the picture, whichever way it may "
                    "look by what is told; check looks and give_or_take_deg"
                )
    if not measured and not any(weighing.evidence_class(s) == "ground_shape" for s in sighting.statements):
        found.append("no statement is about the shape of the ground, which alone can decide")
    return tuple(dict.fromkeys(found))
