"""Cover on the drawing of a section: where it stands, what it blocks, what the legend and the caution say."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from matplotlib.text import Text

from hillsight.ground.cover import Cover, Screens
from hillsight.ground.geodesy import grid_bearing_deg
from hillsight.reading.section.profile import Course, Section, Target, cut_section
from hillsight.sheets.section.section_cover import blocked_at, cover_signs
from hillsight.sheets.section.section_sheet import draw_profile
from views import GEODESY, surface_of

KINDS = ("", "wood", "wall")


def section(*, wood_at: slice | None, wall_m: float | None, passing_m: float = 10.0) -> Section:
    """800 m over level ground, from an eye at 1.6 m to a target of 2 m."""
    surface = surface_of(np.zeros((11, 91), np.float32))
    wood = np.zeros((11, 91), np.float32)
    if wood_at is not None:
        wood[:, wood_at] = 12.0
    screens = Screens.none()
    if wall_m is not None:
        ends = [np.array([at]) for at in (0.0, wall_m / 10, 10.0, wall_m / 10)]
        screens = Screens(*ends, np.array([3.0]), np.array([2], np.uint8))
    if wood_at is not None or wall_m is not None:
        kind = (wood > 0).astype(np.uint8)
        surface = replace(surface, cover=Cover(np.zeros_like(wood), wood, kind, KINDS, screens, passing_m))
    here, there = (tuple(float(v) for v in surface.grid.to_map(5, column)) for column in (0, 80))
    bearing = float(grid_bearing_deg(*here, *there))
    course = Course(
        1, "A", *here, 0.0, 1.6, 1.0, Target("Cairn", *there, 2.0), "target", *there, bearing, bearing
    )
    return cut_section(course, surface, 0.0, GEODESY)


@pytest.mark.parametrize(
    ("made", "first_m"),
    [
        ({"wood_at": slice(30, 45), "wall_m": None}, 300.0),
        ({"wood_at": None, "wall_m": 203.0}, 210.0),
        ({"wood_at": slice(30, 45), "wall_m": 203.0}, 210.0),
    ],
)
def test_the_line_is_dotted_from_what_first_blocks_it(made: dict[str, Any], first_m: float) -> None:
    found = section(**made)
    assert found.line is not None
    assert found.line.state == "hidden"
    assert found.samples.grid_m[blocked_at(found) - 1] == pytest.approx(first_m)


def test_the_legend_names_what_is_drawn_and_no_more() -> None:
    assert cover_signs(section(wood_at=None, wall_m=None)) == []
    words = [text for text, _, _ in cover_signs(section(wood_at=slice(30, 45), wall_m=203.0))]
    assert words == ["leafy wood, lets some sight pass", "wall, hedge or other screen"]
    words = [text for text, _, _ in cover_signs(section(wood_at=slice(30, 45), wall_m=None, passing_m=0.0))]
    assert words == ["cover that lets no sight pass"]


def test_the_page_is_drawn_and_warns_of_cover() -> None:
    bare, covered = section(wood_at=None, wall_m=None), section(wood_at=slice(30, 45), wall_m=203.0)
    texts = [text.get_text() for text in draw_profile(covered, [], "ground.tif").figure.findobj(Text)]
    assert "count only where data of them were given" in " ".join(" ".join(texts).split())
    drawn = draw_profile(covered, [], "ground.tif")
    plain = draw_profile(bare, [], "ground.tif")
    assert len(drawn.figure.axes) == len(plain.figure.axes)
