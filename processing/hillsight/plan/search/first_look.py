"""The first look at very many places: in which few directions does each fit, and how well about?

Two steps, each looking closer at less. First every direction in whole degrees: the trace, brought to whole
degrees for a few widths of the picture, is held against the sky's edge. What tilt and roll take up is put
aside by projection (least squares), and what is far out counts no more than so much. That is a few sums, and
runs in vectors. Then the best few directions by ``skyline_match``'s rough score.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled
from hillsight.kernels.threads import in_slices
from hillsight.plan.picture.skyline_match import guessed_tilt_deg, screened, trace_rays

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Floats32, Integers
    from hillsight.plan.picture.skyline_match import PictureSkyline
    from hillsight.sight.sky_rounds import SkyRounds

#: Directions of each place that are looked at again, and how far they lie apart at least, degrees.
DIRECTIONS, _APART_DEG = 12, 3

#: Widths tried, in spreads of the focal length.
_WIDTHS = np.array([0.0, -0.7, 0.7, -1.5, 1.5])

#: What is farther out than this counts no more: a tree was traced, or the ground errs. Degrees.
_MOST_OFF_DEG = 1.2

#: Places that a thread looks at before it looks up.
_AT_A_TIME = 64

#: A place's spot within its cell and the ground's errors lift the sky's edge by about such a share of the
#: spacing between places, over the distance of the ground that stands there.
_LIFT = 0.16


@dataclass(frozen=True)
class FirstLook:
    """How well places fit, roughly: (p, DIRECTIONS) each, best first.

    heading_grid_deg : whole degrees; score : rather like a log likelihood
    """

    heading_grid_deg: Floats
    score: Floats


@dataclass(frozen=True)
class _Samples:
    """The trace at whole degrees for one width: (n,) offsets from the heading, (n,) angles, (n, 2) basis."""

    offset: Integers
    angle_deg: Floats32
    basis: Floats32


@dataclass(frozen=True)
class Glimpse:
    """A trace made ready to be held against very many places."""

    picture: PictureSkyline
    widths: tuple[_Samples, ...]

    @classmethod
    def of(cls, picture: PictureSkyline) -> Glimpse:
        """Make a trace ready."""
        widths = tuple(_whole_degrees(picture, picture.focal_share * w) for w in _WIDTHS)
        return cls(picture, tuple(w for w in widths if w.offset.size >= 6))


def _whole_degrees(picture: PictureSkyline, longer: float) -> _Samples:
    """The trace as it lies if the focal length is longer by a share, at whole degrees from the heading."""
    scaled = picture.trace * np.array([np.exp(-longer), np.exp(-longer), 1.0])
    rays = trace_rays(scaled, guessed_tilt_deg(picture.trace))
    begins = np.flatnonzero(picture.trace[:, 2] < 0)
    found: dict[int, tuple[float, float, float]] = {}
    for first, last in zip(begins, [*begins[1:], len(rays)], strict=True):
        piece = rays[first:last]
        piece = piece[np.argsort(piece[:, 0], kind="stable")]
        for at in range(int(np.ceil(piece[0, 0])), int(np.floor(piece[-1, 0])) + 1):
            found[at] = tuple(float(np.interp(at, piece[:, 0], piece[:, k])) for k in (1, 3, 5))  # type: ignore[assignment]
    offset = np.array(sorted(found), np.int64)
    table = np.array([found[int(at)] for at in offset]).reshape(-1, 3)
    basis = np.linalg.qr(table[:, 1:])[0] if offset.size >= 2 else np.zeros((offset.size, 2))
    return _Samples(offset, table[:, 0].astype(np.float32), np.ascontiguousarray(basis, np.float32))


def first_look(glimpse: Glimpse, seen: SkyRounds, apart_m: float) -> FirstLook:
    """Look at places whose sky's edge is known every degree.

    Parameters
    ----------
    seen : (p, 360) every degree from grid north
    apart_m : between places
    """
    count = seen.angle_deg.shape[0]
    heading = np.zeros((count, DIRECTIONS))
    score = np.full((count, DIRECTIONS), -np.inf)

    def some(first: int, last: int) -> None:
        part = slice(first, last)
        cost = np.full((last - first, 360), np.inf, np.float32)
        for width in glimpse.widths:
            _least_squares(
                seen.angle_deg[part], width.offset, width.angle_deg, width.basis, _MOST_OFF_DEG, cost
            )
        nodes = np.zeros((last - first, DIRECTIONS))
        _lowest(cost, _APART_DEG, nodes)
        skies = np.empty((last - first, 2, 360))
        skies[:, 0] = seen.angle_deg[part]
        with np.errstate(invalid="ignore"):
            skies[:, 1] = np.degrees(np.arctan(_LIFT * apart_m / seen.distance_m[part]))
        rough = screened(glimpse.picture, skies, nodes)
        rough[np.isnan(seen.angle_deg[part]).all(axis=1)] = -np.inf
        order = np.argsort(-rough, axis=1, kind="stable")
        heading[part] = np.take_along_axis(nodes, order, axis=1)
        score[part] = np.take_along_axis(rough, order, axis=1)

    in_slices(some, count, _AT_A_TIME)
    return FirstLook(heading, score)


@compiled
def _least_squares(
    angle_deg: Floats32,
    offset: Integers,
    trace_deg: Floats32,
    basis: Floats32,
    most_off_deg: float,
    cost: Floats32,
) -> None:
    """Lower ``cost``, (p, 360), to the mean square that tilt and roll leave, by whole degrees of heading.

    angle_deg : (p, 360); offset, trace_deg : (n,); basis : (n, 2) orthonormal
    """
    n, most = np.float32(offset.size), np.float32(most_off_deg * most_off_deg)
    twice = np.empty(720, np.float32)
    squares, one, other = np.empty(360, np.float32), np.empty(360, np.float32), np.empty(360, np.float32)
    for p in range(angle_deg.shape[0]):
        for h in range(360):
            twice[h] = angle_deg[p, h]
            twice[h + 360] = angle_deg[p, h]
            squares[h], one[h], other[h] = 0.0, 0.0, 0.0
        for i in range(offset.size):
            start = offset[i] % 360
            value, first, second = trace_deg[i], basis[i, 0], basis[i, 1]
            for h in range(360):
                off = value - twice[start + h]
                one[h] += first * off
                other[h] += second * off
        for i in range(offset.size):
            start = offset[i] % 360
            value, first, second = trace_deg[i], basis[i, 0], basis[i, 1]
            for h in range(360):
                off = value - twice[start + h] - first * one[h] - second * other[h]
                squares[h] += min(off * off, most)
        for h in range(360):
            # Where no ground is known nothing is below this.
            if squares[h] / n < cost[p, h]:
                cost[p, h] = squares[h] / n


@compiled
def _lowest(cost: Floats32, apart: int, nodes: Floats) -> None:
    """The headings of least cost, (p, k) whole degrees; ``cost``, (p, 360), is spoilt."""
    for p in range(cost.shape[0]):
        for k in range(nodes.shape[1]):
            best = 0
            for h in range(1, 360):
                if cost[p, h] < cost[p, best]:
                    best = h
            nodes[p, k] = best
            for beside in range(1 - apart, apart):
                cost[p, (best + beside) % 360] = np.inf
