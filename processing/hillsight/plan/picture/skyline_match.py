"""How well the skyline traced on a photograph fits what a place sees, for every direction it may look in.

What is told is the log likelihood of the trace, the camera's tilt, roll and focal length, its heading within
each bin and the place within its spread summed over. One definition serves a verdict and a search: ``match``
weighs a place closely where ``screened`` says that it may fit; ``screened`` alone is for very many places.

How a trace errs: by a part that is another at every sample and one alike along some degrees; where trees,
people, cloud or snow stand before the sky's edge it tells nothing, and costs little. How the ground errs is
told with each place: the nearer the ground against the sky, the less its angle is known.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.threads import in_slices
from hillsight.plan.picture import match_kernel as kernel
from hillsight.plan.picture.holding import ROLL_DEG, TILT_DEG
from hillsight.plan.picture.screen_kernel import screen_headings

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Floats, Integers

#: Samples of a trace stand as far apart as its points, but within these, degrees: nearer ones tell the same
#: again.
SAMPLE_DEG = (0.5, 1.0)

#: Directions tried lie so far apart, degrees; about each, the fit is taken for a parabola.
NODE_DEG = 1.0

#: Of the directions tried those are fitted closely whose rough score is within so much of the best, and no
#: more than so many.
_WITHIN, _MOST_NODES, _LEAST_NODES = 25.0, 16, 4

#: Samples that the rough score looks at, at most: they lie so far apart at least, degrees.
_SCREEN_DEG = 2.0

#: Where the sky's edge stands by a guess, degrees, to begin from.
_USUAL_DEG = 3.0

#: Places that a thread fits before it looks up.
_AT_A_TIME = 16


@dataclass(frozen=True)
class PictureErrors:
    """How traces, marks and those who hold a camera err; one standard deviation each.

    white_deg, alike_deg, alike_over_deg : of a trace, at every sample anew, and alike along so many degrees
    hidden, hidden_over_deg : share of a sky's edge that something else hides, and along how much at a time
    ground_over_m : ground that stands against the sky errs alike over so much
    tilt_deg, roll_deg : of a camera in the hand
    wrong_top : chance that a mark is on the wrong thing; click_deg : of a mark
    worth : what a log likelihood is worth of itself, as errors are stranger than any model of them; settled
        on the western Highlands (docs/studies)

    White and alike 0.22 degrees each make 0.3 in all. Tilt and roll: see ``holding``.
    """

    white_deg: float = 0.22
    alike_deg: float = 0.22
    alike_over_deg: float = 5.0
    hidden: float = 0.2
    hidden_over_deg: float = 6.0
    ground_over_m: float = 150.0
    tilt_deg: float = TILT_DEG
    roll_deg: float = ROLL_DEG
    wrong_top: float = 0.1
    click_deg: float = 0.05
    worth: float = 0.6

    def figures(self, focal_share: float) -> Floats:
        """As the kernel takes them, with the spread of the focal length as a share."""
        found = np.zeros(kernel.FIGURES)
        found[kernel.WHITE], found[kernel.ALIKE] = self.white_deg, self.alike_deg
        found[kernel.ALIKE_OVER] = self.alike_over_deg
        found[kernel.HIDDEN], found[kernel.HIDDEN_OVER] = self.hidden, self.hidden_over_deg
        found[kernel.GROUND_OVER_M] = self.ground_over_m
        found[kernel.TILT_SPREAD], found[kernel.ROLL_SPREAD] = self.tilt_deg, self.roll_deg
        found[kernel.FOCAL_SPREAD] = focal_share
        found[kernel.WRONG_TOP], found[kernel.CLICK] = self.wrong_top, self.click_deg
        return found


@dataclass(frozen=True)
class PictureSkyline:
    """What is measured on a photograph, in shares of the told focal length from the middle of the picture.

    trace : (n, 3) right, up, and degrees from the sample before, -1 where a piece begins
    marks : (m, 2) right, up
    focal_share : one standard deviation of the focal length, as a share of that told
    """

    trace: Floats
    focal_share: float
    errors: PictureErrors = field(default_factory=PictureErrors)
    marks: Floats = field(default_factory=lambda: np.zeros((0, 2)))

    @classmethod
    def of_pieces(
        cls,
        pieces: Sequence[tuple[Floats, Floats]],
        focal_share: float,
        errors: PictureErrors | None = None,
        marks: Floats | None = None,
    ) -> PictureSkyline:
        """Sample the pieces of a trace evenly, from left to right.

        Parameters
        ----------
        pieces : right and up of the middle, (k,) each, as shares of the focal length (radial term taken out)
        """
        points = sum(len(right) for right, _ in pieces)
        wide_deg = sum(float(np.ptp(np.degrees(np.arctan(right)))) for right, _ in pieces if len(right))
        step_deg = float(np.clip(wide_deg / max(points - 1, 1), *SAMPLE_DEG))
        found = [sampled for right, up in pieces if len(sampled := _sampled(right, up, step_deg))]
        return cls(
            np.concatenate(found) if found else np.zeros((0, 3)),
            focal_share,
            errors or PictureErrors(),
            np.zeros((0, 2)) if marks is None else np.asarray(marks, np.float64),
        )

    @property
    def half_width_deg(self) -> float:
        """How far from the middle the trace and the marks reach, degrees."""
        across = np.concatenate((self.trace[:, 0], self.marks[:, 0]))
        return float(np.degrees(np.arctan(np.abs(across).max(initial=0.0))))


def _sampled(right: Floats, up: Floats, step_deg: float) -> Floats:
    """One piece at even steps, (n, 3)."""
    order = np.argsort(right, kind="stable")
    across_deg = np.degrees(np.arctan(np.asarray(right, np.float64)[order]))
    # Where it was traced twice over one place, in between.
    places, which = np.unique(across_deg, return_inverse=True)
    heights = np.bincount(which, np.asarray(up, np.float64)[order]) / np.bincount(which)
    span = float(np.ptp(places)) if places.size else 0.0
    if places.size < 2 or span < step_deg / 2:
        return np.zeros((0, 3))
    count = max(int(span / step_deg), 1)
    spare = (span - (count - 1) * step_deg) / 2
    at = places[0] + spare + step_deg * np.arange(count)
    found = np.column_stack(
        (np.tan(np.radians(at)), np.interp(at, places, heights), np.full(count, step_deg))
    )
    found[0, 2] = -1.0
    return found


@dataclass(frozen=True)
class Matched:
    """How well places fit.

    log_likelihood : (p, h) natural logarithms, per degree of every sample, by heading bin
    fits : (p, k) the best fit of each place: see the properties
    """

    log_likelihood: Floats
    fits: Floats

    @property
    def heading_grid_deg(self) -> Floats:
        """(p,) clockwise from grid north."""
        return self.fits[:, 0] % 360.0

    @property
    def tilt_deg(self) -> Floats:
        """(p,) up positive."""
        return self.fits[:, 2]

    @property
    def roll_deg(self) -> Floats:
        """(p,) clockwise as seen from behind."""
        return self.fits[:, 3]

    @property
    def focal_share(self) -> Floats:
        """(p,) focal length over that told."""
        return np.exp(self.fits[:, 4])

    @property
    def beside(self) -> Floats:
        """(p, 3) how many spreads the place is off, in each of its ways."""
        return self.fits[:, 5:8]

    @property
    def spread(self) -> Floats:
        """(p, 4) one standard deviation: heading, tilt, roll in degrees, and the focal length's share."""
        return self.fits[:, 8:12]

    @property
    def misfit_deg(self) -> Floats:
        """(p,) root mean square of what the trace is off where the sky's edge is in view."""
        return self.fits[:, 15]

    @property
    def hidden(self) -> Floats:
        """(p,) share of the trace that lies on something before the sky's edge."""
        return self.fits[:, 16]


def match(
    picture: PictureSkyline,
    skies: Floats,
    heading_grid_deg: Floats,
    bin_deg: float = 2.0,
    seen_marks: Floats | None = None,
) -> Matched:
    """Fit places closely.

    Parameters
    ----------
    skies : (p, 6, b) by grid bearing, evenly all round from north: apparent vertical angle of the
        sky's edge (NaN unknown), one standard deviation of the ground's error there, both degrees, distance
        of the ground that stands there in metres (NaN unknown: errors all alike), and the degrees that one
        standard deviation of the place adds to the angle, in each of three ways (east, north, up)
    heading_grid_deg : (h,) middles of bins bin_deg wide
    seen_marks : (p, m, 12) see ``marks_match``; none where no landmark is marked
    """
    skies = np.ascontiguousarray(skies, np.float64)
    count, n_bearings = skies.shape[0], skies.shape[2]
    marks = np.ascontiguousarray(picture.marks, np.float64)
    trace = np.ascontiguousarray(picture.trace, np.float64)
    seen = np.zeros((count, 0, 12)) if seen_marks is None else np.ascontiguousarray(seen_marks, np.float64)
    if seen.shape[1] != len(marks):
        raise ValueError(f"{len(marks)} marks, and {seen.shape[1]} of them are told of at each place")
    figures = picture.errors.figures(picture.focal_share)
    per_bin = max(round(bin_deg / NODE_DEG), 1)
    half_deg = bin_deg / per_bin / 2
    beside = (np.arange(per_bin) - (per_bin - 1) / 2) * 2 * half_deg
    nodes = (np.asarray(heading_grid_deg, np.float64)[:, None] + beside).ravel()
    score, starts = _screened(picture, skies, nodes)
    logs = np.empty((count, nodes.size))
    fits = np.zeros((count, kernel.FOUND))
    step_deg = 360.0 / n_bearings

    def some(first: int, last: int) -> None:
        for k in range(first, last):
            if len(trace):
                kernel.weigh_headings(
                    nodes, starts[k], trace, marks, step_deg, skies[k], seen[k], figures, score[k]
                )
            close = _close(score[k], len(trace) > 0)
            found = np.empty((close.size, kernel.FOUND))
            kernel.fit_headings(
                nodes[close],
                starts[k, close],
                half_deg,
                trace,
                marks,
                step_deg,
                skies[k],
                seen[k],
                figures,
                found,
            )
            best = int(np.argmax(found[:, 0]))
            # Those that are not looked at closely are no better than the worst of those that are.
            logs[k] = found[:, 0].min() + np.minimum(score[k] - score[k, close].min(), 0.0)
            logs[k, close] = found[:, 0]
            fits[k] = found[best]
            fits[k, 0] = nodes[close[best]] + found[best, 1]

    in_slices(some, count, _AT_A_TIME)
    binned = logs.reshape(count, -1, per_bin)
    most = binned.max(axis=2, keepdims=True)
    log_likelihood = most[:, :, 0] + np.log(np.exp(binned - most).mean(axis=2))
    return Matched(picture.errors.worth * log_likelihood, fits)


def screened(
    picture: PictureSkyline, skies: Floats, heading_grid_deg: Floats, sample_deg: float = 2.0
) -> Floats:
    """Rough score of places, (p, h): like a log likelihood up to a constant, for very many of them.

    Parameters
    ----------
    skies : (p, 2 or more, b): see ``match``
    heading_grid_deg : (h,) tried at all places, or (p, h) at each; the fit may lie a degree beside
    """
    return _screened(
        picture, np.ascontiguousarray(skies, np.float64), np.asarray(heading_grid_deg, np.float64), sample_deg
    )[0]


def _screened(
    picture: PictureSkyline, skies: Floats, nodes_deg: Floats, sample_deg: float = _SCREEN_DEG
) -> tuple[Floats, Floats]:
    """Rough scores, (p, h), and where a fit begins, (p, h, 4)."""
    step = picture.trace[picture.trace[:, 2] > 0.0, 2]
    every = max(round(sample_deg / float(step[0])), 1) if step.size else 1
    trace = picture.trace[every // 2 :: every]
    count = skies.shape[0]
    nodes_deg = np.broadcast_to(nodes_deg, (count, nodes_deg.shape[-1]))
    score = np.zeros(nodes_deg.shape)
    starts = np.zeros((*nodes_deg.shape, 4))
    if not len(trace):
        return score, starts
    guess_deg = guessed_tilt_deg(trace)
    rays = np.ascontiguousarray(trace_rays(trace, guess_deg))
    errors = picture.errors
    priors = np.array([errors.tilt_deg, errors.roll_deg, max(picture.focal_share, 1e-6)])
    spread_deg = float(np.hypot(errors.white_deg, errors.alike_deg))
    step_deg = 360.0 / skies.shape[2]

    def some(first: int, last: int) -> None:
        for k in range(first, last):
            screen_headings(nodes_deg[k], rays, spread_deg, priors, step_deg, skies[k], score[k], starts[k])

    in_slices(some, count, _AT_A_TIME)
    starts[..., 1] += guess_deg
    return score, starts


def guessed_tilt_deg(trace: Floats) -> float:
    """A camera's tilt if its trace, (n, 3), lies where the sky's edge usually does."""
    return _USUAL_DEG - float(np.degrees(np.median(np.arctan(trace[:, 1]))))


def trace_rays(trace: Floats, tilt_deg: float) -> Floats:
    """Directions of samples for a level camera of some tilt, and their derivatives, (n, 8), degrees."""
    t = np.radians(tilt_deg)
    x, y = trace[:, 0], trace[:, 1]
    f, z = np.cos(t) - y * np.sin(t), np.sin(t) + y * np.cos(t)
    level2 = x**2 + f**2
    level, whole2 = np.sqrt(level2), level2 + z**2
    found = [np.degrees(np.arctan2(x, f)), np.degrees(np.arctan2(z, level))]
    ways = [
        (0.0 * x, -z, f, 1.0),
        (y, x * np.sin(t), -x * np.cos(t), 1.0),
        (-x, y * np.sin(t), -y * np.cos(t), 180.0 / np.pi),
    ]
    for dx, df, dz, unit in ways:
        found.append((f * dx - x * df) / level2 * unit)
        found.append((level * dz - z * (x * dx + f * df) / level) / whole2 * unit)
    return np.stack(found, axis=1)


def _close(score: Floats, traced: bool) -> Integers:
    """Which of the directions tried are fitted closely, rising."""
    if not traced:
        return np.arange(score.size)
    order = np.argsort(-score, kind="stable")
    kept = int(np.count_nonzero(score >= score[order[0]] - _WITHIN))
    return np.sort(order[: min(max(kept, _LEAST_NODES), _MOST_NODES)])
