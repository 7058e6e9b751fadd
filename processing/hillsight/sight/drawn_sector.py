"""What part of the round a picture shows and how finely, whatever its projection; and what of its scene.

A picture's haze and the strength of its light follow from what is in view, so that near ground of a small
place and far ranges of a large one are both told apart.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.sight.rays import see_rays
from hillsight.sight.stretches import seen_stretches

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.sight.cylinder import Projection
    from hillsight.sight.far_sky import FarGround
    from hillsight.sight.stretches import SeenStretches
    from hillsight.sight.viewing import Eye

#: Bearings followed to a pixel's width, and what may be told apart of its height.
_FINER_ACROSS, _FINER_DOWN = 4.0, 3.0

#: Places along a picture's sides at which its directions are asked for.
_LOOKS = 65

#: A sector runs on by so many pixels at either side.
_BESIDE_PX = 16.0

#: Rays down and across a picture that tell what its scene is like.
_SAMPLED = (90, 160)

#: A quarter of the contrast is left of ground as far as the farthest of this share of a picture's columns.
_NEARER = 0.97

#: Steps of a haze's distance.
_STEPS = np.array([1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0])

#: Light is strengthened to show slopes that nine tenths of the ground in view do not reach as if they were
#: these, and by no more than this.
_STEEP_ENOUGH, _MOST_STEEPENED = 0.7, 3.0


@dataclass(frozen=True)
class DrawnSector:
    """What a picture shows.

    left_bearing_grid_deg, span_deg : of all its pixels, clockwise, up to 360
    pixel_across_deg, pixel_down_deg : angles between neighbouring pixels in its middle
    """

    left_bearing_grid_deg: float
    span_deg: float
    pixel_across_deg: float
    pixel_down_deg: float

    @classmethod
    def of(cls, projection: Projection) -> DrawnSector:
        """The sector of a projection."""
        width, height = projection.width_px, projection.height_px
        x = np.array([-0.5, 0.5, 0.0, 0.0]) + width / 2.0
        y = np.array([0.0, 0.0, -0.5, 0.5]) + height / 2.0
        left, right, upper, lower = _unit(*np.broadcast_arrays(*projection.directions(x, y)))
        across, down = (
            float(np.degrees(2.0 * np.arcsin(np.linalg.norm(one - other) / 2.0)))
            for one, other in ((left, right), (upper, lower))
        )
        x = np.linspace(-_BESIDE_PX, width + _BESIDE_PX, _LOOKS)
        y = np.linspace(-_BESIDE_PX, height + _BESIDE_PX, _LOOKS)
        bearing, _ = np.broadcast_arrays(*projection.directions(x[None, :], y[:, None]))
        around = np.sort(bearing[np.isfinite(bearing)] % 360.0)
        gaps = np.diff(np.append(around, around[0] + 360.0))
        widest = int(np.argmax(gaps))
        # Between the places looked at bearings may lie a step farther out.
        step = (width + 2.0 * _BESIDE_PX) / (_LOOKS - 1) * across
        if gaps[widest] <= 6.0 * step:
            return cls(float(around[0]), 360.0, across, down)
        start = around[(widest + 1) % around.size] - step
        return cls(float(start % 360.0), float(360.0 - gaps[widest] + 2.0 * step), across, down)

    def look(self, far: FarGround, eye: Eye) -> SeenStretches:
        """The ground in view, as finely as the picture needs it."""
        return seen_stretches(
            far,
            eye,
            self.left_bearing_grid_deg,
            self.span_deg,
            self.pixel_across_deg / _FINER_ACROSS,
            self.pixel_down_deg / _FINER_DOWN,
        )


@dataclass(frozen=True)
class Scene:
    """What a picture's drawing goes by.

    haze_half_m : distance at which half of the contrast is left
    steepened : factor by which slopes are made steeper for the light alone
    """

    haze_half_m: float
    steepened: float

    @classmethod
    def of(cls, far: FarGround, eye: Eye, seen: SeenStretches, projection: Projection) -> Scene:
        """Haze and light that suit what is in view."""
        rows, columns = _SAMPLED
        x = (np.arange(columns) + 0.5) / columns * projection.width_px
        y = (np.arange(rows) + 0.5) / rows * projection.height_px
        bearing, angle = np.broadcast_arrays(*projection.directions(x[None, :], y[:, None]))
        distance_m = np.abs(see_rays(seen, bearing, angle)).astype(np.float64)
        ground = np.isfinite(distance_m)
        if not ground.any():
            return cls(10_000.0, 1.0)
        farthest_m = np.where(ground, distance_m, 0.0).max(axis=0)
        half_m = max(float(np.quantile(farthest_m, _NEARER)) / 2.0, 500.0)
        power = 10.0 ** np.floor(np.log10(half_m))
        half_m = float(power * _STEPS[np.argmin(np.abs(_STEPS - half_m / power))])
        grid = far.surface.grid
        # The ground at the eye's own foot fills a picture and says little of the rest.
        judged = ground & (distance_m > min(0.1 * half_m, float(distance_m[ground].max()) / 2.0))
        away = distance_m[judged], np.radians(bearing[judged])
        spacing_m = max(grid.spacing_x_m, grid.spacing_y_m)
        easting_m, northing_m = grid.to_map(eye.row, eye.column)
        easting_m = easting_m + away[0] * np.sin(away[1])
        northing_m = northing_m + away[0] * np.cos(away[1])

        def rise(east_m: float, north_m: float) -> Floats:
            one = far.surface.heights_at_m(easting_m + east_m, northing_m + north_m)
            return one - far.surface.heights_at_m(easting_m - east_m, northing_m - north_m)

        slope = np.hypot(rise(spacing_m / 2.0, 0.0), rise(0.0, spacing_m / 2.0)) / spacing_m
        slope = slope[np.isfinite(slope)]
        typical = float(np.quantile(slope, 0.9)) if slope.size else 0.0
        steepened = np.clip(_STEEP_ENOUGH / typical, 1.0, _MOST_STEEPENED) if typical > 0.005 else 1.0
        return cls(half_m, float(steepened))


def _unit(bearing_deg: Floats, angle_deg: Floats) -> Floats:
    """Unit vectors east, north, up, (n, 3)."""
    bearing, angle = np.radians(bearing_deg), np.radians(angle_deg)
    return np.stack(
        [np.sin(bearing) * np.cos(angle), np.cos(bearing) * np.cos(angle), np.sin(angle)], axis=-1
    )
