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
    beside = np.array(
        [
            row["geometry"] if areas else shapely.buffer(row["geometry"], _BESIDE_SHARE * row["scale_m"])
            for row in larger
        ]
    )
    measure = shapely.area if areas else shapely.length
    tree = shapely.STRtree(beside)
    kept = []
    for row in rows:
        near = beside[tree.query(row["geometry"], predicate="intersects")]
        inside = measure(shapely.intersection(row["geometry"], near)) if near.size else np.zeros(1)
        if inside.max() < _SAME_SHARE * measure(row["geometry"]):
            kept.append(row)
    return kept
