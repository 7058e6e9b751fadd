"""The camera against OpenCV, a general-purpose library (``peers`` extra), and printed angles of view.

OpenCV's documentation (calib3d): x'' = x' (1 + k1 r^2), u = fx x'' + cx, with the middle of the first pixel
at 0, 0. hillsight has it at 0.5, 0.5, so half a pixel is added to what OpenCV gives.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from hillsight.plan.picture.camera import Camera, Lens

DATA = Path(__file__).parent / "data"
CAMERAS = [
    Camera(Lens(4000, 3000, 3300.0, radial=radial), heading, tilt, roll)
    for radial in (0.0, 0.08, -0.12)
    for heading, tilt, roll in ((0.0, 0.0, 0.0), (123.4, -7.0, 3.0), (359.9, 14.0, -9.5))
] + [Camera(Lens(900, 1600, 1210.0, 511.0, 702.5, -0.05), 271.0, 2.0, 88.0)]
WITHIN_PX = 1e-6


def opencv_parts(camera: Camera) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rotation from ground to camera, camera matrix and distortion, from plain rotations about axes."""
    heading, tilt, roll = np.radians([camera.heading_grid_deg, camera.tilt_deg, camera.roll_deg])

    def about(axis: int, angle: float) -> np.ndarray:
        one, two = [i for i in range(3) if i != axis]
        turn = np.eye(3)
        turn[one, one] = turn[two, two] = math.cos(angle)
        turn[one, two], turn[two, one] = -math.sin(angle), math.sin(angle)
        return turn if axis != 1 else turn.T

    # East, north, up become right, down, forward of a level camera that looks north; then each turn in its
    # own axes: heading about down, tilt about right, roll about forward.
    level = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])
    turned = about(2, roll).T @ about(0, tilt).T @ about(1, heading).T @ level
    lens = camera.lens
    matrix = np.array(
        [
            [lens.focal_px, 0, lens.principal_x_px - 0.5],
            [0, lens.focal_px, lens.principal_y_px - 0.5],
            [0, 0, 1],
        ]
    )
    return turned, matrix, np.array([lens.radial, 0.0, 0.0, 0.0])


def some_directions(camera: Camera) -> tuple[np.ndarray, np.ndarray]:
    random = np.random.default_rng(5)
    return camera.heading_grid_deg + random.uniform(-20, 20, 400), random.uniform(-15, 15, 400)


@pytest.mark.parametrize("camera", CAMERAS)
def test_pixels_are_those_of_opencv(camera: Camera) -> None:
    cv2 = pytest.importorskip("cv2", reason="OpenCV is not installed (extra: peers)")
    bearing, angle = some_directions(camera)
    turned, matrix, distortion = opencv_parts(camera)
    level = np.cos(np.radians(angle))
    points = 5_000.0 * np.column_stack(
        [np.sin(np.radians(bearing)) * level, np.cos(np.radians(bearing)) * level, np.sin(np.radians(angle))]
    )
    expected, _ = cv2.projectPoints(points, cv2.Rodrigues(turned)[0], np.zeros(3), matrix, distortion)
    x_px, y_px = camera.pixels(bearing, angle)
    shown = np.isfinite(x_px)
    assert shown.sum() > 300
    assert np.abs(np.column_stack([x_px, y_px]) - 0.5 - expected[:, 0])[shown].max() < WITHIN_PX


@pytest.mark.parametrize("camera", CAMERAS)
def test_directions_are_those_of_opencv(camera: Camera) -> None:
    cv2 = pytest.importorskip("cv2", reason="OpenCV is not installed (extra: peers)")
    lens = camera.lens
    random = np.random.default_rng(6)
    x_px, y_px = random.uniform(0, lens.width_px, 400), random.uniform(0, lens.height_px, 400)
    turned, matrix, distortion = opencv_parts(camera)
    criteria = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 500, 1e-14)
    pixels = np.column_stack([x_px, y_px])[:, None] - 0.5
    plane = cv2.undistortPoints(pixels, matrix, distortion, criteria=criteria)[:, 0]
    rays = np.column_stack([plane, np.ones(len(plane))]) @ turned
    bearing, angle = camera.directions(x_px, y_px)
    # Both as places on a plane without distortion, in pixels.
    straight = Camera(
        Lens(lens.width_px, lens.height_px, lens.focal_px, lens.principal_x_px, lens.principal_y_px),
        camera.heading_grid_deg,
        camera.tilt_deg,
        camera.roll_deg,
    )
    theirs = straight.pixels(
        np.degrees(np.arctan2(rays[:, 0], rays[:, 1])),
        np.degrees(np.arctan2(rays[:, 2], np.hypot(rays[:, 0], rays[:, 1]))),
    )
    ours = straight.pixels(bearing, angle)
    assert np.abs(np.array(ours) - np.array(theirs)).max() < WITHIN_PX


with (DATA / "angles_of_view.csv").open(newline="") as stream:
    ANGLES = list(csv.DictReader(stream))


@pytest.mark.parametrize("row", ANGLES, ids=lambda row: row["focal_mm"])
def test_angles_of_view_are_those_printed(row: dict[str, str]) -> None:
    """Printed to 0.1 degrees for a frame of 36 x 24 mm."""
    focal_px = float(row["focal_mm"]) * 100.0
    wide = Lens(3600, 2400, focal_px)
    assert wide.width_deg == pytest.approx(float(row["horizontal_deg"]), abs=0.051)
    assert Lens(2400, 3600, focal_px).width_deg == pytest.approx(float(row["vertical_deg"]), abs=0.051)
    x, y = Camera(wide, 0.0).directions([0.0, 3600.0], [0.0, 2400.0])
    corner = 2.0 * math.degrees(math.acos(math.cos(math.radians(x[0])) * math.cos(math.radians(y[0]))))
    assert corner == pytest.approx(float(row["diagonal_deg"]), abs=0.051)
    made = Lens.of_width(3600, 2400, float(row["horizontal_deg"]))
    assert made.width_deg == pytest.approx(float(row["horizontal_deg"]), abs=1e-9)


def test_level_camera_sees_its_targets_where_a_closed_form_has_them() -> None:
    """Six targets of a flat earth; heading 120, tilt -5, right side down by 2 degrees (data/README.md)."""
    with (DATA / "resection_cases.csv").open(newline="") as rows:
        level = [row for row in csv.DictReader(rows) if row["case"] == "level"]
    assert len(level) == 6
    camera = Camera(Lens(1600, 1200, 1000.0), 120.0, -5.0, 2.0)
    for row in level:
        east, north = float(row["easting_m"]) - 300_000.0, float(row["northing_m"]) - 500_000.0
        up = float(row["height_m"]) - 400.0
        x_px, y_px = camera.pixels(
            math.degrees(math.atan2(east, north)), math.degrees(math.atan2(up, math.hypot(east, north)))
        )
        assert (x_px, y_px) == pytest.approx((float(row["photo_x"]), float(row["photo_y"])), abs=1e-4)
