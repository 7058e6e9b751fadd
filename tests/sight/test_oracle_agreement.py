"""The kernels against the brute-force walker, post for post, over made and real ground."""

from __future__ import annotations

import math

import numpy as np
import pytest
import rasterio
from rasterio.windows import Window

import oracle
import terrains
from assertions import assert_same_clearance, assert_same_states
from hillsight.sight.bearings import see_bearings
from hillsight.sight.points import see_points
from hillsight.sight.posts import distance_from_m, see_posts
from hillsight.sight.viewing import Eye
from shared_data import shared_file
from views import surface_of

ROWS, COLUMNS = 29, 33
STATIONS_EACH = 40  # over five grounds: 200
SOME_EACH = 8


def _fractal(random):
    return terrains.fractal(ROWS, COLUMNS, seed=int(random.integers(1 << 30))), 10.0, 10.0


def _made(random):
    """Walls, steps, checkerboards and flats, where ties and crossings at posts abound."""
    kind = random.integers(4)
    height_m = np.zeros((ROWS, COLUMNS), np.float32)
    if kind == 0:
        height_m = terrains.with_wall(height_m, row=int(random.integers(ROWS)), wall_m=25.0)
        height_m = terrains.with_wall(height_m, column=int(random.integers(COLUMNS)), wall_m=40.0)
    elif kind == 1:
        height_m += np.float32(5.0) * (np.arange(COLUMNS) // 4 - np.arange(ROWS)[:, None] // 3)
    elif kind == 2:
        height_m += np.float32(3.0) * ((np.arange(COLUMNS) + np.arange(ROWS)[:, None]) % 2)
    if kind == 3 or random.random() < 0.5:
        height_m = terrains.with_voids(height_m, seed=int(random.integers(1 << 30)), share=0.02)
    return height_m, 7.0, 13.0


def _window(name, spacing_m, random):
    with rasterio.open(shared_file(name)) as file:
        row = int(random.integers(file.height - ROWS))
        column = int(random.integers(file.width - COLUMNS))
        height_m = file.read(1, window=Window(column, row, COLUMNS, ROWS)).astype(np.float32)
    return height_m, spacing_m, spacing_m


def _highlands(random):
    """OS Terrain 50, (c) Crown copyright and database right, Open Government Licence v3."""
    return _window("osterrain50_nn.tif", 50.0, random)


def _canyon(random):
    """SRTM 1", public domain (NASA/USGS), Big Tujunga."""
    return _window("srtm30_big_tujunga.tif", 30.0, random)


def _jacksboro(random):
    """SRTM 3", public domain; travels with matplotlib. About 92 m by 74 m at 36.6 degrees north."""
    cbook = pytest.importorskip("matplotlib.cbook")
    with cbook.get_sample_data("jacksboro_fault_dem.npz") as sample:
        elevation = sample["elevation"]
    row, column = (int(random.integers(n - m)) for n, m in zip(elevation.shape, (ROWS, COLUMNS), strict=True))
    return elevation[row : row + ROWS, column : column + COLUMNS].astype(np.float32), 74.4, 92.4


GROUNDS = {f.__name__[1:]: f for f in (_fractal, _made, _highlands, _canyon, _jacksboro)}


def _place(random):
    """A station on a post, a grid line, between posts, at a corner or on the edge of the terrain."""
    row, column = random.uniform(0, ROWS - 1), random.uniform(0, COLUMNS - 1)
    kind = random.integers(6)
    if kind in (0, 1):
        row = round(row)
    if kind in (0, 2):
        column = round(column)
    if kind == 3:
        row, column = random.choice([0, ROWS - 1]), random.choice([0, COLUMNS - 1])
    if kind == 4:
        row = random.choice([0, ROWS - 1])
    return float(row), float(column)


def _case(ground, number):
    """A ground, an eye over it and a reach; the same number gives the same case."""
    random = np.random.default_rng([number, *ground.encode()])
    height_m, spacing_x_m, spacing_y_m = GROUNDS[ground](random)
    if random.random() < 0.2:
        height_m = terrains.with_voids(height_m, seed=number, share=0.03)
    if random.random() < 0.3:
        spacing_y_m *= 0.6
    surface = surface_of(height_m, spacing_x_m, spacing_y_m)
    under_m = math.nan
    while math.isnan(under_m):
        row, column = _place(random)
        under_m = surface.height_at_m(*(float(v) for v in surface.grid.to_map(row, column)))
    eye_height_m = float(random.choice([0.0, 1.6, random.uniform(0, 300)]))
    # A hundred times the earth's curvature shows in so small a window.
    drop = float(random.choice([0.0, 6.8e-8, 6.8e-6]))
    longest_m = math.hypot(ROWS * spacing_y_m, COLUMNS * spacing_x_m)
    reach_m = float(random.choice([3 * max(spacing_x_m, spacing_y_m), longest_m / 3, longest_m]))
    return surface, Eye(row, column, under_m + eye_height_m, drop), reach_m, random


def _cases(each):
    return [(ground, number) for ground in GROUNDS for number in range(each)]


@pytest.mark.parametrize(("ground", "number"), _cases(STATIONS_EACH))
def test_no_post_differs(ground, number):
    surface, eye, reach_m, random = _case(ground, number)
    target_m = float(random.choice([0.0, 2.0, 30.0]))
    grid = surface.grid
    found = see_posts(surface, eye, reach_m, target_m)
    expected = oracle.clearance_of_all(
        surface.height_m, grid.spacing_x_m, grid.spacing_y_m, eye, reach_m, target_m
    )
    distance_m = distance_from_m(grid, eye)
    assert_same_clearance(found.clearance_m, expected, distance_m, (ground, number))
    beyond = distance_m > reach_m
    assert np.isnan(found.clearance_m[beyond]).all()
    assert np.isnan(found.crest_distance_m).tolist() == beyond.tolist()


@pytest.mark.parametrize(("ground", "number"), _cases(4))
def test_crest_distance_is_that_of_ground_on_the_grazing_line(ground, number):
    surface, eye, reach_m, _ = _case(ground, number)
    grid = surface.grid
    found = see_posts(surface, eye, reach_m)
    lowered = oracle.lowered_posts(
        surface.height_m, grid.spacing_x_m, grid.spacing_y_m, eye.row, eye.column, eye.drop_per_m
    )
    distance_m = distance_from_m(grid, eye)
    for row, column in np.argwhere(distance_m <= reach_m)[::7]:
        shares = oracle.sighting(lowered, eye.row, eye.column, eye.level_m, row, column).crest_shares
        share = found.crest_distance_m[row, column] / max(distance_m[row, column], 1e-9)
        assert min((abs(share - s) for s in shares), default=share) < 1e-5, (row, column)


@pytest.mark.parametrize(("ground", "number"), _cases(4))
def test_single_targets_agree_with_the_walker(ground, number):
    surface, eye, _, random = _case(ground, number)
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
        trifle_m = eye.drop_per_m * (grid.spacing_x_m**2 + grid.spacing_y_m**2)
        assert found.ground_m[i] == pytest.approx(under_m, abs=1e-6 + trifle_m, nan_ok=True)


@pytest.mark.parametrize(("ground", "number"), _cases(SOME_EACH))
def test_posts_asked_for_one_by_one_have_the_very_same_state(ground, number):
    surface, eye, _, _ = _case(ground, number)
    whole = see_posts(surface, eye, 1e9)
    rows, columns = np.indices(surface.height_m.shape)
    single = see_points(surface, eye, rows.ravel().astype(float), columns.ravel().astype(float))
    assert_same_states(single.clearance_m.reshape(rows.shape), whole.clearance_m)


@pytest.mark.parametrize(("ground", "number"), _cases(SOME_EACH))
def test_bearings_agree_with_an_independent_walk(ground, number):
    surface, eye, reach_m, random = _case(ground, number)
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
    """Every kind of station, voids, curvature, oblong posts and each reach occur among the 200."""
    cases = [_case(ground, number) for ground in ("fractal", "made") for number in range(STATIONS_EACH)]
    eyes = [eye for _, eye, _, _ in cases]
    on_row = sum(e.row.is_integer() and not e.column.is_integer() for e in eyes)
    on_column = sum(e.column.is_integer() and not e.row.is_integer() for e in eyes)
    on_post = sum(e.row.is_integer() and e.column.is_integer() for e in eyes)
    between = sum(not e.row.is_integer() and not e.column.is_integer() for e in eyes)
    corner = sum(e.row in (0, ROWS - 1) and e.column in (0, COLUMNS - 1) for e in eyes)
    assert min(on_row, on_column, on_post, between, corner) >= 5
    assert {e.drop_per_m for e in eyes} == {0.0, 6.8e-8, 6.8e-6}
    assert sum(bool(np.isnan(s.height_m).any()) for s, _, _, _ in cases) >= 20
    assert sum(s.grid.spacing_x_m != s.grid.spacing_y_m for s, _, _, _ in cases) >= 20


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
