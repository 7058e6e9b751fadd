"""The match of a traced skyline, on made skylines and against the normal distribution of scipy."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from scipy.spatial.transform import Rotation

from hillsight.plan.picture.skyline_match import PictureErrors, PictureSkyline, match, screened

ROUND = np.arange(0.0, 360.0, 0.5)


def made_sky(seed: int, distance_m: float = 3_000.0) -> np.ndarray:
    """A rugged skyline all round, (6, 720), of ground some way off that hardly errs."""
    random = np.random.default_rng(seed)
    angle = 4.0 + sum(
        random.normal(0.0, 2.5 / k**0.8) * np.cos(np.radians(k * ROUND + random.uniform(0, 360)))
        for k in range(1, 60)
    )
    sky = np.zeros((6, ROUND.size))
    sky[0], sky[1], sky[2] = angle, 0.05, distance_m
    return sky


def seen(
    sky: np.ndarray, heading: float, tilt: float, roll: float, scale: float, half_deg: float
) -> tuple[np.ndarray, np.ndarray]:
    """Where the skyline lies in a picture, by rotations of scipy: right and up over the told focal length."""
    bearing = np.arange(heading - half_deg - 15, heading + half_deg + 15, 0.1)
    up = np.radians(np.interp(bearing % 360.0, np.r_[ROUND, 360.0], np.r_[sky[0], sky[0, 0]]))
    turn = np.radians(bearing)
    world = np.column_stack((np.sin(turn) * np.cos(up), np.cos(turn) * np.cos(up), np.sin(up)))
    # East, north, up to right, forward, up of a camera: turned by heading, then tilted, then rolled.
    camera = Rotation.from_euler("z", heading, degrees=True)
    tilted = Rotation.from_euler("x", -tilt, degrees=True)
    rolled = Rotation.from_euler("y", -roll, degrees=True)
    inside = (rolled * tilted * camera).apply(world)
    keep = inside[:, 1] > 0.2
    right, above = (inside[keep, k] / inside[keep, 1] * scale for k in (0, 2))
    kept = np.abs(np.degrees(np.arctan(right))) <= half_deg
    return right[kept], above[kept]


def picture_of(right: np.ndarray, above: np.ndarray, share: float = 0.05) -> PictureSkyline:
    return PictureSkyline.of_pieces([(right, above)], share)


@pytest.mark.parametrize(
    ("heading", "tilt", "roll", "scale"),
    [(40.3, 0.0, 0.0, 1.0), (200.0, 8.0, -3.0, 1.05), (359.6, -6.0, 2.0, 0.97)],
)
def test_a_known_camera_is_found(heading: float, tilt: float, roll: float, scale: float) -> None:
    sky = made_sky(3)
    picture = picture_of(*seen(sky, heading, tilt, roll, scale, 28.0))
    found = match(picture, sky[None], np.arange(0.0, 360.0, 2.0))
    assert abs((found.heading_grid_deg[0] - heading + 180) % 360 - 180) < 0.1
    assert found.tilt_deg[0] == pytest.approx(tilt, abs=0.15)
    assert found.roll_deg[0] == pytest.approx(roll, abs=0.2)
    assert found.focal_share[0] == pytest.approx(scale, abs=0.01)
    assert found.misfit_deg[0] < 0.05


def test_parts_hidden_by_trees_do_no_harm() -> None:
    sky = made_sky(5)
    right, above = seen(sky, 120.0, 3.0, 1.0, 1.0, 28.0)
    across = np.degrees(np.arctan(right))
    trees = ((across > -20) & (across < -12)) | ((across > 5) & (across < 13))
    random = np.random.default_rng(1)
    above = above + np.where(trees, 0.04 + 0.01 * random.random(across.size), 0.0)
    found = match(picture_of(right, above), sky[None], np.arange(0.0, 360.0, 2.0))
    assert abs(found.heading_grid_deg[0] - 120.0) < 0.2
    assert found.tilt_deg[0] == pytest.approx(3.0, abs=0.2)
    assert 0.2 < found.hidden[0] < 0.4


def test_the_place_it_was_taken_from_fits_best_of_many() -> None:
    skies = np.stack([made_sky(seed) for seed in range(20, 40)])
    picture = picture_of(*seen(skies[7], 250.0, 2.0, 1.0, 1.0, 28.0))
    headings = np.arange(0.0, 360.0, 2.0)
    found = match(picture, skies, headings).log_likelihood.max(axis=1)
    assert found.argmax() == 7
    assert np.sort(found)[-1] - np.sort(found)[-2] > 10.0
    assert screened(picture, skies, headings).max(axis=1).argmax() == 7


def test_without_anything_hidden_it_is_a_normal_density() -> None:
    """A camera known beforehand, errors white and alike: scipy's multivariate normal."""
    errors = PictureErrors(hidden=0.0, tilt_deg=1e-5, roll_deg=1e-5, worth=1.0)
    sky = np.zeros((6, ROUND.size))
    sky[1], sky[2] = 0.15, 2_000.0
    picture = replace(
        picture_of(np.tan(np.radians(np.linspace(-20, 20, 81))), np.zeros(81), 1e-7), errors=errors
    )
    random = np.random.default_rng(2)
    count = len(picture.trace)
    off_deg = random.normal(0.0, 0.3, count)
    level = np.cos(np.arctan(picture.trace[:, 0]))
    trace = picture.trace.copy()
    trace[:, 1] = np.tan(np.radians(off_deg)) / level
    found = match(replace(picture, trace=trace), sky[None], np.array([90.0]))
    apart_deg = np.abs(np.subtract.outer(np.arange(count), np.arange(count))) * picture.trace[1, 2]
    covariance = (
        errors.white_deg**2 * np.eye(count)
        + errors.alike_deg**2 * np.exp(-apart_deg / errors.alike_over_deg)
        + 0.15**2 * np.exp(-np.radians(apart_deg) * 2_000.0 / errors.ground_over_m)
    )
    expected = stats.multivariate_normal(np.zeros(count), covariance).logpdf(off_deg)
    assert found.log_likelihood[0, 0] == pytest.approx(expected, abs=0.02)


def test_tilt_and_roll_are_summed_over() -> None:
    """On a level skyline, tilt acts as cos and roll as sin of the bearing: a normal density again."""
    errors = PictureErrors(hidden=0.0, tilt_deg=0.5, roll_deg=0.4, worth=1.0)
    sky = np.zeros((6, ROUND.size))
    sky[1], sky[2] = 1e-6, 2_000.0
    picture = replace(
        picture_of(np.tan(np.radians(np.linspace(-20, 20, 81))), np.zeros(81), 1e-7), errors=errors
    )
    count = len(picture.trace)
    bearing = np.arctan(picture.trace[:, 0])
    off_deg = np.random.default_rng(8).normal(0.3, 0.3, count)
    trace = picture.trace.copy()
    trace[:, 1] = np.tan(np.radians(off_deg)) / np.cos(bearing)
    found = match(replace(picture, trace=trace), sky[None], np.array([90.0]))
    apart_deg = np.abs(np.subtract.outer(np.arange(count), np.arange(count))) * picture.trace[1, 2]
    ways = np.column_stack((0.5 * np.cos(bearing), 0.4 * np.sin(bearing)))
    covariance = (
        errors.white_deg**2 * np.eye(count)
        + errors.alike_deg**2 * np.exp(-apart_deg / errors.alike_over_deg)
        + ways @ ways.T
    )
    expected = stats.multivariate_normal(np.zeros(count), covariance).logpdf(off_deg)
    assert found.log_likelihood[0, 0] == pytest.approx(expected, abs=0.05)
