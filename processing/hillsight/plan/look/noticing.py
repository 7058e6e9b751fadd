"""Whether what is in view is noticed: what looks small, or hardly stands out, is passed over."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from hillsight.arrays import known_or

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.look.things import Things
    from hillsight.plan.observer import Observer

#: Line pairs across the smaller dimension at which half of all observers detect something, and recognise
#: what it is (Johnson 1958, as quoted, from memory).
DETECTED_PAIRS, RECOGNISED_PAIRS = 1.0, 4.0

#: How steeply the chance rises with the number of pairs: ``2.7 + 0.7 ratio`` (the target transfer function
#: that goes with Johnson's criteria, from memory).
_STEEPNESS, _STEEPER = 2.7, 0.7


def made_out(apparent_deg: Floats, contrast: Floats, is_line: Flags, pair_deg: float) -> Floats:
    """Chance that things in view are made out for what they are, (m,).

    A line is known for one where it is detected, as it runs on and on; anything else must be recognised.

    Parameters
    ----------
    apparent_deg : (m,) angle across the smaller dimension of each
    contrast : (m,) 0 to 1, by which so many pairs count for fewer
    pair_deg : angle of a line pair: what the eye parts, or two pixels of the picture
    """
    pairs = np.maximum(known_or(apparent_deg, 0.0), 0.0) / pair_deg * contrast
    ratio = np.minimum(pairs / np.where(is_line, DETECTED_PAIRS, RECOGNISED_PAIRS), 50.0)
    power = ratio ** (_STEEPNESS + _STEEPER * np.minimum(ratio, 3.0))
    chance: Floats = power / (1.0 + power)
    return chance


#: Visibility in haze, metres: from 5 km down the weather services speak of haze (World Meteorological
#: Organization; from memory). In clear air nothing is taken off.
_HAZE_VISIBILITY_M = 5_000.0

#: Natural logarithm of the fiftieth of its contrast that a thing has left at the visibility (Koschmieder
#: 1924; from memory).
_LEFT_AT_VISIBILITY = 3.912


def made_out_to_m(
    width_m: float, *, known: bool = False, glass: float = 1.0, hazy: bool = False, pair_arcmin: float = 2.0
) -> float:
    """How far off half of all observers make a thing out: where ``made_out`` comes to a half, metres.

    A person, half a metre wide, is detected to some 860 m and known for one to some 215 m by the naked eye in
    clear air. A glass carries so many times as far as its power; that it shakes in the hand is not allowed
    for.

    Parameters
    ----------
    width_m : its smaller dimension
    known : whether it must be known for what it is, not only detected
    glass : power of the binoculars, 1 for none
    """
    pairs = RECOGNISED_PAIRS if known else DETECTED_PAIRS
    clear_m = width_m * glass / (math.radians(pair_arcmin / 60.0) * pairs)
    if not hazy:
        return clear_m
    # d = clear exp(-a d) is solved by Lambert's W.
    fading = _LEFT_AT_VISIBILITY / _HAZE_VISIBILITY_M
    return float(special.lambertw(clear_m * fading).real) / fading


def noticed(what: str, glance: Glance, things: Things, observer: Observer) -> Floats:
    """Chance that each thing of that name or kind is seen and noticed, (m,)."""
    rows, seen = things.rows(what), glance.things
    plain = made_out(
        seen.apparent_deg[rows], things.contrast[rows], things.is_line[rows], observer.pair_arcmin / 60.0
    )
    return known_or(seen.chance[rows] * plain, 0.0)
