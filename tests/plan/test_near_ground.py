"""Near ground that may stand before the sky's edge: made ground, and the larger of two normals by drawing."""

from __future__ import annotations

import numpy as np
import pytest

from hillsight.plan.picture.near_ground import higher_of, near_ground


def rows_of(angle: float, ground: float, distance_m: float, east: float, up: float) -> np.ndarray:
    found = np.zeros((1, 6, 1))
    found[0, :, 0] = angle, ground, distance_m, east, 0.0, up
    return found


@pytest.mark.parametrize(("near", "own"), [(0.5, 1.0), (-0.5, 0.7), (1.2, 0.3)])
def test_the_higher_of_two_has_the_mean_and_spread_that_draws_have(near: float, own: float) -> None:
    """Against 400,000 draws of the two (numpy), which share what the place adds."""
    far_row, near_row = rows_of(1.0, 0.1, 6_000.0, 0.02, -0.02), rows_of(near, own, 100.0, 0.4, -0.3)
    random = np.random.default_rng(3)
    place = random.normal(size=(3, 400_000))
    drawn = [
        row[0, 0, 0] + row[0, 1, 0] * random.normal(size=place.shape[1]) + row[0, 3:, 0] @ place
        for row in (far_row, near_row)
    ]
    both = np.maximum(*drawn)
    found = higher_of(far_row, near_row)[0, :, 0]
    assert found[0] == pytest.approx(both.mean(), abs=0.005)
    spread = np.sqrt(found[1] ** 2 + (found[3:] ** 2).sum())
    assert spread == pytest.approx(both.std(), abs=0.005)
    # What a step of the place to the east adds, by regression.
    assert found[3] == pytest.approx(float(np.mean(both * place[0])), abs=0.01)


def test_ground_far_below_the_sky_changes_nothing() -> None:
    far_row = rows_of(5.0, 0.1, 6_000.0, 0.02, -0.02)
    assert (higher_of(far_row, rows_of(-3.0, 0.5, 100.0, 0.4, -0.3)) == far_row).all()
    nothing = np.full((1, 6, 1), np.nan)
    assert (higher_of(far_row, nothing) == far_row).all()


def test_a_knoll_between_the_eye_and_a_far_hill_is_found() -> None:
    height = np.zeros((41, 41))
    height[15, 20] = 4.0  # five posts north of the eye: 250 m
    found = np.empty((2, 1, 2))
    at = np.array([20.0])
    near_ground(
        height,
        np.ones_like(height),
        0.5,
        at,
        at,
        np.array([2.0]),
        50.0,
        50.0,
        0.0,
        np.radians([0.0, 180.0]),
        np.array([[5_000.0, 60.0]]),
        found,
    )
    assert found[:, 0, 0] == pytest.approx((np.degrees(np.arctan(2.0 / 250.0)), 250.0))
    assert np.isnan(found[:, 0, 1]).all()  # what stands against the sky there is nearer still
