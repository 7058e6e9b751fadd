"""Points traced along the skyline."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.arrays import known_or
from hillsight.plan.kinds.shared.ground import line_along, middle_deg
from hillsight.plan.kinds.shared.kind import StatementKind
from hillsight.plan.kinds.shared.nouns import of_part, spread_words
from hillsight.plan.kinds.shared.things import SPREAD_DEG
from hillsight.plan.look.glance import BEARINGS, STEP_DEG
from hillsight.plan.statement import Statement
from hillsight.plan.verdict import Fact
from hillsight.plan.vocabulary import SightingField
from hillsight.words.english import number_word

if TYPE_CHECKING:
    from collections.abc import Hashable, Sequence

    from hillsight.arrays import Floats
    from hillsight.plan.kinds.shared.kind import Case
    from hillsight.plan.kinds.shared.nouns import Nouns

#: Traced points tell at most so many separate things: a skyline is smooth.
_MOST_POINTS = 3

#: Places at which an observer traces the skyline, and how many of them there must be.
_TRACED, _LEAST_TRACED = 7, 3


def topic(statement: Statement) -> Hashable:
    """The skyline as a whole."""
    return "skyline", "anywhere"


def fit(case: Case) -> Floats:
    """How well traced points lie along the skyline, whatever the level they are counted from, (h,)."""
    points = np.asarray(case.values["points"], np.float64)
    sigma = float(case.values.get("give_or_take_deg", case.observer.trace_deg))
    bearing = case.framing.heading_deg[:, None] + points[None, :, 0]
    step = 360.0 / case.glance.skyline_deg.size
    angles = known_or(case.glance.skyline_deg, -5.0)
    at = np.interp(bearing % 360.0, np.arange(angles.size + 1) * step, np.r_[angles, angles[0]])
    off = at - points[None, :, 1]
    off = off - off.mean(axis=1, keepdims=True)
    each = (off**2).mean(axis=1) / sigma**2
    return np.asarray(np.exp(-0.5 * each * min(len(points) - 1, _MOST_POINTS)), np.float64)


def fact(case: Case) -> Fact:
    """How far the skyline runs off the points."""
    at = case.bearings_ahead()
    points = np.asarray(case.values["points"], np.float64)
    slot = np.rint((case.heading_deg + points[:, 0]) / STEP_DEG).astype(int) % BEARINGS
    off = known_or(case.glance.skyline_deg[slot], -5.0) - points[:, 1]
    spread = float(np.sqrt(((off - off.mean()) ** 2).mean()))
    return Fact(
        f"the skyline strays from the traced line by about {spread:.1f} degrees",
        spread,
        "degrees",
        line_along(case.glance, at, case.glance.skyline_m[at]),
        middle_deg(at),
    )


def sentence(statement: Statement, nouns: Nouns) -> str:
    """That the skyline runs through so many points."""
    points = number_word(len(statement.values["points"]))
    return (
        f"the skyline{of_part(statement.part)} follows a line traced through {points} points"
        f"{spread_words(statement.values)}"
    )


def adds(case: Case, said: Sequence[Statement]) -> list[Statement]:
    """The skyline as traced at a few places across the picture, from its lowest."""
    right_deg = np.round(np.linspace(-0.45, 0.45, _TRACED) * case.framing.width_deg, 1)
    at = np.rint((case.heading_deg + right_deg) / STEP_DEG).astype(int) % BEARINGS
    up_deg = case.glance.skyline_deg[at]
    known = np.isfinite(up_deg)
    if np.count_nonzero(known) < _LEAST_TRACED:
        return []
    up_deg = np.round(up_deg - up_deg[known].min(), 1)
    points = [[float(r) + 0.0, float(u) + 0.0] for r, u in zip(right_deg[known], up_deg[known], strict=True)]
    return [Statement("skyline_points", {"points": points})]


KIND = StatementKind(
    name="skyline_points",
    meaning="points traced along the skyline",
    place=90,
    section="The skyline",
    fields=(
        SightingField(
            "points",
            "pairs",
            "degrees right of the picture's middle and degrees up, from any level; three or more",
            least=-180,
            most=180,
            unit="degrees",
            needed=True,
        ),
        SPREAD_DEG,
    ),
    example={"points": [[-20, 0.0], [0, 1.5], [20, 0.5]]},
    fit=fit,
    fact=fact,
    sentence=sentence,
    topic=topic,
    described=40,
    adds=adds,
)
