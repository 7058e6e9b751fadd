"""The camera of drawn photographs: rotation matrices, and nothing shared with hillsight's own camera.

East, north and up make the space. Pixels are counted as everywhere in hillsight: x right, y down, 0,0 the
upper
left corner of the picture.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


@dataclass(frozen=True)
class DrawnCamera:
    """Where a drawn photograph looks.

    heading_deg : of the axis, clockwise from grid north; tilt_deg : of the axis, up positive
    roll_deg : the camera's right hand goes down by so much
    width_deg : angle of view from the left to the right edge, before the radial term
    radial : k1; a point at r from the middle, in focal lengths, is drawn at r (1 + k1 r^2)
    """

    width_px: int
    height_px: int
    heading_deg: float
    tilt_deg: float = 0.0
    roll_deg: float = 0.0
    width_deg: float = 60.0
    radial: float = 0.0

    @property
    def focal_px(self) -> float:
        """Focal length in pixels."""
        return self.width_px / 2 / float(np.tan(np.radians(self.width_deg) / 2))

    @property
    def axes(self) -> Floats:
        """Right, up and ahead of the camera as rows, each east, north and up; (3, 3)."""
        heading, tilt, roll = np.radians([self.heading_deg, self.tilt_deg, self.roll_deg])
        turn = np.array([
            [np.cos(heading), -np.sin(heading), 0.0],  # right of a level camera
            [0.0, 0.0, 1.0],
            [np.sin(heading), np.cos(heading), 0.0],
        ])  # fmt: skip
        lift = np.array([[1, 0, 0], [0, np.cos(tilt), -np.sin(tilt)], [0, np.sin(tilt), np.cos(tilt)]])
        bank = np.array([[np.cos(roll), -np.sin(roll), 0], [np.sin(roll), np.cos(roll), 0], [0, 0, 1]])
        return bank @ lift @ turn

    def rays(self, x_px: Floats, y_px: Floats) -> tuple[Floats, Floats]:
        """Bearing (radians from grid north, near the heading) and tangent of the vertical angle of pixels."""
        across = (np.asarray(x_px) - self.width_px / 2) / self.focal_px
        up = (self.height_px / 2 - np.asarray(y_px)) / self.focal_px
        if self.radial:
            bent = np.hypot(across, up)
            straight = bent.copy()
            for _ in range(8):
                straight = bent / (1 + self.radial * straight**2)
            stretch = np.where(bent > 0, straight / np.where(bent > 0, bent, 1), 1.0)
            across, up = across * stretch, up * stretch
        east, north, high = (across * r + up * u + f for r, u, f in zip(*self.axes, strict=True))
        heading = np.radians(self.heading_deg)
        turned = np.arctan2(
            east * np.cos(heading) - north * np.sin(heading), east * np.sin(heading) + north * np.cos(heading)
        )
        return heading + turned, high / np.hypot(east, north)

    def pixels(self, bearing: Floats, tangent: Floats) -> tuple[Floats, Floats]:
        """Pixels of directions (radians, tangent of the vertical angle); NaN behind the camera."""
        bearing, tangent = np.broadcast_arrays(bearing, tangent)
        space = np.stack([np.sin(bearing), np.cos(bearing), tangent])
        right, up, ahead = np.tensordot(self.axes, space, axes=1)
        ahead = np.where(ahead > 1e-6, ahead, np.nan)
        across, high = right / ahead, up / ahead
        bent = 1 + self.radial * (across**2 + high**2)
        return (
            self.width_px / 2 + self.focal_px * across * bent,
            self.height_px / 2 - self.focal_px * high * bent,
        )
