"""What the sky of one picture looks like, and what its ground: mixtures of normal densities learned from
it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from hillsight.arrays import AnyArray, Floats

_ROUNDS = 8
_SAMPLE = 5_000


@dataclass(frozen=True)
class Mixture:
    """Normal densities with full covariances.

    share : (k,); mean : (k, d); whitening : (k, d, d), lower triangular, so that |W (x - m)| is the distance
    """

    share: Floats
    mean: Floats
    whitening: Floats

    def log_density(self, values: Floats) -> Floats:
        """Of (n, d) values, (n,)."""
        return _log_sum(self._parts(values))

    def _parts(self, values: Floats) -> Floats:
        parts = np.empty((len(self.share), len(values)), values.dtype)
        for k, (share, mean, whitening) in enumerate(zip(self.share, self.mean, self.whitening, strict=True)):
            away = (values - mean.astype(values.dtype)) @ whitening.T.astype(values.dtype)
            scale = np.log(share) + np.log(np.diag(whitening)).sum() - 0.5 * len(mean) * np.log(2 * np.pi)
            parts[k] = scale - 0.5 * np.einsum("nd,nd->n", away, away)
        return parts


def _log_sum(parts: Floats) -> Floats:
    top = parts.max(axis=0)
    return top + np.log(np.exp(parts - top).sum(axis=0))


def learned(values: Floats, count: int, rng: np.random.Generator, floor: float) -> Mixture:
    """A mixture of ``count`` densities fitted to (n, d) values by expectation and maximisation.

    floor : least standard deviation along each axis, in the units of the values
    """
    if len(values) > _SAMPLE:
        values = values[rng.choice(len(values), _SAMPLE, replace=False)]
    values = np.asarray(values, np.float64)
    count = max(1, min(count, len(values) // 20))
    nearest = _seeds(values, count, rng)
    weight = (nearest[None, :] == np.arange(count)[:, None]).astype(np.float64)
    least = floor**2 * np.eye(values.shape[1])
    mixture = _maximised(values, weight, least)
    for _ in range(_ROUNDS):
        parts = mixture._parts(values)
        mixture = _maximised(values, np.exp(parts - _log_sum(parts)), least)
    return mixture


def _seeds(values: Floats, count: int, rng: np.random.Generator) -> AnyArray:
    """Which of ``count`` spread values lies nearest to each, (n,)."""
    chosen = [int(rng.integers(len(values)))]
    away = np.full(len(values), np.inf)
    nearest = np.zeros(len(values), np.int64)
    for k in range(count):
        gap = ((values - values[chosen[k]]) ** 2).sum(axis=1)
        nearest[gap < away] = k
        away = np.minimum(away, gap)
        chosen.append(int(rng.choice(len(values), p=away / max(away.sum(), 1e-9))) if away.sum() > 0 else 0)
    return nearest


def _maximised(values: Floats, weight: Floats, least: Floats) -> Mixture:
    total = weight.sum(axis=1) + 1e-3
    mean = (weight @ values + 1e-3 * values.mean(axis=0)) / total[:, None]
    whitening = []
    for k in range(len(total)):
        away = values - mean[k]
        spread = (weight[k][:, None] * away).T @ away / total[k] + least
        whitening.append(np.linalg.inv(np.linalg.cholesky(spread)))
    return Mixture(total / total.sum(), mean, np.array(whitening))
