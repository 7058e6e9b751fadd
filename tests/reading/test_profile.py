"""Sections along sight lines: against the brute-force walker, the kernels and shapes worked out by pencil.

Closed forms: shape by shape as in analytic_visibility.csv, column ``formula`` (tests/outside/data).
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely

import oracle
from assertions import assert_same_clearance
from hillsight.reading.section.features import features_along
from hillsight.reading.section.frames import profile_frames, sample_table
from hillsight.reading.section.profile import Section
from hillsight.reading.section.section_words import ground_words, target_words
from hillsight.sight.bearings import see_bearings
from hillsight.sight.line import crossing_shares
from hillsight.sight.points import see_points
from sections import features_of, section_of
from terrains import fractal, plane, with_voids
from views import CRS


def lowered_around(section: Section):
    grid, eye = section.surface.grid, section.eye
    return oracle.lowered_posts(
        section.surface.height_m, grid.spacing_x_m, grid.spacing_y_m, eye.row, eye.column, eye.drop_per_m
    )


def random_sections(*, voids: bool, count: int = 40):
    random = np.random.default_rng(5)
    for seed in range(4):
        ground = fractal(40, 50, seed=seed, relief_m=120)
        if voids:
            ground = with_voids(ground, seed=seed, share=0.03)
        for _ in range(count // 4):
            start = random.uniform((1, 1), (38, 48)).tolist()
            end = random.uniform((1, 1), (38, 48)).tolist()
            if random.random() < 0.3:  # from post to post
                start, end = np.round(start).tolist(), np.round(end).tolist()
            if random.random() < 0.2:  # along a row
                end[0] = start[0]
            if start == end:
                continue
            section = section_of(ground, start, end, spacing_y_m=14.0, target_m=3.0, drop_per_m=6.8e-8)
            if np.isfinite(section.eye.level_m):
                yield section, end


@pytest.mark.parametrize("voids", [False, True], ids=["whole", "voids"])
def test_states_are_those_of_the_walker(voids):
    seen = set()
    for section, _ in random_sections(voids=voids):
        lowered, eye, samples = lowered_around(section), section.eye, section.samples
        rows, columns = section.surface.grid.to_array(samples.easting_m, samples.northing_m)
        expected = [
            oracle.clearance(lowered, eye.row, eye.column, eye.level_m, row, column)
            for row, column in zip(np.round(rows, 8)[1:], np.round(columns, 8)[1:], strict=True)
        ]
        assert_same_clearance(samples.clearance_m[1:], expected, samples.grid_m[1:])
        seen |= set(samples.states)
    assert {"visible", "hidden"} <= seen
    assert ("unknown" in seen) == voids


def test_samples_and_target_are_those_of_the_kernel():
    for section, end in random_sections(voids=True):
        samples, target = section.samples, section.course.target
        rows, columns = section.surface.grid.to_array(samples.easting_m, samples.northing_m)
        sight = see_points(section.surface, section.eye, rows, columns)
        assert_same_clearance(samples.clearance_m[1:], sight.clearance_m[1:], samples.grid_m[1:])
        top = see_points(section.surface, section.eye, *(np.array([v]) for v in end), target.height_m)
        assert_same_clearance(section.line.clearance_m, top.clearance_m[0], section.length_grid_m)


def test_samples_are_the_crossings_of_the_walker():
    for section, end in random_sections(voids=False):
        eye = section.eye
        places = oracle.crossings(eye.row, eye.column, *end)
        expected = np.array([share for share, _, _ in places])
        expected = expected[np.diff(expected, prepend=-1) > 1e-9]  # a post is crossed by row and by column
        assert np.allclose(crossing_shares(eye.row, eye.column, *end), expected, atol=1e-9)
        lowered = lowered_around(section)
        heights_m = [oracle.ground(lowered, round(r, 9), round(c, 9)) for _, r, c in places]
        at_m = np.array([share for share, _, _ in places]) * section.length_grid_m
        assert np.allclose([section.lowered_m(d) for d in at_m], heights_m, atol=1e-4)


def test_crests_are_those_of_the_bearing_kernel():
    several = 0
    for seed in range(6):
        ground = fractal(70, 70, seed=seed, relief_m=150)
        section = section_of(ground, (35.3, 33.7), (2.0, 60.1), drop_per_m=6.8e-8)
        sight = see_bearings(
            section.surface,
            section.eye,
            section.length_grid_m + 1e-6,  # its end is on a row of posts
            np.array([section.course.bearing_grid_deg]),
        )
        found = [
            (
                section.samples.grid_m[stretch.crest.sample],
                stretch.to_grid_m if stretch.emerges else np.nan,
                stretch.depth_m,
            )
            for stretch in section.stretches
            if stretch.crest is not None
        ]
        count = int(sight.crest_count[0])
        assert len(found) == count
        assert np.allclose(np.reshape(found, (-1, 3)), sight.crests[0, :count], atol=1e-6, equal_nan=True)
        several += count > 1
    assert several >= 3


def test_one_wall_casts_its_shadow():
    # Eye 20 m, wall 5 m at 100 m: shadow ends at 20 * 100 / (20 - 5) = 133.33 m.
    ground = plane(1, 301, height_m=0.0, spacing=1.0)
    ground[0, 100] = 5.0
    section = section_of(ground, (0, 0), (0, 300), spacing_m=1.0, eye_m=20.0)
    assert [stretch.state for stretch in section.stretches] == ["visible", "hidden", "visible"]
    hidden = section.stretches[1]
    assert section.samples.grid_m[hidden.crest.sample] == 100.0
    assert hidden.crest.role == "brow"
    assert hidden.to_grid_m == pytest.approx(133.33, abs=0.01)
    assert hidden.depth_m == pytest.approx(20 - 101 * 15 / 100 - 0.0, abs=1e-3)  # right behind it
    assert section.samples.grid_m[hidden.deepest] == 101.0


def test_two_ridges_hide_and_skyline():
    # Ridges of 50 m at 1 km and 80 m at 2 km, eye 2 m: the second needs 98 m to show, 3 km needs 146 m.
    ground = plane(1, 301, height_m=0.0)
    ground[0, 100], ground[0, 200] = 50.0, 80.0
    section = section_of(ground, (0, 0), (0, 300), eye_m=2.0)
    assert section.samples.clearance_m[200] == pytest.approx(80 - 98, abs=1e-3)
    assert section.samples.clearance_m[300] == pytest.approx(-146, abs=1e-3)
    assert [(c.number, c.role) for c in section.crests] == [(1, "skyline")]
    to_second = section_of(ground, (0, 0), (0, 200), eye_m=2.0, target_m=0.0)
    assert to_second.line.state == "hidden"
    assert to_second.line.clearance_m == pytest.approx(-18, abs=1e-3)
    assert to_second.samples.grid_m[to_second.line.crest_sample] == 1000.0
    assert [c.role for c in to_second.crests] == ["brow"], "what lies behind a target is not looked at"
    (words,) = target_words(to_second)
    assert "hidden by 18.0 m, behind ground at 1,000 m" in words
    tall = section_of(ground, (0, 0), (0, 200), eye_m=2.0, target_m=18.0)
    assert tall.line.state == "visible", "a tie is visible"
    assert tall.line.clearance_m == pytest.approx(0.0, abs=1e-3)


def test_the_sea_ends_at_the_horizon():
    # sqrt(2 R h / 0.87) = 5412 m for an eye of 2 m, R = 6371 km.
    section = section_of(
        np.zeros((1, 400)), (0, 0), (0, 399), spacing_m=25.0, eye_m=2.0, drop_per_m=0.87 / (2 * 6_371_000)
    )
    (crest,) = section.crests
    assert crest.role == "skyline"
    assert section.samples.grid_m[crest.sample] == pytest.approx(5412, abs=25)
    assert section.drop_m == pytest.approx(0.87 * 9975**2 / (2 * 6_371_000))
    assert section.height_m(7000.0) == pytest.approx(0.0, abs=0.01)


def test_closest_approach_is_a_dip_between_the_ends():
    ground = plane(1, 101, height_m=100.0)
    ground[0, 40] = 108.0
    section = section_of(ground, (0, 0), (0, 100), eye_m=10.0, target_m=10.0)
    assert section.samples.grid_m[section.line.closest_sample] == 400.0
    row = profile_frames([section], [()], CRS)["profile_line"].iloc[0]
    assert row["closest_m"] == pytest.approx(2.0)
    assert row["state"] == "visible"
    level = section_of(plane(1, 101, height_m=100.0), (0, 0), (0, 100), eye_m=10.0, target_m=0.0)
    assert level.line.closest_sample is None, "the line only comes down to the target"


def test_voids_are_neither_seen_nor_ground():
    ground = plane(1, 101, height_m=100.0)
    ground[0, 50:53] = np.nan
    section = section_of(ground, (0, 0), (0, 100))
    assert [(s.state, s.from_grid_m, s.to_grid_m) for s in section.stretches] == [
        ("visible", 0.0, 490.0),
        ("unknown", 490.0, 1000.0),
    ]
    ground[0, 30] = 110.0
    hidden = section_of(ground, (0, 0), (0, 100))
    states = [(s.state, None if s.crest is None else s.crest.number) for s in hidden.stretches]
    assert states[0] == ("visible", None)
    assert states[1] == ("hidden", 1)
    assert states[-1] == ("hidden", None), "known ground hides it, but what is first to is not known"
    assert hidden.samples.states[-1] == "hidden"
    assert [c.role for c in hidden.crests] == ["brow"], "no skyline across a void"


@pytest.mark.parametrize("voids", [False, True], ids=["whole", "voids"])
def test_stretches_fill_the_section(voids):
    sections = [section for section, _ in random_sections(voids=voids)]
    frames = profile_frames(sections, [()] * len(sections), CRS)
    lines, parts = frames["profile_line"], frames["profile_stretches"]
    total_m = lines[["visible_m", "hidden_m", "unknown_m"]].sum(axis=1)
    assert np.allclose(total_m, lines["length_m"])
    for section in sections:
        assert section.stretches[0].from_grid_m == 0.0
        assert section.stretches[-1].to_grid_m == section.length_grid_m
        ends = [s.to_grid_m for s in section.stretches[:-1]]
        assert ends == [s.from_grid_m for s in section.stretches[1:]]
    assert parts["length_m"].sum() == pytest.approx(lines["length_m"].sum())
    table = sample_table(sections)
    assert len(table) == sum(section.samples.grid_m.size for section in sections)


def test_features_are_crossed_or_stand_beside():
    ground = plane(21, 101, height_m=100.0)
    ground[:, 50] = 110.0  # a wall of ground half way
    section = section_of(ground, (10, 0), (10, 100))
    west, north = section.course.easting_m, section.course.northing_m
    features = features_of(
        ("Wood", np.nan, shapely.box(west + 480, north - 50, west + 620, north + 50)),
        ("Beck", np.nan, shapely.LineString([(west + 200, north - 90), (west + 220, north + 90)])),
        ("Mast", 60.0, shapely.Point(west + 800, north - 12)),
        ("Hut", np.nan, shapely.Point(west + 700, north + 15)),
        ("Far hut", np.nan, shapely.Point(west + 300, north + 40)),
        ("Horseshoe", np.nan, shapely.LineString([(west + 20, north - 9), (west + 20, north + 9),
                                                  (west + 90, north + 9), (west + 90, north - 9)])),
    )  # fmt: skip
    found = features_along(section, features, 20.0)
    assert [
        (one.name, round(one.from_grid_m), round(one.to_grid_m), round(one.offset_m), one.state)
        for one in found
    ] == [
        ("Horseshoe", 20, 20, 0, "visible"),
        ("Horseshoe", 90, 90, 0, "visible"),
        ("Beck", 210, 210, 0, "visible"),
        ("Wood", 480, 620, 0, "partly"),
        ("Hut", 700, 700, -15, "hidden"),
        ("Mast", 800, 800, 12, "visible"),
    ]
    points = profile_frames([section], [found], CRS)["profile_points"]
    assert list(points["from_m"]) == sorted(points["from_m"])
    assert set(points["what"]) == {"crest", "deepest", "crossed", "beside"}


def test_words_say_where_ground_turns_out_of_view():
    ground = plane(1, 201, height_m=100.0, spacing=1.0)
    ground[0, 100] = 105.0
    section = section_of(ground, (0, 0), (0, 200), spacing_m=1.0, eye_m=20.0)
    (words,) = ground_words(section)
    assert "out of view at 100 m (brow, 105 m high) and comes back into view at 133 m" in words
    near = section_of(fractal(30, 30, seed=1, relief_m=90), (12.4, 13.3), (2, 25), eye_m=0.1)
    first_m = near.samples.grid_m[near.crests[0].sample]
    assert any("a step to the side" in text for text in ground_words(near)) == (first_m < 10.0)
