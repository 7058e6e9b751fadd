"""Level ground: flat tops, shelves on hillsides, floors of valleys."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from hillsight.landform.along import Bundle
from hillsight.landform.outlines import areas_between, posts_inside

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.landform.scale import Worked

#: Least area as a share of the scale, squared; smaller holes are filled. By trial, no source.
_LEAST_SHARE, _LEAST_HOLE_SHARE = 0.5, 0.25

#: From this share of its outline ground must fall away for a flat top, and from no more for a floor, which
#: has two ends where the valley goes on down. By trial, no source.
_TOP_SHARE, _FLOOR_SHARE = 0.75, 0.35

#: How far outside the outline it is seen whether ground falls away, as a share of the scale.
_OUTSIDE_SHARE = 0.25


@dataclass(frozen=True)
class Level:
    """A piece of level ground.

    kind : flat_top, shelf or floor
    falling_share : share of the outline from which the ground falls away
    """

    area: shapely.Polygon
    kind: str
    height_mean_m: float
    slope_mean_deg: float
    falling_share: float


def find_level_ground(worked: Worked, below_deg: float) -> list[Level]:
    """Ground of the smoothed surface gentler than a slope, told apart by what lies round it."""
    grid, slope_deg = worked.grid, worked.slope.slope_deg
    found = []
    for area in areas_between(
        slope_deg,
        grid,
        -1.0,
        below_deg,
        least_m2=(_LEAST_SHARE * worked.scale_m) ** 2,
        least_hole_m2=(_LEAST_HOLE_SHARE * worked.scale_m) ** 2,
    ):
        falling = _falling_share(worked, area)
        if not np.isfinite(falling):
            continue
        rows, columns = posts_inside(area, grid)
        kind = "flat_top" if falling >= _TOP_SHARE else "floor" if falling <= _FLOOR_SHARE else "shelf"
        found.append(
            Level(
                area,
                kind,
                float(np.nanmean(worked.height_m[rows, columns])),
                float(np.nanmean(slope_deg[rows, columns])),
                falling,
            )
        )
    return found


def _falling_share(worked: Worked, area: shapely.Polygon) -> float:
    """Share of the outer outline from which the ground falls; NaN where nothing is known round it."""
    outside_m = _OUTSIDE_SHARE * worked.scale_m
    ring = area.exterior
    count = max(16, round(ring.length / outside_m))
    at = (np.arange(count) + 0.5) / count
    line = Bundle.of([shapely.get_coordinates(ring)])
    here, ahead = (line.places_at(share[None, :] * line.length_m)[0] for share in (at, at + 0.25 / count))
    along = ahead - here
    along /= np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-9)[:, None]
    outward = np.column_stack([along[:, 1], -along[:, 0]]) * (1.0 if ring.is_ccw else -1.0)
    out = here + outside_m * outward
    step = _heights(worked, out) - _heights(worked, here)
    known = np.isfinite(step)
    return float((step[known] < 0).mean()) if known.any() else np.nan


def _heights(worked: Worked, places: Floats) -> Floats:
    return worked.at(places[:, 0], places[:, 1])
