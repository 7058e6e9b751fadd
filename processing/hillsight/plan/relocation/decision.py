"""When a verdict is given, and when it is not."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import CallError
from hillsight.plan.relocation.posterior import Posterior, posterior

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats
    from hillsight.plan.relocation.posterior import Elsewhere, LikelihoodTable

DECIDED, UNDECIDED, NONE_FITS = "decided", "undecided", "none_fits"
STATES = (DECIDED, UNDECIDED, NONE_FITS)


@dataclass(frozen=True)
class Rules:
    """When a candidate is decided for.

    decide_from : probability that the best candidate must have, by all statements and by those of ground and
        water alone
    none_from : probability from which none of the candidates fits, likewise
    none_prior : probability, before anything is said, that the picture is from none of them

    Raises
    ------
    CallError : not a probability, or decide_from not above a half
    """

    decide_from: float = 0.95
    none_from: float = 0.5
    none_prior: float = 0.2

    def __post_init__(self) -> None:
        if not 0.6 <= self.decide_from < 1:
            raise CallError(
                f"no candidate can be decided for from a probability of {self.decide_from:g}",
                remedy="Give one from 0.6 to below 1",
                parameters=("decide_from",),
            )
        if not 1 - self.decide_from <= self.none_from + 1e-9 < 1:
            raise CallError(
                f"none_from is {self.none_from:g}",
                remedy="Give a probability that leaves none to be decided for",
            )
        if not 0 < self.none_prior < 1:
            raise CallError(
                f"the prior probability of none of the candidates is {self.none_prior:g}",
                remedy="Give a probability between 0 and 1",
                parameters=("none_prior",),
            )


def decide(whole: Posterior, trusted: Posterior, rules: Rules) -> str:
    """``decided``, ``undecided`` or ``none_fits``.

    Works of man decide nothing: they may only take a decision away.

    Parameters
    ----------
    whole : by all statements
    trusted : by those about ground and water alone
    """
    if min(whole.none, trusted.none) >= rules.none_from:
        return NONE_FITS
    best = whole.best
    if min(whole.candidates[best], trusted.candidates[best]) >= rules.decide_from:
        return DECIDED
    return UNDECIDED


@dataclass(frozen=True)
class Evidence:
    """All that is known of candidates and of other places, ready to be weighed with or without statements.

    table : of the candidates; elsewhere : of places that are none of them
    prior : (c,) adding up to one, among the candidates
    untrusted : (s,) statements about neither ground nor water
    """

    table: LikelihoodTable
    elsewhere: Elsewhere
    prior: Floats
    untrusted: Flags
    rules: Rules

    def posterior(self, left_out: Flags | None = None) -> Posterior:
        """Probabilities without the statements marked, (s,)."""
        return posterior(
            self.table.without(left_out),
            self.prior,
            self.elsewhere.without(left_out),
            self.rules.none_prior,
        )

    def verdict(self, left_out: Flags | None = None) -> tuple[str, Posterior, Posterior]:
        """(state, posterior by all statements, by those of ground and water), without those marked."""
        nothing = np.zeros(self.untrusted.size, bool) if left_out is None else left_out
        whole, trusted = (self.posterior(out) for out in (nothing, nothing | self.untrusted))
        return decide(whole, trusted, self.rules), whole, trusted
