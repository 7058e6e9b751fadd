"""The verdict in a sentence, and what to be careful about."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hillsight.plan.kinds.registry import KINDS
from hillsight.plan.relocation.decision import DECIDED, NONE_FITS
from hillsight.words.quantities import probability_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.plan.look.glance import Glance
    from hillsight.plan.statement import Sighting
    from hillsight.plan.verdict import Verdict
    from hillsight.plan.weighing.statements import Weighing


#: More times than these are not told apart: the method is not that fine.
_MOST_TIMES = 1_000.0


def headline(verdict: Verdict) -> str:
    """The verdict in a sentence."""
    best, other = verdict.best, verdict.next
    chance = probability_words(best.probability, verdict.decide_from)
    if verdict.state == NONE_FITS:
        return (
            f"None fits: {probability_words(verdict.none_probability)} probable that the picture is from "
            f"none of these places; the nearest fit is {best.station} ({chance})"
        )
    if verdict.state == DECIDED:
        rest = ""
        if other is not None:
            over = "over " if verdict.ratio_to_next > _MOST_TIMES else ""
            times = f"{over}{min(verdict.ratio_to_next, _MOST_TIMES):,.0f} times"
            rest = f", {times} as likely as {other.station}"
        return f"Decided: taken from {best.station} ({chance} probable{rest})"
    names = best.station if other is None else f"{best.station} or {other.station}"
    chances = chance
    if other is not None:
        chances = f"{chance} against {probability_words(other.probability)}"
    return f"Undecided: {names}, {chances}"


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
