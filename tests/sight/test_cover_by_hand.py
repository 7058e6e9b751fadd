"""Cover whose shadow can be reckoned by hand: similar triangles, and the closed form of light in woods."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from hillsight.ground.cover import Cover, Screens
from hillsight.sight.bearings import see_bearings
from hillsight.sight.many import see_many
from hillsight.sight.points import see_points
from hillsight.sight.posts import see_posts, see_states
from hillsight.sight.under_cover import eye_is_inside
from hillsight.sight.viewing import Eye
from hillsight.words.states import GroundState
from views import surface_of

SIDE, SPACING_M, LEVEL_M = 121, 10.0, 250.0
KINDS = ("", "wood", "building", "wall")


def _covered(solid_m=0.0, wood_m=0.0, columns=slice(0, 0), **more):
    """Level ground with cover on some columns."""
    zeros = np.zeros((SIDE, SIDE), np.float32)
    solid, wood = zeros.copy(), zeros.copy()
    solid[:, columns], wood[:, columns] = solid_m, wood_m
    kind = ((wood > 0) + 2 * (solid > 0)).astype(np.uint8)
    return replace(surface_of(zeros + LEVEL_M, SPACING_M), cover=Cover(solid, wood, kind, KINDS, **more))


def _wall(column, height_m):
    one = np.ones(1)
    return Screens(
        0 * one, column * one, (SIDE - 1) * one, column * one, height_m * one, np.full(1, 3, np.uint8)
    )


def _eye(height_m, row=60.0, column=10.0):
    return Eye(row, column, LEVEL_M + height_m)


@pytest.mark.parametrize("eye_height_m", [3.0, 8.0, 25.0])
def test_the_shadow_of_a_wall_ends_by_similar_triangles(eye_height_m):
    """An eye h up sees level ground behind a wall w up at d again from d h / (h - w) on (Euclid VI, 4)."""
    wall_m, at = 2.0, 22.3
    surface = _covered(screens=_wall(at, wall_m))
    away_m = (at - 10.0) * SPACING_M
    ends_m = away_m * eye_height_m / (eye_height_m - wall_m)
    states = see_states(surface, _eye(eye_height_m), 1e9)[60]
    distance_m = (np.arange(SIDE) - 10) * SPACING_M
    hidden = (distance_m > away_m) & (distance_m < ends_m)
    assert hidden.any()
    assert (states == np.where(hidden, GroundState.HIDDEN, GroundState.VISIBLE)).all()
    # Just before and behind where it ends, along the line and slantwise, where the wall is as much farther.
    for down in (0.0, 0.5):
        for share, seen in ((0.999, False), (1.001, True)):
            right = (ends_m / SPACING_M) * share
            found = see_points(
                surface, _eye(eye_height_m), np.array([60 + down * right]), np.array([10 + right])
            )
            assert (found.clearance_m[0] >= 0) == seen, (down, share)


def test_a_wall_on_a_line_of_posts_does_not_hide_its_own_foot():
    surface = _covered(screens=_wall(20.0, 2.0))
    states = see_states(surface, _eye(1.6), 1e9)[60]
    assert states[20] == GroundState.VISIBLE and (states[21:] == GroundState.HIDDEN).all()


def test_a_building_hides_by_its_height_and_not_its_own_ground():
    """The line from the eye over a building's far edge comes down at d h / (h - w)."""
    surface = _covered(solid_m=4.0, columns=slice(20, 23))
    eye_height_m, away_m = 10.0, 120.0
    found = see_posts(surface, _eye(eye_height_m), 1e9)
    ends_m = away_m * eye_height_m / (eye_height_m - 4.0)
    behind = np.arange(23, SIDE)
    distance_m = (behind - 10) * SPACING_M
    # Over the last post the line stands 4 m up at 120 m and falls by 6 m in 120.
    expected_m = 0.0 - (4.0 - (distance_m - away_m) * 6.0 / 120.0)
    hidden = distance_m < ends_m
    assert 5 < hidden.sum() < 20
    assert found.clearance_m[60, behind[hidden]] == pytest.approx(expected_m[hidden], abs=1e-4)
    assert (found.clearance_m[60, behind[~hidden]] >= 0).all()
    # Inside the building nobody can tell; its near post is in view of its ground, its farther ones are not.
    states = see_states(surface, _eye(eye_height_m), 1e9)[60]
    assert states[20] == GroundState.UNCERTAIN and (states[21:23] == GroundState.HIDDEN).all()
    assert found.light[60, 20] == 0.5
    assert see_states(surface, _eye(eye_height_m), 1e9, 5.0)[60, 20] == GroundState.VISIBLE


@pytest.mark.parametrize("passing_m", [5.0, 30.0, 400.0, 3000.0])
def test_light_through_a_wood_falls_off_exponentially(passing_m):
    """A level line 1.6 m up through a wood 16 m tall: its edges rise to that over one spacing."""
    surface = _covered(wood_m=16.0, columns=slice(30, 41), passing_m=passing_m)
    column = np.array([60.0, 80.0])
    found = see_points(surface, _eye(1.6), np.full(2, 60.0), column, 1.6)
    # Between posts 29 and 30 the wood's top is 1.6 m up after a tenth of the spacing.
    path_m = (40 - 30) * SPACING_M + 2 * 0.9 * SPACING_M
    light = math.exp(-path_m / passing_m)
    # What is hidden counts as not seen at all.
    told_light = light if light >= 0.05 else 0.0
    assert found.light == pytest.approx([told_light] * 2, rel=1e-9)
    states = see_states(surface, _eye(1.6), 1e9, 1.6)[60, [60, 80]]
    told = (
        GroundState.HIDDEN if light < 0.05 else GroundState.VISIBLE if light > 0.95 else GroundState.UNCERTAIN
    )
    assert (states == told).all()
    seen = next(see_many(surface, [_eye(1.6)], 1e9, 1.6, clearance=True))
    assert seen.light[60, [60, 80]] == pytest.approx(told_light, rel=1e-6)
    # Clearance is over what stops more than half.
    assert (found.clearance_m >= 0).all() == (light >= 0.5)


def test_a_wood_that_lets_nothing_pass_is_a_wall():
    wood, wall = (_covered(**{kind: 16.0}, columns=slice(30, 41)) for kind in ("wood_m", "solid_m"))
    one, other = (see_posts(surface, _eye(1.6), 1e9, 1.6) for surface in (wood, wall))
    assert one.clearance_m.tobytes() == other.clearance_m.tobytes()


def test_what_an_eye_inside_cover_sees_is_uncertain():
    surface = _covered(wood_m=16.0, columns=slice(8, 13), passing_m=500.0)
    assert eye_is_inside(surface, _eye(1.6)) and not eye_is_inside(surface, _eye(17.0))
    states = see_states(surface, _eye(1.6), 1e9, 1.6)
    assert GroundState.VISIBLE not in states and (states[60, 20:40] == GroundState.UNCERTAIN).all()


def test_heather_and_the_noise_of_a_surface_model_are_no_cover_to_be_inside_of():
    """Half a metre, common practice, no source."""
    heather, scrub = (_covered(solid_m=tall_m, columns=slice(0, SIDE)) for tall_m in (0.4, 0.6))
    eye = _eye(20.0)
    assert GroundState.UNCERTAIN not in see_states(heather, eye, 1e9)
    assert GroundState.VISIBLE not in see_states(scrub, eye, 1e9)
    assert GroundState.VISIBLE in see_states(scrub, eye, 1e9, 0.2)


def test_the_skyline_says_how_much_of_it_is_cover():
    surface = _covered(wood_m=16.0, columns=slice(30, 41))
    found = see_bearings(surface, _eye(1.6), 1e9, np.array([90.0, 270.0]))
    assert found.skyline_distance_m[0] == pytest.approx(200.0)
    assert found.skyline_height_m[0] == pytest.approx(LEVEL_M + 16.0)
    assert found.skyline_cover_m.tolist() == pytest.approx([16.0, 0.0])
    # Ground turns out of view where the wood begins, and stays so.
    assert found.brow_distance_m[0] == pytest.approx(200.0) and found.crest_count.tolist() == [1, 0]
