"""How much is seen: features by their samples, areas with their interval."""

from __future__ import annotations

import numpy as np
import pytest

from doubts import exactly_placed
from hillsight.ground.accuracy import ErrorModel
from hillsight.sight.doubt import Doubtful, probability_of_posts
from hillsight.sight.doubt_shares import seen_number, seen_of_feature
from hillsight.sight.points import see_points
from hillsight.sight.viewing import Eye
from terrains import fractal
from trust_simulation import draws
from views import surface_of

ERRORS = ErrorModel(1.5, 60.0, feature_position_m=0.0, between_posts="straight")


def _place():
    surface = surface_of(fractal(61, 61, seed=11, relief_m=90.0))
    easting_m, northing_m = surface.grid.to_map(30.3, 28.6)
    return surface, Eye(30.3, 28.6, surface.height_at_m(float(easting_m), float(northing_m)) + 1.6)


def _features():
    """Short and long lines across the ground."""
    random = np.random.default_rng(3)
    for _ in range(12):
        start, end = random.uniform(2, 58, (2, 2))
        part = np.linspace(0.0, 1.0, 30)[:, None]
        yield start + part * (end - start)


def test_features_against_simulation():
    """Mean over twelve lines of 400 draws: chance of seeing anything, share seen, and its interval."""
    surface, eye = _place()
    lines = list(_features())
    doubtful = Doubtful.of(surface, eye, ERRORS, feature=True)
    stated = [seen_of_feature(doubtful, line[:, 0], line[:, 1], 1.0, np.ones(30)) for line in lines]
    seen = np.zeros((400, len(lines), 30), bool)
    for k, draw in enumerate(draws(surface, eye, 1.6, ERRORS, 400, 5)):
        for i, line in enumerate(lines):
            seen[k, i] = see_points(draw.surface, draw.eye, line[:, 0], line[:, 1], 1.0).clearance_m >= 0
    shares = seen.mean(axis=2)
    off = np.array([s.expected for s in stated]) - shares.mean(axis=0)
    assert np.abs(off).mean() < 0.02
    any_off = np.array([s.any_seen for s in stated]) - seen.any(axis=2).mean(axis=0)
    assert np.abs(any_off).mean() < 0.05
    inside = [
        np.mean((shares[:, i] >= s.low - 1e-9) & (shares[:, i] <= s.high + 1e-9))
        for i, s in enumerate(stated)
    ]
    assert 0.9 < np.mean(inside) < 0.995


def test_shares_of_what_is_certain():
    surface, eye = _place()
    exact = exactly_placed(ErrorModel(0.0, 60.0, between_posts="straight"))
    line = next(_features())
    stated = seen_of_feature(
        Doubtful.of(surface, eye, exact, feature=True), line[:, 0], line[:, 1], 0.0, np.ones(30)
    )
    seen = (see_points(surface, eye, line[:, 0], line[:, 1], 0.0).clearance_m >= 0).mean()
    assert stated.expected == stated.low == stated.high == pytest.approx(seen)
    assert stated.any_seen == float(seen > 0)


def test_a_feature_off_the_terrain_is_unknown():
    surface, eye = _place()
    stated = seen_of_feature(
        Doubtful.of(surface, eye, ERRORS, feature=True), np.array([-5.0]), np.array([3.0]), 0.0, np.ones(1)
    )
    assert np.isnan([stated.expected, stated.low, stated.high, stated.any_seen, stated.best]).all()


def test_area_of_what_is_certain():
    surface, eye = _place()
    exact = exactly_placed(ErrorModel(0.0, 60.0, between_posts="straight"))
    probability = probability_of_posts(surface, eye, np.inf, 0.0, exact)
    stated = seen_number(surface, eye, 0.0, exact, probability)
    assert stated.expected == stated.low == stated.high == np.count_nonzero(probability == 1.0)


def test_area_asked_for_in_part():
    surface, eye = _place()
    probability = probability_of_posts(surface, eye, np.inf, 0.0, ERRORS)
    west = np.zeros(probability.shape, bool)
    west[:, :30] = True
    parts = [seen_number(surface, eye, 0.0, ERRORS, probability, asked=asked) for asked in (west, ~west)]
    whole = seen_number(surface, eye, 0.0, ERRORS, probability)
    assert sum(p.expected for p in parts) == pytest.approx(whole.expected)
    assert whole.low < whole.expected < whole.high
