"""Map features along a section: what it crosses, from where to where, and what stands beside it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from hillsight.reading.section.profile import HIDDEN, UNKNOWN, VISIBLE

if TYPE_CHECKING:
    import geopandas

    from hillsight.arrays import Floats
    from hillsight.reading.section.profile import Section

#: Stretches of a feature this near (m) to each other are one.
_JOINED_M = 0.01


@dataclass(frozen=True)
class Passed:
    """One stretch of a feature on the section, or a feature beside it.

    from_grid_m, to_grid_m : grid distances along the section; equal where a line is crossed at a point
    offset_m : how far beside the section it stands, to the right positive; 0 if it is crossed
    easting_m, northing_m, ground_m : the middle of the stretch, or the nearest place of what stands beside
    state : visible, partly, hidden or unknown, of a thing as tall as the feature says it is
    clearance_m : of the place that shows best; +inf where no ground is nearer, NaN unknown
    """

    name: str | None
    kind: str | None
    evidence_class: str
    source: str
    is_area: bool
    from_grid_m: float
    to_grid_m: float
    offset_m: float
    easting_m: float
    northing_m: float
    ground_m: float
    state: str
    clearance_m: float

    @property
    def is_crossed(self) -> bool:
        """Whether it lies on the section."""
        return self.offset_m == 0.0


def features_along(section: Section, features: geopandas.GeoDataFrame, beside_m: float) -> tuple[Passed, ...]:
    """Features that a section crosses or passes within a distance, nearest to the station first.

    Parameters
    ----------
    features : as ``ground.features.read_features`` gives them, on the section's grid
    beside_m : metres on the grid to either side; what the section ends at is left out
    """
    course = section.course
    start, end = (course.easting_m, course.northing_m), (course.end_easting_m, course.end_northing_m)
    line = shapely.LineString([start, end])
    shapely.prepare(line)
    near = np.flatnonzero(shapely.dwithin(np.asarray(features.geometry.array, dtype=object), line, beside_m))
    found = []
    for row in near:
        feature = features.iloc[int(row)]
        spans = _crossed(line, feature.geometry)
        if course.target is not None and course.target.feature == row:
            spans = [span for span in spans if span[1] < section.length_grid_m - _JOINED_M]
            found += [_on_section(section, feature, *span) for span in spans]
        elif spans:
            found += [_on_section(section, feature, *span) for span in spans]
        else:
            found.append(_beside(section, feature, line))
    return tuple(sorted(found, key=lambda passed: (passed.from_grid_m, passed.to_grid_m)))


def _crossed(line: shapely.LineString, shape: shapely.Geometry) -> list[tuple[float, float]]:
    """Grid distances between which a line or an area is crossed; none for points and what is missed."""
    if shapely.get_dimensions(shape) == 0:
        return []
    parts = shapely.get_parts(shapely.get_parts(shapely.intersection(line, shape)))
    spans = []
    for part in parts[~shapely.is_empty(parts)]:
        ends = shapely.get_coordinates(part)[[0, -1]]
        spans.append(sorted(float(line.project(shapely.Point(place))) for place in ends))
    joined: list[tuple[float, float]] = []
    for first, last in sorted(spans):
        if joined and first <= joined[-1][1] + _JOINED_M:
            joined[-1] = (joined[-1][0], max(joined[-1][1], last))
        else:
            joined.append((first, last))
    return joined


def _on_section(section: Section, feature: Any, first_m: float, last_m: float) -> Passed:
    grid_m = section.samples.grid_m
    inside = grid_m[(grid_m > first_m) & (grid_m < last_m)]
    middle_m = (first_m + last_m) / 2
    at_m = np.unique(np.r_[first_m, inside, middle_m, last_m])
    places = np.array([section.place(float(d)) for d in at_m])
    is_area = bool(shapely.get_dimensions(feature.geometry) == 2)
    middle = int(np.searchsorted(at_m, middle_m))
    return _judged(section, feature, places, middle, (first_m, last_m), 0.0, is_area)


def _beside(section: Section, feature: Any, line: shapely.LineString) -> Passed:
    nearest = shapely.get_coordinates(shapely.shortest_line(line, feature.geometry))
    at_m = float(line.project(shapely.Point(nearest[0])))
    course = section.course
    east, north = course.end_easting_m - course.easting_m, course.end_northing_m - course.northing_m
    across = (nearest[1, 0] - course.easting_m) * north - (nearest[1, 1] - course.northing_m) * east
    apart_m = float(np.hypot(*(nearest[1] - nearest[0])))
    offset_m = apart_m if across >= 0 else -apart_m
    is_area = bool(shapely.get_dimensions(feature.geometry) == 2)
    return _judged(section, feature, nearest[1:], 0, (at_m, at_m), offset_m, is_area)


def _judged(
    section: Section,
    feature: Any,
    places: Floats,
    middle: int,
    span_m: tuple[float, float],
    offset_m: float,
    is_area: bool,
) -> Passed:
    height_m = float(feature["target_height_m"])
    heights_m = np.full(len(places), 0.0 if np.isnan(height_m) else height_m)
    sight = section.at(places[:, 0], places[:, 1], heights_m)
    clearance_m = sight.clearance_m
    seen, hidden = clearance_m >= 0, clearance_m < 0
    state = HIDDEN if hidden.all() else UNKNOWN
    if seen.any():
        state = VISIBLE if seen.all() else "partly"
    known = clearance_m[~np.isnan(clearance_m)]
    return Passed(
        _text(feature["name"]),
        _text(feature["kind"]),
        feature["evidence_class"],
        feature["source"],
        is_area,
        *span_m,
        offset_m,
        float(places[middle, 0]),
        float(places[middle, 1]),
        float(sight.ground_m[middle]),
        state,
        float(known.max()) if known.size and state != UNKNOWN else np.nan,
    )


def _text(value: Any) -> str | None:
    return value if isinstance(value, str) else None
