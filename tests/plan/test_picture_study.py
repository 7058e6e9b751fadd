"""The study of photographs: its own camera against plain trigonometry, its trace, one exercise of it."""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import CRS

from picture_observer import (
    CLICK_PX,
    HEIGHT_PX,
    HIDDEN,
    MARKS,
    READ_TO_M,
    TRACE_DEG,
    WIDTH_PX,
    axes,
    mark_tops,
    photographed,
    pixels,
    sky_deg,
)
from picture_study import measured_of
from second_observer_map import sheet_of
from second_observer_sight import DROP_PER_M, Ground, judge
from terrains import fractal


def test_a_level_camera_is_plain_trigonometry() -> None:
    x, y = pixels(axes(70.0, 0.0, 0.0), 2_000.0, np.array([70.0, 100.0]), np.array([0.0, 10.0]))
    assert (x[0], y[0]) == pytest.approx((WIDTH_PX / 2, HEIGHT_PX / 2))
    assert x[1] == pytest.approx(WIDTH_PX / 2 + 2_000.0 * np.tan(np.radians(30.0)))
    # At the side a height stands taller by one over the cosine.
    up = 2_000.0 * np.tan(np.radians(10.0)) / np.cos(np.radians(30.0))
    assert y[1] == pytest.approx(HEIGHT_PX / 2 - up)


def test_tilt_and_roll_turn_the_picture_as_they_should() -> None:
    _, tilted = pixels(axes(0.0, 5.0, 0.0), 2_000.0, np.array([0.0]), np.array([5.0]))
    assert tilted[0] == pytest.approx(HEIGHT_PX / 2)
    # Turned clockwise from behind, the right side of the camera sinks: the horizon there climbs.
    _, rolled = pixels(axes(0.0, 0.0, 3.0), 2_000.0, np.array([-20.0, 20.0]), np.zeros(2))
    assert rolled[1] < HEIGHT_PX / 2 < rolled[0]


def test_a_wall_of_known_height_stands_at_its_angle() -> None:
    height = np.zeros((101, 101), np.float32)
    height[:20] = 100.0
    ground = Ground(height, 50.0, 0.0, 5_000.0)
    seen = sky_deg(ground, 2_500.0, 2_000.0, 2.0, np.array([0.0]))[0]
    away = 2_000.0 + 50.0
    assert seen == pytest.approx(np.degrees(np.arctan((100.0 - 2.0 - DROP_PER_M * away**2) / away)), abs=0.05)


def test_a_photograph_is_traced_with_its_errors_and_can_be_matched() -> None:
    ground = Ground(fractal(257, 257, seed=3, relief_m=500.0).astype(np.float32), 25.0, 0.0, 6_400.0)
    taken = photographed(ground, (3_200.0, 3_200.0), 1.6, 40.0, np.random.default_rng(5))
    assert HIDDEN <= taken.hidden < HIDDEN + 0.2
    assert (np.diff(taken.x_px) > -0.02 * WIDTH_PX).all()
    measured = measured_of(taken, 50.0)
    assert measured.trace.shape[0] > 60
    assert 0.0 < TRACE_DEG < 1.0 and measured.focal_share in (0.02, 0.05)


def test_marks_are_off_by_their_clicks_and_the_map_s_grid_and_some_are_on_a_wrong_top() -> None:
    # Hills on a plain, the eye on one of them.
    draw, (row, column) = np.random.default_rng(4), np.mgrid[0:321, 0:321]
    height = np.zeros((321, 321))
    for r, c, tall in [
        (160, 160, 400.0),
        *zip(*draw.uniform(20, 300, (2, 60)), draw.uniform(150, 500, 60), strict=True),
    ]:
        height = np.maximum(height, tall * np.exp(-((row - r) ** 2 + (column - c) ** 2) / (2 * 6.0**2)))
    ground = Ground(height.astype(np.float32), 50.0, 0.0, 16_000.0)
    sheet = sheet_of(ground, CRS(27700), np.random.default_rng(1))
    stood, wrong, count = (8_010.0, 8_000.0), 0, 0
    seen = judge(ground, *stood, 1.6, sheet)
    for seed in range(40):
        random = np.random.default_rng(seed)
        taken = photographed(ground, stood, 1.6, float(random.uniform(0, 360)), random)
        marked = mark_tops(ground, sheet, stood, 1.6, taken, random)
        assert len(marked.rows) <= MARKS
        camera = axes(taken.heading_deg, taken.tilt_deg, taken.roll_deg)
        first = sheet.starts[marked.rows]
        x, y = pixels(camera, taken.focal_px, seen.bearing_deg[first], seen.angle_deg[first])
        off_px = np.hypot(marked.x_px - x, marked.y_px - y)[~marked.wrong]
        assert ((off_px >= CLICK_PX[0] - 1e-6) & (off_px <= CLICK_PX[1] + 1e-6)).all()
        assert (np.abs(marked.east_m - sheet.east_m[first]) <= READ_TO_M / 2 + 1e-6).all()
        wrong, count = wrong + int(marked.wrong.sum()), count + len(marked.rows)
    assert count > 60
    assert 0.02 < wrong / count < 0.25
