"""The ground on the straight line between two places, where the line crosses grid lines."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.ground.grid import between_posts
from hillsight.sight.viewing import CROSSING_SNAP

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.ground.grid import Surface


def crossing_shares(eye_row: float, eye_column: float, row: float, column: float) -> Floats:
    """Shares of the way, without its ends, at which a line crosses rows and columns; each place once."""
    shares = []
    for eye, end in ((eye_row, row), (eye_column, column)):
        if eye != end:
            lines = np.arange(np.floor(min(eye, end)) + 1, np.ceil(max(eye, end)))
            shares.append((lines - eye) / (end - eye))
    found: Floats = np.unique(np.concatenate(shares)) if shares else np.empty(0)
    found = found[(found > 0.0) & (found < 1.0)]
    # A post on the way is crossed by its row and by its column: one place, told apart by rounding only.
    apart = np.diff(found, prepend=-1.0) * max(abs(row - eye_row), abs(column - eye_column)) > CROSSING_SNAP
    return found[apart]


def ground_between(
    surface: Surface, from_m: tuple[float, float], to_m: tuple[float, float]
) -> tuple[Floats, Floats]:
    """What stands on the line between two places, where it crosses grid lines.

    Parameters
    ----------
    from_m, to_m : easting and northing of its ends, metres on the surface's grid

    Returns
    -------
    along_m : (n,) float64, metres on the grid from the first place, between the ends, ascending
    height_m : (n,) float64, metres in the terrain's datum; NaN beside a void
    """
    rows, columns = surface.grid.to_array(np.array([from_m[0], to_m[0]]), np.array([from_m[1], to_m[1]]))
    shares = crossing_shares(float(rows[0]), float(columns[0]), float(rows[1]), float(columns[1]))
    height_m = between_posts(
        surface.height_m,
        rows[0] + shares * (rows[1] - rows[0]),
        columns[0] + shares * (columns[1] - columns[0]),
    )
    return shares * float(np.hypot(to_m[0] - from_m[0], to_m[1] - from_m[1])), height_m
