"""Compiled: shares of sight by state, and seen posts that are inside cover, which are uncertain."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled

if TYPE_CHECKING:
    from hillsight.arrays import Bytes, Floats32

#: How far (m) below the top of cover something must be to be inside it: heather and long grass, and what a
#: surface model errs on open ground, hide nobody (common practice, no source).
INSIDE_M = 0.5

#: The share of sight that stands for a target, or an eye, inside cover: nobody can tell.
NOBODY_KNOWS = 0.5

_HIDDEN, _UNCERTAIN, _VISIBLE = np.uint8(1), np.uint8(2), np.uint8(3)


@compiled
def mark_inside(states: Bytes, tallest_m: Floats32, target_height_m: float, light: Floats32) -> None:
    """Turn the visible posts whose targets are inside cover to UNCERTAIN, and fill the shares of sight.

    states, tallest_m : (n,) states as a sweep leaves them, and the height of what stands there
    light : (n,) filled: 1 visible, 0 hidden, NOBODY_KNOWS uncertain, NaN for the rest; or of no posts
    """
    limit_m = np.float32(target_height_m + INSIDE_M)
    if light.size == 0:
        for k in range(states.size):
            if states[k] == _VISIBLE and tallest_m[k] > limit_m:
                states[k] = _UNCERTAIN
        return
    for k in range(states.size):
        if states[k] == _VISIBLE:
            light[k] = 1.0
            if tallest_m[k] > limit_m:
                states[k], light[k] = _UNCERTAIN, NOBODY_KNOWS
        else:
            light[k] = 0.0 if states[k] == _HIDDEN else np.nan
