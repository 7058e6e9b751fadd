"""Finds the sky's edge in a photograph, and says where it is sure of it.

The looks of sky and ground are learned from the picture, and the cheapest line between them is found by
dynamic programming (``sky_cost``). The line is then moved to the very edge (``skyline_fine``). How sure a
column is comes from signs (``skyline_signs``) weighed as drawn photographs taught, whose true edge is known.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import PhotographError
from hillsight.plan.picture.marks import Trace
from hillsight.plan.picture.sky_cost import segment, small_copy
from hillsight.plan.picture.skyline_fine import fine_line
from hillsight.plan.picture.skyline_signs import sureness
from hillsight.words.quantities import per_cent

if TYPE_CHECKING:
    from hillsight.arrays import AnyArray, Flags, Floats
    from hillsight.plan.picture.sky_cost import Segmented, Small

_SMALLEST_PX = 64


#: Columns less sure than this are left out; a picture with a smaller share of sure columns has failed.
LEAST_SURE = 0.85
LEAST_SHARE = 0.2
#: A sky darker than this, of 255, is night; common practice, no source.
_NIGHT = 40.0
#: Shortest piece of line that is kept, and the gap that ends one, as shares of the picture's width.
_SHORTEST, _GAP = 0.02, 0.01
#: A found edge that is right is out by so many pixels at least, one standard deviation, and by this share
#: of the
#: picture's width; drawn photographs show half of it, real edges are less clean (no source).
_LEAST_PX, _PX_A_WIDTH = 1.0, 0.001


@dataclass(frozen=True)
class FoundSkyline:
    """The sky's edge as found in a photograph.

    x_px, y_px : (n,) one point at the middle of each column; x right, y down, 0,0 the picture's upper left
        corner
    sureness : (n,) chance, 0 to 1, that the ground's edge against the sky is there within 3 pixels in 900
    trusted : (n,) whether it is sure enough to be used
    failed : whether no skyline was found in the picture at all; nothing is trusted then
    why : what speaks against the picture, in plain words; empty where it has not failed
    """

    x_px: Floats
    y_px: Floats
    sureness: Floats
    trusted: Flags
    failed: bool
    why: str

    @property
    def trusted_share(self) -> float:
        """Share of the picture's width whose edge is trusted."""
        return float(np.mean(self.trusted))

    @property
    def give_or_take_px(self) -> float:
        """How far the trusted edge may be out, one standard deviation, pixels: more where it is less sure."""
        sure = float(np.mean(self.sureness[self.trusted])) if self.trusted.any() else 0.0
        return max(_LEAST_PX, _PX_A_WIDTH * self.x_px.size) * (1 + 4 * (1 - sure))

    def pieces(self, most_off_px: float = 0.8) -> tuple[Trace, ...]:
        """The trusted runs of the edge as traces, thinned to points between which it strays by no more."""
        columns = self.x_px.size
        at = np.flatnonzero(self.trusted)
        if not at.size:
            return ()
        ends = np.flatnonzero(np.diff(at) > max(1, _GAP * columns)) + 1
        found = []
        for run in np.split(at, ends):
            if run.size < max(2, _SHORTEST * columns):
                continue
            kept = _thinned(self.x_px[run], self.y_px[run], most_off_px)
            x_px, y_px = self.x_px[run][kept], self.y_px[run][kept]
            found.append(Trace(np.round(x_px, 2), np.round(y_px, 2), "found", round(self.give_or_take_px, 1)))
        return tuple(found)


def find_skyline(photograph_rgb: AnyArray) -> FoundSkyline:
    """Find the sky's edge in a picture, (height, width, 3) uint8, as shown.

    The same picture gives the same line. Trees, people and buildings before the skyline are no ground: where
    one is noticed, the line is not trusted. A crown or a roof with a smooth outline may not be noticed.

    Raises
    ------
    PhotographError : the picture is less than 64 pixels wide or high
    """
    rows, columns = photograph_rgb.shape[:2]
    if min(rows, columns) < _SMALLEST_PX:
        raise PhotographError(
            f"the picture is {columns} x {rows} pixels, too small to find a skyline in",
            remedy=f"Give one of {_SMALLEST_PX} x {_SMALLEST_PX} pixels or more",
        )
    small = small_copy(photograph_rgb)
    found = segment(small)
    sure = sureness(small, found)
    x_px = np.asarray(np.arange(columns) + 0.5, np.float64)
    y_px = fine_line(photograph_rgb, found.line, small.by)
    sure = np.interp(x_px, (np.arange(sure.size) + 0.5) * small.by, sure)
    inside = (y_px >= 1) & (y_px <= rows - 1)
    sure = np.where(inside, sure, 0.0)
    trusted = sure >= LEAST_SURE
    why = _against(small, found, float(np.mean(trusted)))
    if why:
        trusted = np.zeros(columns, bool)
    return FoundSkyline(x_px, np.clip(y_px, 0, rows), sure, trusted, bool(why), why)


def _against(small: Small, found: Segmented, share: float) -> str:
    """Why a picture has no skyline to be found; empty where it has."""
    rows = small.light.shape[0]
    sky = np.arange(rows)[:, None] < found.line
    if not sky.any() or np.mean(found.line <= 0.02 * rows) > 0.5:
        return "no sky is seen, or its edge lies above the picture"
    if np.mean(found.line >= 0.98 * rows) > 0.5:
        return "no ground is seen below the sky"
    if np.median(small.light[sky]) < _NIGHT:
        return "the sky is too dark to tell from the ground"
    if share < LEAST_SHARE:
        sure, needed = per_cent(share), per_cent(LEAST_SHARE)
        return f"the sky's edge is sure in {sure} of the picture's width, and {needed} are needed"
    return ""


def _thinned(x_px: Floats, y_px: Floats, most_off_px: float) -> AnyArray:
    """Which points to keep so that lines between them stray no more, (m,) (Douglas and Peucker 1973, by
    shapely)."""
    from shapely import LineString

    kept = LineString(np.column_stack([x_px, y_px])).simplify(most_off_px, preserve_topology=False)
    return np.searchsorted(x_px, np.asarray(kept.coords)[:, 0])
