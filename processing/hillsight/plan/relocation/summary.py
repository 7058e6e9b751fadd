"""The verdict in a sentence, and what to be careful about."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from hillsight.plan.kinds.registry import KINDS
from hillsight.plan.relocation.decision import DECIDED, NONE_FITS
from hillsight.plan.verdict import NONE_OF_THESE
from hillsight.words.quantities import probability_words

if TYPE_CHECKING:
    from collections.abc import Sequence

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
    return f"Undecided: {best.station} or {second}, {chance} against {probability_words(second_chance)}"


def cautions(sighting: Sighting, glances: Sequence[Glance], weighing: Weighing) -> tuple[str, ...]:
    """What to be careful about, one sentence each."""
    found = []
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
    if not any(weighing.evidence_class(s) == "ground_shape" for s in sighting.statements):
        found.append("no statement is about the shape of the ground, which alone can decide")
    return tuple(dict.fromkeys(found))
