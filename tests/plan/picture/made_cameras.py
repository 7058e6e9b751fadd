"""Cameras and marks made up for tests: truth and what is known of it."""

from __future__ import annotations

import numpy as np

from hillsight.plan.picture.camera import Camera, Lens
from hillsight.plan.picture.resection_model import KnownMarks, Model, Standing

RADIUS_M, EYE_M, REFRACTION = 6.38e6, 500.0, 0.13


def made(
    random: np.random.Generator,
    *,
    count: int = 6,
    click_px: float = 2.0,
    place_m: float = 0.0,
    landmark_m: float = 0.0,
    focal_share: float | None = None,
    lens: Lens | None = None,
) -> tuple[Camera, Model]:
    """A camera that shows ``count`` landmarks 800 m to 12 km off, and the model of what is known of them.

    Errors are uniform, not normal, with the standard deviations told. The place errs by ``place_m`` and
    landmarks by ``landmark_m``, east and north each.
    """

    def off(sigma: float, *shape: int) -> np.ndarray:
        return sigma * np.sqrt(3.0) * random.uniform(-1, 1, shape)

    if lens is None:
        lens = Lens(4000, 3000, random.uniform(2800, 5000), radial=random.uniform(-0.03, 0.03))
    camera = Camera(lens, random.uniform(0, 360), random.uniform(-6, 6), random.uniform(-4, 4))
    x, y = random.uniform(150, 3850, count), random.uniform(900, 2100, count)
    bearing, angle = camera.directions(x, y)
    far_m = np.exp(random.uniform(np.log(800), np.log(12_000), count))
    east, north = far_m * np.sin(np.radians(bearing)), far_m * np.cos(np.radians(bearing))
    drop_m = (1 - REFRACTION) / (2 * RADIUS_M) * far_m**2
    height = EYE_M + far_m * np.tan(np.radians(angle)) + drop_m
    own = np.tile(np.diag([landmark_m**2, landmark_m**2, 0.0]), (count, 1, 1))
    marks = KnownMarks(
        tuple(f"mark {number}" for number in range(1, count + 1)),
        x + off(click_px, count),
        y + off(click_px, count),
        np.full(count, click_px),
        east + off(landmark_m, count),
        north + off(landmark_m, count),
        height,
        own,
        np.zeros((count + 1, count + 1)),
    )
    place = off(place_m, 2)
    standing = Standing(float(place[0]), float(place[1]), EYE_M, RADIUS_M, REFRACTION, position_m=place_m)
    believed = lens.focal_px * (1.0 + float(off(focal_share or 0.0, 1)[0]))
    start = Lens(lens.width_px, lens.height_px, believed if focal_share else float(lens.width_px))
    return camera, Model.of(marks, standing, start, focal_share)


def errors(camera: Camera, found: Camera) -> np.ndarray:
    """Heading, tilt and roll found less true, degrees, and the focal length's share."""
    turn = (found.heading_grid_deg - camera.heading_grid_deg + 180.0) % 360.0 - 180.0
    share = found.lens.focal_px / camera.lens.focal_px - 1.0
    return np.array([turn, found.tilt_deg - camera.tilt_deg, found.roll_deg - camera.roll_deg, share])
