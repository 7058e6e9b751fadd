"""When a verdict is given, and when it is not."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import CallError
from hillsight.plan.relocation.posterior import LikelihoodTable, Posterior, log_elsewhere, posterior

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats

DECIDED, UNDECIDED, NONE_FITS = "decided", "undecided", "none_fits"
STATES = (DECIDED, UNDECIDED, NONE_FITS)


@dataclass(frozen=True)
class Rules:
    """When a candidate is decided for.

    decide_from : probability that the best candidate must have
    ground_from : probability that it must have without man-made features, which only second the ground
    none_from : probability from which none of the candidates fits
    none_prior : probability, before anything is said, that the picture is from none of them
    elsewhere_times : a place elsewhere that fits so many times better than any candidate speaks for none

    The figures are ours, settled by simulation (docs/verdict.md).

    Raises
    ------
    CallError : not a probability, or decide_from not above a half
    """

    decide_from: float = 0.95
    ground_from: float = 0.7
    none_from: float = 0.4
    none_prior: float = 0.2
    elsewhere_times: float = 4.0

    def __post_init__(self) -> None:
        for name in ("decide_from", "ground_from"):
            value = getattr(self, name)
            if not 0.6 <= value < 1:
                raise CallError(
                    f"no candidate can be decided for from a probability of {value:g}",
                    remedy="Give one from 0.6 to below 1",
                    parameters=(name,),
                )
        if not 1 - self.decide_from <= self.none_from + 1e-9 < 1:
            raise CallError(
                f"none_from is {self.none_from:g}",
                remedy="Give a probability that leaves none to be decided for",
            )
        if not self.elsewhere_times >= 1:
            raise CallError(
                f"elsewhere_times is {self.elsewhere_times:g}", remedy="Give how many times better, 1 or more"
            )
        if not 0 < self.none_prior < 1:
            raise CallError(
                f"the prior probability of none of the candidates is {self.none_prior:g}",
                remedy="Give a probability between 0 and 1",
                parameters=("none_prior",),
            )


def decide(whole: Posterior, ground: Posterior, rules: Rules) -> str:
    """``decided``, ``undecided`` or ``none_fits``.

    Parameters
    ----------
    whole : by all statements
    ground : by those that are not of man-made features
    """
    if whole.none >= rules.none_from:
        return NONE_FITS
    best = whole.best
    if (
        whole.candidates[best] >= rules.decide_from
        and ground.best == best
        and ground.candidates[best] >= rules.ground_from
    ):
        return DECIDED
    return UNDECIDED


def reach_verdict(
    table: LikelihoodTable,
    about: LikelihoodTable,
    prior: Floats,
    man_made: Flags,
    rules: Rules,
    left_out: Flags | None = None,
) -> tuple[str, Posterior, Posterior]:
    """(state, posterior by all statements, posterior without man-made features).

    Parameters
    ----------
    table : of the candidates; about : of places that are none of them; prior : (c,)
    man_made : (s,) statements about man-made features; left_out : (s,) statements not counted
    """
    nothing = np.zeros(man_made.size, bool) if left_out is None else left_out
    whole, ground = (
        posterior(
            ours := table.without(out),
            prior,
            log_elsewhere(about.without(out), ours, rules.elsewhere_times),
            rules.none_prior,
        )
        for out in (nothing, nothing | man_made)
    )
    return decide(whole, ground, rules), whole, ground
