"""Whether a landform touches the limits of what is known: a void, or the terrain's edge."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Objects
    from hillsight.landform.scale import Worked

#: A landform touches what lies within this many standard deviations of the smoothing. Axes were seen to bend
#: by 40 m and more from the second to the third; beyond lies a 700th of a Gaussian's weight (closed form).
_WITHIN_SIGMA = 3.0


def cut_by(shapes: Sequence[shapely.Geometry] | Objects, worked: Worked) -> list[str | None]:
    """The nearer reason why each landform may go on unseen: "void", "terrain_edge" or None.

    It touches a limit where the smoothing that found it reached over it.
    """
    if not len(shapes):
        return []
    grid, raw = worked.grid, worked.raw.grid
    within_m = max(_WITHIN_SIGMA * worked.sigma_m, 1.5 * max(raw.spacing_x_m, raw.spacing_y_m))
    places, which = shapely.get_coordinates(np.asarray(shapes, object), return_index=True)
    edge_m = np.minimum(
        np.minimum(places[:, 0] - raw.west_m, raw.east_m - places[:, 0]),
        np.minimum(places[:, 1] - raw.south_m, raw.north_m - places[:, 1]),
    )
    reasons = np.full(len(shapes), None, object)
    reasons[which[edge_m <= within_m]] = "terrain_edge"
    void_m = worked.to_void_m
    if void_m is not None:
        row, column = (np.rint(v).astype(int) for v in grid.to_array(places[:, 0], places[:, 1]))
        row, column = np.clip(row, 0, grid.rows - 1), np.clip(column, 0, grid.columns - 1)
        reasons[which[void_m[row, column] <= within_m]] = "void"
    found: list[str | None] = reasons.tolist()
    return found
