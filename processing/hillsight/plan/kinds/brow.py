"""Where the near ground turns out of view, how far off, and how it runs before and behind."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.kinds.shared.chances import between_log, called_slope, mean_across, mean_where, near_log
from hillsight.plan.kinds.shared.exclusions import differ, encloses
from hillsight.plan.kinds.shared.ground import (
    GROUND_PARTS,
    IN_PART,
    behind_no_brow,
    line_along,
    middle_deg,
    near_ground,
)
from hillsight.plan.kinds.shared.kind import Question, StatementKind, WordFigures
from hillsight.plan.kinds.shared.likeliest_words import figure_of, likeliest_word
from hillsight.plan.kinds.shared.nouns import in_part
from hillsight.plan.kinds.shared.slopes import (
    FIGURES,
    SLOPES,
    degrees_words,
    is_or_runs,
    runs,
    slopes_apart,
)
from hillsight.plan.statement import Statement
from hillsight.plan.verdict import Fact
from hillsight.plan.vocabulary import SightingField
from hillsight.words.quantities import distance_as_known, rough_distance_words

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.plan.kinds.shared.exclusions import NamedThings
    from hillsight.plan.kinds.shared.kind import Case, Subjects
    from hillsight.plan.kinds.shared.nouns import Nouns

DISTANCES = {"near": (0.0, 150.0), "middle": (150.0, 600.0), "far": (600.0, float("inf"))}
"""Distances in words, with the metres between which each is said. Common practice, no source."""

BROW_WITHIN_M = 1_500.0
"""A brow farther off does not belong to the near ground: nobody who sees no brow has looked so far."""

_FAR = {"near": "near by", "middle": "at middle distance", "far": "far off"}


def fit(case: Case) -> Floats:
    """Chance that an observer who looks each way would say this of the near ground, (h,)."""
    at, values, glance = case.bearings(), case.values, case.glance
    brow_m = glance.brow_m[at]
    near = np.isfinite(brow_m) & (brow_m <= BROW_WITHIN_M)
    if values.get("distance") == "none":
        return np.asarray((~near).mean(axis=1), np.float64)
    across = near.copy()
    along = np.ones(at.shape)
    if "distance_m" in values:
        along = near_log(brow_m, float(values["distance_m"]), case.observer.distance_log)
    elif "distance" in values:
        along = between_log(brow_m, DISTANCES[values["distance"]], case.observer.distance_log)
        across = np.isfinite(brow_m)
    share = mean_across(np.where(across, along, 0.0))
    fits = share
    if values.get("across") == "some":
        # Of all or next to nothing nobody says some; of a half anybody may.
        fits = np.minimum(2.0 * share, 1.0) * np.minimum(2.0 * (1.0 - across.mean(axis=1)), 1.0)
    for key, slope in (("slope_before", glance.before_deg), ("slope_beyond", glance.beyond_deg)):
        if key in values:
            one = called_slope(slope[at], SLOPES[values[key]], case.observer.slope_deg)
            fits = fits * mean_where(one, np.isfinite(slope[at]), 0.05)
    return np.asarray(fits, np.float64)


def fact(case: Case) -> Fact:
    """How far off the ground turns out of view, and its slopes if they are spoken of."""
    at, glance, values = case.bearings_ahead(), case.glance, case.values
    brow_m = glance.brow_m[at]
    far = likeliest_word(case, fit, "distance", (*DISTANCES, "none"))
    rim = line_along(glance, at, np.where(brow_m <= BROW_WITHIN_M, brow_m, np.nan))
    middle_m = float("nan")
    if far.word != "none":
        weights = between_log(brow_m, DISTANCES[far.word], case.observer.distance_log)
        middle_m = figure_of(brow_m, weights, DISTANCES[far.word])

    def turns(word: str) -> str:
        if word == "none":
            return "stays in view"
        return f"falls away {_FAR[word]}"

    clauses = []
    figure: float | None = middle_m if np.isfinite(middle_m) else None
    unit, word = "m on the grid", far.stated
    if not {"slope_before", "slope_beyond"} & set(values) or {"distance", "distance_m"} & set(values):
        clause = f"the ground {far.told(turns)}"
        if far.plain and far.word == "none":
            clause += f" for {rough_distance_words(BROW_WITHIN_M)}, or as far as is looked"
            figure = None
        elif far.plain and np.isfinite(middle_m):
            far_words = distance_as_known(middle_m, glance.spacing_m)
            clause += f", {far_words}" if middle_m < glance.spacing_m else f" ({far_words})"
        clauses.append(clause)
    for key, slopes, place in (
        ("slope_before", glance.before_deg, "up to the brow"),
        ("slope_beyond", glance.beyond_deg, "behind the brow"),
    ):
        if key not in values:
            continue
        slope = likeliest_word(case, fit, key, tuple(SLOPES))
        chances = called_slope(slopes[at], SLOPES[slope.word], case.observer.slope_deg)
        degrees = figure_of(slopes[at], chances, SLOPES[slope.word])
        if not np.isfinite(degrees):
            clauses.append("there is no brow near by")
            continue
        clauses.append(f"the ground {slope.told(is_or_runs)} {place} ({degrees_words(degrees)})")
        figure, unit = degrees, "degrees, falling negative"
        word = slope.stated if len(clauses) == 1 else ""
    return Fact(", and ".join(clauses), figure, unit, rim, middle_deg(at), word=word)


def sentence(statement: Statement, nouns: Nouns) -> str:
    """How the near ground runs and where it falls away."""
    values, part = statement.values, statement.part
    where = in_part(part)
    if values.get("across") == "some":
        where = "in places " if part == "anywhere" else f"in places {where}"
    before = f"{runs(values['slope_before'])}" if "slope_before" in values else ""
    if values.get("distance") == "none":
        clause = f"{where}the ground {before + ' and ' if before else ''}stays in view"
    elif "distance" in values or "distance_m" in values:
        far = _FAR[values["distance"]] if "distance" in values else f"some {values['distance_m']:.10g} m off"
        clause = f"{where}the ground {before + ' and then ' if before else ''}falls away {far}"
    elif before:
        clause = f"{where}the near ground {before} up to its brow"
    else:
        return f"{where}the ground behind the brow {runs(values['slope_beyond'])}"
    return clause + (
        f", and behind that it {runs(values['slope_beyond'])}" if "slope_beyond" in values else ""
    )


def excludes(one: Statement, other: Statement, things: NamedThings) -> str:
    """No brow where one is, two distances, or slopes that no ground has both of."""
    if other.kind != one.kind:
        return ""
    for no, yes in ((one, other), (other, one)):
        if no.values.get("distance") == "none" and no.values.get("across") != "some":
            a_brow = "distance_m" in yes.values or yes.values.get("distance", "none") != "none"
            if a_brow and encloses(no.part, yes.part):
                return "the ground stays in view or it does not"
    if one.part != other.part or "some" in (one.values.get("across"), other.values.get("across")):
        return ""
    if differ(one, other, "distance"):
        return "the nearest brow is at one distance"
    for key in ("slope_before", "slope_beyond"):
        if slopes_apart(one.values.get(key), other.values.get(key)):
            return "the ground falls or rises"
    return ""


def questions(subjects: Subjects) -> list[Question]:
    """How soon the near ground turns out of view, and how it runs up to there."""
    return [
        Question(text, tuple(Statement("brow", {key: word}, part) for word in words))
        for part in GROUND_PARTS
        for text, key, words in (
            (
                f"{IN_PART[part]}, how soon does the near ground turn out of view?",
                "distance",
                (*DISTANCES, "none"),
            ),
            (
                f"{IN_PART[part]}, does the ground rise or fall from the feet to the first brow?",
                "slope_before",
                tuple(SLOPES),
            ),
        )
    ]


KIND = StatementKind(
    name="brow",
    meaning="where the near ground turns out of view",
    place=10,
    section="The near ground",
    fields=(
        SightingField(
            "distance", "word", "in words, or none: the ground stays in view", (*DISTANCES, "none")
        ),
        SightingField("distance_m", "number", "in metres", least=1, most=100_000, unit="m"),
        SightingField(
            "slope_before", "word", "how the ground runs up to it, straight away from the eye", tuple(SLOPES)
        ),
        SightingField(
            "slope_beyond", "word", "how the ground runs behind it, if that can be told", tuple(SLOPES)
        ),
        SightingField("across", "word", "whether it crosses all or only some of that part", ("all", "some")),
    ),
    example={"part": "left", "distance": "near"},
    one_of=("distance", "distance_m", "slope_before", "slope_beyond"),
    either_or=("distance", "distance_m"),
    figures=(WordFigures("distance of a brow", "m", DISTANCES), FIGURES),
    fit=fit,
    fact=fact,
    sentence=sentence,
    topic=near_ground,
    excludes=excludes,
    questions=questions,
    described=10,
    left_unsaid=behind_no_brow,
)
