"""Landmarks of a drawn view: which features get a number, from left to right, and what is said of each."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.words.angles import clockwise_deg
from hillsight.words.trust import trust_order

if TYPE_CHECKING:
    from hillsight.reading.drawn.drawn_view import DrawnView
    from hillsight.sight.cylinder import Projection

#: States in which something of a feature is seen, or may be.
SEEN = ("visible", "partly", "uncertain")

#: A hidden thing that would show if it stood higher by this angle is worth a mark: the model may err so far.
#: Common practice, no source.
_ALL_BUT_SEEN_DEG = 0.15

#: From this share against the sky on, a thing stands out.
_ON_THE_SKY = 0.3


@dataclass(frozen=True)
class Landmark:
    """A map feature with a place on the view.

    number : its number, left to right from 1; 0 for none
    place : of the feature among those given
    rank : its place in the bearing list
    name, kind : "" where it has none
    state : as in the layer ``bearing_list``
    bearing_*_deg : of the listed point; magnetic NaN without a day
    across_deg : degrees clockwise from the sector's left edge
    angle_deg : apparent vertical angle of the listed point's top
    distance_m : m on the ellipsoid
    height_m, above_eye_m : of the ground there, in the terrain's datum; above the eye
    hidden_by_m : how much taller it must stand to show; NaN where it is seen
    easting_m, northing_m : of the listed point
    """

    number: int
    place: int
    rank: int
    name: str
    kind: str
    evidence_class: str
    state: str
    bearing_true_deg: float
    bearing_grid_deg: float
    bearing_magnetic_deg: float
    across_deg: float
    angle_deg: float
    distance_m: float
    height_m: float
    above_eye_m: float
    hidden_by_m: float
    easting_m: float
    northing_m: float

    @property
    def is_seen(self) -> bool:
        """Whether anything of it is seen, or may be."""
        return self.state in SEEN

    def is_on(self, projection: Projection) -> bool:
        """Whether it lies on a picture."""
        x, y = (float(v) for v in projection.pixels(self.bearing_grid_deg, self.angle_deg))
        return 0 <= x <= projection.width_px and 0 <= y <= projection.height_px


def landmarks(view: DrawnView, most: int, projection: Projection | None = None) -> list[Landmark]:
    """Features in the sector that are seen or all but seen, from left to right.

    most : so many get a number at most: those with names that are seen, what stands against the sky and what
        deserves more trust first
    projection : only those on this picture get a number
    """
    listed = view.listed
    if listed is None:
        return []
    rows = []
    for (place, row), shape in zip(feature_rows(view).items(), listed.geometry, strict=True):
        across_deg = float(clockwise_deg(view.left_grid_deg, row["bearing_grid_deg"]))
        row["place"] = place
        if across_deg <= view.span_deg and _is_worth(row):
            rows.append((across_deg, row, shape))
    rows.sort(key=lambda one: (one[0], one[1]["distance_m"]))
    found = [_landmark(row, shape, across) for across, row, shape in rows]
    wanted = [i for i, one in enumerate(found) if one.name and (projection is None or one.is_on(projection))]
    wanted.sort(key=lambda i: _weight(rows[i][1]))
    for number, i in enumerate(sorted(wanted[:most]), 1):
        found[i] = replace(found[i], number=number)
    return found


def feature_rows(view: DrawnView) -> dict[int, dict[str, Any]]:
    """Rows of the bearing list, in its order, by the place of each feature among those given."""
    if view.listed is None:
        return {}
    rows = view.listed.drop(columns="geometry").to_dict("records")
    return {int(place): row for place, row in zip(view.listed.index, rows, strict=True)}


def _is_worth(row: dict[str, Any]) -> bool:
    if not np.isfinite(_real(row["vertical_angle_deg"])):
        return False
    if row["state"] in SEEN:
        return True
    # A landform without a name is not worth a mark where it is not even seen.
    if row["state"] != "hidden" or not _text(row["name"]):
        return False
    by_deg = np.degrees(np.arctan2(_real(row["hidden_by_m"]), row["distance_m"]))
    return bool(by_deg <= _ALL_BUT_SEEN_DEG)


def _weight(row: dict[str, Any]) -> tuple[bool, bool, int, float]:
    sky = _real(row["sky_share"])
    return (
        row["state"] not in SEEN,
        not sky >= _ON_THE_SKY,
        trust_order(row["evidence_class"]),
        row["distance_m"],
    )


def _landmark(row: dict[str, Any], shape: Any, across_deg: float) -> Landmark:
    return Landmark(
        number=0,
        place=row["place"],
        rank=int(row["rank"]),
        name=_text(row["name"]),
        kind=_text(row["kind"]),
        evidence_class=row["evidence_class"],
        state=row["state"],
        bearing_true_deg=row["bearing_true_deg"],
        bearing_grid_deg=row["bearing_grid_deg"],
        bearing_magnetic_deg=_real(row["bearing_magnetic_deg"]),
        across_deg=across_deg,
        angle_deg=row["vertical_angle_deg"],
        distance_m=row["distance_m"],
        height_m=_real(row["height_m"]),
        above_eye_m=_real(row["height_difference_m"]),
        hidden_by_m=_real(row["hidden_by_m"]),
        easting_m=shape.x,
        northing_m=shape.y,
    )


def _text(value: Any) -> str:
    return value if isinstance(value, str) else ""


def _real(value: Any) -> float:
    return float("nan") if value is None else float(value)
