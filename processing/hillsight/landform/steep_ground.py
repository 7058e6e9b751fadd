"""Steep ground in bands of slope."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from hillsight.landform.outlines import areas_between, posts_inside

if TYPE_CHECKING:
    from collections.abc import Sequence

    import shapely

    from hillsight.landform.scale import Worked

#: Least area as a share of the scale, squared; smaller holes are filled. By trial, no source.
_LEAST_SHARE, _LEAST_HOLE_SHARE = 1 / 3, 1 / 6


@dataclass(frozen=True)
class Steep:
    """A piece of ground within a band of slope.

    slope_to_deg : None for no upper limit
    faces_grid_deg : bearing from grid north of the mean direction in which it falls
    """

    area: shapely.Polygon
    slope_from_deg: float
    slope_to_deg: float | None
    faces_grid_deg: float
    height_min_m: float
    height_max_m: float


def find_steep_ground(worked: Worked, bands_deg: Sequence[float]) -> list[Steep]:
    """Pieces of ground within each band of slope of the smoothed surface.

    Parameters
    ----------
    bands_deg : where each band begins, ascending; the last has no upper limit
    """
    grid, slope = worked.grid, worked.slope
    found = []
    for lower, upper in pairwise([*bands_deg, None]):
        assert lower is not None
        for area in areas_between(
            slope.slope_deg,
            grid,
            lower,
            upper,
            least_m2=(_LEAST_SHARE * worked.scale_m) ** 2,
            least_hole_m2=(_LEAST_HOLE_SHARE * worked.scale_m) ** 2,
        ):
            inside = posts_inside(area, grid)
            east, north = -np.nansum(slope.dz_dx[inside]), -np.nansum(slope.dz_dy[inside])
            height_m = worked.height_m[inside]
            found.append(
                Steep(
                    area,
                    lower,
                    upper,
                    float(np.degrees(np.arctan2(east, north)) % 360.0),
                    float(np.nanmin(height_m)),
                    float(np.nanmax(height_m)),
                )
            )
    return found
