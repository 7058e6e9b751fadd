"""What roughness between posts does to the chance of being seen, on made ground and real ground thinned."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from doubts import exactly_placed
from hillsight.ground.accuracy import ErrorModel
from hillsight.sight.doubt import probability_of_posts
from hillsight.sight.posts import see_states
from hillsight.sight.viewing import Eye
from hillsight.words.states import GroundState
from terrains import fractal
from thinned_ground import Pooled, run
from views import surface_of

WORDS = ("points", "means", "unknown")


def exact(word):
    return exactly_placed(ErrorModel(0.0, 50.0, between_posts=word))


@pytest.mark.parametrize("word", WORDS)
def test_level_ground_hides_nothing(word):
    """Water and plains have no roughness: what is seen of them is seen for sure."""
    surface = surface_of(np.full((61, 61), 12.0), 20.0)
    chance = probability_of_posts(surface, Eye(30.3, 30.7, 13.6, 0.0), np.inf, 0.0, exact(word))
    assert chance.min() > 0.999


@pytest.mark.parametrize("word", WORDS)
def test_rough_ground_is_in_doubt_where_smooth_ground_is_not(word):
    surface = surface_of(fractal(61, 61, seed=8, relief_m=120.0), 30.0)
    eye = Eye(30.0, 30.0, float(surface.height_m[30, 30]) + 1.6, 0.0)
    straight = probability_of_posts(surface, eye, np.inf, 0.0, exact("straight"))
    assert set(np.unique(straight)) == {0.0, 1.0}
    rough = probability_of_posts(surface, eye, np.inf, 0.0, exact(word))
    assert ((rough > 0.02) & (rough < 0.98)).mean() > 0.05
    # Ground hides by what stands up in it, and what is deep in dead ground stays there.
    assert rough.mean() < straight.mean()
    assert rough[straight == 1.0].mean() > 0.6
    assert rough[straight == 0.0].mean() < 0.1


def test_means_hide_more_in_doubt_than_points():
    surface = surface_of(fractal(61, 61, seed=9, relief_m=120.0), 30.0)
    eye = Eye(30.0, 30.0, float(surface.height_m[30, 30]) + 1.6, 0.0)
    spread = {}
    for word in WORDS:
        chance = probability_of_posts(surface, eye, np.inf, 0.0, exact(word)).astype(float)
        spread[word] = float((chance * (1.0 - chance)).sum())
    assert spread["points"] < spread["unknown"] < spread["means"]


def test_roughness_turns_with_the_ground():
    """A quarter turn of ground and eye turns the chances."""
    ground = fractal(41, 41, seed=4, relief_m=80.0)
    level_m = float(ground[20, 20]) + 1.6
    eye = Eye(20.0, 20.0, level_m, 0.0)
    chance = probability_of_posts(surface_of(ground, 25.0), eye, np.inf, 0.0, exact("unknown"))
    turned = probability_of_posts(
        surface_of(np.rot90(ground).copy(), 25.0), eye, np.inf, 0.0, exact("unknown")
    )
    np.testing.assert_allclose(np.rot90(chance), turned, atol=2e-3)


@pytest.mark.parametrize("word", WORDS)
def test_voids_stay_unknown_and_no_more(word):
    ground = fractal(41, 41, seed=6, relief_m=80.0)
    ground[10:12, 30] = np.nan
    surface = surface_of(ground, 25.0)
    eye = Eye(20.0, 20.0, float(ground[20, 20]) + 1.6, 0.0)
    chance = probability_of_posts(surface, eye, np.inf, 0.0, exact(word))
    unknown = see_states(surface, eye, np.inf, 0.0) == GroundState.UNKNOWN
    assert np.isnan(chance[10, 30])
    assert np.isnan(chance).sum() <= unknown.sum()


@pytest.mark.slow
def test_real_ground_thinned_to_coarser_posts():
    """Outside: OS Terrain 50 (OGL v3, Crown copyright) and SRTM (public domain), the finer posts the truth.

    The figures were settled on the Highlands' west; these stations stand in the east and in California.
    Bounds are wider than what 100 stations a case gave (docs/trust.md), for these are fewer. Taking the
    ground for straight between posts breaks them by far.
    """

    def errors_of(word):
        return lambda coarse: replace(
            ErrorModel.guessed_from_spacing(coarse.grid.spacing_x_m), between_posts=word
        )

    pooled = {word: pooled_of(run("east", 10, errors_of(word), seed=5)) for word in ("unknown", "straight")}
    found = {word: one.seen / one.posts - one.stated / one.posts for word, one in pooled.items()}
    areas = {
        word: sum(a[3] for a in one.areas) / sum(a[0] for a in one.areas) for word, one in pooled.items()
    }
    held = np.mean([low <= seen <= high for _, low, high, seen in pooled["unknown"].areas])
    assert np.abs(found["unknown"]).max() < 0.15
    assert abs(found["unknown"][9]) < 0.05
    assert found["straight"][9] < -0.08
    assert abs(areas["unknown"] - 1.0) < 0.1
    assert areas["straight"] < 0.93
    assert held > 0.8


def pooled_of(found):
    together = Pooled.none()
    for one in found.values():
        together.join(one)
    return together
