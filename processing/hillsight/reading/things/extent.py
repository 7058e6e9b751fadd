"""Angular extent of shapes and of sets of directions, as seen from a station."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.words.angles import wrap_deg

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats


def line_extent_deg(bearings_deg: Floats) -> tuple[float, float]:
    """Left and right edge of a line that is followed from vertex to vertex.

    Parameters
    ----------
    bearings_deg : (n,) degrees, n >= 1, of the vertices in order; neighbours less than 180 apart

    Returns
    -------
    (left, right), degrees from 0 to below 360, clockwise from left to right; (0, 360) if the line goes
    right round.
    """
    turned = np.unwrap(bearings_deg, period=360.0)
    left, right = float(turned.min()), float(turned.max())
    # A closed line comes round to its start but for rounding.
    if right - left >= 360.0 - 1e-9:
        return 0.0, 360.0
    return float(wrap_deg(left)), float(wrap_deg(right))


def scattered_extent_deg(bearings_deg: Floats) -> tuple[float, float]:
    """Left and right edge of scattered directions: the arc that leaves out their widest gap.

    Parameters
    ----------
    bearings_deg : (n,) degrees, n >= 1, in any order
    """
    ordered = np.sort(wrap_deg(bearings_deg))
    gaps = np.diff(np.r_[ordered, ordered[0] + 360.0])
    widest = int(np.argmax(gaps))
    return float(ordered[(widest + 1) % ordered.size]), float(ordered[widest])


def within_arc(bearings_deg: Floats, left_deg: float, right_deg: float) -> Flags:
    """Whether directions lie in the arc clockwise from left to right, edges included.

    Equal edges, or edges 360 apart, mean all round.
    """
    width = (right_deg - left_deg) % 360.0
    if width == 0.0:
        return np.ones(np.shape(bearings_deg), bool)
    inside: Flags = (np.asarray(bearings_deg, float) - left_deg) % 360.0 <= width
    return inside
