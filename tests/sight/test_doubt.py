"""Probability of being seen: what must hold whatever the ground, and what a small simulation says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import terrains
from doubts import exactly_placed, probability_at
from hillsight.ground.accuracy import ErrorModel
from hillsight.sight.doubt import Doubtful, probability_of_posts
from hillsight.sight.field import FieldOfView
from hillsight.sight.posts import see_posts, see_states
from hillsight.sight.viewing import Eye
from hillsight.words.states import GroundState
from trust_simulation import simulate
from views import surface_of

EXACT = exactly_placed(ErrorModel(0.0, 50.0, between_posts="straight"))
USUAL = ErrorModel(1.5, 60.0, between_posts="straight")
ROWS, COLUMNS = 41, 57


def _ground(seed=4):
    return terrains.fractal(ROWS, COLUMNS, seed=seed, relief_m=80.0)


def _eye(surface, row=20.3, column=27.6, eye_height_m=1.6, drop=6.8e-8):
    easting_m, northing_m = surface.grid.to_map(row, column)
    level_m = surface.height_at_m(float(easting_m), float(northing_m)) + eye_height_m
    return Eye(row, column, level_m, drop)


@pytest.mark.parametrize("target_height_m", [0.0, 3.0])
@pytest.mark.parametrize("seed", range(6))
def test_without_errors_it_is_the_view(seed, target_height_m):
    surface = surface_of(terrains.with_voids(_ground(seed), seed=seed, share=0.01))
    eye = _eye(surface_of(_ground(seed)))
    states = see_states(surface, eye, 200.0, target_height_m)
    probability = probability_of_posts(surface, eye, 200.0, target_height_m, EXACT)
    assert np.array_equal(probability == 1.0, states == GroundState.VISIBLE)
    assert np.array_equal(probability == 0.0, states == GroundState.HIDDEN)
    unknown = (states == GroundState.UNKNOWN) | (states == GroundState.BEYOND)
    assert np.array_equal(np.isnan(probability), unknown)


def test_small_errors_keep_to_the_view():
    surface = surface_of(_ground())
    eye = _eye(surface)
    clearance_m = see_posts(surface, eye, np.inf, crests=False).clearance_m
    probability = probability_of_posts(surface, eye, np.inf, 0.0, replace(EXACT, terrain_rmse_m=1e-3))
    assert (probability[clearance_m > 1.0] > 0.999).all()
    assert (probability[clearance_m < -1.0] < 0.001).all()


def test_taller_targets_are_likelier_seen():
    surface = surface_of(_ground())
    eye = _eye(surface)
    lower, taller = (probability_of_posts(surface, eye, np.inf, h, USUAL) for h in (0.0, 5.0))
    assert (taller >= lower - 0.03).all()  # the orthant's approximation, not the ground
    assert taller.mean() > lower.mean() + 0.05


def test_a_constant_added_changes_nothing():
    surface, raised = surface_of(_ground()), surface_of(_ground() + np.float32(512.0))
    stated = [probability_of_posts(s, _eye(s), np.inf, 0.0, USUAL) for s in (surface, raised)]
    assert stated[0] == pytest.approx(stated[1], abs=2e-3)


def test_turned_ground_has_turned_probabilities():
    height_m = _ground()
    surface = surface_of(height_m)
    turned = surface_of(np.rot90(height_m))
    stated = probability_of_posts(surface, _eye(surface), np.inf, 0.0, USUAL)
    again = probability_of_posts(turned, _eye(turned, COLUMNS - 1 - 27.6, 20.3), np.inf, 0.0, USUAL)
    assert np.abs(np.rot90(stated) - again).max() < 0.03
    assert np.abs(np.rot90(stated) - again).mean() < 1e-3


def test_single_targets_agree_with_posts():
    surface = surface_of(_ground())
    eye, errors = _eye(surface), replace(USUAL, feature_position_m=0.0)
    rows, columns = (a.ravel().astype(float) for a in np.indices((ROWS, COLUMNS)))
    single = probability_at(surface, eye, rows, columns, 2.0, errors)
    posts = probability_of_posts(surface, eye, np.inf, 2.0, errors)
    assert single == pytest.approx(posts.ravel(), abs=1e-3)


def test_targets_off_the_terrain_are_unknown():
    surface = surface_of(_ground())
    rows, columns = np.array([-1.0, 5.0, np.nan, 40.0]), np.array([5.0, 60.0, 3.0, 56.0])
    known = np.isfinite(probability_at(surface, _eye(surface), rows, columns, 0.0, USUAL))
    assert known.tolist() == [False, False, False, True]


def test_beyond_the_field_is_unknown():
    surface = surface_of(_ground())
    eye, field = _eye(surface), FieldOfView(150.0, 40.0, 30.0, 200.0)
    probability = probability_of_posts(surface, eye, field, 0.0, USUAL)
    asked = see_states(surface, eye, field) != GroundState.BEYOND
    assert np.array_equal(np.isfinite(probability), asked)
    assert 0 < asked.sum() < asked.size


def test_eye_off_the_terrain():
    surface = surface_of(_ground())
    eye = Eye(-12.4, 30.2, float(surface.height_m.max()) + 5.0)
    probability = probability_of_posts(surface, eye, np.inf, 0.0, replace(EXACT, terrain_rmse_m=1e-4))
    visible = see_states(surface, eye, np.inf) == GroundState.VISIBLE
    assert np.mean((probability > 0.5) == visible) > 0.999


def test_an_eye_nowhere_is_refused():
    with pytest.raises(ValueError, match="stand somewhere"):
        Doubtful.of(surface_of(_ground()), Eye(1.0, np.nan, 3.0), USUAL)


@pytest.mark.parametrize(
    "errors",
    [
        ErrorModel(1.5, 60.0, between_posts="straight"),
        ErrorModel(1.5, 40.0, "gaussian", station_position_m=3.0, between_posts="straight"),
        ErrorModel(
            1.0, 60.0, nugget_share=0.2, station_position_m=0.0, eye_height_m=0.3, between_posts="straight"
        ),
        ErrorModel(3.0, 25.0, refraction=0.2, between_posts="straight"),
    ],
    ids=["usual", "gaussian", "nugget", "rough"],
)
def test_counts_of_a_small_simulation(errors):
    """300 draws of a small ground: a post's share errs by up to 0.03, and the bias of all must be less."""
    surface = surface_of(_ground(9))
    eye = _eye(surface)
    stated = probability_of_posts(surface, eye, np.inf, 0.0, errors)
    counted = simulate(surface, eye, 1.6, np.inf, 0.0, errors, 300)
    assert abs(stated.mean() - counted.seen_share.mean()) < 0.02
    assert np.sqrt(np.mean((stated - counted.seen_share) ** 2)) < 0.04


def test_a_void_leaves_lines_that_do_not_cross_it_alone():
    """But for posts so near the void that the mean ground about them is not known."""
    whole = _ground()
    holed = terrains.with_hole(whole, 5, 40, 6, 8)
    eye = _eye(surface_of(whole))
    stated, again = (probability_of_posts(surface_of(h), eye, np.inf, 0.0, USUAL) for h in (whole, holed))
    clear = see_states(surface_of(holed), eye, np.inf) != GroundState.UNKNOWN
    clear &= np.isfinite(again) & (see_states(surface_of(holed), eye, np.inf, 200.0) != GroundState.UNKNOWN)
    assert clear.sum() > 0.8 * clear.size
    assert np.abs(stated - again)[clear].max() < 0.1
    assert np.abs(stated - again)[clear].mean() < 1e-3


def test_ground_beyond_a_void_is_unknown_unless_known_ground_hides_it():
    height_m = np.zeros((5, 30), np.float32)
    height_m[:, 10] = np.nan
    height_m[:, 20] = 50.0
    probability = probability_of_posts(surface_of(height_m), Eye(2.0, 0.0, 5.0), np.inf, 0.0, USUAL)
    assert np.isnan(probability[:, 11:20]).all()
    assert (probability[2, 22:] == 0.0).all()


def test_the_same_question_has_the_same_answer():
    """Whatever the memory held before that the kernel takes for scratch."""
    surface = surface_of(_ground())
    eye = _eye(surface)
    stated = probability_of_posts(surface, eye, np.inf, 0.0, USUAL)
    for value in (np.nan, 1e9, -3.0):
        dirt = [np.full(n, value) for n in (24, 24 * (ROWS + COLUMNS + 4), 13 * (ROWS + COLUMNS + 4)) * 20]
        del dirt
        assert np.array_equal(probability_of_posts(surface, eye, np.inf, 0.0, USUAL), stated)
