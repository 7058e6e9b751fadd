"""Landmarks marked on a photograph, as a place has them: what ``skyline_match.match`` takes of each.

A mark is out by the click, by where the map has the landmark and by how high; one in ten is on another thing
altogether. A landmark that the ground hides can hardly have been marked, but for such a slip: it counts
against the place as much as that allows.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import special

if TYPE_CHECKING:
    from hillsight.arrays import Floats

#: Ground before a landmark is good to so much at best, metres; common practice, no source.
_BEFORE_M = 3.0

#: No landmark is less likely to be seen than this, and of one that nobody can judge it is even.
_LEAST_SEEN, _UNJUDGED = 0.02, 0.5


def seen_marks(
    east_m: Floats,
    north_m: Floats,
    angle_deg: Floats,
    clearance_m: Floats,
    crest_share: Floats,
    crest_error_m: Floats,
    slope: tuple[float, float],
    place_m: float,
    eye_m: float,
    feature_m: float,
    height_error_m: Floats,
) -> Floats:
    """Marks as one place has them, (m, 12).

    Bearing from grid north, vertical angle, distance in metres, one standard deviation of bearing and of
    angle, chance of being seen, and what one standard deviation of the place (east, north, up) adds to the
    bearing and to the angle. Degrees.

    Parameters
    ----------
    east_m, north_m : (m,) from the place to each landmark; angle_deg : its vertical angle from there
    clearance_m : (m,) above the line that grazes the ground before it; NaN unknown, inf where there is none
    crest_share : (m,) how far along the sight line that ground stands
    crest_error_m : (m,) how far its height errs, one standard deviation
    slope : rise per metre of the ground about the place, to the east and to the north
    place_m, eye_m, feature_m : one standard deviation of the place and of a landmark each way, and of the eye
    height_error_m : (m,) of each landmark's height
    """
    distance_m = np.maximum(np.hypot(east_m, north_m), 1.0)
    east, north = east_m / distance_m, north_m / distance_m
    per_m = np.degrees(1.0 / distance_m)
    tangent = np.tan(np.radians(angle_deg))
    upright = per_m * np.cos(np.radians(angle_deg)) ** 2
    found = np.empty((distance_m.size, 12))
    found[:, 0], found[:, 1] = np.degrees(np.arctan2(east_m, north_m)) % 360.0, angle_deg
    found[:, 2] = distance_m
    found[:, 3] = feature_m * per_m
    found[:, 4] = height_error_m * upright
    before_m = np.hypot(_BEFORE_M, crest_error_m) / np.clip(crest_share, 0.01, 1.0)
    chance = special.ndtr(np.clip(clearance_m, -1e6, 1e6) / np.hypot(before_m, height_error_m))
    found[:, 5] = np.maximum(np.where(np.isnan(chance), _UNJUDGED, chance), _LEAST_SEEN)
    found[:, 6], found[:, 7], found[:, 8] = -north * place_m * per_m, east * place_m * per_m, 0.0
    found[:, 9] = (-slope[0] + east * tangent) * place_m * upright
    found[:, 10] = (-slope[1] + north * tangent) * place_m * upright
    found[:, 11] = -eye_m * upright
    return found
