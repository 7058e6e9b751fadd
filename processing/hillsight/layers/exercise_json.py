"""The check of an exercise as plain values, for a JSON file."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import shapely

if TYPE_CHECKING:
    from collections.abc import Mapping

    from hillsight.plan.exercise.exercise import Exercise
    from hillsight.plan.exercise.soundness import DecidingFact, Soundness
    from hillsight.plan.verdict import Fact

FORMAT = "hillsight exercise check 1"


def soundness_json(exercise: Exercise, found: Soundness, provenance: Mapping[str, Any]) -> dict[str, Any]:
    """The whole check in texts, numbers, truth values, lists and dictionaries.

    Geometries are well-known text in the terrain's grid. It names the true place: it is for the setter.
    """
    letters = exercise.letters()
    return {
        "format": FORMAT,
        "title": exercise.title,
        "is_sound": found.is_sound,
        "state": found.state,
        "reasons": list(found.reasons),
        "true_place": letters[exercise.truth()],
        "places": [
            {
                "letter": letter,
                "name": place.name,
                "easting_m": place.easting_m,
                "northing_m": place.northing_m,
            }
            for letter, place in zip(letters, exercise.places, strict=True)
        ],
        "against": [
            {
                "letter": letters[one.place],
                "is_told_apart": one.is_told_apart,
                "reason": one.reason,
                "matters": one.matters,
                "facts": [_fact(fact) for fact in one.facts],
            }
            for one in found.against
        ],
        "misleading": [
            {"about": one.about, "words": one.words, "evidence_class": one.evidence_class}
            for one in found.misleading
        ],
        "tolerance_m": found.tolerance_m,
        "tolerance_is_least": found.tolerance_is_least,
        "draws": found.draws,
        "learners": {
            "count": found.learners.count,
            "chosen": dict(zip(letters, found.learners.chosen, strict=True)),
            "right": found.learners.right,
            "right_low": found.learners.low,
            "right_high": found.learners.high,
        },
        "grade": found.grade,
        "provenance": provenance,
    }


def _fact(one: DecidingFact) -> dict[str, Any]:
    return {
        "kind": one.statement.kind,
        "part": one.statement.part,
        "words": one.words,
        "evidence_class": one.evidence_class,
        "matter": one.matter,
        "holds": one.holds,
        "bits": one.bits,
        "at_the_true_place": _shown(one.true_fact),
        "at_the_wrong_place": _shown(one.wrong_fact),
    }


def _shown(one: Fact) -> dict[str, Any]:
    figure = one.figure if one.figure is not None and math.isfinite(one.figure) else None
    bearing = one.bearing_true_deg
    return {
        "words": one.words,
        "figure": figure,
        "unit": one.unit,
        "bearing_true_deg": bearing if bearing is not None and math.isfinite(bearing) else None,
        "absent": one.absent,
        "geometry": None if one.geometry is None else shapely.to_wkt(one.geometry, 1),
    }
