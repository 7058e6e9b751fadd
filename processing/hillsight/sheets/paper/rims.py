"""Lines of ground as they are drawn: cut where they leap from near to far ground."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

if TYPE_CHECKING:
    from hillsight.arrays import Floats

#: How many times as far, and how many metres farther, a rim may be on the next bearing.
_LEAP, _LEAP_M = 1.12, 60.0


def rim_pieces(rim: shapely.Geometry, easting_m: float, northing_m: float) -> list[Floats]:
    """A rim cut where it leaps from near to far ground: what lies between is no part of it.

    Parameters
    ----------
    rim : a line or several, in metres
    easting_m, northing_m : where it is seen from

    Returns
    -------
    Pieces of two points and more, each (n, 2)
    """
    found = []
    for part in shapely.get_parts(rim):
        points = shapely.get_coordinates(part)
        far = np.maximum(np.hypot(points[:, 0] - easting_m, points[:, 1] - northing_m), 1.0)
        leaps = (np.abs(np.diff(np.log(far))) > np.log(_LEAP)) & (np.abs(np.diff(far)) > _LEAP_M)
        found += [piece for piece in np.split(points, np.flatnonzero(leaps) + 1) if len(piece) > 1]
    return found
