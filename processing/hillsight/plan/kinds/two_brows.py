"""On which side of the picture the near ground turns out of view sooner."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from hillsight.plan.kinds.brow import BROW_WITHIN_M
from hillsight.plan.kinds.shared.exclusions import alike, differ, encloses
from hillsight.plan.kinds.shared.ground import line_along, middle_deg, near_ground
from hillsight.plan.kinds.shared.kind import Question, StatementKind
from hillsight.plan.kinds.shared.likeliest_words import likeliest_word
from hillsight.plan.kinds.shared.nouns import in_part
from hillsight.plan.statement import Statement
from hillsight.plan.verdict import Fact
from hillsight.plan.vocabulary import SightingField

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Floats
    from hillsight.plan.kinds.shared.exclusions import NamedThings
    from hillsight.plan.kinds.shared.kind import Case, Subjects
    from hillsight.plan.kinds.shared.nouns import Nouns

SIDES = ("left", "right", "neither")

_SOONER = {
    "left": "sooner on the left than on the right",
    "right": "sooner on the right than on the left",
    "neither": "as soon on the left as on the right",
}

#: Distances of which one is less than so many times the other are not told apart, as a logarithm: a quarter.
#: Common practice, no source.
_ALIKE_LOG = 0.22

#: Share of the bearings with a brow of the near ground, below which it is said to stay in view.
_MOSTLY = 0.5


def fit(case: Case) -> Floats:
    """Chance that the nearer brow would be said to be on that side, (h,)."""
    farther, spread = left_farther_log(case), case.observer.nearer_log
    left, right = (special.ndtr((times * -farther - _ALIKE_LOG) / spread) for times in (1.0, -1.0))
    return np.asarray({"left": left, "right": right, "neither": 1.0 - left - right}[case.values["nearer"]])


def left_farther_log(case: Case) -> Floats:
    """How many times as far the brow on the left is as that on the right, as a logarithm, (h,).

    On either side it is a mean over the bearings; a brow beyond the near ground, or none, is as far as that.
    """
    logs = np.log(np.fmin(np.maximum(case.glance.brow_m[case.bearings()], 1.0), BROW_WITHIN_M))
    half = max(logs.shape[1] // 2, 1)
    return np.asarray(logs[:, :half].mean(axis=1) - logs[:, -half:].mean(axis=1), np.float64)


def fact(case: Case) -> Fact:
    """On which side the ground would be said to turn out of view sooner, and how many times as soon."""
    side = likeliest_word(case, fit, "nearer", SIDES)
    times = float(np.exp(left_farther_log(case)[case.direction]))
    at = case.bearings_ahead()
    brow_m = case.glance.brow_m[at]
    near_m = np.where(brow_m <= BROW_WITHIN_M, brow_m, np.nan)
    if side.plain and not np.isfinite(near_m).any():
        words = "the near ground stays in view on the left and on the right"
    else:
        words = f"the near ground {side.told(lambda one: f'falls away {_SOONER[one]}')}"
        if side.plain:
            words += _farther_words(side.word, near_m, times, case.glance.spacing_m)
    rim = line_along(case.glance, at, near_m)
    return Fact(words, times, "times as far on the left", rim, middle_deg(at), word=side.stated)


def _farther_words(side: str, near_m: Floats, times: float, spacing_m: float) -> str:
    """What may be said of the farther brow, after the side of the nearer one.

    Parameters
    ----------
    near_m : (k,) of brows of the near ground, from left to right; NaN where there is none
    times : how many times as far as on the right the brow on the left is
    """
    known = np.isfinite(near_m)
    if side == "neither":
        return ", but mostly it stays in view" if known.mean() < _MOSTLY else ""
    half = max(near_m.size // 2, 1)
    left, right = slice(None, half), slice(-half, None)
    nearer, farther = (left, right) if side == "left" else (right, left)
    has_brow = float(known[farther].mean())
    if has_brow < _MOSTLY:
        return f", where it {'mostly stays' if has_brow > 0 else 'stays'} in view"
    if not known[nearer].any() or float(np.nanmedian(near_m[nearer])) < 2.0 * spacing_m:
        return ""  # a distance that may be out by half of itself makes no ratio
    # A brow that is none counts as the end of the near ground, so it may be farther.
    lead = "about" if has_brow == 1.0 else "at least"
    return f", where its brow is {lead} {max(times, 1.0 / times):.1f} times as far off"


def sentence(statement: Statement, nouns: Nouns) -> str:
    """On which side the near ground falls away sooner."""
    return f"{in_part(statement.part)}the near ground falls away {_SOONER[statement.values['nearer']]}"


def excludes(one: Statement, other: Statement, things: NamedThings) -> str:
    """Both sides said to be nearer, one and neither, or one where there is no brow."""
    if alike(one, other):
        return "one brow is nearer or neither is" if differ(one, other, "nearer") else ""
    no_brow = other.values.get("distance") == "none" and other.values.get("across") != "some"
    if no_brow and one.values["nearer"] != "neither" and encloses(other.part, one.part):
        return "ground that stays in view has no brow that is nearer"
    return ""


def left_unsaid(statement: Statement, said: Sequence[Statement]) -> bool:
    """Whether the ground is said to stay in view on either side: then no brow is as near as another."""
    no_brow = {one.part for one in said if one.values.get("distance") == "none"}
    return {"left", "right"} <= no_brow


def questions(subjects: Subjects) -> list[Question]:
    """On which side of the picture the near ground turns out of view sooner."""
    answers = tuple(Statement("two_brows", {"nearer": side}) for side in SIDES)
    return [Question("Does the near ground turn out of view sooner on the left or on the right?", answers)]


KIND = StatementKind(
    name="two_brows",
    meaning="on which side the near ground turns out of view sooner",
    place=15,
    section="The near ground",
    fields=(
        SightingField(
            "nearer",
            "word",
            "the half in which the brow is nearer, of the picture or of the part; neither if they are alike",
            SIDES,
            needed=True,
        ),
    ),
    example={"nearer": "left"},
    fit=fit,
    fact=fact,
    sentence=sentence,
    topic=near_ground,
    excludes=excludes,
    questions=questions,
    described=15,
    left_unsaid=left_unsaid,
)
