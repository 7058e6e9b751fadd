"""Bounds of what may be asked of a view, the eye's place, and progress and refusals of the walks."""

from __future__ import annotations

import numpy as np
import pytest

from hillsight.errors import CallError
from hillsight.sight.bearings import see_bearings
from hillsight.sight.points import see_points
from hillsight.sight.posts import distance_from_m, see_posts
from hillsight.sight.viewing import Eye, Viewing
from hillsight.words.posts import ON_LINE
from terrains import fractal
from views import surface_of

NAN, INF = float("nan"), float("inf")


@pytest.mark.parametrize(
    ("changes", "parameter"),
    [
        ({"eye_height_m": -0.1}, "eye_height"),
        ({"eye_height_m": 500.1}, "eye_height"),
        ({"eye_height_m": NAN}, "eye_height"),
        ({"target_height_m": -1}, "target_height"),
        ({"target_height_m": 501}, "target_height"),
        ({"target_height_m": NAN}, "target_height"),
        ({"reach_m": 0}, "reach"),
        ({"reach_m": -5}, "reach"),
        ({"reach_m": INF}, "reach"),
        ({"reach_m": NAN}, "reach"),
        ({"refraction": 21}, "refraction"),
        ({"refraction": NAN}, "refraction"),
    ],
)
def test_nonsense_is_refused_and_the_parameter_named(changes, parameter):
    with pytest.raises(CallError) as refusal:
        Viewing(**changes)
    assert refusal.value.parameters == (parameter,)
    assert refusal.value.remedy


def test_bounds_are_allowed():
    for eye_m, target_m, reach_m, refraction in ((0, 0, 1e-3, -20), (500, 500, 1e7, 20)):
        viewing = Viewing(eye_m, target_m, reach_m, refraction)
        assert (viewing.eye_height_m, viewing.target_height_m) == (eye_m, target_m)
        assert (viewing.reach_m, viewing.refraction) == (reach_m, refraction)


def test_an_eye_all_but_on_a_line_stands_on_it():
    eye = Eye(3 + 0.9 * ON_LINE, 7 - 0.9 * ON_LINE, 0.0)
    assert (eye.row, eye.column) == (3.0, 7.0)
    assert Eye(3 + 1.1 * ON_LINE, 7, 0.0).row != 3.0


def test_an_eye_at_a_map_position():
    grid = surface_of(np.zeros((5, 9)), 20.0, 5.0).grid
    eye = Eye.on(grid, grid.west_m + 50.0, grid.north_m - 7.5, 12.0, 1e-8)
    assert (eye.row, eye.column, eye.level_m, eye.drop_per_m) == (1.5, 2.5, 12.0, 1e-8)
    distance_m = distance_from_m(grid, eye)
    assert distance_m[1, 2] == pytest.approx(np.hypot(2.5, 10.0))
    assert distance_m[4, 8] == pytest.approx(np.hypot(12.5, 110.0))


def test_progress_runs_to_one():
    surface = surface_of(fractal(70, 40, seed=1))
    told = []
    see_posts(surface, Eye(3, 4, 500.0), 1e9, progress=told.append)
    assert told == sorted(told)
    assert told[-1] == 1.0
    assert len(told) > 2


def test_an_interruption_ends_the_work():
    surface = surface_of(fractal(70, 40, seed=1))

    def interrupt(_share):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        see_posts(surface, Eye(3, 4, 500.0), 1e9, progress=interrupt)


@pytest.mark.parametrize(("row", "column"), [(NAN, 1), (1, NAN), (INF, 1), (1, -INF)])
def test_an_eye_nowhere_is_refused(row, column):
    surface = surface_of(np.zeros((6, 8)))
    with pytest.raises(ValueError):
        see_posts(surface, Eye(row, column, 10.0), 100.0)
    with pytest.raises(ValueError):
        see_points(surface, Eye(row, column, 10.0), np.zeros(1), np.zeros(1))
    with pytest.raises(ValueError):
        see_bearings(surface, Eye(row, column, 10.0), 100.0, np.zeros(1))


def test_no_targets_and_no_bearings():
    surface, eye = surface_of(np.zeros((6, 8))), Eye(2, 2, 1.6)
    assert see_points(surface, eye, np.empty(0), np.empty(0)).clearance_m.shape == (0,)
    assert see_bearings(surface, eye, 100.0, np.empty(0)).skyline_slope.shape == (0,)


@pytest.mark.parametrize("shape", [(1, 1), (1, 9), (9, 1), (2, 2)])
def test_ground_of_few_posts(shape):
    surface = surface_of(np.zeros(shape))
    for row, column in {(0, 0), (shape[0] - 1, shape[1] - 1), ((shape[0] - 1) / 2, (shape[1] - 1) / 2)}:
        eye = Eye(row, column, 1.6)
        assert (see_posts(surface, eye, 1e9).clearance_m >= 0).all()
        at = see_points(surface, eye, np.array([row]), np.array([column]))
        assert at.clearance_m[0] == np.inf
        assert at.ground_m[0] == 0.0
        found = see_bearings(surface, eye, 1e9, np.arange(0.0, 360.0, 15.0))
        assert np.isin(found.skyline_end, (2,)).all()
        assert not np.isfinite(found.brow_distance_m).any()


def test_what_ends_a_skyline():
    height_m = np.zeros((41, 41))
    height_m[:, 30] = 20.0  # a wall to the east hides the rest
    height_m[30, 5:15] = np.nan  # voids to the south-west
    surface, eye = surface_of(height_m), Eye(20, 20, 1.6)
    found = see_bearings(surface, eye, 150.0, np.array([90.0, 0.0, 270.0]))
    assert found.skyline_end.tolist() == [0, 1, 1]  # hidden at the reach; still seen at the reach
    assert found.skyline_distance_m[0] == 100.0
    assert found.skyline_height_m[0] == 20.0
    found = see_bearings(surface, eye, 1e4, np.array([0.0, 90.0, 225.0]))
    assert found.skyline_end.tolist() == [2, 2, 3]  # nobody knows what stands beyond the terrain's edge
