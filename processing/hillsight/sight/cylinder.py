"""A drawn view as a cylinder unrolled: one bearing a column of pixels, vertical angles evenly down the rows.

Whatever lays a view on a picture goes by the interface ``Projection``: a cylinder has it, and so has a
camera. Pixel frame: x right, y down, 0,0 the upper left corner of the upper left pixel.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np

from hillsight.errors import CallError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from hillsight.arrays import Floats


class Projection(Protocol):
    """How directions from the eye lie on a picture. Arrays broadcast; degrees and pixels, float64."""

    @property
    def width_px(self) -> int:
        """Pixels from left to right."""

    @property
    def height_px(self) -> int:
        """Pixels from top to bottom."""

    def directions(self, x_px: ArrayLike, y_px: ArrayLike) -> tuple[Floats, Floats]:
        """Grid bearing and vertical angle of the sight line through a place on the picture."""

    def pixels(self, bearing_grid_deg: ArrayLike, vertical_angle_deg: ArrayLike) -> tuple[Floats, Floats]:
        """Place on the picture of a direction; NaN where it cannot be on any."""


@dataclass(frozen=True)
class Cylinder:
    """A sector, or all of the round.

    Parameters
    ----------
    left_bearing_grid_deg : bearing from grid north of the picture's left edge
    width_px, height_px : of the picture, each 1 or more
    degrees_per_px : of bearing, along the picture; the width spans 360 degrees at most
    vertical_degrees_per_px : of vertical angle, down the picture; less than ``degrees_per_px`` exaggerates
    horizon_y_px : where level sight lines lie; may be off the picture

    Raises
    ------
    CallError : a size or scale that makes no picture
    """

    left_bearing_grid_deg: float
    width_px: int
    height_px: int
    degrees_per_px: float
    vertical_degrees_per_px: float
    horizon_y_px: float

    def __post_init__(self) -> None:
        numbers = (self.left_bearing_grid_deg, self.horizon_y_px)
        scales = (self.degrees_per_px, self.vertical_degrees_per_px)
        if self.width_px < 1 or self.height_px < 1:
            raise CallError(
                f"a picture of {self.width_px} x {self.height_px} pixels",
                remedy="Give a width and a height of 1 pixel or more",
            )
        if not np.isfinite([*numbers, *scales]).all() or min(scales) <= 0:
            raise CallError(
                f"a picture of {scales[0]:g} by {scales[1]:g} degrees a pixel, with the horizon at "
                f"{self.horizon_y_px:g} and its left edge at {self.left_bearing_grid_deg:g} degrees",
                remedy="Give finite numbers, and scales above 0",
            )
        if self.span_deg > 360.0 * (1.0 + 1e-9):
            raise CallError(
                f"a picture of {self.span_deg:g} degrees shows some bearings twice",
                remedy="Give a sector of 360 degrees or less",
            )

    @property
    def span_deg(self) -> float:
        """Bearings from the left edge to the right one."""
        return self.width_px * self.degrees_per_px

    @property
    def exaggeration(self) -> float:
        """How many times heights are drawn larger than widths."""
        return self.degrees_per_px / self.vertical_degrees_per_px

    def directions(self, x_px: ArrayLike, y_px: ArrayLike) -> tuple[Floats, Floats]:
        """Grid bearing, [0, 360), of each x and vertical angle of each y, degrees."""
        bearing = (self.left_bearing_grid_deg + np.asarray(x_px, float) * self.degrees_per_px) % 360.0
        angle = (self.horizon_y_px - np.asarray(y_px, float)) * self.vertical_degrees_per_px
        return bearing, angle

    def pixels(self, bearing_grid_deg: ArrayLike, vertical_angle_deg: ArrayLike) -> tuple[Floats, Floats]:
        """Place on the picture of directions; bearings beyond an edge lie beyond the nearer one."""
        beside = (360.0 - self.span_deg) / 2.0
        across = np.asarray(bearing_grid_deg, float) - self.left_bearing_grid_deg + beside
        x_px = (across % 360.0 - beside) / self.degrees_per_px
        y_px = self.horizon_y_px - np.asarray(vertical_angle_deg, float) / self.vertical_degrees_per_px
        return x_px, y_px
