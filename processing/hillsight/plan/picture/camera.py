"""A camera: its lens and how it is turned; from directions to pixels and back.

Pixels: x right, y down, of the picture as shown. 0, 0 is the upper left corner of the upper left pixel, whose
middle is 0.5, 0.5; the lower right corner of the picture is its width and height.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import CallError
from hillsight.plan.picture import perspective

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from hillsight.arrays import Floats

_MIDDLE = math.nan


@dataclass(frozen=True)
class Lens:
    """The inside of a camera, for pictures of one size.

    width_px, height_px : size of the picture as shown
    focal_px : focal length
    principal_x_px, principal_y_px : where the optical axis meets the picture; the middle if not given
    radial : distortion on the plane one focal length away: distorted = undistorted (1 + radial r^2)

    Raises
    ------
    CallError : a size or a focal length that is not above 0
    """

    width_px: int
    height_px: int
    focal_px: float
    principal_x_px: float = _MIDDLE
    principal_y_px: float = _MIDDLE
    radial: float = 0.0

    def __post_init__(self) -> None:
        if not (self.width_px > 0 and self.height_px > 0 and 0 < self.focal_px < math.inf):
            raise CallError(
                f"no camera has a picture of {self.width_px:g} x {self.height_px:g} pixels and a focal "
                f"length of {self.focal_px:g} pixels",
                remedy="Give numbers above 0",
            )
        if math.isnan(self.principal_x_px):
            object.__setattr__(self, "principal_x_px", self.width_px / 2.0)
        if math.isnan(self.principal_y_px):
            object.__setattr__(self, "principal_y_px", self.height_px / 2.0)

    @classmethod
    def of_width(cls, width_px: int, height_px: int, width_deg: float) -> Lens:
        """The lens without distortion whose pictures are so many degrees wide.

        Raises
        ------
        CallError : a width that no flat picture has
        """
        if not 0 < width_deg < 180:
            raise CallError(
                f"no flat picture is {width_deg:g} degrees wide", remedy="Give degrees between 0 and 180"
            )
        return cls(width_px, height_px, width_px / 2.0 / math.tan(math.radians(width_deg) / 2.0))

    @property
    def width_deg(self) -> float:
        """Angle between the middles of the picture's left and right sides, distortion taken out."""
        x = (np.array([0.0, self.width_px]) - self.principal_x_px) / self.focal_px
        y = np.full(2, (self.height_px / 2.0 - self.principal_y_px) / self.focal_px)
        x, y = perspective.undistorted(x, y, self.radial)
        sides = np.stack([x, y, np.ones(2)], axis=-1)
        cosine = sides[0] @ sides[1] / np.prod(np.linalg.norm(sides, axis=1))
        return math.degrees(math.acos(min(1.0, max(-1.0, float(cosine)))))

    def cropped(self, left_px: float, top_px: float, width_px: int, height_px: int) -> Lens:
        """The lens of a part of its pictures, with the axis where it was."""
        return Lens(
            width_px,
            height_px,
            self.focal_px,
            self.principal_x_px - left_px,
            self.principal_y_px - top_px,
            self.radial,
        )


@dataclass(frozen=True)
class Camera:
    """A lens and how it is turned.

    Directions are those under which sight lines leave the eye, with curvature and refraction in them: the
    vertical angle of a place is atan((height - drop d^2 - eye level) / d) for d metres on the grid.

    heading_grid_deg : of the optical axis, clockwise from grid north
    tilt_deg : of the optical axis above the level, up positive
    roll_deg : camera turned clockwise about its axis as seen from behind: its right side is then lower, and
        in the picture the horizon climbs to the right
    """

    lens: Lens
    heading_grid_deg: float
    tilt_deg: float = 0.0
    roll_deg: float = 0.0

    @property
    def width_px(self) -> int:
        """Pixels from left to right."""
        return self.lens.width_px

    @property
    def height_px(self) -> int:
        """Pixels from top to bottom."""
        return self.lens.height_px

    def pixels(self, bearing_grid_deg: ArrayLike, vertical_angle_deg: ArrayLike) -> tuple[Floats, Floats]:
        """Where directions show in the picture, ``x_px`` and ``y_px``; beyond its edges too.

        NaN behind the camera, and where the radial term folds the picture.
        """
        vectors = perspective.direction_vectors(bearing_grid_deg, vertical_angle_deg)
        x, y = perspective.on_plane(vectors, self._rotation())
        x, y = perspective.distorted(x, y, self.lens.radial)
        return (
            self.lens.principal_x_px + self.lens.focal_px * x,
            self.lens.principal_y_px + self.lens.focal_px * y,
        )

    def directions(self, x_px: ArrayLike, y_px: ArrayLike) -> tuple[Floats, Floats]:
        """Grid bearings [0, 360) and vertical angles, degrees, of places in the picture.

        NaN where the radial term shows no direction.
        """
        x = (np.asarray(x_px, np.float64) - self.lens.principal_x_px) / self.lens.focal_px
        y = (np.asarray(y_px, np.float64) - self.lens.principal_y_px) / self.lens.focal_px
        x, y = perspective.undistorted(x, y, self.lens.radial)
        return perspective.directions_of(perspective.from_plane(x, y, self._rotation()))

    def _rotation(self) -> Floats:
        return perspective.rotation(self.heading_grid_deg, self.tilt_deg, self.roll_deg)
