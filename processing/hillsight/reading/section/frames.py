"""Sections as the tables that the profile script writes; columns in schema/section.py."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas
import numpy as np
import pandas as pd
import shapely

from hillsight.reading.section.cover_along import cover_along, hider_of_stretch, hider_of_target
from hillsight.reading.section.profile import HIDDEN, UNKNOWN, VISIBLE
from hillsight.schema.frames import frame_of_rows, texts

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pyproj import CRS

    from hillsight.reading.section.features import Passed
    from hillsight.reading.section.profile import Section, Stretch


def profile_frames(
    sections: Sequence[Section], passed: Sequence[Sequence[Passed]], crs: CRS
) -> dict[str, geopandas.GeoDataFrame]:
    """The layers ``profile_line``, ``profile_stretches`` and ``profile_points`` of some sections.

    passed : map features along each of them
    """
    lines, stretches, points = [], [], []
    for section, along in zip(sections, passed, strict=True):
        lines.append((_line_row(section), shapely.LineString(_vertices(section))))
        stretches += _stretch_rows(section)
        points += _point_rows(section, along)
    return {
        "profile_line": _frame("profile_line", lines, crs),
        "profile_stretches": _frame("profile_stretches", stretches, crs),
        "profile_points": _frame("profile_points", points, crs),
    }


def sample_table(sections: Sequence[Section]) -> pd.DataFrame:
    """Every sample of some sections, one row each."""
    parts = []
    for section in sections:
        samples, course, count = section.samples, section.course, section.samples.grid_m.size
        along = cover_along(section)
        finite = np.where(np.isfinite(samples.clearance_m), samples.clearance_m, np.nan)
        parts.append(
            pd.DataFrame(
                {
                    "station": texts([course.station] * count),
                    "section": course.number,
                    "target": texts([None if course.target is None else course.target.name] * count),
                    "sample": np.arange(count),
                    "distance_m": samples.distance_m,
                    "distance_grid_m": samples.grid_m,
                    "easting_m": samples.easting_m,
                    "northing_m": samples.northing_m,
                    "height_m": samples.ground_m,
                    "cover_m": np.nan if along is None else along.tall_m,
                    "lowered_m": samples.lowered_m,
                    "grazing_m": samples.lowered_m - finite,
                    "sight_line_m": np.nan if section.line is None else section.line.level_m,
                    "clearance_m": finite,
                    "state": texts(samples.states),
                }
            )
        )
    return pd.concat(parts, ignore_index=True)


def _frame(
    layer: str, rows: list[tuple[dict[str, Any], shapely.Geometry]], crs: CRS
) -> geopandas.GeoDataFrame:
    return frame_of_rows(layer, [row for row, _ in rows], [shape for _, shape in rows], crs)


def _about(section: Section) -> dict[str, Any]:
    return {"station": section.course.station, "section": section.course.number}


def _line_row(section: Section) -> dict[str, Any]:
    course, line = section.course, section.line
    lengths_m = dict.fromkeys((VISIBLE, HIDDEN, UNKNOWN), 0.0)
    for stretch in section.stretches:
        lengths_m[stretch.state] += _length_m(section, stretch)
    row = {
        **_about(section),
        "target": None if course.target is None else course.target.name,
        "ends_at": course.ends_at,
        "bearing_true_deg": course.bearing_true_deg,
        "bearing_grid_deg": course.bearing_grid_deg,
        "length_m": section.length_m,
        "ground_height_m": course.ground_height_m,
        "eye_level_m": course.ground_height_m + course.eye_height_m,
        "drop_m": section.drop_m,
        "visible_m": lengths_m[VISIBLE],
        "hidden_m": lengths_m[HIDDEN],
        "unknown_m": lengths_m[UNKNOWN],
        "depth_max_m": max((stretch.depth_m for stretch in section.stretches), default=0.0),
    }
    if line is not None:
        row |= {
            "state": line.state,
            "clearance_m": _finite(line.clearance_m),
            "vertical_angle_deg": line.vertical_angle_deg,
        }
        if section.whole is not None:
            row["visible_share"] = section.whole.visible_share
        if (hider := hider_of_target(section)) is not None:
            row["hidden_by"] = hider.kind
        if line.crest_sample is not None:
            row["crest_distance_m"] = float(section.samples.distance_m[line.crest_sample])
        if line.closest_sample is not None:
            i = line.closest_sample
            row["closest_m"] = float(line.level_m[i] - section.samples.lowered_m[i])
            row["closest_distance_m"] = float(section.samples.distance_m[i])
    return row


def _length_m(section: Section, stretch: Stretch) -> float:
    return section.ground_distance_m(stretch.to_grid_m) - section.ground_distance_m(stretch.from_grid_m)


def _vertices(
    section: Section, from_grid_m: float = 0.0, to_grid_m: float = np.inf
) -> list[tuple[float, float, float]]:
    """Places and heights of the samples between two grid distances, and of these two."""
    to_grid_m = min(to_grid_m, section.length_grid_m)
    grid_m = section.samples.grid_m
    inside = grid_m[(grid_m > from_grid_m) & (grid_m < to_grid_m)]
    at = np.r_[from_grid_m, inside, to_grid_m]
    return [(*section.place(float(d)), section.height_m(float(d))) for d in at]


def _stretch_rows(section: Section) -> list[tuple[dict[str, Any], shapely.Geometry]]:
    rows = []
    for number, stretch in enumerate(section.stretches, 1):
        if stretch.to_grid_m <= stretch.from_grid_m:  # unknown at a single known sample: nothing to draw
            continue
        row = {
            **_about(section),
            "stretch": number,
            "state": stretch.state,
            "from_m": section.ground_distance_m(stretch.from_grid_m),
            "to_m": section.ground_distance_m(stretch.to_grid_m),
            "length_m": _length_m(section, stretch),
        }
        if stretch.crest is not None:
            row |= {"crest": stretch.crest.number, "role": stretch.crest.role}
        if stretch.deepest is not None:
            row |= {
                "depth_max_m": stretch.depth_m,
                "depth_max_distance_m": float(section.samples.distance_m[stretch.deepest]),
            }
        if (hider := hider_of_stretch(section, stretch)) is not None:
            row |= {"hidden_by": hider.kind, "hidden_by_distance_m": hider.distance_m}
        rows.append((row, shapely.LineString(_vertices(section, stretch.from_grid_m, stretch.to_grid_m))))
    return rows


def _point_rows(section: Section, along: Sequence[Passed]) -> list[tuple[dict[str, Any], shapely.Geometry]]:
    rows: list[tuple[dict[str, Any], shapely.Geometry]] = []
    samples = section.samples

    def add(what: str, grid_m: float, **more: Any) -> None:
        distance_m, height_m = section.ground_distance_m(grid_m), section.height_m(grid_m)
        row = {
            **_about(section),
            "what": what,
            "from_m": distance_m,
            "to_m": distance_m,
            "offset_m": 0.0,
            "height_m": height_m,
            **more,
        }
        rows.append((row, shapely.Point(*section.place(grid_m), height_m)))

    for stretch in section.stretches:
        if stretch.deepest is None:
            continue
        crest = stretch.crest
        number = None if crest is None else crest.number
        if crest is not None:
            add(
                "crest", float(samples.grid_m[crest.sample]), crest=number, role=crest.role, state=VISIBLE,
                clearance_m=_finite(float(samples.clearance_m[crest.sample])),
            )  # fmt: skip
        add(
            "deepest", float(samples.grid_m[stretch.deepest]), crest=number, state=HIDDEN,
            clearance_m=-stretch.depth_m,
        )  # fmt: skip
        if stretch.emerges:
            add("re_emergence", stretch.to_grid_m, crest=number, state=VISIBLE, clearance_m=0.0)
    line, target = section.line, section.course.target
    if line is not None and target is not None:
        if line.closest_sample is not None:
            i = line.closest_sample
            state, clearance_m = str(samples.states[i]), _finite(float(samples.clearance_m[i]))
            add("closest", float(samples.grid_m[i]), state=state, clearance_m=clearance_m)
        clearance_m = _finite(line.clearance_m)
        add("target", section.length_grid_m, name=target.name, state=line.state, clearance_m=clearance_m)
    rows += [_passed_row(section, passed) for passed in along]
    return sorted(rows, key=lambda found: found[0]["from_m"])


def _passed_row(section: Section, passed: Passed) -> tuple[dict[str, Any], shapely.Geometry]:
    row = {
        **_about(section),
        "what": "crossed" if passed.is_crossed else "beside",
        "name": passed.name,
        "kind": passed.kind,
        "evidence_class": passed.evidence_class,
        "from_m": section.ground_distance_m(passed.from_grid_m),
        "to_m": section.ground_distance_m(passed.to_grid_m),
        "offset_m": passed.offset_m,
        "height_m": passed.ground_m,
        "state": passed.state,
        "clearance_m": _finite(passed.clearance_m),
        "source": passed.source,
    }
    return row, shapely.Point(passed.easting_m, passed.northing_m, passed.ground_m)


def _finite(value: float) -> float | None:
    return value if np.isfinite(value) else None
