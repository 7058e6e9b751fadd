"""How much is seen, where each part is seen with a probability and the parts err together.

Each target is taken to be seen if one normal variable is below a threshold, so that it has the target's
probability; two such variables are correlated as the gaps are that the two chances hang on (doubt_lines). So
one error that closes many sight lines at once, the eye's above all, is counted as one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from hillsight.kernels.compiled import compiled
from hillsight.kernels.corners import corner_posts
from hillsight.sight.doubt import Chances, Doubtful, on_terrain, targets_of
from hillsight.sight.doubt_gaps import (
    E_COLUMN,
    E_COVER_VARIANCE,
    E_DROP_SIGMA,
    E_GROUND_VARIANCE,
    E_HEIGHT_VARIANCE,
    E_PLACE_SIGMA,
    E_ROUGH_BETWEEN,
    E_ROW,
    E_TARGET_SIGMA,
    lag_covariance,
)
from hillsight.sight.doubt_lines import (
    B_BEND,
    B_COVER,
    B_EYE,
    B_EYE_DOWN,
    B_EYE_RIGHT,
    B_TARGET,
    B_TARGET_DOWN,
    B_TARGET_RIGHT,
    B_WITH_EYE,
    NEGLIGIBLE,
)

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats, Floats32
    from hillsight.ground.accuracy import ErrorModel
    from hillsight.ground.grid import Surface
    from hillsight.sight.viewing import Eye


#: Posts in doubt that the spread of an area is worked out from, and samples of a feature.
MOST_POSTS, MOST_SAMPLES = 192, 256

#: Draws of what is seen of a feature: shares are known to about 0.01, or at a glance to 0.02.
_DRAWS, _FEW_DRAWS = 4000, 1000
_SEED = 20_260_101

#: Variance of a normal variable that is not worth a draw of its own.
LEFT_OVER = 0.01

#: Roughness on different sight lines is alike within so many spacings, in proportion: a ridge that its posts
#: miss is missed by many lines.
ROUGH_TOGETHER_SPACINGS = 12.0

_LEGENDRE_NODES, _LEGENDRE_WEIGHTS = np.polynomial.legendre.leggauss(8)


@dataclass(frozen=True)
class ShareSeen:
    """How much of something is seen.

    expected : mean share, or number, that is seen
    low, high : within which it is with a probability of 95 %
    any_seen : probability that anything of it is seen; NaN where not asked for
    best : largest probability of a single part
    """

    expected: float
    low: float
    high: float
    any_seen: float
    best: float


@compiled
def _rough_between(rough: Floats32, between: float, one: Floats, other: Floats, columns: int) -> float:
    """Covariance of two weighted sums of posts by the roughness about them, alike where they are near."""
    total = 0.0
    for i in range(one.shape[0]):
        if one[i, 2] == 0.0:
            continue
        rough_m = between * rough[np.int64(one[i, 0]) * columns + np.int64(one[i, 1])]
        for j in range(other.shape[0]):
            apart = math.hypot(one[i, 0] - other[j, 0], one[i, 1] - other[j, 1])
            if other[j, 2] != 0.0 and apart < ROUGH_TOGETHER_SPACINGS:
                other_m = between * rough[np.int64(other[j, 0]) * columns + np.int64(other[j, 1])]
                total += one[i, 2] * other[j, 2] * rough_m * other_m * (1.0 - apart / ROUGH_TOGETHER_SPACINGS)
    return total


@compiled
def _between(lags_m2: Floats32, one: Floats, ones: int, other: Floats, others: int) -> float:
    """Covariance of the errors of two weighted sums of posts."""
    total = 0.0
    for i in range(ones):
        if one[i, 2] == 0.0:
            continue  # most chances hang on fewer posts than there is room for
        for j in range(others):
            if other[j, 2] == 0.0:
                continue
            row, column = np.int64(one[i, 0]), np.int64(one[i, 1])
            shared = lag_covariance(lags_m2, row, column, np.int64(other[j, 0]), np.int64(other[j, 1]))
            total += one[i, 2] * other[j, 2] * shared
    return total


@compiled
def _covariances(
    rough: Floats32,
    lags_m2: Floats32,
    numbers: Floats,
    spacing_x_m: float,
    spacing_y_m: float,
    targets: Floats,
    blame: Floats,
    blamed: Floats,
    with_eye: Floats32,
    covariances: Floats,
) -> None:
    """Covariances (n, n) of what the chances of n targets hang on."""
    n, most = targets.shape[0], blamed.shape[1]
    at_targets, counts = np.zeros((n, 4, 3)), np.zeros(n, np.int64)
    targets_with_eye, bends = np.zeros(n), np.zeros(n)
    for i in range(n):
        counts[i] = corner_posts(
            targets[i, 0], targets[i, 1], with_eye.shape[0], with_eye.shape[1], at_targets[i]
        )
        for k in range(counts[i]):
            row, column = np.int64(at_targets[i, k, 0]), np.int64(at_targets[i, k, 1])
            targets_with_eye[i] += at_targets[i, k, 2] * with_eye[row, column]
        down_m = (targets[i, 0] - numbers[E_ROW]) * spacing_y_m
        right_m = (targets[i, 1] - numbers[E_COLUMN]) * spacing_x_m
        bends[i] = numbers[E_DROP_SIGMA] * (down_m**2 + right_m**2) * blame[i, B_BEND]
    eye_variance = numbers[E_GROUND_VARIANCE] + numbers[E_HEIGHT_VARIANCE]
    station_m2, place_m2 = numbers[E_PLACE_SIGMA] ** 2, numbers[E_TARGET_SIGMA] ** 2
    for i in range(n):
        a, ours = blame[i], at_targets[i]
        for j in range(i + 1):
            b, theirs = blame[j], at_targets[j]
            total = a[B_EYE] * b[B_EYE] * eye_variance + bends[i] * bends[j]
            total += a[B_COVER] * b[B_COVER] * numbers[E_COVER_VARIANCE]
            total += a[B_TARGET] * b[B_EYE] * targets_with_eye[i]
            total += b[B_TARGET] * a[B_EYE] * targets_with_eye[j]
            total += a[B_TARGET] * b[B_TARGET] * _between(lags_m2, ours, counts[i], theirs, counts[j])
            total -= a[B_TARGET] * _between(lags_m2, ours, counts[i], blamed[j], most)
            total -= b[B_TARGET] * _between(lags_m2, theirs, counts[j], blamed[i], most)
            total -= a[B_EYE] * b[B_WITH_EYE] + b[B_EYE] * a[B_WITH_EYE]
            total += _between(lags_m2, blamed[i], most, blamed[j], most)
            if numbers[E_ROUGH_BETWEEN] > 0.0:
                total += _rough_between(
                    rough, numbers[E_ROUGH_BETWEEN], blamed[i], blamed[j], with_eye.shape[1]
                )
            total += station_m2 * (a[B_EYE_DOWN] * b[B_EYE_DOWN] + a[B_EYE_RIGHT] * b[B_EYE_RIGHT])
            total += place_m2 * (a[B_TARGET_DOWN] * b[B_TARGET_DOWN] + a[B_TARGET_RIGHT] * b[B_TARGET_RIGHT])
            covariances[i, j] = covariances[j, i] = total


def correlations(doubtful: Doubtful, targets: Floats, chances: Chances) -> Floats:
    """Correlations (n, n) of what the chances of n targets hang on; 0 with a target that hangs on nothing."""
    covariances = np.empty((len(targets), len(targets)))
    grid = doubtful.grid
    _covariances(
        doubtful.rough_m,
        doubtful.lags_m2,
        doubtful.numbers,
        grid.spacing_x_m,
        grid.spacing_y_m,
        np.ascontiguousarray(targets[:, :2]),
        chances.blame,
        chances.blamed,
        doubtful.with_eye_m2,
        covariances,
    )
    sigmas = np.sqrt(np.maximum(covariances.diagonal(), 1e-300))
    alike: Floats = np.clip(np.nan_to_num(covariances / np.outer(sigmas, sigmas)), -0.999, 0.999)
    np.fill_diagonal(alike, 1.0)
    return alike


def seen_number(
    surface: Surface,
    eye: Eye,
    target_height_m: float,
    errors: ErrorModel,
    probability: Floats32,
    *,
    asked: Flags | None = None,
) -> ShareSeen:
    """How many posts are seen, with its interval; times the area of a cell, how much ground.

    Mean and variance are those of the sum of the posts' chances, the variance from pairs of MOST_POSTS posts
    in doubt; a beta distribution between none and all that may be seen is laid through the two.

    Parameters
    ----------
    probability : (rows, columns) as ``probability_of_posts`` tells it for the same view; NaN does not count
    asked : (rows, columns) posts that count; all unless given
    """
    counted = np.isfinite(probability) if asked is None else np.isfinite(probability) & asked
    chance = probability[counted].astype(np.float64)
    expected, most = float(chance.sum()), float(np.count_nonzero(chance > NEGLIGIBLE))
    best = float(chance.max(initial=0.0))
    rows, columns = np.nonzero(counted & (probability > NEGLIGIBLE) & (probability < 1 - NEGLIGIBLE))
    if rows.size < 2:
        return ShareSeen(expected, expected, expected, math.nan, best)
    chosen = np.random.default_rng(_SEED).permutation(rows.size)[:MOST_POSTS]
    targets = np.column_stack((rows[chosen], columns[chosen], np.full(chosen.size, target_height_m)))
    doubtful = Doubtful.of(surface, eye, errors)
    chances = doubtful.chances(targets, blaming=True)
    together = _together(chances.chance, correlations(doubtful, targets, chances))
    pairs = together[~np.eye(len(together), dtype=bool)]
    variance = rows.size * float(together.diagonal().mean())
    variance += rows.size * (rows.size - 1.0) * max(float(pairs.mean()), 0.0)
    low, high = _beta_interval(expected, variance, most)
    return ShareSeen(expected, low, high, math.nan, best)


def _together(chance: Floats, alike: Floats) -> Floats:
    """Covariances of being seen, (n, n): the bivariate normal integral over the correlation."""
    at = special.ndtri(np.clip(chance, 1e-9, 1 - 1e-9))
    sums, products = at[:, None] ** 2 + at[None, :] ** 2, np.outer(at, at)
    total = np.zeros_like(alike)
    for node, weight in zip(_LEGENDRE_NODES, _LEGENDRE_WEIGHTS, strict=True):
        # The angle whose sine is the correlation, so that the integrand stays smooth up to 1 (Drezner 1978).
        angle = np.arcsin(alike) * (node + 1.0) / 2.0
        inside = np.exp(-(sums - 2.0 * np.sin(angle) * products) / (2.0 * np.cos(angle) ** 2))
        total += weight * inside
    total *= np.arcsin(alike) / 2.0 / (2.0 * math.pi)
    np.fill_diagonal(total, chance * (1.0 - chance))
    return total


def _beta_interval(mean: float, variance: float, most: float) -> tuple[float, float]:
    """95 % interval of a beta distribution on 0 to ``most``."""
    if most <= 0.0:
        return mean, mean
    share, spread = mean / most, variance / most**2
    spread = min(spread, 0.95 * share * (1.0 - share))
    if spread <= 0.0:
        return mean, mean
    total = share * (1.0 - share) / spread - 1.0
    low, high = special.betaincinv(share * total, (1.0 - share) * total, [0.025, 0.975])
    return float(low * most), float(high * most)


def seen_of_feature(
    doubtful: Doubtful, rows: Floats, columns: Floats, target_heights_m: Floats | float, weights: Floats
) -> ShareSeen:
    """How much of a map feature is seen, from samples of it; its place errs as a whole.

    Parameters
    ----------
    doubtful : of map features (``feature=True``)
    rows, columns : (n,) fractional, samples
    target_heights_m : (n,) or one, metres above the ground
    weights : (n,) share of the feature each sample stands for; those off the terrain or unknown do not count

    Returns
    -------
    shares of the known samples' weight; all NaN if no sample is known. Of more than MOST_SAMPLES samples as
    many are taken, evenly.
    """
    targets, weights = targets_of(rows, columns, target_heights_m), np.asarray(weights, np.float64)
    inside = on_terrain(doubtful.grid, targets)
    targets, weights = targets[inside], weights[inside]
    if len(targets) > MOST_SAMPLES:
        taken = np.linspace(0, len(targets) - 1, MOST_SAMPLES).round().astype(int)
        targets, weights = targets[taken], weights[taken]
    chances = doubtful.chances(targets, blaming=True)
    known = np.isfinite(chances.chance)
    if not known.any():
        return ShareSeen(*[math.nan] * 5)
    targets, weights, chances = targets[known], weights[known], chances.some(known)
    chance = chances.chance
    weights = weights / weights.sum() if weights.sum() > 0 else np.full(weights.size, 1 / weights.size)
    seen = np.broadcast_to(chance > 0.5, (_DRAWS, chance.size)).copy()
    doubt = (chance > 0) & (chance < 1)
    if doubt.any():
        alike = correlations(doubtful, targets[doubt], chances.some(doubt))
        values, vectors = np.linalg.eigh(alike)
        normals = np.random.default_rng(_SEED).standard_normal((_DRAWS, len(alike)))
        variables = normals @ (vectors * np.sqrt(np.maximum(values, 0.0))).T
        variables /= np.sqrt(np.maximum((vectors**2 * np.maximum(values, 0.0)).sum(axis=1), 1e-12))
        seen[:, doubt] = variables < special.ndtri(chance[doubt])
    shares = seen @ weights
    low, high = np.quantile(shares, [0.025, 0.975])
    any_seen = max(float(seen.any(axis=1).mean()), float(chance.max()))
    return ShareSeen(float(chance @ weights), float(low), float(high), any_seen, float(chance.max()))


def any_of_samples(doubtful: Doubtful, targets: Floats, chances: Chances) -> float:
    """Probability that any target is seen, to 0.02 that of ``seen_of_feature``; NaN if none is known.

    Parameters
    ----------
    targets, chances : (n, 3) and what ``Doubtful.chances`` says of them with ``blaming``; n <= MOST_SAMPLES
    """
    known = np.isfinite(chances.chance)
    if not known.any():
        return math.nan
    best = float(chances.chance[known].max())
    doubt = np.flatnonzero(known & (chances.chance > 0))
    if best in (0.0, 1.0) or doubt.size == 1:
        return best
    doubt = doubt[np.argsort(-chances.chance[doubt], kind="stable")]
    alike = correlations(doubtful, targets[doubt], chances.some(doubt))
    return max(_any_below(alike, special.ndtri(chances.chance[doubt]), _few_normals()), best)


@lru_cache(maxsize=1)
def _few_normals() -> Floats:
    """Draws of independent normal variables, each with its mirror image: (draws, MOST_SAMPLES)."""
    half = np.random.default_rng(_SEED).standard_normal((_FEW_DRAWS // 2, MOST_SAMPLES))
    return np.concatenate((half, -half))


@compiled
def _any_below(alike: Floats, limits: Floats, normals: Floats) -> float:
    """Share of draws in which any of n correlated normal variables lies below its limit, the likeliest first.

    The variables are made of the independent ones by Cholesky's triangle with pivots (Higham 1990, from
    memory): samples that stand close together are all but one variable, and what is left over of those
    already made up to LEFT_OVER is rounding. A draw stops at the first that is below.
    """
    n = limits.size
    triangle, left, rank = np.zeros((n, n)), np.ones(n), 0
    while rank < n:
        pivot = int(np.argmax(left))
        if left[pivot] < LEFT_OVER:
            break
        root = math.sqrt(left[pivot])
        for i in range(n):
            if left[i] > 0.0:
                total = alike[i, pivot]
                for k in range(rank):
                    total -= triangle[i, k] * triangle[pivot, k]
                triangle[i, rank] = total / root
                left[i] -= triangle[i, rank] ** 2
        left[pivot] = 0.0
        rank += 1
    for i in range(n):
        length = math.sqrt((triangle[i, :rank] ** 2).sum())
        for k in range(rank):
            triangle[i, k] /= length
    found = 0
    for draw in range(normals.shape[0]):
        for i in range(n):
            value = 0.0
            for k in range(rank):
                value += triangle[i, k] * normals[draw, k]
            if value < limits[i]:
                found += 1
                break
    share: float = found / normals.shape[0]
    return share
