"""Landmarks of an exercise: which features of the map are pointed at, and what is said of each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.reading.drawn.landmarks import SEEN, feature_rows
from hillsight.words.angles import bearing_words
from hillsight.words.quantities import metres, rough_distance_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.jobs.exercise.views import PlaceView
    from hillsight.reading.drawn.landmarks import Landmark

#: Landmarks that a wrong place adds to those of the true one.
_MORE = 4


@dataclass(frozen=True)
class Pointed:
    """A landmark that may be pointed at.

    number : left to right from the true place, then those that only wrong places show
    place : of the feature among the map's
    """

    number: int
    place: int
    name: str
    kind: str
    evidence_class: str
    easting_m: float
    northing_m: float


def pointed_at(views: Sequence[PlaceView], truth: int) -> list[Pointed]:
    """Landmarks of the true view, and the best of what the others show besides.

    Parameters
    ----------
    views : of each place; truth : number of the true one
    """
    found: dict[int, Pointed] = {}

    def take(landmark: Landmark) -> None:
        if landmark.place not in found:
            found[landmark.place] = Pointed(
                len(found) + 1,
                landmark.place,
                landmark.name,
                landmark.kind,
                landmark.evidence_class,
                landmark.easting_m,
                landmark.northing_m,
            )

    for landmark in views[truth].landmarks:
        if landmark.number:
            take(landmark)
    for number, view in enumerate(views):
        if number != truth:
            new = [one for one in view.landmarks if one.number and one.is_seen and one.place not in found]
            for landmark in sorted(new, key=lambda one: one.distance_m)[:_MORE]:
                take(landmark)
    return list(found.values())


def seen_words(landmark: Landmark) -> str:
    """Where a landmark of a view lies from its eye, in words."""
    words = lying_words(landmark.bearing_true_deg, landmark.distance_m, landmark.above_eye_m)
    return words if landmark.is_seen else f"{words}, all but seen"


def lying_words(bearing_true_deg: float, distance_m: float, above_eye_m: float) -> str:
    """Bearing, distance and height relative to the eye, in words; no height where none is known."""
    words = [f"{bearing_words(bearing_true_deg)} true", rough_distance_words(distance_m)]
    if np.isfinite(above_eye_m):
        side = "above" if above_eye_m >= 0 else "below"
        words.append(f"{metres(abs(above_eye_m))} {side} the eye")
    return ", ".join(words)


def unseen_words(view: PlaceView, place: int) -> str:
    """Why a feature has no mark on the view, in words."""
    row: dict[str, Any] | None = feature_rows(view.view).get(place)
    if row is None:
        return "not in view"
    x_px, y_px = (
        float(v) for v in view.cylinder.pixels(row["bearing_grid_deg"], _number(row["vertical_angle_deg"]))
    )
    across = 0 <= x_px <= view.cylinder.width_px
    where = f"{bearing_words(row['bearing_true_deg'])} true, {rough_distance_words(row['distance_m'])}"
    if not across:
        return f"{where}, beside the picture"
    if row["state"] in SEEN:
        return f"{where}, {'below' if y_px > view.cylinder.height_px else 'not on'} the picture"
    by_m = _number(row["hidden_by_m"])
    return f"{where}, out of view" + (f" by {metres(max(by_m, 1.0))}" if np.isfinite(by_m) else "")


def _number(value: Any) -> float:
    return float("nan") if value is None else float(value)
