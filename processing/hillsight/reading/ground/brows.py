"""Brows bearing by bearing: which is the first that counts, how the ground runs before and behind it.

Also by what rule a brow or a skyline goes on from one bearing to the next. Whoever looks along bearings asks
here: the first ground of a station, its skyline, and what a picture is weighed by.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from hillsight.arrays import Flags, Floats

#: Ground that dips out of view by less (m) at its deepest makes no brow: terrain models are wrong by metres.
#: Common practice, no source.
LEAST_DEPTH_M = 1.0

#: The slope behind a brow, and of ground that shows again, is taken over this length of ground, and over so
#: many post spacings at least: what a person calls the slope there is no matter of how fine a terrain is.
#: Common practice, no source.
SLOPE_OVER_M, SLOPE_OVER_POSTS = 60.0, 2.0

#: A brow or skyline goes on from one bearing to the next while its distance changes by less than this share
#: of the nearer one, or by less than so many post spacings. Common practice, no source.
JUMP_SHARE, JUMP_POSTS = 0.1, 6.0


@dataclass(frozen=True)
class Brows:
    """The first brow of each bearing; all (n,), metres on the grid, NaN where there is none.

    brow_m : how far off it is
    out_again_m : where ground shows again behind it; NaN too where it never does
    depth_m : greatest depth hidden behind it
    """

    brow_m: Floats
    out_again_m: Floats
    depth_m: Floats


@dataclass(frozen=True)
class BrowSlopes:
    """How the ground runs at each brow, away from the eye; all (n,), NaN where there is none.

    height_m : of the brow
    before_deg, beyond_deg, again_deg : slope from the feet up to it, behind it, and where ground shows again;
        falling negative
    """

    height_m: Floats
    before_deg: Floats
    beyond_deg: Floats
    again_deg: Floats


def first_brows(crests: Floats) -> Brows:
    """The nearest crest of each bearing behind which LEAST_DEPTH_M or more is hidden.

    crests : (n, k, 3) of ``sight.bearings.BearingSight``
    """
    deep = crests[:, :, 2] >= LEAST_DEPTH_M
    first = crests[np.arange(len(crests)), np.argmax(deep, axis=1)]
    first = np.where(deep.any(axis=1)[:, None], first, np.nan)
    return Brows(first[:, 0], first[:, 1], first[:, 2])


def brow_slopes(
    brows: Brows, feet_m: float, height_m: Callable[[Floats], Floats], spacing_m: float, reach_m: float
) -> BrowSlopes:
    """Slopes about each brow.

    Parameters
    ----------
    feet_m : height of the ground under the eye
    height_m : heights of the ground at one distance (n,) on each bearing
    spacing_m : the wider spacing of the posts
    reach_m : the ground behind a brow is looked at no farther, and no farther than to where it shows again
    """
    over_m = max(SLOPE_OVER_M, SLOPE_OVER_POSTS * spacing_m)
    brow_m, again_m = brows.brow_m, brows.out_again_m
    with np.errstate(invalid="ignore", divide="ignore"):
        brow_height_m = height_m(brow_m)
        before = np.degrees(np.arctan((brow_height_m - feet_m) / brow_m))
        run_m = np.minimum(over_m, np.where(np.isfinite(again_m), again_m, reach_m) - brow_m)
        beyond = np.degrees(np.arctan((height_m(brow_m + run_m) - brow_height_m) / run_m))
        again = np.degrees(np.arctan((height_m(again_m + over_m) - height_m(again_m)) / over_m))
    return BrowSlopes(brow_height_m, before, beyond, again)


def goes_on(distance_m: Floats, next_m: Floats, spacing_m: float) -> Flags:
    """Whether a brow or skyline so far off goes on to the next bearing; not where either is NaN."""
    with np.errstate(invalid="ignore"):
        allowed_m = np.maximum(JUMP_SHARE * np.minimum(distance_m, next_m), JUMP_POSTS * spacing_m)
        on: Flags = np.abs(next_m - distance_m) <= allowed_m
    return on
