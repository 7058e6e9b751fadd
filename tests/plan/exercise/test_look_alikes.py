"""Quick looks against plane trigonometry, standing places, likeness, and what makes an exercise hard."""

from __future__ import annotations

import math

import geopandas
import numpy as np
import pytest
import shapely

from hillsight.plan.exercise.at_a_glance import TRAITS, AtAGlance
from hillsight.plan.exercise.judgement import bits_apart, judgement_of, share_alike
from hillsight.plan.exercise.look_alikes import APART_M, alike_first
from hillsight.plan.exercise.pool import lattice, named_tops, of_shapes
from hillsight.plan.exercise.quick_looks import STEP_DEG, QuickLooks, quick_looks
from hillsight.plan.exercise.standing import standing
from hillsight.sight.far_sky import FarGround
from plan.made_hills import EAST_M, EYE_M, NORTH_M, cone, plane, steps, surface_of, together

# Degrees of the sky's edge and metres of a brow that two posts of 10 m may make.
WITHIN_DEG, WITHIN_M = 0.1, 10.0


def looks_from(surface, *places: tuple[float, float]) -> QuickLooks:
    """Quick looks from places east and north of the middle, without curvature."""
    at = np.array(places, float)
    return quick_looks(FarGround.of(surface), EAST_M + at[:, 0], NORTH_M + at[:, 1], EYE_M, 0.0, 0.0)


def bearing(degrees: float) -> int:
    return round(degrees / STEP_DEG)


def test_a_knoll_stands_against_the_sky_as_trigonometry_has_it() -> None:
    seen = looks_from(surface_of(together(plane(), cone(0, 600, 80, 200))), (0, 0), (300, 600))
    # A cone 80 m high: 600 m north of one place, 300 m west of the other.
    assert seen.skyline_deg[0, bearing(0)] == pytest.approx(
        math.degrees(math.atan((80 - EYE_M) / 600)), abs=0.1
    )
    assert seen.skyline_deg[1, bearing(270)] == pytest.approx(
        math.degrees(math.atan((80 - EYE_M) / 300)), abs=0.2
    )
    assert seen.skyline_m[0, bearing(0)] == pytest.approx(600, abs=WITHIN_M)
    # South of it the plain runs to its end, a little below the level.
    assert -0.2 < seen.skyline_deg[0, bearing(180)] < 0


def test_a_terrace_ends_at_its_brow_and_hides_what_lies_below() -> None:
    # From 200 m on it falls at 30 degrees for 100 m, then it is level: 57.7 m lower.
    (seen,) = (looks_from(surface_of(steps((200, -30), (300, 0))), (0, 0)),)
    assert seen.brow_m[0, bearing(0)] == pytest.approx(200, abs=WITHIN_M)
    assert np.isinf(seen.brow_m[0, bearing(180)])
    # The line over the brow falls by 1.6 m in 200 m, so it does not meet the low ground within the reach.
    assert seen.hidden_m[0, bearing(0)] > 700
    assert seen.hidden_m[0, bearing(180)] == 0
    uphill = looks_from(surface_of(plane(slope_north_deg=8.0)), (0, 0))
    assert uphill.ahead_deg[0, bearing(0)] == pytest.approx(8.0, abs=WITHIN_DEG)
    assert uphill.ahead_deg[0, bearing(180)] == pytest.approx(-8.0, abs=WITHIN_DEG)
    assert uphill.form_deg[0, bearing(0)] == pytest.approx(0.0, abs=WITHIN_DEG)


def test_a_spur_ahead_is_told_from_a_re_entrant() -> None:
    # A roof that falls by 10 degrees to both sides of the meridian, and the same turned over.
    rise = math.tan(math.radians(10))
    roof = looks_from(surface_of(lambda east, north: 500 - rise * np.abs(east)), (0, 0))
    trough = looks_from(surface_of(lambda east, north: 500 + rise * np.abs(east)), (0, 0))
    assert roof.form_deg[0, bearing(0)] == pytest.approx(10, abs=WITHIN_DEG)
    assert trough.form_deg[0, bearing(0)] == pytest.approx(-10, abs=WITHIN_DEG)


def test_nobody_stands_off_the_terrain_in_water_or_on_a_steep() -> None:
    surface = surface_of(steps((200, -40), (400, 0), first_deg=1.0))
    tarn = geopandas.GeoDataFrame(
        {"evidence_class": ["water"]},
        geometry=[shapely.box(EAST_M - 500, NORTH_M - 500, EAST_M - 400, NORTH_M)],
    )
    spots = np.array([(0, 0), (0, 300), (-450, -100), (0, 600), (0, 5_000)], float)
    found = standing(surface, tarn, EAST_M + spots[:, 0], NORTH_M + spots[:, 1], 35.0)
    # Level to the centimetre is a sheet of water, as survey files hold them.
    assert found.allowed.tolist() == [True, False, False, False, False]
    assert found.too_steep.tolist() == [False, True, False, False, False]
    assert found.in_water.tolist() == [False, False, True, True, False]
    assert found.off_terrain.tolist() == [False] * 4 + [True]
    assert found.words() == "1 off the terrain or on a void, 2 in water, 1 too steep"


def test_the_same_view_is_alike_and_no_copy_is_taken() -> None:
    # Two knolls alike, 1 km apart; the same spot south of each, and one on top of the first.
    ground = together(plane(0.4), cone(-500, 300, 60, 200), cone(500, 300, 60, 200))
    spots = ((-500, -100), (500, -100), (-500, 300), (-450, -100))
    seen = looks_from(surface_of(ground), *spots)
    unlike = AtAGlance.of(seen, np.array([0.0]), 60.0).unlikeness(0, 0)
    assert unlike[0] == 0
    assert unlike[1] < unlike[2]
    allowed = np.array([True] * 4)
    chosen = alike_first((EAST_M - 500, NORTH_M - 100), seen.easting_m, seen.northing_m, unlike, allowed)
    # Itself and what is 50 m beside it are copies.
    assert 1 in chosen
    assert not {0, 3} & set(chosen.tolist())


def test_no_two_places_are_copies() -> None:
    pool = lattice((0.0, 0.0, 2_000.0, 2_000.0), 100.0, (0.5, 0.5))
    random = np.random.default_rng(3)
    chosen = alike_first(
        (1_000.0, 1_000.0),
        pool.easting_m,
        pool.northing_m,
        random.random(len(pool)),
        np.ones(len(pool), bool),
    )
    at = np.column_stack((pool.easting_m, pool.northing_m))[chosen]
    away = np.hypot(*(at[:, None] - at[None]).transpose(2, 0, 1))
    assert len(chosen) > 10
    assert away[~np.eye(len(at), dtype=bool)].min() >= APART_M
    assert np.hypot(*(at - 1_000.0).T).min() >= APART_M


def test_traits_left_out_make_no_odds() -> None:
    seen = looks_from(surface_of(plane(slope_north_deg=10.0)), (0, 0), (0, 500))
    glance = AtAGlance.of(seen, np.array([90.0]), 60.0)
    # On an even slope, looking along it, only the height differs (and a skyline that ends with the terrain).
    assert glance.unlikeness(0, 0)[1] > 0
    assert glance.unlikeness(0, 0, [t for t in TRAITS if t != "slope ahead"])[1] == pytest.approx(0, abs=0.02)


def test_bits_by_hand() -> None:
    # 0.9 log2(0.9 / 0.5) + 0.1 log2(0.1 / 0.5) = 0.7632 - 0.2322 = 0.5310, which is also the capacity
    # of a binary symmetric channel with error 0.1, 1 - H(0.1) = 0.531 (textbooks, from memory).
    assert bits_apart(np.array([0.9, 0.1]), np.array([0.5, 0.5])) == pytest.approx(0.5310, abs=5e-5)
    assert bits_apart(np.array([0.3, 0.7]), np.array([0.3, 0.7])) == 0
    assert share_alike(np.array([0.9, 0.1]), np.array([0.5, 0.5])) == pytest.approx(0.6)


@pytest.mark.parametrize(
    ("matters", "judgement"),
    [
        ([(4.0, 0.02), (2.0, 0.05)], "coarse"),
        ([(4.0, 0.02), (2.0, 0.2)], "fair"),
        ([(0.8, 0.25), (4.0, 0.02)], "fair"),
        ([(4.0, 0.02), (0.6, 0.05)], "fine"),
        ([(4.0, 0.02)], "fine"),
    ],
)
def test_the_second_matter_makes_the_judgement(matters: list[tuple[float, float]], judgement: str) -> None:
    assert judgement_of(matters) == judgement


def test_pools() -> None:
    surface = surface_of(plane(0.5))
    frame = geopandas.GeoDataFrame(
        {
            "name": ["High Top", None, "Old Farm"],
            "kind": ["summit", "knoll", "farm"],
            "evidence_class": ["ground_shape", "ground_shape", "man_made"],
        },
        geometry=[shapely.Point(EAST_M, NORTH_M)] * 3,
    )
    assert named_tops(frame).names == ("High Top",)
    way = shapely.LineString([(EAST_M, NORTH_M), (EAST_M + 250, NORTH_M)])
    spots = of_shapes([way, shapely.Point(EAST_M, NORTH_M + 10)], ["Way", ""], surface, 100.0)
    assert (spots.easting_m - EAST_M).tolist() == [0, 100, 200, 0]
    assert spots.names[0].startswith("Way, E ")
    assert len(spots.within(EAST_M, NORTH_M, 120.0)) == 3
