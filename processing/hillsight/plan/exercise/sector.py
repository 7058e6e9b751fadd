"""What lies in the sector that a picture shows."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

if TYPE_CHECKING:
    from hillsight.arrays import Flags

#: The sector's edge is drawn every so many degrees.
_STEP_DEG = 5.0


def in_sector(
    shapes: Any, place_m: tuple[float, float], middle_grid_deg: float, half_deg: float, reach_m: float
) -> Flags:
    """Which of n shapes touch the sector of a place, (n,).

    Parameters
    ----------
    middle_grid_deg : bearing of its middle from grid north; half_deg : to either side
    """
    if half_deg >= 180.0:
        sector = shapely.Point(place_m).buffer(reach_m)
    else:
        count = max(2, int(2.0 * half_deg / _STEP_DEG) + 2)
        turn = np.radians(np.linspace(middle_grid_deg - half_deg, middle_grid_deg + half_deg, count))
        # Beyond the reach at the corners, so that it is whole between them.
        out_m = reach_m / float(np.cos((turn[1] - turn[0]) / 2.0))
        edge = np.column_stack((place_m[0] + out_m * np.sin(turn), place_m[1] + out_m * np.cos(turn)))
        sector = shapely.Polygon([place_m, *map(tuple, edge)])
    shapely.prepare(sector)
    found: Flags = shapely.intersects(sector, np.asarray(shapes, dtype=object))
    return found
