"""The sighting that a careful observer would write of a view: the reverse of relocation."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.kinds.questions import answer_chances, questions
from hillsight.plan.look.glance import BEARINGS, STEP_DEG
from hillsight.plan.statement import Statement

if TYPE_CHECKING:
    from collections.abc import Iterable

    from hillsight.arrays import Floats
    from hillsight.plan.kinds.questions import Question
    from hillsight.plan.kinds.weigh import Weighing
    from hillsight.plan.look.glance import Glance

#: Chance of an answer from which it is given, and from which it is given for sure.
_GIVEN_FROM, _SURE_FROM = 0.55, 0.85

#: A man-made feature as near as this ought to show, and its absence is told of.
_OUGHT_TO_SHOW_M = 1_000.0

#: Places at which the skyline is traced, and how many of them there must be.
_TRACED, _LEAST_TRACED = 7, 3

#: Order in which an observer writes: near ground first, then skyline, then things.
_ORDER = (
    "brow",
    "dead_ground",
    "skyline",
    "skyline_points",
    "seen",
    "against_sky",
    "height",
    "relation",
    "number",
)


def describe_view(glance: Glance, weighing: Weighing) -> tuple[Statement, ...]:
    """What would be said of the view from a place, near ground first.

    Parameters
    ----------
    weighing : its framing says which way the picture looks; several directions are averaged
    """
    weighing = replace(weighing, observer=weighing.observer.careful())
    prior = weighing.framing.prior
    told = [
        statement
        for question in questions([glance], weighing)
        if (statement := _answer(question, answer_chances(question, glance, weighing) @ prior)) is not None
    ]
    told += _missing(glance, weighing, told)
    told += _trace(glance, weighing)
    return tuple(sorted(_sensible(told), key=lambda statement: _ORDER.index(statement.kind)))


def _answer(question: Question, chances: Floats) -> Statement | None:
    best = int(np.argmax(chances))
    # With few answers to choose from, a majority says less.
    even = 1.0 / len(question.answers)
    if chances[best] < max(_GIVEN_FROM, even + 0.2):
        return None
    return replace(question.answers[best], sure="sure" if chances[best] >= _SURE_FROM else "likely")


def _missing(glance: Glance, weighing: Weighing, told: Iterable[Statement]) -> list[Statement]:
    """Man-made features near by that do not show: a map-reader looks for them."""
    things = weighing.things
    seen = {s.values["what"].casefold() for s in told if s.kind == "seen" and s.values.get("seen", True)}
    missing: dict[str, Statement] = {}
    for k in range(len(things)):
        kind = things.frame["kind"].iloc[k]
        near = glance.things.nearest_m[k] <= _OUGHT_TO_SHOW_M
        if not near or not isinstance(kind, str) or kind.casefold() in seen | set(missing):
            continue
        if weighing.things.frame["evidence_class"].iloc[k] != "man_made":
            continue
        rows = things.rows(kind)
        held = weighing.framing.holds("anywhere", glance.things.left_deg[rows], glance.things.width_deg[rows])
        shows = weighing.framing.prior @ (held * glance.things.chance[rows][None, :])
        if shows.max(initial=0.0) < 0.1 and held.max(initial=0.0) > 0.5:
            missing[kind.casefold()] = Statement("seen", {"what": kind, "seen": False}, sure="likely")
    return list(missing.values())


def _trace(glance: Glance, weighing: Weighing) -> list[Statement]:
    """The skyline as traced at a few places across the picture, from its lowest."""
    width_deg = weighing.framing.width_deg
    right_deg = np.round(np.linspace(-0.45, 0.45, _TRACED) * width_deg, 1)
    middle_deg = weighing.framing.heading_deg[int(np.argmax(weighing.framing.prior))]
    at = np.rint((middle_deg + right_deg) / STEP_DEG).astype(int) % BEARINGS
    up_deg = glance.skyline_deg[at]
    known = np.isfinite(up_deg)
    if np.count_nonzero(known) < _LEAST_TRACED:
        return []
    up_deg = np.round(up_deg - up_deg[known].min(), 1)
    points = [[float(r) + 0.0, float(u) + 0.0] for r, u in zip(right_deg[known], up_deg[known], strict=True)]
    return [Statement("skyline_points", {"points": points})]


def _sensible(told: list[Statement]) -> list[Statement]:
    """Without what would not be said: what hides behind no brow, how high a thing stands that is not seen."""
    no_brow = {s.part for s in told if s.values.get("distance") == "none"}
    unseen = {s.values["what"] for s in told if s.kind == "seen" and not s.values.get("seen", True)}
    kept = []
    for statement in told:
        of_brow = statement.kind in ("brow", "dead_ground") and statement.values.get("distance") != "none"
        if of_brow and statement.part in no_brow:
            continue
        if statement.kind != "seen" and unseen & set(statement.things):
            continue
        if statement.kind == "number" and statement.values["count"] == 0:
            continue
        kept.append(statement)
    return kept
