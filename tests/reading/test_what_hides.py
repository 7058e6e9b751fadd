"""Which cover hides: made by hand on level ground, where similar triangles tell every figure.

Eye 1.6 m above level ground at post (60, 0), posts 10 m apart. A wall of 3 m runs north and south 303 m to
the east, from 100 m south to 100 m north of the eye. To the north-east lies a wood, 12 m tall, to the
south-east a ridge of the ground itself, 40 m high.
"""

from __future__ import annotations

from dataclasses import replace

import geopandas
import numpy as np
import pytest
import shapely

from hillsight.ground.cover import Cover, Screens
from hillsight.reading.ground.behind_crests import behind_crests
from hillsight.reading.ground.hidden_by import add_hidden_by
from hillsight.reading.section.cover_along import (
    cover_along,
    hider_of_stretch,
    hider_of_target,
    target_stands_in,
)
from hillsight.reading.section.frames import profile_frames, sample_table
from hillsight.reading.section.profile import Course, Target, cut_section
from hillsight.reading.section.section_words import ground_words, target_words
from hillsight.reading.things.bearing_list import bearing_list
from hillsight.reading.view import View
from hillsight.reading.what_hides import inside_notes, kinds_at
from hillsight.sight.viewing import Eye, Viewing
from hillsight.words.cover import hider_words
from views import CRS, GEODESY, reading_of, surface_of

ROWS, COLUMNS = 121, 151
WALL_M, WALL_TALL_M = 303.0, 3.0
KINDS = ("", "wood", "wall", "surface model")


def covered(*, passing_m: float = 0.0, bare: bool = False):
    ground = np.zeros((ROWS, COLUMNS), np.float32)
    ground[75:, 60] = 40.0
    surface = surface_of(ground)
    if bare:
        return surface
    wood = np.zeros((ROWS, COLUMNS), np.float32)
    wood[10:45, 40:56] = 12.0
    ends = [np.array([value]) for value in (70.0, WALL_M / 10, 50.0, WALL_M / 10)]
    screens = Screens(*ends, np.array([WALL_TALL_M]), np.array([2], np.uint8))
    kind = (wood > 0).astype(np.uint8)
    return replace(surface, cover=Cover(np.zeros_like(wood), wood, kind, KINDS, screens, passing_m=passing_m))


def looked(surface):
    easting_m, northing_m = (float(v) for v in surface.grid.to_map(60, 0))
    return View.from_station(surface, easting_m, northing_m, 0.0, Viewing(1.6, 0.0, 1_450.0, 1.0), GEODESY)


@pytest.fixture(scope="module")
def view():
    return looked(covered())


def listed(view, *places):
    frame = geopandas.GeoDataFrame(
        {
            "name": [name for name, _, _ in places],
            "kind": "cairn",
            "evidence_class": "man_made",
            "target_height_m": np.nan,
            "source": "made",
        },
        geometry=[shapely.Point(view.easting_m + e, view.northing_m + n) for _, e, n in places],
        crs=CRS,
    )
    return bearing_list(view, frame, None).frame.set_index("name")


def test_the_list_says_which_cover_hides_and_where(view):
    found = listed(view, ("wall", 603, 0), ("wood", 800, 400), ("ridge", 900, -300), ("seen", 200, 0))
    assert found["hidden_by"].tolist().count(None) == 1
    assert found.loc["wall", "hidden_by"] == "wall"
    # over the wall's top: 1.6 + (3 - 1.6) / 303 * 603
    assert found.loc["wall", "hidden_by_m"] == pytest.approx(1.6 + 1.4 / 303 * 603, abs=1e-6)
    assert found.loc["wall", "hidden_by_distance_m"] == pytest.approx(303 / 0.9996012717, abs=0.01)
    assert found.loc["wood", "hidden_by"] == "wood"
    assert found.loc["ridge", "hidden_by"] == "ground"
    # the ridge stands on column 60, 600 m east
    assert found.loc["ridge", "hidden_by_distance_m"] == pytest.approx(
        600 * np.hypot(900, 300) / 900 / 0.9996012717, abs=0.05
    )
    assert found.loc["seen", "state"] == "visible"


def test_what_the_ground_hides_by_itself_is_not_laid_to_the_cover(view):
    """Behind both the wall and the ridge: with the wall gone it would still be hidden."""
    found = listed(view, ("both", 1_200.0, -340.0)).loc["both"]
    across_wall = 340.0 * 303.0 / 1_200.0
    assert across_wall < 100, "the line crosses the wall"
    assert found["hidden_by"] == "ground"
    assert found["hidden_by_distance_m"] == pytest.approx(
        600 * np.hypot(1_200, 340) / 1_200 / 0.9996012717, abs=0.05
    )


def test_dead_ground_is_parted_by_what_hides_it(view):
    reading = reading_of(view)
    frames = {
        "dead_ground": reading.pockets,
        "dead_ground_by_crest": behind_crests(view, reading.pockets, reading.lines),
    }
    told = add_hidden_by(view, frames)
    pieces = frames["dead_ground_by_crest"]
    assert set(pieces["hidden_by"]) == {"wall", "wood", "ground"}
    for kind, place in (("wall", (700, 0)), ("wood", (800, 400)), ("ground", (900, -400))):
        at = shapely.Point(view.easting_m + place[0], view.northing_m + place[1])
        assert pieces[pieces.contains(at)]["hidden_by"].tolist() == [kind]
    wall = pieces[pieces["hidden_by"] == "wall"].iloc[0]
    assert wall["hidden_by_distance_m"] == pytest.approx(303, abs=20)
    assert "by the wall" in told[0]
    assert "by the wood" in told[0]
    assert not pieces["hidden_by"].isna().any()


def test_without_cover_nothing_is_said_of_it():
    view = looked(covered(bare=True))
    reading = reading_of(view)
    frames = {
        "dead_ground": reading.pockets,
        "dead_ground_by_crest": behind_crests(view, reading.pockets, reading.lines),
    }
    assert add_hidden_by(view, frames) == []
    assert frames["dead_ground"]["hidden_by"].isna().all()
    assert listed(view, ("ridge", 900, -300))["hidden_by"].isna().all()
    assert inside_notes("A", view.surface, view.eye) == []


def test_kinds_at_places_on_and_between_posts():
    surface = covered()
    rows, columns = (
        np.array([20.0, 20.4, 9.5, 5.0, 60.0, 60.0]),
        np.array([45.0, 55.5, 45.0, 45.0, 30.3, 30.2]),
    )
    assert [KINDS[k] for k in kinds_at(surface, rows, columns)] == ["wood", "wood", "wood", "", "wall", ""]


def test_an_eye_inside_cover_is_told():
    surface = covered()
    inside = Eye(20.0, 45.0, 1.6)
    assert "A: the eye is in the wood" in inside_notes("A", surface, inside)[0]
    assert inside_notes("A", surface, Eye(20.0, 45.0, 12.5)) == []
    assert inside_notes("A", surface, Eye(60.0, 45.0, 1.6)) == []


def section(surface, *, to: tuple[float, float], target_m: float | None = None):
    here = tuple(float(v) for v in surface.grid.to_map(60, 0))
    there = here[0] + to[0], here[1] + to[1]
    target = None if target_m is None else Target("Cairn", *there, target_m)
    grid_deg = float(np.degrees(np.arctan2(*to)))
    ends = "reach" if target is None else "target"
    course = Course(1, "A", *here, 0.0, 1.6, 1.0, target, ends, *there, grid_deg, grid_deg)
    return cut_section(course, surface, 0.0, GEODESY)


def test_a_section_tells_the_wall_that_it_crosses():
    found = section(covered(), to=(700.0, 0.0), target_m=2.0)
    along = cover_along(found)
    np.testing.assert_allclose(along.screens_m, [[WALL_M, WALL_TALL_M]])
    assert along.screen_kinds == ("wall",)
    assert not along.tall_m.any()
    hider = hider_of_target(found)
    assert hider.words == "the wall"
    assert hider.distance_m == pytest.approx(303 / 0.9996012717, abs=0.05)
    assert "behind the wall at 303 m" in target_words(found)[0]
    frames = profile_frames([found], [[]], CRS)
    assert frames["profile_line"]["hidden_by"].tolist() == ["wall"]
    hidden = frames["profile_stretches"].query("state == 'hidden'")
    assert hidden["hidden_by"].tolist() == ["wall"]
    assert "hidden there by the wall at 303 m" in ground_words(found)[0]


def test_a_section_tells_ground_and_wood_apart():
    found = section(covered(), to=(800.0, 400.0))
    (stretch,) = [one for one in found.stretches if one.state == "hidden"]
    assert hider_of_stretch(found, stretch).kind == "wood"
    assert sample_table([found])["cover_m"].max() == pytest.approx(12.0)
    over = section(covered(), to=(900.0, -300.0))
    (stretch,) = [one for one in over.stretches if one.state == "hidden"]
    assert hider_of_stretch(over, stretch).kind == "ground"
    bare = section(covered(bare=True), to=(900.0, -300.0))
    assert cover_along(bare) is None
    assert hider_of_stretch(bare, bare.stretches[-1]) is None
    assert sample_table([bare])["cover_m"].isna().all()


def test_a_target_at_the_edge_of_a_wood_is_told_to_be_uncertain():
    """Its own wood does not hide it; but nobody sees for certain into trees."""
    ground = np.zeros((11, 51), np.float32)
    ground[:, 40:] = 60.0 + np.arange(11)
    wood = np.zeros_like(ground)
    wood[:, 40:] = 8.0
    surface = surface_of(ground)
    surface = replace(surface, cover=Cover(np.zeros_like(wood), wood, (wood > 0).astype(np.uint8), KINDS))
    here, there = (tuple(float(v) for v in surface.grid.to_map(5, column)) for column in (0, 40))
    course = Course(1, "A", *here, 0.0, 1.6, 1.0, Target("Post", *there, 2.0), "target", *there, 90.0, 90.0)
    found = cut_section(course, surface, 0.0, GEODESY)
    assert found.line.state == "visible"
    assert target_stands_in(found) == "the wood"
    assert any("It stands in the wood, below its top" in text for text in target_words(found))
    tall = replace(course, target=Target("Mast", *there, 9.0))
    assert target_stands_in(cut_section(tall, surface, 0.0, GEODESY)) == ""


def test_words_of_hiders():
    assert hider_words("surface model") == "what the surface model shows"
    assert hider_words(None) == hider_words(float("nan")) == ""
