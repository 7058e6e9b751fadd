"""The field of view: which posts are answered for, and that the answers inside do not hang on it."""

from __future__ import annotations

import math

import numpy as np
import pytest

import terrains
from hillsight.sight.field import FieldOfView
from hillsight.sight.posts import see_posts, see_states
from hillsight.sight.viewing import Eye
from hillsight.words.states import GroundState
from views import surface_of

ALL = math.inf
SECTORS = {
    "narrow": (33.0, 34.5),
    "narrower than a post": (211.03, 211.04),
    "a quarter": (100.0, 190.0),
    "more than half": (75.0, 300.0),
    "all but a slit": (181.0, 179.5),
    "across north": (340.0, 20.0),
    "across north, more than half": (250.0, 130.0),
    "beyond the round": (-20.0, 380.5),
    "a half": (61.3, 241.3),
}
PLACES = [(40.0, 50.0), (40.0, 50.37), (12.6, 88.2), (0.0, 0.0), (79.0, 61.5), (-9.0, 30.0), (40.2, 140.0)]


def _surface(shape=(80, 100), *, voids=False):
    height_m = terrains.fractal(*shape, seed=5, relief_m=160.0)
    if voids:
        height_m = terrains.with_hole(terrains.with_voids(height_m, seed=6, share=0.003), 50, 20, 8, 30)
    return surface_of(height_m, 10.0, 7.0)


def _bearings_deg(surface, eye):
    """Grid bearing and distance of every post, by trigonometry rather than by sides of lines."""
    rows, columns = np.indices(surface.height_m.shape)
    east_m = (columns - eye.column) * surface.grid.spacing_x_m
    north_m = (eye.row - rows) * surface.grid.spacing_y_m
    return np.degrees(np.arctan2(east_m, north_m)) % 360.0, np.hypot(east_m, north_m)


def _within(surface, eye, field):
    """Posts of a field, and those so near to one of its sides that rounding decides."""
    bearing_deg, distance_m = _bearings_deg(surface, eye)
    width_deg = (field.to_bearing_grid_deg - field.from_bearing_grid_deg) % 360.0 or 360.0
    past_deg = (bearing_deg - field.from_bearing_grid_deg) % 360.0
    edges_deg = [abs((past_deg - edge + 180.0) % 360.0 - 180.0) for edge in (0.0, width_deg)]
    doubtful = (np.minimum(*edges_deg) < 1e-9) & (width_deg < 360.0)
    # The eye's own post lies on every bearing.
    inside = ((past_deg <= width_deg) | (distance_m == 0.0)) & (distance_m <= field.reach_m)
    return inside & (distance_m >= field.inner_m), doubtful & (distance_m > 0.0)


def _assert_only_left_out(surface, eye, field, target_m=1.5):
    """Inside the field the answers of the whole round, outside it nothing; returns the posts inside."""
    whole, found = (see_posts(surface, eye, f, target_m) for f in (ALL, field))
    inside, doubtful = _within(surface, eye, field)
    sure = ~doubtful
    for name in ("clearance_m", "crest_distance_m"):
        before, after = getattr(whole, name), getattr(found, name)
        assert np.array_equal(after[inside & sure], before[inside & sure], equal_nan=True), name
        assert np.isnan(after[~inside & sure]).all(), name
    all_round = see_states(surface, eye, ALL, [0.0, target_m])
    told = see_states(surface, eye, field, [0.0, target_m])
    for before, after in zip(all_round, told, strict=True):
        assert np.array_equal(after[inside & sure], before[inside & sure])
        assert (after[~inside & sure] == GroundState.BEYOND).all()
        assert (after[inside & sure] != GroundState.BEYOND).all()
    return inside


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("sector", SECTORS)
def test_a_sector_only_leaves_out(sector, place):
    surface = _surface(voids=place[0] == 12.6)
    eye = Eye(*place, 190.0, 6.8e-8)
    from_deg, to_deg = SECTORS[sector]
    inside = _assert_only_left_out(surface, eye, FieldOfView(ALL, 0.0, from_deg, to_deg))
    if place == PLACES[1] and "post" not in sector:
        assert 5 < inside.sum() < inside.size - 5


@pytest.mark.parametrize("from_deg", [0.0, 77.0, -90.0, 450.0])
def test_equal_bearings_are_the_whole_round(from_deg):
    surface, eye = _surface(), Eye(40.0, 50.37, 190.0)
    for to_deg in (from_deg, from_deg + 360.0):
        field = FieldOfView(ALL, 0.0, from_deg, to_deg)
        assert field.all_round
        assert _assert_only_left_out(surface, eye, field).all()


@pytest.mark.parametrize("number", range(24))
def test_a_ring_of_a_sector_only_leaves_out(number):
    random = np.random.default_rng(number)
    surface = _surface(voids=number % 3 == 0)
    eye = Eye(random.uniform(-5, 85), random.uniform(-5, 105), random.uniform(50, 300), 6.8e-8)
    inner_m, reach_m = np.sort(random.uniform(0, 700, 2))
    _assert_only_left_out(surface, eye, FieldOfView(reach_m, inner_m, *random.uniform(-360, 720, 2)))


@pytest.mark.parametrize("number", range(6))
def test_the_answers_of_large_ground_do_not_hang_on_the_field(number):
    """More than 400 posts a side: wedges halve many times on the way."""
    random = np.random.default_rng(number)
    surface = _surface((430, 460), voids=number % 2 == 0)
    eye = Eye(random.uniform(0, 429), random.uniform(0, 459), random.uniform(120, 300), 6.8e-8)
    from_deg = random.uniform(0, 360)
    field = FieldOfView(
        random.uniform(800, 4000), 200.0, from_deg, from_deg + random.choice([2.0, 40.0, 200.0])
    )
    _assert_only_left_out(surface, eye, field)


@pytest.mark.parametrize("side", range(8))
@pytest.mark.parametrize("spacing_m", [10.0, 30.0])
def test_both_bearings_are_included(side, spacing_m):
    """Posts due north, north-east and so on lie on the sides of such sectors."""
    surface, eye, bearing_deg = surface_of(np.zeros((11, 11)), spacing_m), Eye(5.0, 5.0, 10.0), 45.0 * side
    row_step, column_step = [(-1, 0), (-1, 1), (0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1)][side]
    for field in (
        FieldOfView(ALL, 0.0, bearing_deg, bearing_deg + 20.0),
        FieldOfView(ALL, 0.0, bearing_deg - 20.0, bearing_deg),
        FieldOfView(ALL, 0.0, bearing_deg, bearing_deg + 250.0),
        FieldOfView(ALL, 0.0, bearing_deg - 250.0, bearing_deg),
    ):
        told = see_states(surface, eye, field)
        for step in range(1, 6):
            assert told[5 + step * row_step, 5 + step * column_step] == GroundState.VISIBLE, (field, step)


def test_reach_and_inner_distance_are_included():
    surface, eye = surface_of(np.zeros((21, 21)), 3.0, 4.0), Eye(10.0, 10.0, 10.0)
    told = see_states(surface, eye, FieldOfView(25.0, 10.0))
    _, distance_m = _bearings_deg(surface, eye)
    assert (distance_m == 25.0).sum() >= 4
    assert (distance_m == 10.0).sum() >= 4
    expected = np.where((distance_m >= 10.0) & (distance_m <= 25.0), GroundState.VISIBLE, GroundState.BEYOND)
    assert np.array_equal(told, expected)
    assert (see_states(surface, eye, FieldOfView(10.0, 10.0)) > 0).sum() == (distance_m == 10.0).sum()


@pytest.mark.parametrize("reach_m", [1.0, 9.99, 10.0, 35.0, 200.0, 5000.0, ALL])
@pytest.mark.parametrize(
    "place",
    [(0.0, 0.0), (20.0, 30.0), (10.0, 0.0), (0.5, 29.5), (10.3, 15.8), (-4.0, 12.0), (25.0, 40.0), (-700, 4)],
)
def test_the_window_is_the_smallest_that_holds_the_reach(place, reach_m):
    surface, eye = surface_of(np.zeros((21, 31)), 10.0, 12.0), Eye(*place, 10.0)
    window = FieldOfView(reach_m).window(surface.grid, eye)
    _, distance_m = _bearings_deg(surface, eye)
    held = np.zeros(distance_m.shape, bool)
    held[window.row : window.row + window.rows, window.column : window.column + window.columns] = True
    assert held.sum() == window.rows * window.columns
    assert not (held < (distance_m <= reach_m)).any()
    rows, columns = np.indices(distance_m.shape)
    box = (abs(rows - eye.row) * 12.0 <= reach_m) & (abs(columns - eye.column) * 10.0 <= reach_m)
    assert np.array_equal(held, box)


@pytest.mark.parametrize("reach_m", [25.0, 50.0, 81.0, 95.0, 130.0])
@pytest.mark.parametrize("place", [(0.0, -8.0), (5.0, -8.0), (-8.0, 0.0), (27.0, 5.5), (4.0, 27.0), (-6, -6)])
def test_the_reach_of_an_eye_off_the_terrain_may_miss_rows_of_it(place, reach_m):
    surface, eye = surface_of(np.zeros((20, 20))), Eye(*place, 10.0)
    told = see_states(surface, eye, reach_m)
    _, distance_m = _bearings_deg(surface, eye)
    assert np.array_equal(told != GroundState.BEYOND, distance_m <= reach_m)


def test_ground_outside_the_field_still_hides():
    """A wall nearer than the inner distance, seen along its own bearing only."""
    surface = surface_of(terrains.with_wall(np.zeros((31, 31), np.float32), column=18, wall_m=50.0))
    told = see_states(surface, Eye(15.0, 15.0, 1.6), FieldOfView(ALL, 100.0, 60.0, 120.0))
    assert (told[15, 25:] == GroundState.HIDDEN).all()
    assert (told[15, :25] == GroundState.BEYOND).all()


def test_voids_are_unknown_inside_the_field_only():
    height_m = np.zeros((21, 21), np.float32)
    height_m[10, [3, 12, 17]] = np.nan
    surface, eye = surface_of(height_m), Eye(10.0, 10.0, 5.0)
    told = see_states(surface, eye, FieldOfView(50.0, 15.0))
    assert told[10, [3, 12, 17]].tolist() == [GroundState.BEYOND, GroundState.UNKNOWN, GroundState.BEYOND]
    assert told[10, [13, 7]].tolist() == [GroundState.UNKNOWN, GroundState.VISIBLE]
    clearance_m = see_posts(surface, eye, FieldOfView(50.0, 15.0)).clearance_m
    assert np.isnan(clearance_m[10, [3, 12, 13, 17]]).all()


@pytest.mark.parametrize(
    "wrong",
    [
        (0.0,),
        (-5.0,),
        (math.nan,),
        (10.0, -1.0),
        (10.0, 11.0),
        (10.0, math.nan),
        (10.0, 0.0, math.nan, 5.0),
        (10.0, 0.0, 5.0, math.inf),
    ],
)
def test_a_field_that_holds_no_ground_is_refused(wrong):
    with pytest.raises(ValueError, match=r"holds no ground|must be numbers"):
        FieldOfView(*wrong)


def test_an_eye_nowhere_is_refused():
    surface = surface_of(np.zeros((4, 4)))
    for eye in (Eye(math.nan, 1.0, 1.0), Eye(1.0, math.inf, 1.0), Eye(1.0, 1.0, math.nan)):
        with pytest.raises(ValueError, match="must stand somewhere"):
            see_posts(surface, eye, 100.0)
    with pytest.raises(ValueError, match="must stand somewhere"):
        see_states(surface, Eye(1.0, 1.0, 1.0, math.nan), 100.0)
