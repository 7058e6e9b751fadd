"""Cameras: both ways, what is behind, how it is turned, and parts of a picture."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hillsight.errors import CallError
from hillsight.plan.picture import perspective
from hillsight.plan.picture.camera import Camera, Lens


@given(
    heading=st.floats(0, 360),
    tilt=st.floats(-80, 80),
    roll=st.floats(-180, 180),
    radial=st.floats(-0.2, 0.3),
    x=st.floats(0, 4000),
    y=st.floats(0, 3000),
)
@settings(max_examples=200, deadline=None)
def test_a_pixel_comes_back(heading, tilt, roll, radial, x, y):
    camera = Camera(Lens(4000, 3000, 3000.0, radial=radial), heading, tilt, roll)
    back = camera.pixels(*camera.directions(x, y))
    assert np.allclose(back, (x, y), atol=1e-6)


@given(heading=st.floats(0, 360), tilt=st.floats(-89, 89), roll=st.floats(-179, 179))
@settings(max_examples=100, deadline=None)
def test_how_it_is_turned_comes_back(heading, tilt, roll):
    matrix = perspective.rotation(heading, tilt, roll)
    assert np.allclose(matrix @ matrix.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(matrix) == pytest.approx(1.0)
    again = perspective.turned_by(matrix)
    assert np.allclose(perspective.rotation(*again), matrix, atol=1e-9)
    assert float(np.cos(np.radians(again[0] - heading))) == pytest.approx(1.0)
    assert (again[1], again[2]) == pytest.approx((tilt, roll), abs=1e-6)


def test_straight_down_has_a_heading_and_no_roll():
    heading, tilt, roll = perspective.turned_by(perspective.rotation(30.0, -90.0, 0.0))
    assert (heading, tilt, roll) == pytest.approx((30.0, -90.0, 0.0), abs=1e-6)


def test_axes_run_right_and_down_and_roll_lowers_the_right_side():
    level = Camera(Lens(4000, 3000, 3000.0), 40.0)
    assert np.allclose(level.pixels(40.0, 0.0), (2000.0, 1500.0))
    right, _ = level.pixels(50.0, 0.0)
    _, up = level.pixels(40.0, 5.0)
    assert right > 2000 and up < 1500
    _, upper = Camera(level.lens, 40.0, tilt_deg=5.0).pixels(40.0, 5.0)
    assert upper == pytest.approx(1500.0)
    _, left_y = Camera(level.lens, 40.0, roll_deg=3.0).pixels(30.0, 0.0)
    _, right_y = Camera(level.lens, 40.0, roll_deg=3.0).pixels(50.0, 0.0)
    assert right_y < 1500 < left_y, "the horizon climbs to the right"


def test_nothing_shows_behind_the_camera_or_beyond_the_fold():
    camera = Camera(Lens(4000, 3000, 3000.0, radial=-0.3), 0.0)
    x_px, y_px = camera.pixels([180.0, 95.0, 60.0, 20.0], 0.0)
    assert list(np.isnan(x_px)) == list(np.isnan(y_px)) == [True, True, True, False]
    bearing, angle = camera.directions([2000.0 + 3000.0, 2100.0], 1500.0)
    assert list(np.isnan(bearing)) == list(np.isnan(angle)) == [True, False]


def test_arrays_broadcast():
    x_px, y_px = Camera(Lens(400, 300, 300.0), 10.0).pixels(np.zeros((3, 1)), np.zeros(4))
    assert x_px.shape == y_px.shape == (3, 4)
    assert perspective.rotation([1.0, 2.0], 0.0, 0.0).shape == (2, 3, 3)


def test_a_part_of_the_picture_shows_the_same_directions():
    lens = Lens(4000, 3000, 3000.0, radial=0.05)
    part = lens.cropped(700.0, 300.0, 1500, 900)
    whole, cropped = (Camera(one, 200.0, 4.0, -2.0) for one in (lens, part))
    assert np.allclose(whole.directions(1000.0, 800.0), cropped.directions(300.0, 500.0))


@pytest.mark.parametrize("width_deg", [0.0, 180.0, -5.0, float("nan")])
def test_no_picture_is_that_wide(width_deg):
    with pytest.raises(CallError, match="degrees wide"):
        Lens.of_width(4000, 3000, width_deg)


@pytest.mark.parametrize(("width", "focal"), [(0, 3000.0), (4000, 0.0), (4000, float("nan"))])
def test_no_camera_has_that_lens(width, focal):
    with pytest.raises(CallError, match="above 0"):
        Lens(width, 3000, focal)
