"""Marked landmarks held against places: plain geometry, one on the wrong top, one hidden."""

from __future__ import annotations

import numpy as np
import pytest

from hillsight.plan.picture.camera import Camera, Lens
from hillsight.plan.picture.marks_match import seen_marks
from hillsight.plan.picture.skyline_match import PictureErrors, PictureSkyline, match

LENS = Lens.of_width(4_000, 3_000, 60.0)
EAST = np.array([-900.0, -200.0, 500.0, 1_400.0])
NORTH = np.array([2_500.0, 3_100.0, 2_200.0, 3_600.0])
RISE = np.array([260.0, 420.0, 180.0, 510.0])
IN_VIEW = (np.full(4, 30.0), np.full(4, 0.5))


def held(
    east_m: float = 0.0, north_m: float = 0.0, clearance_m: np.ndarray | None = None, **more: float
) -> np.ndarray:
    """The landmarks from a place so far beside the origin, on ground that rises a tenth to the east."""
    east, north = EAST - east_m, NORTH - north_m
    up = RISE - 0.1 * east_m - more.get("up_m", 0.0)
    angle = np.degrees(np.arctan(up / np.hypot(east, north)))
    clear = IN_VIEW[0] if clearance_m is None else clearance_m
    sure = np.zeros(4), np.full(4, 4.2)
    return seen_marks(east, north, angle, clear, IN_VIEW[1], sure[0], (0.1, 0.0), 12.0, 2.0, 10.0, sure[1])


def marked(camera: Camera, told: np.ndarray) -> PictureSkyline:
    x, y = camera.pixels(told[:, 0], told[:, 1])
    right = (x - LENS.principal_x_px) / LENS.focal_px
    up = (LENS.principal_y_px - y) / LENS.focal_px
    return PictureSkyline(np.zeros((0, 3)), 0.02, PictureErrors(), np.column_stack((right, up)))


def nothing() -> np.ndarray:
    return np.full((1, 6, 720), np.nan)


@pytest.mark.parametrize(
    ("column", "moved"), [(0, {"east_m": 1.0}), (1, {"north_m": 1.0}), (2, {"up_m": 1.0})]
)
def test_what_the_place_adds_is_the_derivative(column: int, moved: dict[str, float]) -> None:
    """One standard deviation of the place against a metre's step of it (finite differences)."""
    spread = 2.0 if column == 2 else 12.0
    step = held(**moved)[:, :2] - held()[:, :2]
    assert held()[:, 6 + column] / spread == pytest.approx(step[:, 0], abs=3e-5)
    assert held()[:, 9 + column] / spread == pytest.approx(step[:, 1], abs=3e-5)


def test_the_camera_is_found_and_a_wrong_top_does_little() -> None:
    told = held()
    camera = Camera(LENS, 8.3, 4.0, -2.0)
    headings = np.arange(0.0, 360.0, 2.0)
    right = match(marked(camera, told), nothing(), headings, 2.0, told[None])
    assert right.heading_grid_deg[0] == pytest.approx(8.3, abs=0.1)
    assert right.tilt_deg[0] == pytest.approx(4.0, abs=0.1)
    slipped = told.copy()
    slipped[2, :2] += (9.0, 2.5)
    wrong = match(marked(camera, slipped), nothing(), headings, 2.0, told[None])
    assert wrong.heading_grid_deg[0] == pytest.approx(8.3, abs=0.5)
    assert wrong.log_likelihood.max() < right.log_likelihood.max() - 2.0


def test_a_hidden_landmark_counts_against_a_place_but_not_without_limit() -> None:
    told, camera, headings = held(), Camera(LENS, 8.3, 4.0, -2.0), np.arange(0.0, 20.0, 2.0)
    picture = marked(camera, told)
    hidden = held(clearance_m=np.array([30.0, -60.0, 30.0, 30.0]))
    seen, less = (match(picture, nothing(), headings, 2.0, one[None]) for one in (told, hidden))
    lost = (seen.log_likelihood.max() - less.log_likelihood.max()) / picture.errors.worth
    assert 1.0 < lost <= -np.log(0.02) + 0.1


def test_a_place_that_has_them_elsewhere_fits_worse() -> None:
    told, headings = held(), np.arange(0.0, 360.0, 2.0)
    picture = marked(Camera(LENS, 8.3, 4.0, -2.0), told)
    here, there = (
        match(picture, nothing(), headings, 2.0, one[None]).log_likelihood.max()
        for one in (told, held(east_m=500.0))
    )
    assert here > there + 3.0


def test_a_height_that_is_known_worse_counts_less() -> None:
    """Ten metres of height against their angle at each distance (plain trigonometry)."""
    nothing_before = np.full(4, np.inf), np.ones(4), np.zeros(4)
    angle = np.degrees(np.arctan(RISE / np.hypot(EAST, NORTH)))
    told = seen_marks(EAST, NORTH, angle, *nothing_before, (0.1, 0.0), 12.0, 2.0, 10.0, np.full(4, 10.0))
    higher = np.degrees(np.arctan((RISE + 0.01) / np.hypot(EAST, NORTH)))
    assert told[:, 4] == pytest.approx((higher - angle) * 1_000.0, rel=1e-4)
    assert told[:, 5] == pytest.approx(1.0)
