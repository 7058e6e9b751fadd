"""How the skyline runs out to the left or the right edge of the picture, and how steeply."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from hillsight.plan.kinds.shared.exclusions import alike
from hillsight.plan.kinds.shared.kind import Question, StatementKind, WordFigures
from hillsight.plan.kinds.shared.likeliest_words import likeliest_word
from hillsight.plan.kinds.shared.nouns import of_part
from hillsight.plan.kinds.shared.skylines import levels_deg, on_the_map, stretch
from hillsight.plan.kinds.shared.slopes import degrees_words, runs, slopes_apart
from hillsight.plan.look.glance import STEP_DEG
from hillsight.plan.statement import Statement
from hillsight.plan.verdict import Fact
from hillsight.plan.vocabulary import SightingField

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.plan.kinds.shared.exclusions import NamedThings
    from hillsight.plan.kinds.shared.kind import Case, Subjects
    from hillsight.plan.kinds.shared.nouns import Nouns

RUNS = {
    "falls steeply": (-90.0, -10.0),
    "falls gently": (-10.0, -3.0),
    "level": (-3.0, 3.0),
    "rises gently": (3.0, 10.0),
    "rises steeply": (10.0, 90.0),
}
"""How a line runs in the picture, in words, with the degrees of slope between which each is said, falling to
the edge negative. Common practice, no source."""

SIDES = ("left", "right")


def fit(case: Case) -> Floats:
    """Chance that the skyline would be said to run so to that edge, (h,)."""
    low, high = RUNS[case.values["runs"]]
    low, high = (-np.inf if low <= -90 else low), (np.inf if high >= 90 else high)
    slope, spread = slope_deg(levels_deg(case), case.values["side"]), case.observer.skyline_slope_deg
    return np.asarray(special.ndtr((high - slope) / spread) - special.ndtr((low - slope) / spread))


def slope_deg(levels: Floats, side: str) -> Floats:
    """Slope of the outer third of a skyline in the picture, (h,), falling to the edge negative.

    It is that of the straight line through all its levels by least squares.

    Parameters
    ----------
    levels : (h, k) vertical angles from left to right, a bearing of the glance apart
    """
    third = max(levels.shape[1] // 3, 2)
    outer = levels[:, -third:] if side == "right" else levels[:, third - 1 :: -1][:, :third]
    across = STEP_DEG * (np.arange(outer.shape[1]) - (outer.shape[1] - 1) / 2)
    rise = outer @ across / max(float(across @ across), 1e-9)
    return np.asarray(np.degrees(np.arctan(rise)), np.float64)


def fact(case: Case) -> Fact:
    """How the skyline would be said to run to that edge, and its slope in the picture."""
    side = case.values["side"]
    told = likeliest_word(case, fit, "runs", tuple(RUNS), ("side",))
    slope = float(slope_deg(levels_deg(case), side)[case.direction])
    words = told.told(lambda word: f"{runs(word)} towards the {side} edge")
    return Fact(
        f"the skyline{of_part(case.statement.part)} {words} ({degrees_words(slope)} in the picture)",
        slope,
        "degrees in the picture, falling negative",
        *on_the_map(case),
        word=told.stated,
    )


def sentence(statement: Statement, nouns: Nouns) -> str:
    """How the skyline runs to that edge."""
    values = statement.values
    return f"the skyline{of_part(statement.part)} {runs(values['runs'])} towards the {values['side']} edge"


def excludes(one: Statement, other: Statement, things: NamedThings) -> str:
    """Two slopes of one end that are not next to each other."""
    if not alike(one, other) or one.values["side"] != other.values["side"]:
        return ""
    apart = slopes_apart(one.values["runs"], other.values["runs"])
    return "the skyline runs one way to an edge" if apart else ""


def questions(subjects: Subjects) -> list[Question]:
    """How the skyline runs to either edge of the picture."""
    return [
        Question(
            f"How does the skyline run towards the {side} edge of the picture?",
            tuple(Statement("skyline_end", {"side": side, "runs": word}) for word in RUNS),
        )
        for side in SIDES
    ]


KIND = StatementKind(
    name="skyline_end",
    meaning="how the skyline runs out to an edge of the picture",
    place=88,
    section="The skyline",
    fields=(
        SightingField("side", "word", "which edge", SIDES, needed=True),
        SightingField(
            "runs", "word", "how it runs in its outer third, towards that edge", tuple(RUNS), needed=True
        ),
    ),
    example={"side": "left", "runs": "rises gently"},
    figures=(
        WordFigures("slope of a skyline in the picture, falling to the edge negative", "degrees", RUNS),
    ),
    fit=fit,
    fact=fact,
    sentence=sentence,
    topic=stretch,
    excludes=excludes,
    questions=questions,
    described=36,
)
