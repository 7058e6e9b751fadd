"""Lines cut at a picture's edges, every value along them cut alike."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from hillsight.sight.cylinder import Cylinder

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats
    from hillsight.sight.cylinder import Projection


def may_be_on(projection: Projection, bearing_grid_deg: Floats) -> bool:
    """Whether a line over some bearings, without jumps, may cross a picture: a quick look beforehand."""
    if not isinstance(projection, Cylinder):
        return True
    low, high = float(bearing_grid_deg.min()), float(bearing_grid_deg.max())
    across = (low - projection.left_bearing_grid_deg) % 360.0
    return across <= projection.span_deg or across + (high - low) >= 360.0


def inside_runs(x_px: Floats, y_px: Floats, width_px: float, height_px: float) -> list[Floats]:
    """The parts of a line inside a picture, as places along the line.

    Segments with an end that is NaN are left out, and so are those that leap over half of the picture's
    width or more: they run over the edge of a whole round.

    Parameters
    ----------
    x_px, y_px : (n,) vertices

    Returns
    -------
    for each part the places of its vertices, 0 the first vertex of the line and n - 1 its last, ascending,
    so that ``numpy.interp`` gives any value along it. Source: the parametric clipping of Liang and Barsky
    (1984), from memory
    """
    if x_px.size < 2 or not _touches(x_px, width_px) or not _touches(y_px, height_px):
        return []
    # Most segments of a line all round lie beside the picture: only the others are worked on.
    near = np.flatnonzero(_reaches(x_px, width_px) & _reaches(y_px, height_px))
    dx, dy = x_px[near + 1] - x_px[near], y_px[near + 1] - y_px[near]
    whole = np.abs(dx) < 0.5 * width_px + 1.0
    near, dx, dy = near[whole], dx[whole], dy[whole]
    first, last = np.zeros(near.size), np.ones(near.size)
    with np.errstate(invalid="ignore", divide="ignore"):
        for start, step, size in ((x_px[near], dx, width_px), (y_px[near], dy, height_px)):
            to_low, to_high = -start / step, (size - start) / step
            enters, leaves = np.minimum(to_low, to_high), np.maximum(to_low, to_high)
            still = step == 0
            within = (start >= 0) & (start <= size)
            first = np.maximum(first, np.where(still, np.where(within, 0.0, 2.0), enters))
            last = np.minimum(last, np.where(still, np.where(within, 1.0, -1.0), leaves))
    crosses = first < last
    kept, first, last = near[crosses], first[crosses], last[crosses]
    if not kept.size:
        return []
    # A part goes on where one segment runs to its end and the next one from its start.
    breaks = np.flatnonzero((np.diff(kept) > 1) | (last[:-1] < 1.0) | (first[1:] > 0.0)) + 1
    bounds = pairwise([0, *breaks, kept.size])
    return [
        np.r_[kept[start] + first[start], kept[start + 1 : end], kept[end - 1] + last[end - 1]]
        for start, end in bounds
    ]


def _reaches(places: Floats, size: float) -> Flags:
    """For each segment whether it may lie between 0 and a size; NaN does not."""
    start, end = places[:-1], places[1:]
    with np.errstate(invalid="ignore"):
        reaches: Flags = ((start >= 0) | (end >= 0)) & ((start <= size) | (end <= size))
    return reaches & np.isfinite(start) & np.isfinite(end)


def _touches(places: Floats, size: float) -> bool:
    """Whether anything lies between 0 and a size, or on both sides."""
    known = places[np.isfinite(places)]
    return bool(known.size and known.max() >= 0 and known.min() <= size)


def along(values: Floats, places: Floats) -> Floats:
    """Values at places along a line, as :func:`inside_runs` gives them."""
    return np.interp(places, np.arange(values.size), values)
