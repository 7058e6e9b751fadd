"""Tops and saddles as rows."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from hillsight.landform.axes import with_heights
from hillsight.landform.limits import cut_by
from hillsight.landform.naming import identifiers

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.landform.scale import Worked
    from hillsight.landform.tops import Top

    Rows = list[dict[str, Any]]

#: A top of at least this prominence (m) is a summit, of less a knoll: the least that lists of hills count
#: (common practice, no source).
SUMMIT_PROMINENCE_M = 15.0


def point_rows(found: Sequence[Top], finest: Worked, taken: set[str]) -> tuple[Rows, Rows, dict[int, str]]:
    """Rows of tops, of the saddles from which they rise, and the saddles' identifiers by number of top.

    Parameters
    ----------
    finest : the ground at the smallest scale, for the limits that a point may touch
    taken : identifiers in use; the new ones are added
    """
    places = np.array([(top.easting_m, top.northing_m) for top in found]).reshape(-1, 2)
    names = identifiers("top", places, None, taken)
    with_saddle = [k for k, top in enumerate(found) if np.isfinite(top.saddle_easting_m) and top.parent >= 0]
    saddle_places = np.array(
        [(found[k].saddle_easting_m, found[k].saddle_northing_m) for k in with_saddle]
    ).reshape(-1, 2)
    saddle_names = dict(zip(with_saddle, identifiers("saddle", saddle_places, None, taken), strict=True))
    tops: Rows = []
    saddles: Rows = []
    points = [shapely.Point(top.easting_m, top.northing_m, top.height_m) for top in found]
    for k, (top, point, reason) in enumerate(zip(found, points, cut_by(points, finest), strict=True)):
        known = not top.is_least
        tops.append(
            {
                "landform": names[k],
                "scale_m": top.scale_m,
                "name": None,
                "description": "",
                "kind": "summit" if top.prominence_m >= SUMMIT_PROMINENCE_M else "knoll",
                "height_m": top.height_m,
                "prominence_m": top.prominence_m,
                "is_least": top.is_least,
                "key_saddle": saddle_names.get(k) if known else None,
                "key_saddle_height_m": top.key_height_m,
                "dominance": top.prominence_m / top.height_m if known and top.height_m > 0 else np.nan,
                "higher_ground_m": top.higher_ground_m if np.isfinite(top.higher_ground_m) else np.nan,
                "parent": names[top.parent] if known and top.parent >= 0 else None,
                "cut_by": reason,
                "geometry": point,
            }
        )
    points = [shapely.Point(place) for place in with_heights(finest, [saddle_places])[0]]
    for k, point, reason in zip(with_saddle, points, cut_by(points, finest), strict=True):
        top, parent, height_m = found[k], found[found[k].parent], float(point.z)
        lower, higher = sorted((k, found[k].parent), key=lambda i: (found[i].height_m, -i))
        saddles.append(
            {
                "landform": saddle_names[k],
                "scale_m": min(top.scale_m, parent.scale_m),
                "name": None,
                "description": "",
                "height_m": height_m,
                "lower_top": names[lower],
                "higher_top": names[higher],
                "climb_m": found[lower].height_m - height_m,
                "cut_by": reason,
                "geometry": point,
            }
        )
    return tops, saddles, saddle_names
