"""The first look at very many places: in which few directions does each fit, and how well about?

Two steps, each looking closer at less. First every direction in whole degrees: the trace, brought to whole
degrees for a few widths of the picture, is held against the sky's edge. Tilt and roll are fitted, and
samples weighed anew by how far they are out (iteratively reweighted least squares, Student's t), so that
trees that were traced pull little. That is a few sums, and runs in vectors. Then the best few directions by
``skyline_match``'s rough score.
"""

from __future__ import annotations

import math
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

#: What whole degrees of heading leave a sloping sky's edge out by, degrees.
_TURN_DEG = 0.15

#: Places that a thread looks at before it looks up.
_AT_A_TIME = 64

#: Samples of the trace that are held against every direction, at most.
_SAMPLES = 30

#: How far the ground that stands against the sky errs, as a share of the spacing between places. The spot
#: within the cell is left out: it shifts the whole sky's edge together, and taken for so much error at each
#: sample it lets steep ground close by fit any trace. Settled on the western Highlands.
_LIFT = 0.03


@dataclass(frozen=True)
class FirstLook:
    """How well places fit, roughly: (p, DIRECTIONS) each, best first.

    heading_grid_deg : whole degrees; score : rather like a log likelihood
    """

    heading_grid_deg: Floats
    score: Floats


@dataclass(frozen=True)
class _Samples:
    """The trace at whole degrees for one width.

    offset : (n,) from the heading; angle_deg : (n,); leans : (n, 2) by tilt and roll
    base : cost of the width
    """

    offset: Integers
    angle_deg: Floats32
    leans: Floats32
    base: float


@dataclass(frozen=True)
class Glimpse:
    """A trace made ready to be held against very many places."""

    picture: PictureSkyline
    widths: tuple[_Samples, ...]

    @classmethod
    def of(cls, picture: PictureSkyline) -> Glimpse:
        """Make a trace ready."""
        widths = tuple(_whole_degrees(picture, w) for w in _WIDTHS)
        return cls(picture, tuple(w for w in widths if w.offset.size >= 6))


def _whole_degrees(picture: PictureSkyline, spreads: float) -> _Samples:
    """The trace at whole degrees from the heading, if the focal length is longer by so many spreads."""
    longer = picture.focal_share * spreads
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
    if offset.size > _SAMPLES:
        kept = np.unique(np.linspace(0, offset.size - 1, _SAMPLES).round().astype(np.int64))
        offset, table = offset[kept], table[kept]
    leans = np.ascontiguousarray(table[:, 1:], np.float32)
    return _Samples(offset, table[:, 0].astype(np.float32), leans, 0.5 * spreads**2)


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

    errors = glimpse.picture.errors
    spread_deg = float(np.hypot(errors.white_deg, errors.alike_deg))
    priors = np.array([errors.tilt_deg, errors.roll_deg], np.float32) ** -2

    def some(first: int, last: int) -> None:
        part = slice(first, last)
        cost = np.full((last - first, 360), np.inf, np.float32)
        with np.errstate(invalid="ignore"):
            lift = np.degrees(np.arctan(_LIFT * apart_m / seen.distance_m[part]))
        off_by = np.sqrt(lift**2 + spread_deg**2 + _TURN_DEG**2).astype(np.float32)
        for width in glimpse.widths:
            _robust(
                seen.angle_deg[part],
                off_by,
                width.offset,
                width.angle_deg,
                width.leans,
                priors,
                width.base,
                cost,
            )
        nodes = np.zeros((last - first, DIRECTIONS))
        _lowest(cost, _APART_DEG, nodes)
        skies = np.empty((last - first, 2, 360))
        skies[:, 0] = seen.angle_deg[part]
        skies[:, 1] = lift
        rough = screened(glimpse.picture, skies, nodes)
        rough[np.isnan(seen.angle_deg[part]).all(axis=1)] = -np.inf
        order = np.argsort(-rough, axis=1, kind="stable")
        heading[part] = np.take_along_axis(nodes, order, axis=1)
        score[part] = np.take_along_axis(rough, order, axis=1)

    in_slices(some, count, _AT_A_TIME)
    return FirstLook(heading, score)


@compiled
def _robust(
    angle_deg: Floats32,
    off_by_deg: Floats32,
    offset: Integers,
    trace_deg: Floats32,
    leans: Floats32,
    priors: Floats32,
    base: float,
    cost: Floats32,
) -> None:
    """Lower ``cost``, (p, 360), to what the best tilt and roll leave, by whole degrees of heading.

    Samples are weighed anew by how far they are out (iteratively reweighted least squares, Student's t).

    Parameters
    ----------
    angle_deg, off_by_deg : (p, 360) of the sky's edge, and how far it may err
    offset, trace_deg : (n,); leans : (n, 2) degrees per degree of tilt and roll
    priors : (2,) precision of tilt and roll; base : added to every cost
    """
    one = np.float32(1.0)
    twice, sure, worth = np.empty(720, np.float32), np.empty(720, np.float32), np.empty(360, np.float32)
    tilt, roll = np.empty(360, np.float32), np.empty(360, np.float32)
    a, b, c = np.empty(360, np.float32), np.empty(360, np.float32), np.empty(360, np.float32)
    d, e = np.empty(360, np.float32), np.empty(360, np.float32)
    tails = np.array([1e-6, 0.11, 0.33], np.float32)
    for p in range(angle_deg.shape[0]):
        for h in range(360):
            angle, precise = angle_deg[p, h], one / (off_by_deg[p, h] * off_by_deg[p, h])
            if angle != angle or precise != precise:
                angle, precise = np.float32(0.0), np.float32(1e-6)
            twice[h], twice[h + 360] = angle, angle
            sure[h], sure[h + 360] = precise, precise
            tilt[h], roll[h] = 0.0, 0.0
        for k in range(tails.size):
            tail = tails[k]
            for h in range(360):
                a[h], b[h], c[h], d[h], e[h] = priors[0], 0.0, priors[1], 0.0, 0.0
            for i in range(offset.size):
                start = offset[i] % 360
                value, first, second = trace_deg[i], leans[i, 0], leans[i, 1]
                for h in range(360):
                    off = value - twice[start + h]
                    left = off + first * tilt[h] + second * roll[h]
                    precise = sure[start + h]
                    weight = precise / (one + precise * left * left * tail)
                    a[h] += weight * first * first
                    b[h] += weight * first * second
                    c[h] += weight * second * second
                    d[h] -= weight * first * off
                    e[h] -= weight * second * off
            for h in range(360):
                whole = one / (a[h] * c[h] - b[h] * b[h])
                tilt[h] = (c[h] * d[h] - b[h] * e[h]) * whole
                roll[h] = (a[h] * e[h] - b[h] * d[h]) * whole
        for h in range(360):
            d[h] = 0.5 * (priors[0] * tilt[h] * tilt[h] + priors[1] * roll[h] * roll[h]) + base
            e[h], worth[h] = 1.0, 1.0
        for i in range(offset.size):
            start = offset[i] % 360
            value, first, second = trace_deg[i], leans[i, 0], leans[i, 1]
            for h in range(360):
                left = value - twice[start + h] + first * tilt[h] + second * roll[h]
                precise = sure[start + h]
                e[h] *= one + precise * left * left * np.float32(0.33)
                worth[h] *= precise
            # Logarithms are dear: taken of a few factors together, so few that none runs over.
            if i % 6 == 5 or i == offset.size - 1:
                for h in range(360):
                    d[h] += math.log(e[h]) - 0.25 * math.log(worth[h])
                    e[h], worth[h] = 1.0, 1.0
        for h in range(360):
            if d[h] < cost[p, h]:
                cost[p, h] = d[h]


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
