"""Tells a landform that shows at several scales once: what a larger scale has found is not found again."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

#: A line or area is the same landform again if this share of it lies beside, or in, one of a larger scale,
_SAME_SHARE = 0.6

#: within this share of the larger scale.
_BESIDE_SHARE = 1 / 4


def without_repeats(rows: list[dict[str, Any]], larger: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Rows of lines or areas but for those that a larger scale has told already.

    Parameters
    ----------
    rows : of one scale
    larger : of all larger scales, same kind
    """
    if not rows or not larger:
        return rows
    areas = shapely.get_dimensions(rows[0]["geometry"]) == 2
    shapes = np.array([row["geometry"] for row in rows], object)
    beside = np.array([row["geometry"] for row in larger], object)
    if not areas:
        beside = shapely.buffer(beside, np.array([_BESIDE_SHARE * row["scale_m"] for row in larger]))
    measure = shapely.area if areas else shapely.length
    which, near = shapely.STRtree(beside).query(shapes, predicate="intersects")
    most = np.zeros(len(rows))
    np.maximum.at(most, which, measure(shapely.intersection(shapes[which], beside[near])))
    kept = most < _SAME_SHARE * measure(shapes)
    return [row for row, keep in zip(rows, kept.tolist(), strict=True) if keep]
