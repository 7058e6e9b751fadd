"""Pairs of places, and eyes off the terrain, against the brute-force walker; pairs against single targets."""

from __future__ import annotations

import math

import numpy as np
import pytest

import oracle
import terrains
from assertions import assert_same_clearance, states
from hillsight.sight.bearings import see_bearings
from hillsight.sight.maxima import Maxima
from hillsight.sight.points import clearance_of_pairs, see_pairs, see_points
from hillsight.sight.viewing import Eye
from hillsight.words.states import GroundState
from views import surface_of

ROWS, COLUMNS = 83, 147  # blocks of 4, 16 and 64 posts, whole ones and cut ones
NAN = math.nan
CODES = {-1: GroundState.HIDDEN, 0: GroundState.UNKNOWN, 1: GroundState.VISIBLE}


def _ground(name, random):
    height_m = terrains.fractal(ROWS, COLUMNS, seed=int(random.integers(1 << 30)), relief_m=90.0)
    flat = np.zeros((ROWS, COLUMNS), np.float32)
    if name == "smooth":
        return terrains.fractal(ROWS, COLUMNS, seed=7, relief_m=60.0, roughness=3.5)
    if name == "voids":
        return terrains.with_voids(height_m, seed=int(random.integers(1 << 30)), share=0.002)
    if name == "hole":
        return terrains.with_hole(height_m, 20, 30, 25, 50)
    if name == "flat":
        return flat
    if name == "walls":
        walled = terrains.with_wall(flat, row=int(random.integers(ROWS)), wall_m=20.0)
        return terrains.with_wall(walled, column=int(random.integers(COLUMNS)), wall_m=35.0)
    if name == "steps":
        return flat + np.float32(3.0) * (np.arange(COLUMNS) // 4 - np.arange(ROWS)[:, None] // 3)
    if name == "checkerboard":
        return flat + np.float32(2.0) * ((np.arange(COLUMNS) + np.arange(ROWS)[:, None]) % 2)
    return height_m


GROUNDS = ("fractal", "smooth", "voids", "hole", "flat", "walls", "steps", "checkerboard")


def _places(random, number, *, outside):
    """On posts, on grid lines, between posts, on edges and at corners; some off the terrain if asked."""
    places = np.empty((number, 2))
    for place in places:
        place[:] = random.uniform(0, ROWS - 1), random.uniform(0, COLUMNS - 1)
        kind = random.integers(7)
        if kind in (0, 1, 5):
            place[0] = round(place[0])
        if kind in (0, 2):
            place[1] = round(place[1])
        if kind == 3:
            place[:] = random.choice([0, ROWS - 1]), random.choice([0, COLUMNS - 1])
        if kind in (4, 5):
            place[1] = random.choice([0, COLUMNS - 1])
        if outside and random.random() < 0.5:
            place[random.integers(2)] = random.choice([-0.4, -3.0, -700.0, 146.5, 151.0, 900.0])
    return places.T


def _case(ground, number, *, pairs=60):
    random = np.random.default_rng([number, *ground.encode()])
    height_m = _ground(ground, random)
    spacings_m = [(10.0, 10.0), (7.0, 13.0), (25.0, 4.0)][number % 3]
    surface = surface_of(height_m, *spacings_m)
    eyes = _places(random, pairs, outside=number % 2 == 1)
    targets = _places(random, pairs, outside=False)
    targets[:, :3] = [[-1.0, ROWS - 0.5, 4.0], [3.0, 8.0, COLUMNS]]  # off the terrain
    targets[:, 3] = eyes[:, 3]  # an eye that looks at its own place
    tall_m = random.choice([0.0, 1.6, 20.0, 120.0], (2, pairs))
    under_m = [
        np.array([_under(height_m, row, column) for row, column in places.T]) for places in (eyes, targets)
    ]
    levels_m = [np.where(np.isnan(m), 40.0, m) + tall for m, tall in zip(under_m, tall_m, strict=True)]
    drop = random.choice([0.0, 6.8e-8, 6.8e-6, -2e-6], pairs)
    return surface, eyes, levels_m[0], targets, levels_m[1], drop


def _under(height_m, row, column):
    if not oracle.on_terrain(height_m.shape, row, column):
        return NAN
    return oracle.bilinear(height_m.astype(float), row, column)


def _expected(surface, eyes, eye_levels_m, targets, target_levels_m, drop):
    """Clearances by the walker."""
    grid = surface.grid
    out = np.full(eyes.shape[1], NAN)
    for i in range(out.size):
        (eye_row, eye_column), (row, column) = eyes[:, i], targets[:, i]
        if not oracle.on_terrain(surface.height_m.shape, row, column):
            continue
        lowered = oracle.lowered_posts(
            surface.height_m, grid.spacing_x_m, grid.spacing_y_m, eye_row, eye_column, drop[i]
        )
        distance_m = math.hypot((row - eye_row) * grid.spacing_y_m, (column - eye_column) * grid.spacing_x_m)
        out[i] = oracle.sighting(
            lowered,
            eye_row,
            eye_column,
            eye_levels_m[i],
            row,
            column,
            lowered_target_m=target_levels_m[i] - drop[i] * distance_m**2,
        ).clearance_m
    return out


def _seen(see, surface, maxima, eyes, eye_levels_m, targets, target_levels_m, drop):
    return see(surface, maxima, *eyes, eye_levels_m, *targets, target_levels_m, drop)


CASES = [(ground, number) for ground in GROUNDS for number in range(6)]


@pytest.mark.parametrize(("ground", "number"), CASES)
def test_no_pair_differs_from_the_walker(ground, number):
    surface, *pairs = _case(ground, number)
    expected = _expected(surface, *pairs)
    codes = [CODES[state] for state in states(expected)]
    maxima = Maxima.of(surface.height_m)
    assert _seen(see_pairs, surface, maxima, *pairs).tolist() == codes
    assert _seen(see_pairs, surface, None, *pairs).tolist() == codes
    eyes, _, targets, _, _ = pairs
    distance_m = np.hypot(*((eyes - targets).T * (surface.grid.spacing_y_m, surface.grid.spacing_x_m)).T)
    for ladder in (maxima, None):
        found = _seen(clearance_of_pairs, surface, ladder, *pairs)
        assert_same_clearance(found, expected, distance_m, (ground, number))


def test_the_cases_hold_all_that_they_should():
    """Each state occurs among eyes on the terrain and among those off it."""
    told = {False: [], True: []}
    for ground, number in CASES:
        surface, eyes, *rest = _case(ground, number)
        off = ~np.array([oracle.on_terrain(surface.height_m.shape, *place) for place in eyes.T])
        assert off.any() == (number % 2 == 1)
        found = _seen(see_pairs, surface, None, eyes, *rest)
        told[False] += found[~off][4:].tolist()
        told[True] += found[off][4:].tolist()
    for codes in told.values():
        assert all(codes.count(state) > 10 for state in CODES.values())


@pytest.mark.parametrize(("ground", "number"), CASES)
def test_pairs_have_the_very_states_of_single_targets(ground, number):
    """Posts as targets, so that both lower them alike."""
    surface, eyes, levels_m, *_ = _case(ground, number)
    random = np.random.default_rng(number)
    rows, columns = random.integers(0, ROWS, 300), random.integers(0, COLUMNS, 300)
    maxima = Maxima.of(surface.height_m)
    for k in range(0, 60, 6):
        eye = Eye(*eyes[:, k], levels_m[k], 6.8e-8)
        by_points = see_points(surface, eye, rows, columns, 2.0, maxima).clearance_m
        plain = see_points(surface, eye, rows[:40], columns[:40], 2.0)
        targets_m = surface.height_m[rows, columns] + 2.0
        place = (eye.row, eye.column, eye.level_m)
        by_pairs = see_pairs(surface, maxima, *place, rows, columns, targets_m, eye.drop_per_m)
        assert by_pairs.tolist() == [CODES[state] for state in states(by_points)], (ground, number, k)
        # Blocks are passed over without a trace.
        assert np.array_equal(plain.clearance_m, by_points[:40], equal_nan=True)


@pytest.mark.parametrize("ground", GROUNDS)
def test_the_ladder_changes_nothing_over_long_sight_lines(ground):
    """1,200 posts away, so that every level of the ladder is used; crest and clearance bit for bit."""
    random = np.random.default_rng([*ground.encode()])
    height_m = np.tile(_ground(ground, random), (2, 9))
    surface, number = surface_of(height_m, 10.0, 10.0), 150
    maxima = Maxima.of(height_m)
    for start in ((70.3, 20.0), (-4.0, -60.0)):
        eye = Eye(*start, 140.0, 6.8e-8)
        rows, columns = random.uniform(0, 2 * ROWS - 1, number), random.uniform(0, 9 * COLUMNS - 1, number)
        rows[::2], columns[::2] = rows[::2].round(), columns[::2].round()
        some = slice(0, 120)  # few enough to be walked without a ladder
        with_ladder = see_points(surface, eye, rows[some], columns[some], 5.0, maxima)
        without = see_points(surface, eye, rows[some], columns[some], 5.0)
        assert np.array_equal(with_ladder.clearance_m, without.clearance_m, equal_nan=True)
        assert np.array_equal(with_ladder.crest_distance_m, without.crest_distance_m, equal_nan=True)
        assert np.array_equal(with_ladder.ground_m, without.ground_m, equal_nan=True)


@pytest.mark.parametrize("ground", GROUNDS)
def test_whoever_is_seen_sees(ground):
    """A straight line is the same from both ends, and one drop bends both ways alike, but for rounding."""
    surface, eyes, levels_m, targets, to_levels_m, drop = _case(ground, 0, pairs=200)
    on = slice(4, None)
    there = clearance_of_pairs(
        surface, None, *eyes[:, on], levels_m[on], *targets[:, on], to_levels_m[on], drop[on]
    )
    back = clearance_of_pairs(
        surface, None, *targets[:, on], to_levels_m[on], *eyes[:, on], levels_m[on], drop[on]
    )
    # Clearance is told at the far end; near a tie a crossing close to one end counts for much at the other.
    clear = ~((np.abs(there) < 1e-3) | (np.abs(back) < 1e-3))
    assert clear.sum() > 60
    assert states(there)[clear].tolist() == states(back)[clear].tolist()


@pytest.mark.parametrize(("ground", "number"), [(ground, n) for ground in GROUNDS for n in (1, 3)])
def test_bearings_from_off_the_terrain_agree_with_an_independent_walk(ground, number):
    surface, eyes, levels_m, _, _, drop = _case(ground, number)
    grid = surface.grid
    off = [k for k in range(60) if not oracle.on_terrain(surface.height_m.shape, *eyes[:, k])][:12]
    random = np.random.default_rng(number)
    met = 0
    for k in off:
        eye = Eye(*eyes[:, k], levels_m[k], drop[k])
        lowered = oracle.lowered_posts(
            surface.height_m, grid.spacing_x_m, grid.spacing_y_m, eye.row, eye.column, eye.drop_per_m
        )
        # Towards places on the terrain, and anywhere.
        rows, columns = random.uniform(0, ROWS - 1, 12), random.uniform(0, COLUMNS - 1, 12)
        east, north = (columns - eye.column) * grid.spacing_x_m, (eye.row - rows) * grid.spacing_y_m
        bearings = np.r_[np.degrees(np.arctan2(east, north)), 0, 90, 180, 270, random.uniform(0, 360, 4)]
        reach_m = float(random.choice([300.0, 5000.0, 1e6]))
        found = see_bearings(surface, eye, reach_m, bearings)
        for i, bearing in enumerate(bearings):
            walk = oracle.look_along(lowered, grid.spacing_x_m, grid.spacing_y_m, eye, reach_m, bearing)
            if not walk.crossings:
                assert np.isnan(found.skyline_slope[i])
                assert found.skyline_end[i] == (3 if walk.void else 2) or reach_m < 1e6
                assert found.crest_count[i] == 0
                continue
            met += 1
            assert found.skyline_slope[i] == pytest.approx(walk.skyline_slope, abs=1e-9, rel=1e-9)
            nearest_m = min(abs(found.skyline_distance_m[i] - m) for m in walk.skyline_distances_m)
            assert nearest_m <= 1e-6 * (1 + found.skyline_distance_m[i])
            assert (found.skyline_end[i] == 3) == walk.void
            assert found.crest_count[i] == len(walk.pockets)
            for kept, (_, _, _, depth_m) in zip(found.crests[i], walk.pockets, strict=False):
                assert kept[2] == pytest.approx(depth_m, abs=1e-6, rel=1e-9)
    assert met > 40


@pytest.mark.parametrize("outside", [5e-7, 5e-8, 5e-10, 0.0, -5e-7])
@pytest.mark.parametrize("turned", [False, True])
def test_a_sight_line_that_comes_in_a_hair_beside_a_post(outside, turned):
    """Row 5 is crossed a hair off the terrain's edge, or a hair within: not the end of the walk."""
    random = np.random.default_rng(11)
    height_m = random.uniform(0, 5, (31, 31)).astype(np.float32)
    eye_place, way = np.array([2.0, -10.0]), np.array([3.0, 10.0 - outside])
    places = [eye_place + k * way for k in (1.4, 2.0, 3.3)]
    if turned:
        height_m, eye_place, places = height_m.T.copy(), eye_place[::-1], [p[::-1] for p in places]
    surface, eye = surface_of(height_m), Eye(*eye_place, 3.0)
    lowered = height_m.astype(float)
    found = see_points(surface, eye, *np.transpose(places)).clearance_m
    for clearance_m, place in zip(found, places, strict=True):
        expected = oracle.clearance(lowered, *eye_place, 3.0, *place)
        assert clearance_m == pytest.approx(expected, abs=1e-5), place
    east, north = (places[0] - eye_place)[1], -(places[0] - eye_place)[0]
    bearing = math.degrees(math.atan2(east, north))
    along = see_bearings(surface, eye, 1e4, np.array([bearing]))
    walk = oracle.look_along(lowered, 10.0, 10.0, eye, 1e4, bearing)
    assert along.skyline_slope[0] == pytest.approx(walk.skyline_slope, abs=1e-9)
    assert along.crest_count[0] == len(walk.pockets) > 0


@pytest.mark.parametrize("shape", [(1, 1), (1, 9), (9, 1), (2, 2), (2, 7)])
def test_pairs_over_few_posts(shape):
    """Nothing hides on flat ground, from whatever place."""
    surface = surface_of(np.zeros(shape))
    rows, columns = (a.ravel().astype(float) for a in np.indices(shape))
    for eye in [(0.0, 0.0), (-2.0, 0.0), (0.0, -2.0), (shape[0] - 1, shape[1] - 1), (-3.0, 5.5)]:
        found = see_pairs(surface, Maxima.of(surface.height_m), *eye, 1.6, rows, columns, 0.0)
        assert (found == GroundState.VISIBLE).all(), eye
        below = see_pairs(surface, None, *eye, -1.0, rows, columns, -1.0)
        inner = np.abs(rows - eye[0]) + np.abs(columns - eye[1]) > 1
        assert (below[inner] != GroundState.UNKNOWN).all(), eye


def test_off_the_terrain_there_is_nothing_to_hide_behind():
    """Posts 5 m up, an eye and a target at 0 m: hidden as soon as one post is crossed, and not before."""
    surface = surface_of(np.full((5, 9), 5.0))
    state = see_pairs(surface, None, 2.0, [-6.0, -1.0, -6.0, -6.0], 0.0, 2.0, [0.0, 0.0, 1.0, 0.5], 0.0)
    assert state.tolist() == [
        GroundState.VISIBLE,
        GroundState.VISIBLE,
        GroundState.HIDDEN,
        GroundState.HIDDEN,
    ]


def test_what_cannot_be_known():
    surface = surface_of(np.zeros((6, 8)))
    here = {"from_rows": 1.0, "from_columns": 1.0, "from_levels_m": 2.0}
    there = {"to_rows": 4.0, "to_columns": 6.0, "to_levels_m": 2.0}
    assert see_pairs(surface, None, **here, **there).tolist() == [GroundState.VISIBLE]
    for name in (*here, *there):
        for value in (NAN, *((math.inf,) if name.startswith("from") else ())):
            asked = {**here, **there, name: value}
            assert see_pairs(surface, None, **asked).tolist() == [GroundState.UNKNOWN], (name, value)
    for name, value in (("to_rows", -0.1), ("to_rows", 5.1), ("to_columns", -0.1), ("to_columns", 7.1)):
        asked = {**here, **there, name: value}
        assert see_pairs(surface, None, **asked).tolist() == [GroundState.UNKNOWN], (name, value)
    hair = {**there, "to_rows": 5.0 + 5e-7}  # stands on the edge
    assert see_pairs(surface, None, **here, **hair).tolist() == [GroundState.VISIBLE]


def test_a_void_matters_only_to_what_nothing_known_hides():
    height_m = np.zeros((40, 200), np.float32)
    height_m[20, 100] = np.nan
    for wall_at, hidden in ((60, True), (140, True), (None, False)):
        holed = height_m if wall_at is None else terrains.with_wall(height_m, column=wall_at, wall_m=30.0)
        surface, maxima = surface_of(holed), Maxima.of(holed)
        expected = GroundState.HIDDEN if hidden else GroundState.UNKNOWN
        # The line passes 50 m above the block that holds the void.
        level_m = 1.0 if hidden else 50.0
        for rows in ((20.0, 20.0), (19.9, 20.05)):
            seen = see_pairs(surface, maxima, rows[0], 1.0, level_m, rows[1], 198.0, level_m)
            assert seen.tolist() == [expected], (wall_at, rows)
        beside = see_pairs(surface, maxima, 3.0, 1.0, level_m, 3.0, 198.0, level_m)
        assert beside.tolist() == [GroundState.HIDDEN if hidden else GroundState.VISIBLE]


def test_many_pairs_come_back_in_the_order_asked():
    """More than one thread's slice, with eyes in many squares of the ground."""
    random = np.random.default_rng(5)
    surface = surface_of(terrains.fractal(400, 300, seed=8))
    eyes = random.uniform(-20, 399, 9000), random.uniform(-20, 299, 9000)
    targets = random.integers(0, 400, 9000), random.integers(0, 300, 9000)
    to_m = surface.height_m[targets] + 2.0
    told = []
    found = see_pairs(surface, None, *eyes, 300.0, *targets, to_m, progress=told.append)
    assert told == sorted(told)
    assert told[-1] == 1.0
    assert len(told) > 2
    assert 0.1 < (found == GroundState.VISIBLE).mean() < 0.9
    for i in range(0, 9000, 50):
        one = see_pairs(surface, None, eyes[0][i], eyes[1][i], 300.0, targets[0][i], targets[1][i], to_m[i])
        assert one[0] == found[i], i


def test_an_interruption_ends_the_work():
    surface = surface_of(terrains.fractal(70, 40, seed=1))

    def interrupt(_share):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        see_pairs(surface, None, np.full(9000, 3.0), 4.0, 500.0, 60.0, 30.0, 500.0, progress=interrupt)


def test_no_pairs_and_maxima_of_other_ground():
    surface = surface_of(np.zeros((6, 8)))
    nothing = np.empty(0)
    assert see_pairs(surface, None, nothing, nothing, 1.0, nothing, nothing, 1.0).shape == (0,)
    with pytest.raises(ValueError, match="do not fit"):
        see_pairs(surface, Maxima.of(np.zeros((6, 9), np.float32)), 0, 0, 1, 2, 2, 1)
