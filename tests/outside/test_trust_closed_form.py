"""Probability of being seen over one ridge, against the closed form.

Source: P = Phi(m / (sigma sqrt(6))) for a ridge half way, eye, ridge and target with independent errors of
sigma each (variance 1 + 1 + 4 in the target's height); closed form, figures recomputed to four digits for
sigma = 2.43 (LE90 of 4 m over 1.645).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from doubts import exactly_placed, probability_at
from hillsight.ground.accuracy import ErrorModel
from hillsight.sight.doubt import probability_of_posts
from hillsight.sight.viewing import Eye
from views import surface_of

SIGMA_M = 4.0 / 1.645
#: Errors of posts 10 m apart that have nothing to do with each other, and nothing else that errs.
ALONE = exactly_placed(ErrorModel(SIGMA_M, 1e-3, between_posts="straight"))
PUBLISHED = {-5.0: 0.2006, 0.0: 0.5, 5.0: 0.7994, 10.0: 0.9534}
MIDDLE, LAST = 20, 40


def _ridge(margin_m):
    """Eye and target 40 posts apart on plinths, ground far below, a ridge half way that leaves the margin."""
    height_m = np.full((3, LAST + 1), -500.0, np.float32)
    height_m[1, [0, MIDDLE, LAST]] = 0.0, -margin_m / 2.0, 0.0
    return surface_of(height_m), Eye(1.0, 0.0, 0.0)


@pytest.mark.parametrize("margin_m", PUBLISHED)
def test_one_ridge_half_way(margin_m):
    surface, eye = _ridge(margin_m)
    posts = probability_of_posts(surface, eye, math.inf, 0.0, ALONE)
    single = probability_at(surface, eye, np.array([1.0]), np.array([float(LAST)]), 0.0, ALONE)
    assert posts[1, LAST] == pytest.approx(PUBLISHED[margin_m], abs=0.005)
    assert single[0] == pytest.approx(PUBLISHED[margin_m], abs=0.005)
    assert posts[1, LAST] == pytest.approx(0.5 * math.erfc(-margin_m / (SIGMA_M * math.sqrt(12.0))), abs=1e-4)


@pytest.mark.parametrize("share", [0.25, 0.5, 0.75])
@pytest.mark.parametrize("shape", ["exponential", "gaussian"])
def test_one_ridge_anywhere_under_alike_errors(share, shape):
    """Closed form: the margin's variance is w' C w with w = (1, 1/t - 1, -1/t) and C by distance."""
    errors = exactly_placed(ErrorModel(3.0, 150.0, shape, 0.1, between_posts="straight"))
    at = round(share * LAST)
    height_m = np.full((3, LAST + 1), -500.0, np.float32)
    height_m[1, [0, at, LAST]] = 0.0, -1.0, 0.0
    places_m = np.array([LAST, 0, at]) * 10.0
    apart = np.abs(places_m[:, None] - places_m[None, :]) / 150.0
    alike = np.exp(-apart) if shape == "exponential" else np.exp(-(apart**2))
    covariance_m2 = 9.0 * (0.9 * alike + 0.1 * np.eye(3))
    weights = np.array([1.0, 1.0 / share - 1.0, -1.0 / share])
    expected = 0.5 * math.erfc(-(1.0 / share) / math.sqrt(2.0 * (weights @ covariance_m2 @ weights)))
    posts = probability_of_posts(surface_of(height_m), Eye(1.0, 0.0, 0.0), math.inf, 0.0, errors)
    assert posts[1, LAST] == pytest.approx(expected, abs=1e-4)


def test_eye_height_and_refraction_add_their_variances():
    """Closed form: the eye's height counts 1/t - 1, the ray's curvature d^2 (1 - t) / 2R, in the margin."""
    errors = ErrorModel(
        0.0, 100.0, station_position_m=0.0, eye_height_m=0.5, refraction=20.0 / 1000, between_posts="straight"
    )
    height_m = np.full((3, LAST + 1), -500.0, np.float32)
    height_m[1, [0, MIDDLE, LAST]] = 0.0, -0.2, 0.0
    bend_m = errors.refraction * 400.0**2 * 0.5 / (2.0 * 6_371_000.0)
    expected = 0.5 * math.erfc(-0.4 / math.sqrt(2.0 * (0.5**2 + bend_m**2)))
    posts = probability_of_posts(surface_of(height_m), Eye(1.0, 0.0, 0.0), math.inf, 0.0, errors)
    assert posts[1, LAST] == pytest.approx(expected, abs=1e-4)
