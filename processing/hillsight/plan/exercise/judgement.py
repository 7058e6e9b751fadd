"""How fine the judgement is that tells a wrong place from the true one.

The facts of the ground that tell the two apart are put in order of how much they tell, one for each matter.
Two matters are asked of an exercise, so the second of them counts:

- *coarse*: it tells 1.5 bits or more, and fewer than one answer in ten would be given at both places;
- *fair*: 0.7 bits or more, and fewer than three answers in ten;
- *fine*: anything less.

One bit: an answer that is twice as likely at the true place as at the wrong one. Where the lines are drawn is
common practice, no source. How hard an exercise is shows in how learners do (``learners``).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import special

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Floats

JUDGEMENTS = ("coarse", "fair", "fine")
"""From the plainest on."""

#: Bits from which the second matter makes each, and the share of like answers up to which it does.
_FROM = {"coarse": (1.5, 0.1), "fair": (0.7, 0.3)}


def bits_apart(true_chances: Floats, wrong_chances: Floats) -> float:
    """Information that one answer given at the true place holds against a wrong one, bits.

    The relative entropy of the two (Kullback and Leibler 1951, from memory).

    Parameters
    ----------
    true_chances, wrong_chances : (a,) of the same answers at each place, none of them nought
    """
    return float(special.rel_entr(true_chances, wrong_chances).sum() / np.log(2.0))


def share_alike(true_chances: Floats, wrong_chances: Floats) -> float:
    """Share of answers that would be given at either place, 0 to 1: how fine the judgement is."""
    return float(np.minimum(true_chances, wrong_chances).sum())


def judgement_of(matters: Sequence[tuple[float, float]]) -> str:
    """How fine the judgement is.

    Parameters
    ----------
    matters : of each matter of the ground that tells a wrong place apart, bits and share alike
    """
    best = sorted(matters, reverse=True)
    if len(best) < 2:
        return "fine"
    bits, alike = best[1]
    for judgement, (least_bits, most_alike) in _FROM.items():
        if bits >= least_bits and alike <= most_alike:
            return judgement
    return "fine"
