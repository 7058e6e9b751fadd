"""Sight over ground with cover, post for post against the brute-force walker."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from assertions import assert_same_clearance
from covered_ground import COLUMNS, GROUNDS, ROWS, Walker, covered_case, with_cover
from hillsight.ground.grid import Surface
from hillsight.sight.bands import see_in_bands
from hillsight.sight.many import count_visible, see_many
from hillsight.sight.points import clearance_of_pairs, light_of_pairs, see_pairs, see_points
from hillsight.sight.posts import see_posts, see_states
from hillsight.sight.viewing import Eye
from hillsight.words.states import GroundState

QUICK, EVERY = 10, 55


def _assert_as_walked(surface, eye, reach_m, targets_m, where):
    """Every post: state, clearance, light and crest; returns how often each state occurs."""
    grid, shape = surface.grid, surface.height_m.shape
    found = see_posts(surface, eye, reach_m, targets_m[0])
    codes = see_states(surface, eye, reach_m, targets_m)
    walker = Walker(surface, eye)
    rows, columns = np.indices(shape)
    distance_m = np.hypot((rows - eye.row) * grid.spacing_y_m, (columns - eye.column) * grid.spacing_x_m)
    clearance_m, light = np.full(shape, np.nan), np.full(shape, np.nan)
    told = np.zeros((len(targets_m), *shape), np.uint8)
    for row, column in np.argwhere(distance_m <= reach_m):
        for k, target_m in enumerate(targets_m):
            walked = walker.to(int(row), int(column), target_m)
            told[k, row, column] = walked.state
            if k > 0:
                continue
            clearance_m[row, column], light[row, column] = walked.every_m, walked.light
            if math.isnan(walked.every_m):
                continue
            crests_m = [share * distance_m[row, column] for share in walked.crest_shares] or [0.0]
            off_m = min(abs(float(found.crest_distance_m[row, column]) - at_m) for at_m in crests_m)
            assert off_m <= 1e-3 + 1e-6 * distance_m[row, column], (where, row, column)
    different = np.argwhere(codes != told)
    assert not len(different), (where, len(different), different[:3], codes[codes != told][:5])
    assert_same_clearance(found.clearance_m, clearance_m, distance_m, where)
    if found.light.size:
        assert found.light == pytest.approx(light, abs=1e-5, nan_ok=True), where
    return np.bincount(told.ravel(), minlength=5)


def _stations(numbers):
    occurring = np.zeros(5, int)
    for name in GROUNDS:
        for number in numbers:
            surface, eye, reach_m, targets_m, _ = covered_case(name, number)
            occurring += _assert_as_walked(surface, eye, reach_m, targets_m, (name, number))
    return occurring


def test_no_post_differs():
    assert (_stations(range(0, QUICK, 2)) > 20).all()


@pytest.mark.slow
def test_no_post_differs_from_many_stations():
    """Two hundred stations with those above."""
    assert len(GROUNDS) * (EVERY - QUICK // 2) == 200
    assert (_stations(range(QUICK, EVERY)) > 100).all()


@pytest.mark.parametrize("number", range(5))
def test_no_post_of_larger_ground_differs(number):
    """Wedges halve, and whole blocks are left out."""
    surface, eye, _, targets_m, random = covered_case("fractal", number, (190, 210))
    codes = see_states(surface, eye, math.inf, targets_m)
    walker = Walker(surface, eye)
    for row, column in zip(random.integers(0, 190, 250), random.integers(0, 210, 250), strict=True):
        for k, target_m in enumerate(targets_m):
            assert codes[k, row, column] == walker.to(int(row), int(column), target_m).state, (row, column)


@pytest.mark.parametrize("name", GROUNDS)
@pytest.mark.parametrize("number", range(5))
def test_single_targets_and_pairs_agree_with_the_walker(name, number):
    surface, eye, _, _, random = covered_case(name, number)
    rows, columns = random.uniform(0, ROWS - 1, 60), random.uniform(0, COLUMNS - 1, 60)
    rows[:20], columns[10:30] = np.round(rows[:20]), np.round(columns[10:30])
    tall_m = random.choice([0.0, 1.6, 30.0], 60)
    found = see_points(surface, eye, rows, columns, tall_m)
    walker = Walker(surface, eye)
    walked = [walker.to(*each) for each in zip(rows, columns, tall_m, strict=True)]
    distance_m = np.hypot(
        (rows - eye.row) * surface.grid.spacing_y_m, (columns - eye.column) * surface.grid.spacing_x_m
    )
    assert_same_clearance(found.clearance_m, [w.every_m for w in walked], distance_m, (name, number))
    assert found.light == pytest.approx([w.light for w in walked], abs=1e-9, nan_ok=True)
    lowered_m = found.ground_m - eye.drop_per_m * distance_m**2
    levels_m = lowered_m + tall_m + eye.drop_per_m * distance_m**2
    pairs = (surface, None, eye.row, eye.column, eye.level_m, rows, columns, levels_m, eye.drop_per_m)
    assert see_pairs(*pairs).tolist() == [w.state for w in walked]
    assert light_of_pairs(*pairs) == pytest.approx([w.light for w in walked], abs=1e-6, nan_ok=True)
    known = ~np.isnan(found.clearance_m) & np.isfinite(found.clearance_m)
    assert clearance_of_pairs(*pairs)[known] == pytest.approx(found.clearance_m[known], abs=1e-6)


def test_posts_asked_for_one_by_one_and_many_eyes_at_once_have_the_same_answers():
    surface, eye, _, targets_m, random = covered_case("fractal", 8)
    eyes = [eye, *(Eye(*random.uniform(0, 28, 2), 150.0, 6.8e-8) for _ in range(3))]
    seen = list(see_many(surface, eyes, 1e9, targets_m, clearance=True, crests=True))
    for one, view in zip(eyes, seen, strict=True):
        posts, states = see_posts(surface, one, 1e9, targets_m[0]), see_states(surface, one, 1e9, targets_m)
        assert (view.states == states).all()
        for name in ("clearance_m", "crest_distance_m", "light"):
            assert np.array_equal(getattr(view, name), getattr(posts, name), equal_nan=True), name
        assert (states[0] == GroundState.VISIBLE).any() and (states[0] == GroundState.UNCERTAIN).any()
    counted = count_visible(surface, eyes, 1e9, targets_m[0])
    assert (counted == sum((view.states[0] == GroundState.VISIBLE).astype(int) for view in seen)).all()


@pytest.mark.parametrize("number", [0, 2, 5, 7, 12])
def test_bands_give_the_same_states_but_leave_woods_open(number):
    surface, eye, _, targets_m, _ = covered_case("fractal", number, (120, 130))

    def part(window):
        return surface.part(*window)

    banded = see_in_bands(
        lambda window: part(window).height_m,
        surface.grid,
        eye,
        1e9,
        targets_m,
        band_posts=3000,
        cover_on=lambda window, _: part(window).cover,
    )
    whole = see_states(surface, eye, 1e9, targets_m)
    if surface.cover.passing_m == 0:
        assert (banded == whole).all()
        return
    # Woods alone hide what the whole view and the bands tell apart.
    opaque = Surface(surface.grid, surface.height_m)
    assert (banded != whole).any()
    different = banded != whole
    assert (banded[different] == GroundState.UNCERTAIN).all()
    assert np.isin(whole[different], (GroundState.HIDDEN, GroundState.VISIBLE)).all()
    assert (see_states(opaque, eye, 1e9, targets_m)[different] == GroundState.VISIBLE).any()


def test_cover_of_no_height_changes_no_bit():
    surface, eye, _, _, random = covered_case("fractal", 3)
    bare = Surface(surface.grid, surface.height_m)
    nothing = with_cover(bare, random, passing_m=40.0, screens=4)
    level = np.zeros_like(bare.height_m)
    flat = replace(
        nothing.cover,
        solid_m=level,
        wood_m=level,
        screens=replace(nothing.cover.screens, height_m=np.zeros(len(nothing.cover.screens))),
    )
    covered = Surface(bare.grid, bare.height_m, flat)
    one, other = see_posts(bare, eye, 1e9, 1.0), see_posts(covered, eye, 1e9, 1.0)
    for name in ("clearance_m", "crest_distance_m"):
        assert getattr(one, name).tobytes() == getattr(other, name).tobytes()
