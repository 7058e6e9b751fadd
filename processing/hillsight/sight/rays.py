"""Rays of a drawn view: the ground that each first meets, wherever it lies on the picture.

A ray's bearing picks the nearest of the bearings that were followed (``stretches``), its slope the stretch of
ground, and inside a cell the bilinear ground gives the place. So rays of any picture, rolled or tilted, cost
a search each and no walk. Oracle: a walk along single rays, in the tests.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled, inlined
from hillsight.kernels.threads import in_slices
from hillsight.sight.stretches import BEYOND, FAR, NEAR, RISE, SAG, SLOPE

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from hillsight.arrays import Floats, Floats32, Integers
    from hillsight.sight.stretches import SeenStretches

#: Rays that a thread looks up at a time.
_RAYS_AT_A_TIME = 1 << 16


def see_rays(seen: SeenStretches, bearing_grid_deg: ArrayLike, vertical_angle_deg: ArrayLike) -> Floats32:
    """Grid distance at which each ray first meets ground.

    Parameters
    ----------
    bearing_grid_deg, vertical_angle_deg : of the rays as they leave the eye; they broadcast

    Returns
    -------
    float32, metres: the first ground, where it is known that nothing stands before it; NaN sky. Where a void
    or the terrain's end lies on the way and ground there could hide what is beyond: minus the distance of
    the first known ground, -inf where there is none. NaN where a bearing or an angle is NaN or is not among
    those that were followed
    """
    slope = np.tan(np.radians(np.asarray(vertical_angle_deg, np.float64)))
    bearing, slope = np.broadcast_arrays(np.asarray(bearing_grid_deg, np.float64), slope)
    shape = bearing.shape
    bearing, slope = np.ascontiguousarray(bearing).ravel(), np.ascontiguousarray(slope).ravel()
    distance_m = np.empty(bearing.size, np.float32)

    def some(first: int, last: int) -> None:
        s = slice(first, last)
        _look_up_all(
            seen.first_bearing_grid_deg,
            seen.step_deg,
            seen.stretches,
            seen.offsets,
            seen.void_slope,
            seen.open_slope,
            bearing[s],
            slope[s],
            distance_m[s],
        )

    in_slices(some, bearing.size, _RAYS_AT_A_TIME)
    return distance_m.reshape(shape)


@inlined
def bearing_number(first_deg: float, step_deg: float, bearings: int, bearing_deg: float) -> int:
    """The followed bearing nearest to one; -1 where none is."""
    across = (bearing_deg - first_deg) / step_deg + 0.5
    turn = 360.0 / step_deg
    across -= turn * np.floor(across / turn)
    if not across < bearings + 0.5:
        # Rounding may put the left edge of a sector just before its beginning.
        return 0 if across > turn - 0.5 else -1
    return min(int(across), bearings - 1)


@inlined
def look_up(
    stretches: Floats32, first: int, last: int, void_slope: float, open_slope: float, slope: float
) -> float:
    """Distance at which a ray of some slope meets the stretches first to last - 1 of its bearing.

    As ``see_rays`` gives it.
    """
    end = last
    while first < last:
        middle = (first + last) >> 1
        if stretches[middle, SLOPE] < slope:
            first = middle + 1
        else:
            last = middle
    if first == end or slope != slope:
        return -np.inf if slope <= open_slope else np.nan
    near_m, far_m = np.float64(stretches[first, NEAR]), np.float64(stretches[first, FAR])
    below_m = np.float64(stretches[first, RISE]) - slope * near_m
    distance_m = near_m
    if below_m < 0.0 and far_m > near_m:
        # Ground minus ray over the share t of the stretch: sag t^2 + along t + below, 0 at the first place.
        sag_m = np.float64(stretches[first, SAG])
        along_m = (np.float64(stretches[first, SLOPE]) - slope) * far_m - below_m - sag_m
        root = along_m + np.sqrt(max(along_m * along_m - 4.0 * sag_m * below_m, 0.0))
        share = -2.0 * below_m / root if root > 0.0 else 1.0
        distance_m = near_m + min(share, 1.0) * (far_m - near_m)
    return -distance_m if stretches[first, BEYOND] > 0.0 and slope <= void_slope else distance_m


@compiled
def _look_up_all(
    first_deg: float,
    step_deg: float,
    stretches: Floats32,
    offsets: Integers,
    void_slope: Floats,
    open_slope: Floats,
    bearing_deg: Floats,
    slope: Floats,
    distance_m: Floats32,
) -> None:
    """``look_up`` for (n,) rays."""
    bearings = void_slope.size
    for i in range(slope.size):
        b = bearing_number(first_deg, step_deg, bearings, bearing_deg[i]) if slope[i] == slope[i] else -1
        if b < 0:
            distance_m[i] = np.nan
        else:
            distance_m[i] = look_up(
                stretches, offsets[b], offsets[b + 1], void_slope[b], open_slope[b], slope[i]
            )
