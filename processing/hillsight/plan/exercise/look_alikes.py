"""Wrong places: alike at a glance, apart in what a learner can see, none a copy of another."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.exercise.judgement import judgement_of
from hillsight.plan.exercise.soundness import MATTERS_NEEDED

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from hillsight.arrays import Flags, Floats, Integers
    from hillsight.plan.exercise.close_looks import CloseLooker, Matter

#: No two places of an exercise stand nearer together than this, metres on the grid.
APART_M = 300.0

#: Places more unlike than this are told apart at a glance: their figures differ by so many times what places
#: of the ground about differ by half.
ALIKE_UP_TO = 1.5

#: Places looked at with care, the most alike first.
_LOOKED_AT = 40


@dataclass(frozen=True)
class LookAlike:
    """A wrong place.

    number : in the pool
    unlike : how unlike the true place at a glance; see ``AtAGlance.unlikeness``
    matters : what of the ground tells it apart, most first
    seconded : what water and works of man tell, most first: they never decide
    judgement : how fine it is; see ``judgement``
    """

    number: int
    easting_m: float
    northing_m: float
    unlike: float
    matters: tuple[Matter, ...]
    seconded: tuple[Matter, ...]
    judgement: str

    @property
    def bits(self) -> float:
        """What the two best matters of the ground tell together."""
        return sum(one.bits for one in self.matters[:MATTERS_NEEDED])

    @property
    def telling(self) -> int:
        """How many matters of the ground tell it apart."""
        return sum(one.is_plain for one in self.matters)


def alike_first(
    true_m: tuple[float, float],
    easting_m: Floats,
    northing_m: Floats,
    unlike: Floats,
    allowed: Flags,
    most: int = _LOOKED_AT,
) -> Integers:
    """Numbers of places alike at a glance, the most alike first, none near another or the true one.

    Parameters
    ----------
    easting_m, northing_m, unlike, allowed : (n,) of the pool
    """
    away_m = np.hypot(easting_m - true_m[0], northing_m - true_m[1])
    open_ = allowed & (unlike <= ALIKE_UP_TO) & (away_m >= APART_M)
    chosen: list[int] = []
    for k in np.argsort(unlike, kind="stable"):
        if len(chosen) == most:
            break
        if open_[k]:
            chosen.append(int(k))
            open_ &= np.hypot(easting_m - easting_m[k], northing_m - northing_m[k]) >= APART_M
    return np.array(chosen, np.int64)


def look_alikes(
    looker: CloseLooker,
    true_m: tuple[float, float],
    numbers: Sequence[int] | Integers,
    easting_m: Floats,
    northing_m: Floats,
    unlike: Floats,
    progress: Callable[[float], None] | None = None,
) -> list[LookAlike]:
    """Those of some places that the ground tells from the true one, in the order given.

    Parameters
    ----------
    numbers : of places in the pool whose arrays, (n,), follow
    """
    found = []
    for done, k in enumerate(map(int, numbers), 1):
        wrong_m = float(easting_m[k]), float(northing_m[k])
        every = looker.apart(true_m, wrong_m)
        ground = tuple(one for one in every if one.evidence_class == "ground_shape")
        if sum(one.is_plain for one in ground) >= MATTERS_NEEDED:
            other = tuple(one for one in every if one.evidence_class != "ground_shape")
            judgement = judgement_of([(one.bits, one.alike) for one in ground])
            found.append(LookAlike(k, *wrong_m, float(unlike[k]), ground, other, judgement))
        if progress is not None:
            progress(done / len(numbers))
    return found
