"""From statements to probabilities: which candidate, which direction, or none of these."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats


#: No statement, however well it fits elsewhere, makes a place impossible.
_LEAST = 1e-4


@dataclass(frozen=True)
class LikelihoodTable:
    """How likely every statement is from every place, in every direction.

    log_fits : (c, s, h) natural logarithms, weighted; see ``table_of``
    log_prior : (h,) of the directions
    """

    log_fits: Floats
    log_prior: Floats

    def without(self, left_out: Flags | None = None) -> Floats:
        """Log likelihood of each place, (c,), without the statements marked, (s,) of truth values."""
        fits = self.log_fits
        if left_out is not None:
            fits = fits[:, ~left_out, :]
        joint = fits.sum(axis=1) + self.log_prior[None, :]
        return np.asarray(special.logsumexp(joint, axis=1), np.float64)

    def leave_one_out(self) -> Floats:
        """Log likelihood of each place without each statement, (c, s)."""
        joint = self.log_fits.sum(axis=1)[:, None, :] - self.log_fits + self.log_prior[None, None, :]
        return np.asarray(special.logsumexp(joint, axis=2), np.float64)

    def directions(self) -> Floats:
        """Probability of each direction from each place, (c, h)."""
        joint = self.log_fits.sum(axis=1) + self.log_prior[None, :]
        return np.asarray(special.softmax(joint, axis=1), np.float64)


def base_rates(fits_elsewhere: Floats, prior: Floats) -> Floats:
    """Chance that each statement would be made from anywhere about, (s,).

    Parameters
    ----------
    fits_elsewhere : (b, s, h) as Weighing.fits gives, of places all about
    prior : (h,) of the directions
    """
    rates: Floats = (fits_elsewhere @ prior).mean(axis=0)
    return np.maximum(rates, _LEAST)


def table_of(
    fits: Floats, rates: Floats, wrong: Floats, weights: Floats, prior: Floats, discount: float
) -> LikelihoodTable:
    """Likelihoods of statements that may be wrong and hang together.

    A statement that is wrong says what would be said from anywhere, so it tells no place from another.

    Parameters
    ----------
    fits : (c, s, h); rates, wrong, weights : (s,); prior : (h,); discount : power of all evidence
    """
    # Against the base rate: 1 where it is as likely as from anywhere.
    ratio = (1.0 - wrong)[None, :, None] * fits / rates[None, :, None] + wrong[None, :, None]
    logs = np.log(np.maximum(ratio, _LEAST)) * (discount * weights)[None, :, None]
    return LikelihoodTable(logs, np.log(prior))


@dataclass(frozen=True)
class Calibration:
    """What the fits of all statements are made likelihoods with, the same at every place.

    rates, wrong, weights : (s,) base rates, chances of being wrong altogether, how much each counts
    prior : (h,) of the directions; discount : power of all evidence
    """

    rates: Floats
    wrong: Floats
    weights: Floats
    prior: Floats
    discount: float

    def table(self, fits: Floats) -> LikelihoodTable:
        """Likelihoods at places of which the fits are known, (c, s, h)."""
        return table_of(fits, self.rates, self.wrong, self.weights, self.prior, self.discount)


@dataclass(frozen=True)
class Posterior:
    """Probability of each candidate, (c,), and that it is none of these; together one."""

    candidates: Floats
    none: float

    @property
    def best(self) -> int:
        """The likeliest candidate."""
        return int(np.argmax(self.candidates))

    @property
    def ratio_to_next(self) -> float:
        """How many times likelier the best candidate is than the next one; inf for a lone candidate."""
        if self.candidates.size < 2:
            return float("inf")
        two = np.sort(self.candidates)[-2:]
        return float(two[1] / two[0]) if two[0] > 0 else float("inf")


def posterior(log_likelihood: Floats, prior: Floats, log_elsewhere: float, none_prior: float) -> Posterior:
    """Bayes' rule.

    Parameters
    ----------
    log_likelihood : (c,) of the candidates
    prior : (c,) adding up to one, among the candidates
    log_elsewhere : log likelihood of a place that is none of them
    none_prior : its probability before anything is said
    """
    with np.errstate(divide="ignore"):
        logs = np.append(
            log_likelihood + np.log(prior) + np.log1p(-none_prior), log_elsewhere + np.log(none_prior)
        )
    shares = special.softmax(logs)
    return Posterior(shares[:-1], float(shares[-1]))


def log_mean(log_likelihood: Floats) -> float:
    """Logarithm of the mean likelihood of many places: that of a place nobody has named."""
    if not log_likelihood.size:
        return 0.0
    return float(special.logsumexp(log_likelihood) - np.log(log_likelihood.size))


def log_elsewhere(about: Floats, candidates: Floats, times: float) -> float:
    """Log likelihood of none of the candidates.

    It is the mean of places all about, as nobody knows which one it would be; but where one of them fits so
    many times better than any candidate, there is somebody to ask, and that place speaks for them all.

    Parameters
    ----------
    about, candidates : (b,) and (c,) log likelihoods
    """
    if about.size and about.max() - candidates.max() >= np.log(times):
        return float(about.max())
    return log_mean(about)
