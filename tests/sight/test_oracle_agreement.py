"""The kernels against the brute-force walker, post for post, over made and real ground."""

from __future__ import annotations

import math

import numpy as np
import pytest
import rasterio
from rasterio.windows import Window

import oracle
import terrains
from assertions import assert_same_clearance, assert_same_states, states
from hillsight.sight.bearings import see_bearings
from hillsight.sight.points import see_points
from hillsight.sight.posts import see_posts, see_states
from hillsight.sight.viewing import Eye
from hillsight.words.states import GroundState
from shared_data import shared_file
from views import surface_of

ROWS, COLUMNS = 29, 33
#: Stations over every small ground, seen post for post: a few in each run, all of them in the slow suite.
SMALL_QUICK, SMALL_ALL = 5, 40
#: Stations over every large ground, seen at some of its posts.
LARGE_QUICK, LARGE_ALL = 1, 8
SOME_EACH = 8

NAN = math.nan
CODES = {-1: GroundState.HIDDEN, 0: GroundState.UNKNOWN, 1: GroundState.VISIBLE}


def _fractal(random, shape):
    if shape == (1, 1):
        return _flat(random, shape)
    roughness = float(random.choice([1.2, 1.7, 2.2, 3.2]))
    relief_m = float(random.choice([20.0, 120.0, 400.0]))
    return terrains.fractal(
        *shape, seed=int(random.integers(1 << 30)), relief_m=relief_m, roughness=roughness
    )


def _flat(random, shape):
    return np.full(shape, random.choice([0.0, 250.0]), np.float32)


def _walls(random, shape):
    """On level ground or on rough ground."""
    under = _flat(random, shape) if random.random() < 0.7 else _fractal(random, shape)
    walled = terrains.with_wall(under, row=int(random.integers(shape[0])), wall_m=25.0)
    return terrains.with_wall(walled, column=int(random.integers(shape[1])), wall_m=40.0)


def _steps(random, shape):
    rows, columns = np.indices(shape)
    return (5.0 * (columns // 4 - rows // 3)).astype(np.float32)


def _checkerboard(random, shape):
    rows, columns = np.indices(shape)
    return (float(random.choice([0.5, 3.0])) * ((rows + columns) % 2)).astype(np.float32)


def _scattered(random, shape):
    share = float(random.choice([0.0005, 0.02, 0.3]))
    return terrains.with_voids(_fractal(random, shape), seed=int(random.integers(1 << 30)), share=share)


def _holed(random, shape):
    """Two holes in rough or level ground."""
    holed = _fractal(random, shape) if random.random() < 0.6 else _flat(random, shape)
    for _ in range(2):
        top, left = (int(random.integers(n)) for n in shape)
        holed = terrains.with_hole(holed, top, left, shape[0] // 6 + 1, shape[1] // 4 + 1)
    return holed


def _half_void(random, shape):
    """Void to one side of a crooked line."""
    ground = _fractal(random, shape)
    rows, columns = np.indices(shape)
    side = (rows - shape[0] / 2) * random.choice([-1, 1]) + (columns - shape[1] / 2) * random.uniform(-1, 1)
    ground[side + random.uniform(-1, 1, shape) > 0] = np.nan
    return ground


def _raster(name, random, shape, void=None):
    with rasterio.open(shared_file(name)) as file:
        row, column = (
            int(random.integers(max(n - m, 0) + 1)) for n, m in zip(file.shape, shape, strict=True)
        )
        height_m = file.read(1, window=Window(column, row, shape[1], shape[0])).astype(np.float32)
    return height_m if void is None else np.where(height_m == void, np.float32(np.nan), height_m)


def _highlands(random, shape):
    """OS Terrain 50, (c) Crown copyright and database right, Open Government Licence v3."""
    return _raster("osterrain50_nn.tif", random, shape)


def _highland_tile(random, shape):
    """One tile of it as published: 200 x 200 posts, so larger grounds are what there is."""
    return _raster("osterrain50_NN17.asc", random, shape)


def _canyon(random, shape):
    """SRTM 1", public domain (NASA/USGS), Big Tujunga."""
    return _raster("srtm30_big_tujunga.tif", random, shape)


def _coast(random, shape):
    """SRTM 3", public domain (NASA/USGS), with voids of its own; degrees taken for metres."""
    return _raster("srtm90_n49w123.tif", random, shape, void=-32767)


def _jacksboro(random, shape):
    """SRTM 3", public domain; travels with matplotlib. About 92 m by 74 m at 36.6 degrees north."""
    cbook = pytest.importorskip("matplotlib.cbook")
    with cbook.get_sample_data("jacksboro_fault_dem.npz") as sample:
        elevation = sample["elevation"]
    row, column = (
        int(random.integers(max(n - m, 0) + 1)) for n, m in zip(elevation.shape, shape, strict=True)
    )
    return elevation[row : row + shape[0], column : column + shape[1]].astype(np.float32)


def _by_name(*grounds):
    return {f.__name__[1:]: f for f in grounds}


MADE = _by_name(_fractal, _flat, _walls, _steps, _checkerboard, _scattered, _holed, _half_void)
REAL = _by_name(_highlands, _highland_tile, _canyon, _coast, _jacksboro)
GROUNDS = MADE | REAL
SPACINGS_M = {"highlands": 50.0, "highland_tile": 50.0, "canyon": 30.0, "coast": (67.0, 92.5)}
SPACINGS_M |= {"jacksboro": (74.4, 92.4)}
LARGE_SHAPES = [(430, 450), (600, 260), (220, 590), (420, 420), (203, 211)]
NARROW_SHAPES = [(1, 60), (60, 1), (2, 2), (1, 2), (3, 400), (400, 3), (1, 1), (2, 90)]

ON = ("post", "row", "column", "between", "corner", "edge post", "edge", "by a post", "by a line")
OFF = ("just off", "off", "far off", "off a corner")
PLACES = ON + OFF
BESIDE = (1e-7, 1e-5, 1e-3)


def _place(kind, random, shape):
    """Where a station of a kind stands."""
    row, column = (random.uniform(0, n - 1) for n in shape)
    whole = [int(random.integers(n)) for n in shape]
    sign = int(random.choice([-1, 1]))
    corner = [int(random.choice([0, n - 1])) for n in shape]
    beside = sign * float(random.choice(BESIDE))
    beyond = {"just off": 0.4, "off": 3.0, "far off": 2.0 * max(shape), "off a corner": 5.25}.get(kind, 0.0)
    off_row = corner[0] + (beyond if corner[0] else -beyond)
    off_column = corner[1] + (beyond if corner[1] else -beyond)
    over_row = random.random() < 0.5
    if kind == "post":
        return whole
    if kind == "corner":
        return corner
    if kind == "row":
        return whole[0], column
    if kind == "column":
        return row, whole[1]
    if kind in ("edge post", "edge"):
        along = whole if kind == "edge post" else (row, column)
        return (corner[0], along[1]) if over_row else (along[0], corner[1])
    if kind == "by a post":
        return whole[0] + beside, whole[1] + float(random.choice([0.0, beside, -beside]))
    if kind == "by a line":
        return (whole[0] + beside, column) if over_row else (row, whole[1] + beside)
    if kind == "off a corner":
        return off_row, off_column
    if kind in OFF:
        return (off_row, random.choice([column, whole[1]])) if over_row else (row, off_column)
    return row, column


def _ground_near_m(height_m, row, column):
    """Ground at a place, or of the post nearest to it, or whatever ground there is; 50 m for none."""
    if oracle.on_terrain(height_m.shape, row, column) and row >= 0 and column >= 0:
        held = row <= height_m.shape[0] - 1 and column <= height_m.shape[1] - 1
        under_m = oracle.bilinear(height_m, row, column) if held else NAN
        if not math.isnan(under_m):
            return under_m
    known = height_m[~np.isnan(height_m)]
    return float(known[known.size // 2]) if known.size else 50.0


def _case(ground, number, shape=(ROWS, COLUMNS)):
    """A ground, an eye, a reach and target heights; the same number gives the same case."""
    random = np.random.default_rng([number, *ground.encode(), *shape])
    height_m = GROUNDS[ground](random, shape)
    shape = height_m.shape
    spacings_m = [(10.0, 10.0), (7.0, 13.0), (25.0, 4.0)][number % 3]
    if ground in SPACINGS_M:
        spacings_m = tuple(np.broadcast_to(SPACINGS_M[ground], 2).astype(float))
    surface = surface_of(height_m, *spacings_m)
    row, column = _place(PLACES[number % len(PLACES)], random, shape)
    level_m = _ground_near_m(height_m, row, column)
    # Every other eye stands high enough to see far; one in seven below the ground around it.
    level_m += float(random.choice([0.0, 1.6, random.uniform(0, 300), random.uniform(0, 300), 300.0]))
    if number % 7 == 6:
        level_m -= 310.0
    # A hundred times the earth's curvature shows in so small a window; the other sign bends rays down.
    drop = float(random.choice([0.0, 6.8e-8, 6.8e-6, -2e-6]))
    longest_m = math.hypot(shape[0] * spacings_m[1], shape[1] * spacings_m[0])
    # From off the terrain a reach may end before it begins.
    off_m = 3.0 * longest_m if PLACES[number % len(PLACES)] in OFF and number % 3 else 0.0
    reach_m = [3.001 * max(spacings_m), longest_m / 3.3, longest_m, math.inf][number // 2 % 4] + off_m
    targets_m = [[0.0], [2.0], [0.0, 2.0, 40.0], [35.0, 0.0, 2.0]][number // 3 % 4]
    return surface, Eye(float(row), float(column), level_m, drop), reach_m, targets_m, random


def _cases(each, grounds=GROUNDS):
    return [(ground, number) for ground in grounds for number in range(each)]


def _assert_as_walked(surface, eye, reach_m, targets_m, rows, columns, where):
    """Clearance, crest and states of some posts are the walker's; returns how often each state occurs."""
    grid = surface.grid
    found = see_posts(surface, eye, reach_m, targets_m[0])
    codes = see_states(surface, eye, reach_m, targets_m)
    lowered = oracle.lowered_posts(
        surface.height_m, grid.spacing_x_m, grid.spacing_y_m, eye.row, eye.column, eye.drop_per_m
    )
    distance_m = np.hypot((rows - eye.row) * grid.spacing_y_m, (columns - eye.column) * grid.spacing_x_m)
    within = distance_m <= reach_m
    expected = np.full((len(targets_m), rows.size), NAN)
    for i in np.flatnonzero(within):
        row, column = int(rows[i]), int(columns[i])
        walked = oracle.way(lowered, eye.row, eye.column, eye.level_m, row, column)
        for k, target_m in enumerate(targets_m):
            expected[k, i] = oracle.clearance_over(walked, float(lowered[row, column]) + target_m)
        crest_m = float(found.crest_distance_m[row, column])
        crests_m = [share * distance_m[i] for share in walked.crest_shares] or [0.0]
        nearest_m = min(abs(crest_m - tied_m) for tied_m in crests_m)
        assert nearest_m <= 1e-3 + 1e-6 * distance_m[i], (where, row, column, crest_m, crests_m[:3])
    assert_same_clearance(found.clearance_m[rows, columns], expected[0], distance_m, where)
    assert np.isnan(found.clearance_m[rows, columns]).tolist() == np.isnan(expected[0]).tolist(), where
    assert np.isnan(found.crest_distance_m[rows, columns]).tolist() == (~within).tolist(), where
    told = np.where(within, np.vectorize(CODES.get, otypes=[int])(states(expected)), GroundState.BEYOND)
    different = codes[:, rows, columns] != told
    assert not different.any(), (where, different.sum(), np.argwhere(different)[:3])
    return np.bincount(told.ravel(), minlength=5)


def _all_posts(ground, numbers, shape=(ROWS, COLUMNS)):
    """Stations whose every post is as the walker has it, and how often each state occurs."""
    occurring, stations = np.zeros(5, int), 0
    for number in numbers:
        surface, eye, reach_m, targets_m, _ = _case(ground, number, shape)
        rows, columns = (a.ravel() for a in np.indices(surface.height_m.shape))
        where = (ground, number, surface.height_m.shape)
        occurring += _assert_as_walked(surface, eye, reach_m, targets_m, rows, columns, where)
        stations += 1
    return stations, occurring


def _border_posts(random, eye, shape, number):
    """Posts on and beside the directions in which the sweep cuts wedges, at any distance."""
    slopes = random.choice([0.0, 0.25, 0.5, 0.5, 0.75, 1.0], number)
    along = random.uniform(1, max(shape), number)
    across = slopes * along + random.choice([-1, 0, 0, 1], number)
    turned = random.random(number) < 0.5
    down, right = np.where(turned, across, along), np.where(turned, along, across)
    rows = np.round(eye.row + down * random.choice([-1, 1], number)).astype(int)
    columns = np.round(eye.column + right * random.choice([-1, 1], number)).astype(int)
    held = (rows >= 0) & (rows < shape[0]) & (columns >= 0) & (columns < shape[1])
    return rows[held], columns[held]


def _some_posts(ground, numbers):
    """Stations over large ground of which at least 200 posts are as the walker has them."""
    occurring, stations = np.zeros(5, int), 0
    for number in numbers:
        shape = LARGE_SHAPES[(number + len(ground)) % len(LARGE_SHAPES)]
        surface, eye, reach_m, targets_m, random = _case(ground, number, shape)
        shape = surface.height_m.shape
        if number % 3:
            reach_m = math.inf
        borders = _border_posts(random, eye, shape, 200)
        anywhere = random.integers(0, shape[0], 80), random.integers(0, shape[1], 80)
        # Where one state gives way to another, errors of a horizon show first.
        seen = see_states(surface, eye, reach_m, targets_m)[0]
        turns = np.argwhere(seen[:, 1:] != seen[:, :-1])
        turns = turns[random.permutation(len(turns))[:60]] + random.integers(0, 2, (1, 1)) * [0, 1]
        rows, columns = (np.r_[borders[k][:90], anywhere[k], turns[:, k]] for k in (0, 1))
        more = max(0, 200 - rows.size)
        rows = np.r_[rows, random.integers(0, shape[0], more)]
        columns = np.r_[columns, random.integers(0, shape[1], more)]
        assert rows.size >= 200
        where = (ground, number, shape)
        occurring += _assert_as_walked(surface, eye, reach_m, targets_m, rows, columns, where)
        stations += 1
    return stations, occurring


@pytest.mark.parametrize("ground", GROUNDS)
def test_no_post_differs(ground):
    stations, occurring = _all_posts(ground, range(SMALL_QUICK))
    assert stations == SMALL_QUICK
    assert occurring[GroundState.VISIBLE] > 0


@pytest.mark.slow
@pytest.mark.parametrize("ground", GROUNDS)
def test_no_post_differs_from_many_stations(ground):
    stations, occurring = _all_posts(ground, range(SMALL_QUICK, SMALL_ALL))
    assert stations == SMALL_ALL - SMALL_QUICK
    assert (occurring[[GroundState.BEYOND, GroundState.HIDDEN, GroundState.VISIBLE]] > 100).all()
    if ground in ("scattered", "holed", "half_void"):
        assert occurring[GroundState.UNKNOWN] > 100


@pytest.mark.parametrize("ground", GROUNDS)
def test_no_post_of_large_ground_differs(ground):
    """Wedges halve many times, and whole blocks of ground are left out."""
    stations, occurring = _some_posts(ground, range(len(ground), len(ground) + LARGE_QUICK))
    assert stations == LARGE_QUICK
    assert occurring.sum() >= 200


@pytest.mark.slow
@pytest.mark.parametrize("ground", GROUNDS)
def test_no_post_of_large_ground_differs_from_many_stations(ground):
    stations, occurring = _some_posts(
        ground, [n + len(ground) for n in range(LARGE_QUICK, LARGE_ALL + LARGE_QUICK)]
    )
    assert stations == LARGE_ALL
    assert occurring[GroundState.VISIBLE] > 100


@pytest.mark.parametrize("shape", NARROW_SHAPES)
def test_no_post_of_narrow_ground_differs(shape):
    numbers = range(4) if max(shape) > 100 else range(13)
    for ground in ("fractal", "flat", "checkerboard", "scattered"):
        # Some of a long ground's posts will do.
        if max(shape) <= 100:
            _all_posts(ground, numbers, shape)
            continue
        for number in numbers:
            surface, eye, reach_m, targets_m, random = _case(ground, number + shape[0], shape)
            rows, columns = random.integers(0, shape[0], 120), random.integers(0, shape[1], 120)
            where = (ground, number, shape)
            _assert_as_walked(surface, eye, reach_m, targets_m, rows, columns, where)


def test_five_hundred_stations_are_looked_from():
    """Without the real terrain, which may be missing, nearly as many."""
    every = len(GROUNDS) * (SMALL_ALL + LARGE_QUICK + LARGE_ALL)
    assert every >= 500
    assert len(MADE) * (SMALL_ALL + LARGE_QUICK + LARGE_ALL) >= 390
    assert len(REAL) == 5


@pytest.mark.parametrize(("ground", "number"), _cases(4))
def test_single_targets_agree_with_the_walker(ground, number):
    surface, eye, _, _, random = _case(ground, number)
    grid = surface.grid
    # Some lie off the terrain.
    rows, columns = random.uniform(-2, ROWS + 1, 60), random.uniform(-2, COLUMNS + 1, 60)
    rows[:10] = np.round(rows[:10])
    columns[5:15] = np.round(columns[5:15])
    tall_m = random.choice([0.0, 5.0, 60.0], 60)
    found = see_points(surface, eye, rows, columns, tall_m)
    lowered = oracle.lowered_posts(
        surface.height_m, grid.spacing_x_m, grid.spacing_y_m, eye.row, eye.column, eye.drop_per_m
    )
    expected = np.full(60, np.nan)
    inside = (rows >= 0) & (rows <= ROWS - 1) & (columns >= 0) & (columns <= COLUMNS - 1)
    assert 20 < inside.sum() < 60
    for i in np.flatnonzero(inside):
        expected[i] = oracle.clearance(
            lowered, eye.row, eye.column, eye.level_m, rows[i], columns[i], tall_m[i]
        )
    distance_m = np.hypot((rows - eye.row) * grid.spacing_y_m, (columns - eye.column) * grid.spacing_x_m)
    assert_same_clearance(found.clearance_m, expected, distance_m, (ground, number))
    assert np.isnan(found.ground_m[~inside]).all()
    for i in np.flatnonzero(inside):
        under_m = oracle.bilinear(surface.height_m.astype(float), rows[i], columns[i])
        # Lowered posts between which one interpolates lie a trifle off the lowered ground itself.
        trifle_m = abs(eye.drop_per_m) * (grid.spacing_x_m**2 + grid.spacing_y_m**2)
        assert found.ground_m[i] == pytest.approx(under_m, abs=1e-6 + trifle_m, nan_ok=True)


@pytest.mark.parametrize(("ground", "number"), _cases(SOME_EACH))
def test_posts_asked_for_one_by_one_have_the_very_same_state(ground, number):
    surface, eye, _, _, _ = _case(ground, number)
    whole = see_posts(surface, eye, 1e9)
    rows, columns = np.indices(surface.height_m.shape)
    single = see_points(surface, eye, rows.ravel().astype(float), columns.ravel().astype(float))
    assert_same_states(single.clearance_m.reshape(rows.shape), whole.clearance_m)


@pytest.mark.parametrize(("ground", "number"), _cases(SOME_EACH))
def test_bearings_agree_with_an_independent_walk(ground, number):
    surface, eye, reach_m, _, random = _case(ground, number)
    grid = surface.grid
    bearings = np.r_[0, 45, 90, 135, 180, 225, 270, 315, random.uniform(0, 360, 40)]
    found = see_bearings(surface, eye, reach_m, bearings)
    lowered = oracle.lowered_posts(
        surface.height_m, grid.spacing_x_m, grid.spacing_y_m, eye.row, eye.column, eye.drop_per_m
    )
    for i, bearing in enumerate(bearings):
        walk = oracle.look_along(lowered, grid.spacing_x_m, grid.spacing_y_m, eye, reach_m, bearing)
        where = (ground, number, bearing)
        if not walk.crossings:
            assert np.isnan(found.skyline_slope[i]), where
            assert np.isnan(found.skyline_distance_m[i]), where
            continue
        assert found.skyline_slope[i] == pytest.approx(walk.skyline_slope, abs=1e-9, rel=1e-9), where
        assert _one_of(found.skyline_distance_m[i], walk.skyline_distances_m), where
        assert (found.skyline_end[i] == 3) == walk.void, where
        if walk.brow_distances_m:
            assert _one_of(found.brow_distance_m[i], walk.brow_distances_m), where
        else:
            assert np.isnan(found.brow_distance_m[i]), where
        assert found.crest_count[i] == len(walk.pockets), where
        for k, (crests, last_m, again_m, depth_m) in enumerate(walk.pockets):
            crest, re_emergence, depth = found.crests[i, k]
            assert _one_of(crest, crests), (*where, k)
            assert depth == pytest.approx(depth_m, abs=1e-6, rel=1e-9), (*where, k)
            if math.isnan(again_m):
                assert np.isnan(re_emergence), (*where, k)
            else:
                assert last_m - 1e-6 <= re_emergence <= again_m + 1e-6, (*where, k)
        assert np.isnan(found.crests[i, len(walk.pockets) :]).all(), where


def _one_of(found, places):
    return any(abs(found - place) <= 1e-6 * (1 + place) for place in places)


def test_the_cases_hold_all_that_they_should():
    """Every kind of station, reach, bend, spacing and target occurs over each ground that is made."""
    for ground in MADE:
        cases = [_case(ground, number) for number in range(SMALL_ALL)]
        eyes = [eye for _, eye, _, _, _ in cases]
        off = [not oracle.on_terrain((ROWS, COLUMNS), eye.row, eye.column) for eye in eyes]
        assert sum(off) >= sum(PLACES[n % len(PLACES)] in OFF for n in range(SMALL_ALL)) >= 12
        on_row = sum(e.row.is_integer() and not e.column.is_integer() for e in eyes)
        on_column = sum(e.column.is_integer() and not e.row.is_integer() for e in eyes)
        on_post = sum(e.row.is_integer() and e.column.is_integer() for e in eyes)
        corner = sum(e.row in (0, ROWS - 1) and e.column in (0, COLUMNS - 1) for e in eyes)
        assert min(on_row, on_column, on_post, corner) >= 3, ground
        assert {e.drop_per_m for e in eyes} == {0.0, 6.8e-8, 6.8e-6, -2e-6}
        assert {len(targets_m) for _, _, _, targets_m, _ in cases} == {1, 3}
        assert sum(s.grid.spacing_x_m != s.grid.spacing_y_m for s, *_ in cases) >= 20
        reaches = [reach_m for _, _, reach_m, _, _ in cases]
        assert sum(math.isinf(reach_m) for reach_m in reaches) >= 8
    beside = [
        abs(v - round(v)) for n in range(200) for v in _place("by a post", np.random.default_rng(n), (9, 9))
    ]
    assert all(sum(abs(b - d) < 1e-9 for b in beside) > 20 for d in BESIDE)


@pytest.mark.parametrize("bearing_to", [(0.0, 7.0), (9.0, 5.0), (2.5, 0.0), (4.2, 9.0), (9.0, 9.0)])
def test_of_equal_ground_the_nearest_sets_the_grazing_line(bearing_to):
    """With the eye on flat ground every crossing is a tie; the crest is the first of them."""
    flat, eye = surface_of(np.zeros((10, 10))), Eye(4.3, 5.6, 0.0)
    row, column = bearing_to
    found = see_points(flat, eye, np.array([row]), np.array([column]))
    first, _, _ = oracle.crossings(eye.row, eye.column, row, column)[0]
    length_m = 10 * math.hypot(row - eye.row, column - eye.column)
    assert found.clearance_m[0] == 0.0
    assert found.crest_distance_m[0] == pytest.approx(first * length_m)


def test_a_bearing_to_a_corner_reaches_the_corner_post():
    """Rounding may put the last crossing a hair outside the terrain."""
    height_m = np.zeros((12, 15), np.float32)
    height_m[[0, 0, -1, -1], [0, -1, 0, -1]] = 50.0
    surface, random = surface_of(height_m), np.random.default_rng(2)
    for row, column in zip(random.uniform(1, 10, 100), random.uniform(1, 13, 100), strict=True):
        corners = np.array([(0, 0), (0, 14), (11, 0), (11, 14)])
        bearings = np.degrees(np.arctan2(corners[:, 1] - column, row - corners[:, 0]))
        found = see_bearings(surface, Eye(row, column, 1.6), 1e9, bearings)
        assert found.skyline_height_m == pytest.approx(50.0, abs=1e-6), (row, column)
