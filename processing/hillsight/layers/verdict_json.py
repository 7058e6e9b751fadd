"""A verdict as plain values, for a JSON file."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from hillsight.layers.provenance import file_name

if TYPE_CHECKING:
    from hillsight.plan.statement import Sighting
    from hillsight.plan.verdict import Argument, Fact, Verdict, Weighed

#: Decimal places of coordinates, in metres: a millimetre.
_PLACES = 3


def verdict_json(verdict: Verdict, provenance: Mapping[str, Any]) -> dict[str, Any]:
    """The whole verdict in texts, numbers, truth values, lists and dictionaries.

    What is no finite number is null; geometries are well-known text in the terrain's grid.

    Parameters
    ----------
    provenance : put in as it is, but for numbers that are not finite
    """
    stations = [one.station for one in verdict.candidates]
    made = {
        "format": "hillsight verdict 1",
        "state": verdict.state,
        "headline": verdict.headline,
        "none_probability": verdict.none_probability,
        "ratio_to_next": verdict.ratio_to_next,
        "sighting": _sighting(verdict.sighting),
        "candidates": [candidate_row(one) for one in verdict.candidates],
        "arguments": [_argument(one, stations) for one in verdict.arguments],
        "changes": [
            {
                "about": change.about,
                "state": change.state,
                "station": change.station,
                "probability": change.probability,
                "changes": change.changes,
            }
            for change in verdict.changes
        ],
        "questions": [
            {
                "text": question.text,
                "part": question.part,
                "information_bits": question.information_bits,
                "expected": [{"station": label, "answer": answer} for label, answer in question.expected],
            }
            for question in verdict.questions
        ],
        "measured": None if verdict.measured is None else asdict(verdict.measured),
        "cautions": verdict.cautions,
        "provenance": provenance,
    }
    plain: dict[str, Any] = _plain(made)
    return plain


def _sighting(sighting: Sighting) -> dict[str, Any]:
    picture = sighting.picture
    return {
        "source": file_name(sighting.source) if sighting.source else "",
        "picture": {
            "title": picture.title,
            "looks_deg": picture.looks_deg,
            "north": picture.north,
            "give_or_take_deg": picture.give_or_take_deg,
            "width_deg": picture.width_deg,
            "taken": picture.taken,
            "sun_right_deg": picture.sun_right_deg,
        },
        "statements": [
            {
                "number": number,
                "kind": statement.kind,
                "values": statement.values,
                "part": statement.part,
                "sure": statement.sure,
                "line": statement.line,
            }
            for number, statement in enumerate(sighting.statements, 1)
        ],
    }


def candidate_row(one: Weighed) -> dict[str, Any]:
    """One candidate as files hold it."""
    return {
        "station": one.station,
        "easting_m": one.easting_m,
        "northing_m": one.northing_m,
        "ground_height_m": one.ground_height_m,
        "eye_level_m": one.eye_level_m,
        "prior": one.prior,
        "probability": one.probability,
        "probability_by_ground": one.by_ground,
        "looks_true_deg": one.looks_true_deg,
        "looks_plus_minus_deg": one.looks_plus_minus_deg,
        "rank": one.rank,
    }


def _argument(one: Argument, stations: list[str]) -> dict[str, Any]:
    return {
        "argument": one.number,
        "statement": one.statement.kind,
        "says": one.says,
        "evidence_class": one.evidence_class,
        "role": one.role,
        "times": one.times,
        "sentence": one.sentence,
        "facts": [_fact(fact, station) for fact, station in zip(one.facts, stations, strict=True)],
    }


def _fact(fact: Fact, station: str) -> dict[str, Any]:
    geometry = fact.geometry
    return {
        "station": station,
        "fact": fact.words,
        "figure": fact.figure,
        "unit": fact.unit,
        "bearing_true_deg": fact.bearing_true_deg,
        "agrees": fact.agrees,
        "geometry": None if geometry is None else shapely.to_wkt(geometry, _PLACES),
    }


def _plain(value: Any) -> Any:
    """The same with types that JSON knows."""
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, np.generic):
        return _plain(value.item())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, datetime.date):  # moments are dates too
        return value.isoformat()
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray):
        return _plain(value.tolist())
    if isinstance(value, list | tuple | set | frozenset):
        return [_plain(item) for item in value]
    return str(value)
