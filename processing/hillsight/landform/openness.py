"""Ten forms of the ground by what rises and what falls in eight directions.

The method is geomorphons (Jasiewicz and Stepinski, Geomorphons - a pattern recognition approach to
classification and mapping of landforms, Geomorphology 182, 2013; written from memory): in each direction the
steepest line of sight up to the ground within a lookup distance and the steepest line down to it are
compared; the direction rises where the sum of both angles exceeds a flatness, falls where it is below the
negative flatness, and is level otherwise. A plane is thus level up to half the flatness.

A direction ends at the terrain's edge, at a void and at the lookup distance: the part before counts, and a
direction with no post in it is level. Directions go from post to post: along rows, columns and diagonals.
"""

from __future__ import annotations

import math
from enum import IntEnum

import numpy as np

from hillsight.arrays import Bytes, Floats, Integers
from hillsight.errors import CallError
from hillsight.kernels.compiled import compiled
from hillsight.kernels.threads import spread

#: Count of directions, and form, at a void.
UNKNOWN_COUNT = 255
NO_FORM = 0

_ROWS_AT_A_TIME = 32


class Form(IntEnum):
    """The ten forms, numbered as in the paper's table."""

    FLAT = 1
    PEAK = 2
    RIDGE = 3
    SHOULDER = 4
    SPUR = 5
    SLOPE = 6
    HOLLOW = 7
    FOOTSLOPE = 8
    VALLEY = 9
    PIT = 10


_FLAT, _PEAK, _RIDGE, _SHOULDER, _SPUR, _SLOPE, _HOLLOW, _FOOTSLOPE, _VALLEY, _PIT = Form
_NONE = NO_FORM

#: Form by directions that fall (row, 0 to 8) and that rise (column, 0 to 8).
FORM_TABLE: Bytes = np.array(
    [
        [_FLAT, _FLAT, _FLAT, _FOOTSLOPE, _FOOTSLOPE, _VALLEY, _VALLEY, _VALLEY, _PIT],
        [_FLAT, _FLAT, _FOOTSLOPE, _FOOTSLOPE, _FOOTSLOPE, _VALLEY, _VALLEY, _VALLEY, _NONE],
        [_FLAT, _SHOULDER, _SLOPE, _SLOPE, _HOLLOW, _HOLLOW, _VALLEY, _NONE, _NONE],
        [_SHOULDER, _SHOULDER, _SLOPE, _SLOPE, _SLOPE, _HOLLOW, _NONE, _NONE, _NONE],
        [_SHOULDER, _SHOULDER, _SPUR, _SLOPE, _SLOPE, _NONE, _NONE, _NONE, _NONE],
        [_RIDGE, _RIDGE, _SPUR, _SPUR, _NONE, _NONE, _NONE, _NONE, _NONE],
        [_RIDGE, _RIDGE, _RIDGE, _NONE, _NONE, _NONE, _NONE, _NONE, _NONE],
        [_RIDGE, _RIDGE, _NONE, _NONE, _NONE, _NONE, _NONE, _NONE, _NONE],
        [_PEAK, _NONE, _NONE, _NONE, _NONE, _NONE, _NONE, _NONE, _NONE],
    ],
    dtype=np.uint8,
)


def patterns(
    height_m: Floats,
    spacing_x_m: float,
    spacing_y_m: float,
    lookup_m: float,
    skip_m: float = 0.0,
    flatness_deg: float = 1.0,
) -> tuple[Bytes, Bytes]:
    """Number of the eight directions in which the ground falls, and in which it rises, at each post.

    Parameters
    ----------
    height_m : (rows, columns) float64, metres; NaN is void
    lookup_m : how far to look, from post to post
    skip_m : posts up to this distance are not looked at

    Returns
    -------
    negatives, positives : (rows, columns) uint8, 0 to 8; 255 at void

    Raises
    ------
    CallError : the lookup distance does not reach a post beyond ``skip_m`` in every direction, or the
        flatness is not between 0 and 90 degrees
    """
    if not 0 <= flatness_deg < 90:
        raise CallError(f"The flatness is {flatness_deg} degrees; it must be from 0 to below 90.")
    far_m, near_m = (distance if math.isfinite(distance) else 0.0 for distance in (lookup_m, skip_m))
    moves = np.array([(-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1)])
    lengths_m = np.hypot(moves[:, 0] * spacing_y_m, moves[:, 1] * spacing_x_m)
    # the hair lets a lookup of ten spacings reach the tenth post
    last = np.floor(far_m / lengths_m + 1e-9).astype(np.int64)
    first = np.floor(max(near_m, 0.0) / lengths_m + 1e-9).astype(np.int64) + 1
    if not (math.isfinite(skip_m) and (first <= last).all()):
        raise CallError(
            f"A lookup of {lookup_m} m with {skip_m} m skipped reaches no post in some direction: posts lie "
            f"{spacing_x_m} by {spacing_y_m} m apart. Look farther or skip less."
        )
    ground_m = np.ascontiguousarray(height_m, dtype=np.float64)
    negatives = np.full(ground_m.shape, UNKNOWN_COUNT, np.uint8)
    positives = np.full(ground_m.shape, UNKNOWN_COUNT, np.uint8)
    flatness = math.radians(flatness_deg)

    def rows(start: int, stop: int) -> None:
        _count(ground_m, start, stop, moves, lengths_m, first, last, flatness, negatives, positives)

    spread(rows, ground_m.shape[0], _ROWS_AT_A_TIME)
    return negatives, positives


def forms(negatives: Bytes, positives: Bytes) -> Bytes:
    """Code of the form (see ``Form``) at each post; 0 at void."""
    void = (negatives == UNKNOWN_COUNT) | (positives == UNKNOWN_COUNT)
    found = FORM_TABLE[np.where(void, 0, negatives), np.where(void, 0, positives)]
    found[void] = NO_FORM
    return found


@compiled
def _count(
    height_m: Floats,
    start: int,
    stop: int,
    moves: Integers,
    lengths_m: Floats,
    first: Integers,
    last: Integers,
    flatness: float,
    negatives: Bytes,
    positives: Bytes,
) -> None:
    """Count falling and rising directions for the rows from ``start`` up to ``stop``."""
    rows, columns = height_m.shape
    nearness = np.empty((8, last.max() + 1))
    for k in range(8):
        for n in range(1, last[k] + 1):
            nearness[k, n] = 1.0 / (n * lengths_m[k])
    for row in range(start, stop):
        for column in range(columns):
            here = height_m[row, column]
            if math.isnan(here):
                continue
            falls = rises = 0
            for k in range(8):
                down, across = moves[k, 0], moves[k, 1]
                reach = last[k]
                if down != 0:
                    reach = min(reach, row if down < 0 else rows - 1 - row)
                if across != 0:
                    reach = min(reach, column if across < 0 else columns - 1 - column)
                steepest, lowest = -np.inf, np.inf
                for n in range(1, reach + 1):
                    there = height_m[row + n * down, column + n * across]
                    if math.isnan(there):
                        break
                    if n >= first[k]:
                        gradient = (there - here) * nearness[k, n]
                        steepest = max(steepest, gradient)
                        lowest = min(lowest, gradient)
                if steepest < lowest:  # no post in this direction
                    continue
                lean = math.atan(steepest) + math.atan(lowest)
                if lean > flatness:
                    rises += 1
                elif lean < -flatness:
                    falls += 1
            negatives[row, column] = falls
            positives[row, column] = rises
