"""Chances where cover errs: what must hold, and how they fit truths that the model does not draw."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr

from cover_simulation import made_place, rough_ground, simulate
from covered_ground import Walker, covered_case
from doubts import exactly_placed
from hillsight.ground.accuracy import ErrorModel
from hillsight.ground.cover import Cover, Screens
from hillsight.sight.doubt import probability_of_posts
from hillsight.sight.doubt_cover import edges_moved
from hillsight.sight.posts import see_posts
from hillsight.sight.viewing import Eye
from views import surface_of

EXACT = exactly_placed(ErrorModel(0.0, 50.0, between_posts="straight"))
ERRORS = ErrorModel(0.5, 60.0, between_posts="straight", station_position_m=3.0)


@pytest.mark.parametrize("number", [0, 1, 5])
def test_without_errors_the_chance_over_opaque_cover_is_the_view(number):
    surface, eye, _, targets_m, _ = covered_case("fractal", number)
    light = see_posts(surface, eye, 1e9, targets_m[0]).light
    assert probability_of_posts(surface, eye, 1e9, targets_m[0], EXACT) == pytest.approx(light, nan_ok=True)
    assert 0.01 < np.nanmean(light) < 0.9


def _strip(wall_m, **more):
    """Level ground with a wood of three columns, or a wall in its place."""
    wood_m = np.zeros((41, 61), np.float32)
    walls = Screens.none()
    if "height_sigma_m" in more and wall_m is not None:
        ends = np.array([[0.0, 20.0, 40.0, 20.0]])
        walls = Screens(*ends.T.copy(), np.full(1, wall_m), np.full(1, 1, np.uint8))
    else:
        wood_m[:, 20:23] = 4.0
    cover = Cover(0 * wood_m, wood_m, (wood_m > 0).astype(np.uint8), ("", "wood"), walls, **more)
    return replace(surface_of(np.full((41, 61), 100.0)), cover=cover)


@pytest.mark.parametrize("over_m", [-3.0, -1.0, 0.0, 1.0, 3.0])
@pytest.mark.parametrize("wall_m", [None, 4.0])
def test_the_height_of_cover_alone_gives_the_normal_distribution(over_m, wall_m):
    """A line that passes so far over cover of error sigma passes with the chance Phi(over / sigma)."""
    surface = _strip(wall_m, height_sigma_m=2.0)
    # Eye and target stand level, so that the line passes all cover at one height.
    height_m = 4.0 + over_m
    chance = probability_of_posts(surface, Eye(20.0, 5.0, 100.0 + height_m), 1e9, height_m, EXACT)
    assert chance[20, 40] == pytest.approx(ndtr(over_m / 2.0), abs=0.01)
    assert chance[20, 15] == 1.0


def test_edges_move_by_so_many_metres():
    tall_m = np.zeros((9, 40), np.float32)
    tall_m[:, 10:20] = 12.0
    grid = surface_of(tall_m).grid
    for outwards_m in (-25.0, -4.0, 0.0, 7.0, 33.0):
        area = edges_moved(grid, tall_m, outwards_m)[4].sum() / 12.0 * 10.0
        assert area == pytest.approx(100.0 + 2.0 * outwards_m, abs=1e-3)


def test_a_target_inside_a_wood_is_never_likelier_than_not():
    surface, eye, _, _, _ = covered_case("fractal", 2)
    chance = probability_of_posts(surface, eye, 1e9, 1.0, EXACT)
    inside = surface.cover.tallest_m > 1.5
    assert np.nanmax(chance[inside]) <= 0.5
    assert Walker(surface, eye).tallest.max() > 1.5


@pytest.mark.parametrize(("passing_m", "walls"), [(0.0, 0), (60.0, 0), (0.0, 30)])
def test_chances_fit_what_comes_of_errors_that_the_model_does_not_draw(passing_m, walls):
    """Within 0.15 in every tenth of chance, and nearer than cover taken at its word or left out."""
    told = made_place(
        rough_ground(61, 1, 40.0), 10.0, seed=1, passing_m=passing_m, walls=walls, errors=ERRORS
    )
    found = simulate(told, 24, seed=4)
    assert found.brier(found.chance) < found.brier(found.at_its_word)
    assert found.brier(found.chance) < found.brier(found.bare)
    for mean, seen, posts in found.bins():
        assert posts < 30 or abs(mean - seen) < 0.15, found.bins()
