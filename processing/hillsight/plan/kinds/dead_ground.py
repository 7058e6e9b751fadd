"""How much ground is out of view behind the nearest brow, and what comes up beyond it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.kinds.shared.chances import between_log, called_slope, mean_across, mean_where, near_log
from hillsight.plan.kinds.shared.exclusions import alike, differ
from hillsight.plan.kinds.shared.ground import (
    GROUND_PARTS,
    IN_PART,
    behind_no_brow,
    line_along,
    middle_deg,
    near_ground,
)
from hillsight.plan.kinds.shared.kind import Question, StatementKind, WordFigures
from hillsight.plan.kinds.shared.likeliest_words import Likeliest, figure_of, likeliest_word
from hillsight.plan.kinds.shared.nouns import in_part
from hillsight.plan.kinds.shared.slopes import (
    FIGURES,
    SLOPES,
    degrees_words,
    runs,
    slopes_apart,
)
from hillsight.plan.statement import Statement
from hillsight.plan.verdict import Fact
from hillsight.plan.vocabulary import SightingField
from hillsight.words.quantities import rough_distance_words

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.plan.kinds.shared.exclusions import NamedThings
    from hillsight.plan.kinds.shared.kind import Case, Subjects
    from hillsight.plan.kinds.shared.nouns import Nouns

EXTENTS = {"none": (0.0, 20.0), "little": (20.0, 250.0), "much": (250.0, float("inf"))}
"""Dead ground in words, with the metres along a line of sight that are hidden. Common practice, no source."""

_OUT_OF_VIEW = {"none": "no ground is", "little": "little ground is", "much": "much ground is"}


def fit(case: Case) -> Floats:
    """Chance that an observer would say this of the ground behind the nearest brow, (h,)."""
    at, values, observer = case.bearings(), case.values, case.observer
    brow_m, out_m = case.glance.brow_m[at], case.glance.out_again_m[at]
    hidden_m = np.where(np.isfinite(brow_m), out_m - brow_m, 0.0)
    fits = np.ones(at.shape[0])
    # How far ground goes on out of sight is judged worse than distances that are seen.
    spread = 1.5 * observer.distance_log
    if "extent_m" in values:
        fits = fits * mean_across(near_log(hidden_m, float(values["extent_m"]), spread))
    elif "extent" in values:
        fits = fits * mean_across(between_log(hidden_m, EXTENTS[values["extent"]], spread))
    if "beyond" in values:
        brow = np.isfinite(brow_m)
        again = brow & np.isfinite(out_m)
        if values["beyond"] == "nothing":
            fits = fits * mean_where((~again).astype(float), brow, 0.5)
        else:
            slope = case.glance.again_deg[at]
            one = np.where(again, called_slope(slope, SLOPES[values["beyond"]], observer.slope_deg), 0.0)
            fits = fits * mean_where(one, brow, 0.05)
    return np.asarray(fits, np.float64)


def fact(case: Case) -> Fact:
    """How much is out of view, or how the ground runs that shows again."""
    at, glance, values = case.bearings_ahead(), case.glance, case.values
    brow_m, out_m = glance.brow_m[at], glance.out_again_m[at]
    hidden_m = np.where(np.isfinite(brow_m), out_m - brow_m, 0.0)
    clauses = []
    figure, unit, word, shape = None, "", "", line_along(glance, at, brow_m)
    if "beyond" not in values or {"extent", "extent_m"} & set(values):
        extent = likeliest_word(case, fit, "extent", tuple(EXTENTS))
        spread = 1.5 * case.observer.distance_log
        chances = between_log(hidden_m, EXTENTS[extent.word], spread)
        there_m = hidden_m if extent.word == "none" else np.where(np.isfinite(brow_m), hidden_m, np.nan)
        length_m = figure_of(there_m, chances, EXTENTS[extent.word])
        behind = "" if extent.word == "none" else " behind the brow"
        clause = f"{_extent_words(extent)} out of view{behind}"
        if extent.plain and extent.word != "none" and np.isfinite(length_m):
            clause += f" (about {rough_distance_words(length_m)} of it)"
        elif extent.plain and extent.word == "much" and not np.isfinite(hidden_m[hidden_m > 0]).any():
            clause += ", as far as is looked"
        clauses.append(clause)
        figure, unit, word = (length_m if np.isfinite(length_m) else None), "m on the grid", extent.stated
    if "beyond" in values:
        again = likeliest_word(case, fit, "beyond", (*SLOPES, "nothing"))
        clause = _again_words(again)
        figure, unit = None, ""
        if again.word != "nothing":
            slopes = glance.again_deg[at]
            chances = called_slope(slopes, SLOPES[again.word], case.observer.slope_deg)
            degrees = figure_of(np.where(np.isfinite(out_m), slopes, np.nan), chances, SLOPES[again.word])
            if np.isfinite(degrees):
                clause += f" ({degrees_words(degrees)})"
                figure, unit = degrees, "degrees, falling negative"
            shape = line_along(glance, at, np.where(np.isfinite(out_m), out_m, np.nan))
        word = again.stated if not clauses else ""
        clauses.append(clause)
    return Fact(", and ".join(clauses), figure, unit, shape, middle_deg(at), word=word)


def _extent_words(extent: Likeliest) -> str:
    """How much is out of view, up to the verb."""
    if extent.plain:
        return _OUT_OF_VIEW[extent.word]
    words = (_OUT_OF_VIEW[one].removesuffix(" is") for one in (extent.word, extent.other))
    return f"{' or '.join(words)} (hard to tell) is"


def _again_words(again: Likeliest) -> str:
    """What shows again, and how it runs."""
    if again.plain:
        return "nothing shows again" if again.word == "nothing" else f"what shows again {runs(again.word)}"
    two = [runs(one) for one in (again.word, again.other) if one != "nothing"]
    if len(two) < 2:
        return f"nothing shows again, or what does {two[0]}: hard to tell"
    return f"what shows again {' or '.join(two)}: hard to tell"


def sentence(statement: Statement, nouns: Nouns) -> str:
    """How much ground is out of view, and how it runs where it shows again."""
    values, where = statement.values, in_part(statement.part)
    beyond = values.get("beyond")
    again = (
        "nothing shows again" if beyond == "nothing" else f"what shows again {runs(beyond)}" if beyond else ""
    )
    if "extent_m" in values:
        hidden = f"some {values['extent_m']:.10g} m of ground are out of view"
    elif "extent" in values:
        hidden = f"{_OUT_OF_VIEW[values['extent']]} out of view"
    else:
        return f"{where}{again.replace('again', 'again behind the brow', 1)}"
    return f"{where}{hidden}{f', and {again}' if again else ''}"


def excludes(one: Statement, other: Statement, things: NamedThings) -> str:
    """Two extents, or ground that shows again in two ways."""
    if not alike(one, other):
        return ""
    if differ(one, other, "extent"):
        return "the dead ground behind the nearest brow has one extent"
    said = one.values.get("beyond"), other.values.get("beyond")
    if None not in said and ((said[0] == "nothing") != (said[1] == "nothing") or slopes_apart(*said)):
        return "the ground that shows again runs one way"
    return ""


def questions(subjects: Subjects) -> list[Question]:
    """How much is out of view, and how the ground runs that shows again."""
    return [
        Question(text, tuple(Statement("dead_ground", {key: word}, part) for word in words))
        for part in GROUND_PARTS
        for text, key, words in (
            (
                f"{IN_PART[part]}, how much ground is out of view behind the first brow?",
                "extent",
                tuple(EXTENTS),
            ),
            (
                f"{IN_PART[part]}, does the ground that shows again behind the first brow rise or fall, "
                "and how steeply?",
                "beyond",
                (*SLOPES, "nothing"),
            ),
        )
    ]


KIND = StatementKind(
    name="dead_ground",
    meaning="how much ground is out of view behind the nearest brow, and what comes up beyond it",
    place=20,
    section="The middle ground",
    fields=(
        SightingField("extent", "word", "in words", tuple(EXTENTS)),
        SightingField("extent_m", "number", "in metres away from the eye", least=1, most=100_000, unit="m"),
        SightingField(
            "beyond",
            "word",
            "the first ground that shows again behind it, straight away from the eye",
            (*SLOPES, "nothing"),
        ),
    ),
    example={"part": "middle", "extent": "much", "beyond": "rises steeply"},
    one_of=("extent", "extent_m", "beyond"),
    either_or=("extent", "extent_m"),
    figures=(FIGURES, WordFigures("dead ground along the line of sight", "m", EXTENTS)),
    fit=fit,
    fact=fact,
    sentence=sentence,
    topic=near_ground,
    excludes=excludes,
    questions=questions,
    described=20,
    left_unsaid=behind_no_brow,
)
