"""The shape of the skyline in a part of the picture."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from hillsight.plan.kinds.shared.exclusions import alike
from hillsight.plan.kinds.shared.kind import Question, StatementKind
from hillsight.plan.kinds.shared.likeliest_words import likeliest_word
from hillsight.plan.kinds.shared.nouns import of_part
from hillsight.plan.kinds.shared.skylines import levels_deg, on_the_map, stretch
from hillsight.plan.statement import Statement
from hillsight.plan.verdict import Fact
from hillsight.plan.vocabulary import SightingField

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.plan.kinds.shared.exclusions import NamedThings
    from hillsight.plan.kinds.shared.kind import Case, Subjects
    from hillsight.plan.kinds.shared.nouns import Nouns

SHAPES = ("flat", "pointed", "saddle", "falls left", "falls right")

#: A rise or fall of the skyline smaller than this, in degrees and as a share of the width of its part, is
#: flat. Common practice, no source.
_FLAT_DEG, _FLAT_SHARE = 0.4, 0.02

#: Shapes that a stretch of skyline has not at once; flat excludes all others.
_APART = ({"falls left", "falls right"}, {"pointed", "saddle"})

_SAID = {
    "flat": "is flat",
    "pointed": "comes to a point",
    "saddle": "dips in a saddle",
    "falls left": "falls to the left",
    "falls right": "falls to the right",
}
_SHOWN = _SAID | {"pointed": "rises to a point", "saddle": "dips to a saddle"}

_WHERE = {
    "anywhere": "Across the picture",
    "left half": "In the left half",
    "right half": "In the right half",
}


def fit(case: Case) -> Floats:
    """Chance that an observer would call the skyline so, (h,)."""
    shape = case.values["shape"]
    figures = skyline_figures(levels_deg(case))
    left, right, top, bottom, _ = figures
    begins, ends = case.framing.edges_deg(case.statement.part)
    flat = max(_FLAT_DEG, _FLAT_SHARE * (ends - begins))
    sigma = case.observer.skyline_deg
    ends_low, ends_high = np.minimum(left, right), np.maximum(left, right)
    score = _score(shape, figures)
    if shape == "flat":
        return np.asarray(special.ndtr((1.5 * flat - score) / sigma), np.float64)
    fits = special.ndtr((score - flat) / sigma)
    if shape.startswith("falls"):
        # A hump or a dip in the middle that outweighs the fall is what would be said.
        hump = np.maximum(top - ends_high, ends_low - bottom)
        fits = fits * special.ndtr((score - hump) / sigma)
    return np.asarray(fits, np.float64)


def _score(shape: str, figures: tuple[Floats, Floats, Floats, Floats, Floats]) -> Floats:
    """By how many degrees the skyline has a shape, (h,); how much it rises and falls in all, for flat."""
    left, right, top, bottom, spread = figures
    return {
        "flat": spread,
        "pointed": top - np.maximum(left, right),
        "saddle": np.minimum(left, right) - bottom,
        "falls right": left - right,
        "falls left": right - left,
    }[shape]


def skyline_figures(angles: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Level of the left and of the right end, highest and lowest of the middle, and whole range, each (h,).

    Ends are means of a sixth of the width, the middle is the half between the quarters.

    Parameters
    ----------
    angles : (h, k) vertical angles from left to right, degrees
    """
    k = angles.shape[1]
    sixth, quarter = max(1, k // 6), k // 4
    left, right = angles[:, :sixth].mean(axis=1), angles[:, k - sixth :].mean(axis=1)
    middle = angles[:, quarter : max(k - quarter, quarter + 1)]
    return left, right, middle.max(axis=1), middle.min(axis=1), np.ptp(angles, axis=1)


def fact(case: Case) -> Fact:
    """The shape that the skyline would most likely be given, and by how much it has that shape."""
    shape = likeliest_word(case, fit, "shape", SHAPES)
    by_deg = float(_score(shape.word, skyline_figures(levels_deg(case)))[case.direction])
    words = f"the skyline{of_part(case.statement.part)} {shape.told(lambda one: _SHOWN[one])}"
    if shape.plain:
        words += f", {'within' if shape.word == 'flat' else 'by'} {by_deg:.1f} degrees"
    return Fact(words, by_deg, "degrees", *on_the_map(case), word=shape.stated)


def sentence(statement: Statement, nouns: Nouns) -> str:
    """The skyline's shape."""
    return f"the skyline{of_part(statement.part)} {_SAID[statement.values['shape']]}"


def excludes(one: Statement, other: Statement, things: NamedThings) -> str:
    """Two shapes of one stretch."""
    if not alike(one, other):
        return ""
    shapes = {one.values["shape"], other.values["shape"]}
    apart = len(shapes) == 2 and ("flat" in shapes or shapes in _APART)
    return "a stretch of skyline has one shape" if apart else ""


def questions(subjects: Subjects) -> list[Question]:
    """The skyline's shape across the picture and in either half."""
    return [
        Question(
            f"{where}, what shape has the skyline?",
            tuple(Statement("skyline", {"shape": shape}, part) for shape in SHAPES),
        )
        for part, where in _WHERE.items()
    ]


KIND = StatementKind(
    name="skyline",
    meaning="the shape of the skyline in a part of the picture",
    place=80,
    section="The skyline",
    fields=(
        SightingField("shape", "word", "its shape, left and right as in the picture", SHAPES, needed=True),
    ),
    example={"part": "right half", "shape": "falls right"},
    fit=fit,
    fact=fact,
    sentence=sentence,
    topic=stretch,
    excludes=excludes,
    questions=questions,
    described=30,
)
