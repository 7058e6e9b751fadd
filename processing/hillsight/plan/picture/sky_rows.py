"""What a place sees of the sky's edge, with how far each bearing may be out: as ``skyline_match`` takes it.

The angle of ground against the sky errs by the ground's height there over its distance, and with the eye: as
far as the picture was taken beside the place named, the eye stood higher or lower on its slope, nearer or
farther, and looked past near ground onto other bearings. All of it goes with one over the distance, to first
order; so it is added up in closed form, where draws would be too few for so sharp an evidence.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from hillsight.arrays import Floats

#: An angle errs by no more than this, degrees: near ground may stand anywhere.
_MOST_DEG = 20.0

#: Share of what the place may be off that first order leaves out.
_SECOND_ORDER = 0.5


def sky_rows(
    angle_deg: Floats,
    distance_m: Floats,
    ground_m: Floats,
    higher_m: Floats,
    slope_east: Floats,
    slope_north: Floats,
    place_m: float,
    eye_m: Floats,
) -> Floats:
    """Rows of the sky of p places, (p, 6, b).

    Parameters
    ----------
    angle_deg, distance_m : (p, b) of the sky's edge, evenly by grid bearing all round from north; NaN unknown
    ground_m : (p, b) one standard deviation of the height of the ground there
    higher_m : (p, b) how much higher than the terrain has it the ground there is likely to stand: of all that
        may stand against the sky between posts, the highest does
    slope_east, slope_north : (p,) rise per metre of the ground about the place
    place_m, eye_m : one standard deviation of the place each way, and (p,) of the eye's height
    """
    bearing = np.radians(np.arange(angle_deg.shape[1]) * (360.0 / angle_deg.shape[1]))
    east, north = np.sin(bearing), np.cos(bearing)
    step = bearing[1]
    tangent = np.tan(np.radians(angle_deg))
    # Metres up at the ground there, as degrees from here.
    per_m = np.degrees(np.cos(np.radians(angle_deg)) ** 2) / np.maximum(distance_m, 1.0)
    # What stands a degree to the right comes onto a bearing as the eye moves right.
    along = (np.roll(tangent, -1, axis=1) - np.roll(tangent, 1, axis=1)) / (2.0 * step)
    along = np.clip(np.nan_to_num(along), -2.0, 2.0)
    found = np.empty((angle_deg.shape[0], 6, angle_deg.shape[1]))
    found[:, 0] = angle_deg + np.minimum(np.nan_to_num(higher_m * per_m), 1.0)
    beside_m = _SECOND_ORDER * place_m * np.minimum(place_m / np.maximum(distance_m, 1.0), 1.0)
    found[:, 1] = np.hypot(ground_m, beside_m) * per_m
    found[:, 2] = distance_m
    found[:, 3] = (-slope_east[:, None] + east * tangent + north * along) * place_m * per_m
    found[:, 4] = (-slope_north[:, None] + north * tangent - east * along) * place_m * per_m
    found[:, 5] = -eye_m[:, None] * per_m
    found[:, 1] = np.clip(found[:, 1], 0.01, _MOST_DEG)
    found[:, 3:] = np.clip(found[:, 3:], -_MOST_DEG, _MOST_DEG)
    # Where no distance is known, nothing is added.
    found[:, 1:] = np.nan_to_num(found[:, 1:])
    return found
