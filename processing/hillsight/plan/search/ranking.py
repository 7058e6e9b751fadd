"""The places that a search found, ranked: those close together are one, with their share added up."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.relocation.decision import DECIDED, NONE_FITS, UNDECIDED
from hillsight.plan.search.searching import WITHIN_M

if TYPE_CHECKING:
    from hillsight.plan.search.searching import Found

#: Places nearer than this to a likelier one belong to it, metres; likewise those less than some cells off.
_ONE_PLACE_M, _CELLS = 250.0, 3.0

#: Places told of, at most, and the least share of one.
_MOST, _LEAST_SHARE = 20, 0.002

#: The best place does not fit where so much of the trace is off the sky's edge, or the rest strays so far
#: from it, degrees: three times what a careful trace errs. Common practice, no source.
_MOST_HIDDEN, _MOST_MISFIT_DEG = 0.5, 1.0


@dataclass(frozen=True)
class RankedPlace:
    """A place with what is near it.

    number : of the place; at : of it among those looked at closely
    share : probability of it and of what belongs to it; apart_m : from the best
    """

    number: int
    at: int
    share: float
    apart_m: float


@dataclass(frozen=True)
class Ranking:
    """What a search comes to.

    about : share within each distance of ``WITHIN_M`` of the best place
    state : decided, undecided or none_fits
    """

    places: tuple[RankedPlace, ...]
    about: tuple[float, ...]
    state: str


def ranked(found: Found, decide_from: float) -> Ranking:
    """Rank what was found.

    Parameters
    ----------
    decide_from : share within the larger distance of the best place from which it is decided for
    """
    places, share = found.places, found.share
    near_m = max(_ONE_PLACE_M, _CELLS * places.apart_m)
    free = np.ones(share.size, bool)
    best = int(found.looked[0])
    rows: list[RankedPlace] = []
    for at, number in enumerate(found.looked.tolist()):
        if len(rows) == _MOST:
            break
        if not free[number]:
            continue
        away_m = np.hypot(
            places.easting_m - places.easting_m[number], places.northing_m - places.northing_m[number]
        )
        own = free & (away_m <= near_m)
        free &= ~own
        together = float(share[own].sum())
        if rows and together < _LEAST_SHARE:
            continue
        rows.append(RankedPlace(number, at, together, float(away_m[best])))
    # The likeliest place comes first whatever lies about it.
    rows[1:] = sorted(rows[1:], key=lambda one: -one.share)
    about = tuple(found.share_about(best, within_m) for within_m in WITHIN_M)
    misfits = found.close.hidden[0] > _MOST_HIDDEN or found.close.misfit_deg[0] > _MOST_MISFIT_DEG
    state = NONE_FITS if misfits else DECIDED if about[-1] >= decide_from else UNDECIDED
    return Ranking(tuple(rows), about, state)
