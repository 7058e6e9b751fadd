"""From statements to probabilities: which candidate, which direction, or none of these.

A place is as likely as all statements together are from it, averaged over what is not known: errors of the
terrain, where exactly the picture was taken, how high the eye was, how wide the picture is, and which way it
looks. Each draw of these is shared by all statements, so that one error counts once.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats, Floats32, Integers


#: No statement, however well it fits elsewhere, makes a place impossible.
_LEAST = 1e-4


@dataclass(frozen=True)
class Calibration:
    """What the fits of all statements are made likelihoods with, the same at every place.

    rates, wrong : (s,) chance that each would be said from anywhere about, and that it is wrong altogether
    matter : (s,) number of the matter that each statement is about, from 0
    judgement : (s,) number of what is judged in it: what judges the same again is no news
    prior : (h,) of the directions
    mistaken : chance that all that is said of one matter is wrong together: one thing was taken for another
    """

    rates: Floats
    wrong: Floats
    matter: Integers
    judgement: Integers
    prior: Floats
    mistaken: float

    def table(
        self, fits: Floats32, known: Flags | None = None, measured: Floats | None = None
    ) -> LikelihoodTable:
        """Likelihoods at places of which the fits are known.

        Parameters
        ----------
        fits : (p, d, s, h) chances of p places in d draws
        known : (p, d) whether a place could be looked from in a draw; all where None
        measured : see ``LikelihoodTable``
        """
        # Against the base rate: 1 where it is as likely as from anywhere. A statement that is wrong says what
        # would be said from anywhere, so it tells no place from another.
        ratio = (1.0 - self.wrong)[:, None] * fits / self.rates[:, None] + self.wrong[:, None]
        logs = np.log(np.maximum(ratio, _LEAST))
        known = np.ones(fits.shape[:2], bool) if known is None else known
        with np.errstate(divide="ignore"):
            log_prior = np.log(self.prior)
        return LikelihoodTable(logs, known, log_prior, self.matter, self.judgement, self.mistaken, measured)


@dataclass(frozen=True)
class LikelihoodTable:
    """How likely every statement is from every place, in every draw and every direction.

    log_ratios : (p, d, s, h) natural logarithms of likelihood over base rate
    known : (p, d), in which draws; log_prior : (h,) of the directions
    matter, judgement, mistaken : see ``Calibration``
    measured : (p, h) the same of what was measured on the photograph, all that is not known summed over;
        None where nothing was
    """

    log_ratios: Floats
    known: Flags
    log_prior: Floats
    matter: Integers
    judgement: Integers
    mistaken: float
    measured: Floats | None = None

    def without(self, left_out: Flags | None = None) -> Floats:
        """Log likelihood of each place, (p,), without the statements marked, (s,) of truth values."""
        kept = np.ones(self.matter.size, bool) if left_out is None else ~left_out
        return self._averaged(sum(self._of_matter(m, kept) for m in np.unique(self.matter)))

    def leave_one_out(self) -> Floats:
        """Log likelihood of each place without each statement, (p, s)."""
        every = np.ones(self.matter.size, bool)
        whole = {int(m): self._of_matter(int(m), every) for m in np.unique(self.matter)}
        joint = sum(whole.values())
        found = np.empty((self.log_ratios.shape[0], self.matter.size))
        for k, m in enumerate(self.matter.tolist()):
            kept = every.copy()
            kept[k] = False
            found[:, k] = self._averaged(joint - whole[m] + self._of_matter(m, kept))
        return found

    def directions(self) -> Floats:
        """Probability of each direction from each place, (p, h)."""
        every = np.ones(self.matter.size, bool)
        joint = self._joint(sum(self._of_matter(m, every) for m in np.unique(self.matter)))
        return np.asarray(special.softmax(special.logsumexp(joint, axis=1), axis=1), np.float64)

    def error(self) -> Floats:
        """Standard error of each log likelihood, (p,), by so few draws."""
        every = np.ones(self.matter.size, bool)
        joint = self._joint(sum(self._of_matter(m, every) for m in np.unique(self.matter)))
        each = special.logsumexp(joint, axis=2)
        share = np.exp(each - each.max(axis=1, keepdims=True))
        count = np.maximum(self.known.sum(axis=1), 1)
        mean = share.sum(axis=1) / count
        spread = np.sqrt(np.maximum((share**2).sum(axis=1) / count - mean**2, 0.0))
        return np.asarray(spread / mean / np.sqrt(count), np.float64)

    def _of_matter(self, matter: int, kept: Flags) -> Floats | float:
        """(p, d, h), what all that is said of one matter tells."""
        at = np.flatnonzero((self.matter == matter) & kept)
        if not at.size:
            return 0.0
        together = sum(
            self.log_ratios[:, :, at[self.judgement[at] == number], :].mean(axis=2)
            for number in np.unique(self.judgement[at])
        )
        if not self.mistaken:
            return together
        told: Floats = np.logaddexp(np.log1p(-self.mistaken) + together, np.log(self.mistaken))
        return told

    def _joint(self, told: Floats | float) -> Floats:
        shape = (*self.known.shape, self.log_prior.size)
        joint = np.broadcast_to(told, shape) + self.log_prior
        if self.measured is not None:
            joint = joint + self.measured[:, None, :]
        return np.where(self.known[:, :, None], joint, -np.inf)

    def _averaged(self, told: Floats | float) -> Floats:
        """Mean over the draws of the sum over the directions, (p,)."""
        total = special.logsumexp(self._joint(told), axis=(1, 2))
        return np.asarray(total - np.log(np.maximum(self.known.sum(axis=1), 1)), np.float64)


def base_rates(fits_elsewhere: Floats32, known: Flags, prior: Floats) -> Floats:
    """Chance that each statement would be made from anywhere about, (s,).

    Parameters
    ----------
    fits_elsewhere : (b, d, s, h) chances at places all about; known : (b, d), at least one
    prior : (h,) of the directions
    """
    rates = (fits_elsewhere @ prior)[known].mean(axis=0)
    return np.maximum(rates, _LEAST)


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


@dataclass(frozen=True)
class Elsewhere:
    """Places that are none of the candidates, each standing for so much of the ground about.

    table : of b places; log_share : (b,) logarithms of their shares, adding up to about one
    """

    table: LikelihoodTable
    log_share: Floats

    def without(self, left_out: Flags | None = None) -> float:
        """Log likelihood of none of the candidates, without the statements marked."""
        return float(special.logsumexp(self.table.without(left_out) + self.log_share))

    def leave_one_out(self) -> Floats:
        """The same without each statement, (s,)."""
        each = self.table.leave_one_out() + self.log_share[:, None]
        return np.asarray(special.logsumexp(each, axis=0), np.float64)
