"""Resection: how near the truth, how honest its plus-minus, wrong marks, and parts of pictures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from hillsight.plan.picture.camera import Camera, Lens
from hillsight.plan.picture.resection import resect
from hillsight.plan.picture.resection_errors import heading_causes
from hillsight.plan.picture.resection_model import KnownMarks, Model, Standing, State
from plan.picture.made_cameras import errors, made

NUMBERS = ("heading_deg", "tilt_deg", "roll_deg", "focal_px")


def test_derivatives_are_those_of_small_moves() -> None:
    _, model = made(np.random.default_rng(1), place_m=10.0, landmark_m=10.0, focal_share=0.02)
    found = resect(model)
    assert found is not None
    state = found.state
    ours = model.by_unknowns(state)
    for k in np.flatnonzero(model.active):
        move = np.zeros(11)
        move[k] = 1e-4 if k < 5 else 0.1
        there = model.pixels(*_parts(state.moved(move))) - model.pixels(*_parts(state.moved(-move)))
        assert np.allclose(there / (2 * move[k]), ours[..., k], rtol=1e-3, atol=0.05)


def _parts(state: State) -> tuple[np.ndarray, np.ndarray]:
    return state.turned, state.values


def test_exact_coordinates_and_six_marks_fix_the_camera() -> None:
    """Rms of heading 0.05, tilt and roll 0.1 degrees, focal length 0.5 %, clicks of 1 to 3 pixels."""
    random = np.random.default_rng(7)
    off = []
    for _ in range(40):
        camera, model = made(random, click_px=random.uniform(1, 3))
        found = resect(model)
        assert found is not None and found.fits
        off.append(errors(camera, found.camera))
    rms = np.sqrt(np.mean(np.square(off), axis=0))
    assert np.all(rms < [0.05, 0.1, 0.1, 0.005]), rms


@pytest.mark.slow
def test_plus_minus_is_one_standard_deviation() -> None:
    """Of 60 draws with errors that are not normal; bounds are those of 4 standard errors about 1."""
    random = np.random.default_rng(8)
    times = []
    for _ in range(60):
        camera, model = made(random, place_m=10.0, landmark_m=10.0, focal_share=0.02)
        found = resect(model)
        assert found is not None
        off = errors(camera, found.camera) * [1, 1, 1, camera.lens.focal_px]
        times.append(off / [found.sigma[name] for name in NUMBERS])
    rms = np.sqrt(np.mean(np.square(times), axis=0))
    assert np.all((rms > 0.65) & (rms < 1.35)), rms


@pytest.mark.parametrize("focal_share", [None, 0.02])
def test_a_wrong_mark_is_left_out_and_named_worst(focal_share: float | None) -> None:
    random = np.random.default_rng(9)
    caught, off = 0, []
    for _ in range(20):
        camera, model = made(random, count=7, focal_share=focal_share)
        wrong = int(random.integers(7))
        model.marks.x_px[wrong] += random.choice([-1, 1]) * random.uniform(150, 900)
        found = resect(model)
        assert found is not None
        caught += not found.marks.used[wrong] and found.marks.used.sum() >= 5
        off.append(errors(camera, found.camera))
    assert caught >= 18
    assert np.median(np.abs(np.array(off)[:, 0])) < 0.05


def test_a_mark_is_predicted_by_the_others() -> None:
    _, model = made(np.random.default_rng(10), count=8, click_px=1.0)
    model.marks.y_px[3] += 6.0
    found = resect(model)
    assert found is not None
    assert int(np.argmax(found.marks.times_expected)) == 3
    truth = model.marks.y_px[3] - 6.0
    assert found.marks.predicted_px[3, 1] == pytest.approx(truth, abs=5.0)


def test_a_part_of_the_picture_gives_the_same_directions() -> None:
    """The lower right of a picture, its axis outside it: places on the ground stay where they are."""
    random = np.random.default_rng(11)
    lens = Lens(4000, 3000, 3300.0)
    camera, model = made(random, count=14, click_px=0.2, lens=lens)
    marks = model.marks
    part = lens.cropped(1900.0, 1100.0, 2100, 1900)
    inside = (marks.x_px > 1900) & (marks.y_px > 1100)
    assert inside.sum() >= 5
    cut = replace(
        marks,
        names=tuple(np.array(marks.names)[inside]),
        terrain_m2=np.zeros((inside.sum() + 1,) * 2),
        x_px=marks.x_px[inside] - 1900.0,
        y_px=marks.y_px[inside] - 1100.0,
        **{
            name: getattr(marks, name)[inside]
            for name in ("click_px", "easting_m", "northing_m", "height_m", "covariance_m2")
        },
    )
    found = resect(Model.of(cut, model.standing, Lens(2100, 1900, 2100.0), None, is_part=True))
    assert found is not None
    at = np.array([[300.0, 1500.0, 900.0], [300.0, 500.0, 1500.0]])
    bearing, angle = found.camera.directions(*at)
    true_bearing, true_angle = replace(camera, lens=part).directions(*at)
    assert np.abs((bearing - true_bearing + 180) % 360 - 180).max() < 0.05
    assert np.abs(angle - true_angle).max() < 0.05
    assert found.sigma["principal_x_px"] > 0


def test_no_camera_is_made_up_where_none_fits() -> None:
    """Landmarks all round cannot be in one flat picture."""
    _, model = made(np.random.default_rng(12), count=6)
    turn = 2 * np.pi * np.arange(6) / 6
    model.marks.easting_m[:] = 3_000 * np.sin(turn)
    model.marks.northing_m[:] = 3_000 * np.cos(turn)
    found = resect(model)
    assert found is None or not found.fits


def test_causes_add_up_and_the_largest_error_is_the_cause() -> None:
    """With landmarks 12 m out and hardly any other error, that is what the heading's variance comes from."""
    _, model = made(
        np.random.default_rng(13), count=9, click_px=0.5, place_m=0.5, landmark_m=12.0, focal_share=0.02
    )
    found = resect(model)
    assert found is not None
    causes = heading_causes(model, found.state, found.marks.used)
    assert sum(causes.values()) == pytest.approx(1.0)
    assert min(causes.values()) > -1e-6
    assert max(causes, key=lambda name: causes[name]) == "the landmarks' places"


def test_a_place_that_is_out_turns_the_heading() -> None:
    """Marks equally far off cannot tell a step aside from a turn: 10 m at 5 km turn by atan(10 / 5000)."""
    lens = Lens(4000, 3000, 3300.0)
    x, y = np.array([1600.0, 1850.0, 2100.0, 2400.0]), np.array([1300.0, 1700.0, 1400.0, 1600.0])
    bearing, angle = np.radians(Camera(lens, 50.0).directions(x, y))
    east, north, up = 5_000 * np.sin(bearing), 5_000 * np.cos(bearing), 100.0 + 5_000 * np.tan(angle)
    marks = KnownMarks(
        tuple("abcd"), x, y, np.full(4, 2.0), east, north, up, np.zeros((4, 3, 3)), np.zeros((5, 5))
    )
    standing = Standing(0.0, 0.0, 100.0, 1e12, 1.0, position_m=10.0)
    found = resect(Model.of(marks, standing, lens, 0.001))
    assert found is not None
    assert found.sigma["heading_deg"] == pytest.approx(np.degrees(np.arctan(10 / 5000)), rel=0.05)
    assert heading_causes(found.model, found.state, found.marks.used)["the camera's place"] > 0.9


def test_a_camera_that_fits_nearly_as_well_is_told() -> None:
    """Two marks right of the middle, by a and b: atan(b/f) - atan(a/f) is the same for f and for a b / f."""
    lens = Lens(4000, 3000, 1400.0)
    camera = Camera(lens, 50.0)
    x, y = np.array([2500.0, 3900.0]), np.array([1500.0, 1500.0])
    bearing, _ = camera.directions(x, y)
    east, north = 5_000 * np.sin(np.radians(bearing)), 5_000 * np.cos(np.radians(bearing))
    none = np.zeros((2, 3, 3)), np.zeros((3, 3))
    marks = KnownMarks(("a", "b"), x, y, np.full(2, 1.0), east, north, np.full(2, 100.0), *none)
    standing = Standing(0.0, 0.0, 100.0, 1e12, 1.0)
    found = resect(Model.of(marks, standing, Lens(4000, 3000, 4000.0), None))
    assert found is not None and found.rival is not None
    both = sorted([found.camera.lens.focal_px, found.rival.lens.focal_px])
    assert both == pytest.approx([500 * 1900 / 1400, 1400.0], rel=0.01)
