"""What must hold of the sweep whatever it is asked, and how it is turned."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

import oracle
import terrains
from assertions import assert_same_clearance, states
from hillsight.kernels import threads
from hillsight.sight import posts
from hillsight.sight.maxima import Maxima
from hillsight.sight.points import see_pairs, see_points
from hillsight.sight.posts import see_posts, see_states
from hillsight.sight.viewing import Eye
from hillsight.words.states import GroundState
from views import surface_of

ALL = math.inf
CODES = {-1: GroundState.HIDDEN, 0: GroundState.UNKNOWN, 1: GroundState.VISIBLE}


def _codes(clearance_m):
    """States of clearances, all of them asked for."""
    return np.vectorize(CODES.get, otypes=[np.uint8])(states(clearance_m))


def _ground(name, shape, seed):
    height_m = terrains.fractal(*shape, seed=seed, relief_m=130.0)
    rows, columns = np.indices(shape)
    if name == "voids":
        height_m = terrains.with_voids(height_m, seed=seed, share=0.002)
        return terrains.with_hole(height_m, shape[0] // 2, shape[1] // 3, shape[0] // 9, shape[1] // 7)
    if name == "many voids":
        return terrains.with_voids(height_m, seed=seed, share=0.2)
    if name == "flat":
        return np.zeros(shape, np.float32)
    if name == "walls":
        walled = terrains.with_wall(np.zeros(shape, np.float32), row=shape[0] // 3, wall_m=22.0)
        return terrains.with_wall(walled, column=2 * shape[1] // 3, wall_m=31.0)
    if name == "bowl":
        return (0.004 * ((rows - shape[0] / 2) ** 2 + (columns - shape[1] / 2) ** 2)).astype(np.float32)
    if name == "checkerboard":
        return (2.0 * ((rows + columns) % 2)).astype(np.float32)
    return height_m


GROUNDS = ("fractal", "voids", "many voids", "flat", "walls", "bowl", "checkerboard")
SHAPES = ((61, 83), (150, 70), (420, 440))
#: Low, high, on posts, between them, at a corner, off the terrain; as shares of the sides, and a level.
EYES = ((0.5, 0.5, 60.0), (0.313, 0.627, 2.0), (0.0, 0.0, 90.0), (0.77, 1.0, 140.0), (-0.1, 0.43, 160.0))


def _cases(surface, drop=6.8e-8):
    """Eyes over a surface; the first on a post."""
    rows, columns = surface.height_m.shape
    for k, (down, right, level_m) in enumerate(EYES):
        row, column = down * (rows - 1), right * (columns - 1)
        yield Eye(round(row) if k == 0 else row, round(column) if k == 0 else column, level_m, drop)


def _surfaces(ground, shapes=SHAPES):
    for seed, shape in enumerate(shapes):
        yield surface_of(_ground(ground, shape, seed), 10.0, 7.0)


def _assert_states_of_clearances(surface, eye, targets_m, maxima):
    several = see_states(surface, eye, ALL, targets_m, maxima=maxima)
    assert several.shape == (len(targets_m), *surface.height_m.shape)
    for target_m, told in zip(targets_m, several, strict=True):
        sight = see_posts(surface, eye, ALL, target_m, maxima=maxima)
        bare = see_posts(surface, eye, ALL, target_m, maxima=maxima, crests=False)
        alone = see_states(surface, eye, ALL, target_m, maxima=maxima)
        assert np.array_equal(told, alone), (eye, target_m)
        assert np.array_equal(told, _codes(sight.clearance_m)), (eye, target_m)
        assert np.array_equal(told, _codes(bare.clearance_m)), (eye, target_m)
        assert bare.crest_distance_m.size == 0
        # Posts of hidden blocks are reckoned in another order of sums without crests.
        np.testing.assert_allclose(bare.clearance_m, sight.clearance_m, rtol=3e-7, atol=1e-6)


@pytest.mark.parametrize("drop", [0.0, 3e-6, -1e-6])
@pytest.mark.parametrize("ground", GROUNDS)
def test_states_are_those_of_the_clearances(ground, drop):
    """Bit for bit, of one target or of several, and with crests or without."""
    for surface in _surfaces(ground, SHAPES[:2]):
        maxima = Maxima.of(surface.height_m)
        for eye in _cases(surface, drop):
            _assert_states_of_clearances(surface, eye, [0.0, 2.0, 55.5], maxima)
    if drop >= 0.0:
        return  # rays bent up are the harder case; the slow suite has all
    large = next(_surfaces(ground, SHAPES[2:]))
    _assert_states_of_clearances(large, next(_cases(large, drop)), [3.0, 0.0], Maxima.of(large.height_m))


@pytest.mark.slow
@pytest.mark.parametrize("drop", [0.0, 3e-6, -1e-6])
@pytest.mark.parametrize("ground", GROUNDS)
def test_states_of_large_ground_are_those_of_the_clearances(ground, drop):
    for seed in (7, 8):
        surface = surface_of(_ground(ground, (417, 445), seed), 10.0, 7.0)
        maxima = Maxima.of(surface.height_m)
        for eye in _cases(surface, drop):
            _assert_states_of_clearances(surface, eye, [3.0, 0.0], maxima)


@pytest.mark.parametrize(
    ("void", "way"), [((364, 273), (4, 3)), ((396, 297), (4, 3)), ((600, 525), (8, 7)), ((49, 49), (1, 1))]
)
@pytest.mark.parametrize("turned", [False, True])
def test_a_void_on_the_border_of_two_wedges_is_not_forgotten(void, way, turned):
    """Wedges part at three quarters, seven eighths and so on; rounding may put a post on either side."""
    shape = tuple(n + 16 * step for n, step in zip(void, way, strict=True))
    height_m = np.zeros(shape, np.float32)
    height_m[void] = np.nan
    if turned:
        height_m = np.ascontiguousarray(height_m.T)
        way = way[::-1]
    surface, eye = surface_of(height_m), Eye(0.0, 0.0, 50.0)
    told = see_states(surface, eye, ALL)
    clearance_m = see_posts(surface, eye, ALL).clearance_m
    first = max(void) // max(way)
    for step in range(1, first + 15):
        post = (step * way[0], step * way[1])
        # The sight line leads over the void post itself, by whole numbers.
        state = GroundState.UNKNOWN if step >= first else GroundState.VISIBLE
        assert told[post] == state, post
        assert np.isnan(clearance_m[post]) == (step >= first), post


@pytest.mark.parametrize("ground", GROUNDS)
def test_the_order_of_the_targets_does_not_matter(ground):
    surface = next(_surfaces(ground))
    for eye in _cases(surface):
        told = see_states(surface, eye, 500.0, [0.0, 2.0, 55.5])
        again = see_states(surface, eye, 500.0, [55.5, 0.0, 2.0])
        assert np.array_equal(again, told[[2, 0, 1]])


@pytest.mark.parametrize("ground", GROUNDS)
def test_the_number_of_threads_changes_nothing(ground, monkeypatch):
    for surface in _surfaces(ground, SHAPES[1:]):
        eyes = list(_cases(surface))[1:4]
        before = [see_posts(surface, eye, ALL, 1.0) for eye in eyes]
        told = [see_states(surface, eye, ALL, 1.0) for eye in eyes]
        for number in (1, 2, 5):
            monkeypatch.setattr(threads, "cores", lambda number=number: number)
            for eye, sight, seen in zip(eyes, before, told, strict=True):
                after = see_posts(surface, eye, ALL, 1.0)
                assert np.array_equal(after.clearance_m, sight.clearance_m, equal_nan=True)
                assert np.array_equal(after.crest_distance_m, sight.crest_distance_m, equal_nan=True)
                assert np.array_equal(see_states(surface, eye, ALL, 1.0), seen)


TURNS = {
    "quarter": (lambda a: np.rot90(a), lambda e, n, m: (m - 1 - e.column, e.row)),
    "half": (lambda a: np.rot90(a, 2), lambda e, n, m: (n - 1 - e.row, m - 1 - e.column)),
    "three quarters": (lambda a: np.rot90(a, 3), lambda e, n, m: (e.column, n - 1 - e.row)),
    "left to right": (lambda a: a[:, ::-1], lambda e, n, m: (e.row, m - 1 - e.column)),
    "upside down": (lambda a: a[::-1], lambda e, n, m: (n - 1 - e.row, e.column)),
    "diagonally": (lambda a: a.T, lambda e, n, m: (e.column, e.row)),
}


@pytest.mark.parametrize("turn", TURNS)
@pytest.mark.parametrize("ground", GROUNDS)
def test_turned_and_mirrored_ground_gives_turned_and_mirrored_views(ground, turn):
    turned, place = TURNS[turn]
    for seed, shape in enumerate(SHAPES):
        height_m = _ground(ground, shape, seed)
        surface = surface_of(height_m, 8.0)
        there = surface_of(np.ascontiguousarray(turned(height_m)), 8.0)
        # Places that float64 turns without rounding.
        places = [(20.25, 50.5, 45.0), (30.0, 41.0, 70.0), (0.0, 11.5, 4.0), (-9.5, 20.0, 99.0)]
        for row, column, level_m in places[: 4 if max(shape) < 400 else 1]:
            eye = Eye(row, column, level_m, 6.8e-8)
            whole, after = (
                see_posts(surface, eye, ALL),
                see_posts(there, Eye(*place(eye, *shape), level_m, 6.8e-8), ALL),
            )
            expected = turned(whole.clearance_m)
            assert np.array_equal(states(after.clearance_m), states(expected))
            assert np.array_equal(after.clearance_m == np.inf, expected == np.inf)
            finite = np.isfinite(expected)
            off_m = np.abs(after.clearance_m[finite].astype(float) - expected[finite])
            # float32 holds seven digits of what may be kilometres under a near crest.
            assert (off_m <= 1e-6 + 2e-7 * np.abs(expected[finite])).all()


def test_symmetric_ground_gives_a_symmetric_view():
    quarter = terrains.fractal(101, 101, seed=8, relief_m=90.0)
    quarter = np.maximum(quarter, quarter.T)
    half = np.hstack([quarter[:, :0:-1], quarter])
    height_m = np.vstack([half[:0:-1], half])
    eye = Eye(100.0, 100.0, float(height_m[100, 100]) + 8.0)
    clearance_m = see_posts(surface_of(height_m), eye, ALL).clearance_m
    assert 500 < (clearance_m >= 0).sum() < clearance_m.size - 500
    for turned in (clearance_m[::-1], clearance_m[:, ::-1], clearance_m.T, np.rot90(clearance_m)):
        assert np.array_equal(states(turned), states(clearance_m))
        np.testing.assert_allclose(turned, clearance_m, rtol=2e-7, atol=1e-6)


@pytest.mark.parametrize("constant_m", [512.0, -1000.25, 4096.5])
@pytest.mark.parametrize("ground", GROUNDS)
def test_a_higher_datum_changes_nothing(ground, constant_m):
    """Sixty-fourths of a metre, which float32 adds without rounding; then no bit differs."""
    for seed, shape in enumerate(SHAPES):
        height_m = np.round(_ground(ground, shape, seed) * 64.0) / np.float32(64.0)
        surface, lifted = (surface_of(h, 10.0, 7.0) for h in (height_m, height_m + np.float32(constant_m)))
        for eye in list(_cases(surface, drop=0.0))[: 5 if max(shape) < 400 else 2]:
            there = Eye(eye.row, eye.column, eye.level_m + constant_m)
            before, after = see_posts(surface, eye, ALL, 2.0), see_posts(lifted, there, ALL, 2.0)
            assert np.array_equal(before.clearance_m, after.clearance_m, equal_nan=True)
            assert np.array_equal(before.crest_distance_m, after.crest_distance_m, equal_nan=True)
            told = [see_states(*where, ALL, [0.0, 9.0]) for where in ((surface, eye), (lifted, there))]
            assert np.array_equal(*told)


@pytest.mark.parametrize("drop", [0.0, 6.8e-8, 4e-6, -1e-6])
@pytest.mark.parametrize("ground", GROUNDS)
def test_single_targets_and_pairs_agree_at_posts(ground, drop):
    random = np.random.default_rng(17)
    for surface in _surfaces(ground, SHAPES[1:] if drop else SHAPES[:1]):
        grid, maxima = surface.grid, Maxima.of(surface.height_m)
        rows, columns = (random.integers(0, n, 400) for n in surface.height_m.shape)
        for eye in _cases(surface, drop):
            sight = see_posts(surface, eye, ALL, 3.0, maxima=maxima)
            seen = see_states(surface, eye, ALL, 3.0, maxima=maxima)[rows, columns]
            single = see_points(surface, eye, rows.astype(float), columns.astype(float), 3.0, maxima)
            found = sight.clearance_m[rows, columns]
            distance_m = np.hypot(
                (rows - eye.row) * grid.spacing_y_m, (columns - eye.column) * grid.spacing_x_m
            )
            assert np.array_equal(seen, _codes(single.clearance_m))
            assert_same_clearance(found, single.clearance_m, distance_m)
            both = np.isfinite(found)
            off_m = np.abs(found[both].astype(float) - single.clearance_m[both])
            assert (off_m <= 1e-6 + 2e-7 * np.abs(found[both]) + 1e-9 * distance_m[both]).all()
            targets_m = surface.height_m[rows, columns] + 3.0
            place = (eye.row, eye.column, eye.level_m)
            by_pairs = see_pairs(surface, maxima, *place, rows, columns, targets_m, drop)
            assert np.array_equal(by_pairs, seen)


@pytest.mark.parametrize("ground", ["fractal", "voids"])
def test_a_wedge_of_few_posts_is_as_good_as_one_of_many(ground, monkeypatch):
    """How an octant is cut at the eye changes no state."""
    for surface in _surfaces(ground):
        for eye in _cases(surface):
            with monkeypatch.context() as patch:
                before = see_posts(surface, eye, ALL, 1.0)
                for wedges in (1, 3, 7):
                    patch.setattr(posts, "_WEDGES", wedges)
                    after = see_posts(surface, eye, ALL, 1.0)
                    assert np.array_equal(states(after.clearance_m), states(before.clearance_m))
                    assert np.array_equal(see_states(surface, eye, ALL, 1.0), _codes(after.clearance_m))


def test_everything_is_seen_from_above_the_middle_of_a_bowl():
    """Nothing is skipped, and no horizon stays small; closed form: a paraboloid hides nothing of itself."""
    surface = surface_of(_ground("bowl", (421, 421), 0))
    assert (see_states(surface, Eye(210.3, 209.8, 3.0), ALL) == GroundState.VISIBLE).all()


def test_behind_a_wall_the_depth_is_that_of_similar_triangles():
    """Level ground, eye h above it, a wall w > h at distance a: at distance d the line stands
    h + (w - h) d / a high, by similar triangles."""
    height_m = terrains.with_wall(np.zeros((401, 500), np.float32), column=40, wall_m=30.0)
    surface, eye = surface_of(height_m), Eye(200.0, 10.0, 6.0)
    clearance_m = see_posts(surface, eye, ALL).clearance_m
    columns = np.arange(41, 500)
    expected = -(6.0 + 24.0 * (columns - 10.0) / 30.0)
    rows = np.arange(401)
    for row in rows[::25]:
        # Whatever the bearing, the wall is crossed at the same share of the way.
        np.testing.assert_allclose(clearance_m[row, 41:], expected, rtol=3e-7)
    assert (see_states(surface, eye, ALL)[:, 41:] == GroundState.HIDDEN).all()


@pytest.mark.parametrize("level_m", [1.0, 3.0, 8.0])
def test_ground_behind_a_ridge_shows_through_a_notch_only(level_m):
    """A notch one post wide in a high wall, hundreds of posts off: the ray along the row comes through."""
    height_m = np.zeros((431, 431), np.float32)
    height_m[:, 230] = 50.0
    height_m[215, 230] = 0.0
    told = see_states(surface_of(height_m), Eye(215.0, 5.0, level_m), ALL)
    assert (told[215, 231:] == GroundState.VISIBLE).all()
    # A neighbouring row is seen through the notch where its line passes it below the wall's flank.
    lowered = height_m.astype(float)
    for row, column in itertools.product((214, 216, 218), (231, 260, 300, 430)):
        clear_m = oracle.clearance(lowered, 215.0, 5.0, level_m, row, column)
        assert (told[row, column] == GroundState.VISIBLE) == (clear_m >= 0)


def test_progress_rises_to_one():
    surface, told = surface_of(_ground("fractal", (90, 90), 1)), []
    see_posts(surface, Eye(40.0, 40.5, 100.0), ALL, progress=told.append)
    assert told == sorted(told)
    assert told[-1] == 1.0
    told.clear()
    see_states(surface, Eye(40.0, 40.5, 100.0), ALL, progress=told.append)
    assert told[-1] == 1.0


@pytest.mark.parametrize("every", [1, 16])
@pytest.mark.parametrize("number", range(4))
def test_a_column_hides_what_the_rows_at_its_ends_do_not(number, every):
    """Spikes beside pits on level ground above the eye: from a spike only the line along the column goes on,
    back to a row that lies under the horizon. Every 16th row or column, too, where blocks begin."""
    random = np.random.default_rng(number)
    shape = (66, 66)
    height_m = np.zeros(shape, np.float32)
    chance = random.random(shape)
    lines = np.indices(shape)[number % 2] % every == every - 1
    height_m[lines & (chance < 0.05)] = 30.0
    height_m[lines & (chance > 0.4)] = -900.0
    surface, eye = surface_of(height_m), Eye(random.uniform(0, 6), random.uniform(0, 6), -0.5)
    told, clearance_m = see_states(surface, eye, ALL, 1.0), see_posts(surface, eye, ALL, 1.0).clearance_m
    lowered = height_m.astype(float)
    rows, columns = random.integers(0, 66, (2, 900))
    expected = np.array(
        [
            oracle.clearance(lowered, eye.row, eye.column, eye.level_m, r, c, 1.0)
            for r, c in zip(rows.tolist(), columns.tolist(), strict=True)
        ]
    )
    assert np.array_equal(told[rows, columns], _codes(expected))
    assert_same_clearance(clearance_m[rows, columns], expected, 1e3)
    bare_m = see_posts(surface, eye, ALL, 1.0, crests=False).clearance_m
    assert_same_clearance(bare_m[rows, columns], expected, 1e3)
    assert (expected < 0).sum() > 400


def test_a_block_left_out_does_not_hide_the_line_back_to_the_row_before_it():
    """A wall makes the horizon; spikes among pits stand in the last row of a block; the whole next block lies
    under the wall's top. The columns' lines from the spikes down into that block still show beside them."""
    random = np.random.default_rng(5)
    shape = (96, 96)
    height_m = np.full(shape, 20.0, np.float32)
    height_m[5, :] = 5.0
    height_m[:5, :] = height_m[6:31, :] = -900.0
    height_m[31, :] = np.where(np.arange(96) % 3 == 1, 100.0, -900.0)
    far = np.arange(64, 96)
    height_m[64:, :] = random.uniform(1.1, 3.0, (32, 96)) * far[:, None]
    surface, eye = surface_of(height_m), Eye(0.3, 0.4, 0.0)
    told = see_states(surface, eye, ALL)
    rows, columns = (part.ravel() for part in np.mgrid[64:96, 0:60])
    expected = np.array(
        [
            oracle.clearance(height_m.astype(float), eye.row, eye.column, eye.level_m, r, c)
            for r, c in zip(rows.tolist(), columns.tolist(), strict=True)
        ]
    )
    assert (expected >= 0).sum() > 100
    assert np.array_equal(told[rows, columns], _codes(expected))
