"""Sections over made ground and map features along them, for the tests of readings and sheets."""

from __future__ import annotations

import geopandas

from hillsight.ground.geodesy import grid_bearing_deg
from hillsight.reading.section.profile import Course, Section, Target, cut_section
from views import CRS, GEODESY, surface_of


def section_of(
    height_m,
    start: tuple[float, float],
    end: tuple[float, float],
    *,
    spacing_m: float = 10.0,
    spacing_y_m: float | None = None,
    eye_m: float = 1.6,
    target_m: float | None = None,
    drop_per_m: float = 0.0,
) -> Section:
    """A section between fractional rows and columns; to a target if a height is given, else to the reach."""
    surface = surface_of(height_m, spacing_m, spacing_y_m)
    here, there = (tuple(float(v) for v in surface.grid.to_map(*place)) for place in (start, end))
    target = None if target_m is None else Target("Cairn", *there, target_m)
    course = Course(
        1, "A", *here, surface.height_at_m(*here), eye_m, 0.13, target,
        "reach" if target is None else "target", *there, 0.0, float(grid_bearing_deg(*here, *there)),
    )  # fmt: skip
    return cut_section(course, surface, drop_per_m, GEODESY)


def features_of(*rows) -> geopandas.GeoDataFrame:
    """Features of (name, height above the ground or NaN, shape) each."""
    return geopandas.GeoDataFrame(
        {
            "name": [name for name, _, _ in rows],
            "kind": ["thing"] * len(rows),
            "evidence_class": ["unclassed"] * len(rows),
            "target_height_m": [height for _, height, _ in rows],
            "source": ["file, layer"] * len(rows),
        },
        geometry=[shape for _, _, shape in rows],
        crs=CRS,
    )
