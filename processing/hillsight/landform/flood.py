"""Where water runs: depressions filled, a way out for every post, and the ground upstream of each.

Filling is the priority-flood of Barnes, Lehman and Mulla (Priority-flood: an optimal depression-filling and
watershed-labeling algorithm for digital elevation models, Computers & Geosciences 62, 2014); the steepest of
8 neighbours is the rule of O'Callaghan and Mark (The extraction of drainage networks from digital elevation
data, Computer Vision, Graphics, and Image Processing 28, 1984). Both cited from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from hillsight.arrays import Floats, Integers
from hillsight.kernels.compiled import compiled, inlined

#: ``Drainage.receiver`` of a post that leaves the terrain, and of a void.
LEAVES = -1
VOID = -2

_UNSEEN, _QUEUED, _DONE = 0, 1, 2


@dataclass(frozen=True)
class Drainage:
    """Where each post drains to.

    filled_m : (rows, columns) float64, heights with every depression filled to its outlet; NaN at void
    receiver : for each post, by flat index, that of the post drained to; ``LEAVES`` (-1) at an outlet,
        ``VOID`` (-2) at a void
    order : flat indices of the posts that are not void, each after the one it drains to
    """

    filled_m: Floats
    receiver: Integers
    order: Integers


def drain(height_m: Floats, spacing_x_m: float, spacing_y_m: float) -> Drainage:
    """Fill the terrain and give every post a way out.

    Posts on the terrain's edge or beside a void are outlets. Any other drains to the neighbour with the
    steepest fall on the filled surface (of equals the first: from the north-west along the rows); on level
    ground, filled or natural, toward the level's outlet by the shortest way over the posts of that level.

    Parameters
    ----------
    height_m : (rows, columns) float64, metres; NaN is void
    """
    rows, columns = height_m.shape
    ground_m = np.full((rows + 2, columns + 2), np.nan)
    ground_m[1:-1, 1:-1] = height_m
    filled_m, receiver, order = _flood(ground_m, float(spacing_x_m), float(spacing_y_m))
    return Drainage(filled_m, receiver, order)


def accumulate(drainage: Drainage, weight: Floats | None = None) -> Floats:
    """Sum of ``weight`` over each post and all that drains through it; posts counted where none is given.

    Returns
    -------
    (rows, columns) float64; 0 at void
    """
    shape = drainage.filled_m.shape
    total = np.ones(shape) if weight is None else np.array(weight, dtype=np.float64, order="C")
    flat = total.ravel()
    flat[drainage.receiver == VOID] = 0.0
    _accumulate(drainage.receiver, drainage.order, flat)
    return flat.reshape(shape)


@compiled
def _accumulate(receiver: Integers, order: Integers, total: Floats) -> None:
    """Hand each post's sum to the one below, from the top down."""
    for k in range(len(order) - 1, -1, -1):
        below = receiver[order[k]]
        if below >= 0:
            total[below] += total[order[k]]


@inlined
def _before(level: float, way: float, other_level: float, other_way: float) -> bool:
    """Whether one key of the queue comes before another."""
    return level < other_level or (level == other_level and way < other_way)


@inlined
def _push(keys: Floats, places: Integers, count: int, level: float, way: float, place: int) -> None:
    """Put a place into a binary heap that holds ``count``."""
    hole = count
    while hole > 0:
        above = (hole - 1) >> 1
        if not _before(level, way, keys[above, 0], keys[above, 1]):
            break
        keys[hole, 0], keys[hole, 1] = keys[above, 0], keys[above, 1]
        places[hole] = places[above]
        hole = above
    keys[hole, 0], keys[hole, 1] = level, way
    places[hole] = place


@inlined
def _drop_first(keys: Floats, places: Integers, count: int) -> None:
    """Take the first place out of a binary heap, which then holds ``count``."""
    level, way, place = keys[count, 0], keys[count, 1], places[count]
    hole = 0
    while True:
        below = 2 * hole + 1
        if below >= count:
            break
        if below + 1 < count and _before(
            keys[below + 1, 0], keys[below + 1, 1], keys[below, 0], keys[below, 1]
        ):
            below += 1
        if not _before(keys[below, 0], keys[below, 1], level, way):
            break
        keys[hole, 0], keys[hole, 1] = keys[below, 0], keys[below, 1]
        places[hole] = places[below]
        hole = below
    keys[hole, 0], keys[hole, 1] = level, way
    places[hole] = place


#: What a metre of way counts for against one of height in filled ground: little, where heights are equal.
_WAY_SHARE = 1e-7


@compiled
def _flood(padded_m: Floats, spacing_x_m: float, spacing_y_m: float) -> tuple[Floats, Integers, Integers]:
    """Flood from the outlets inward; ``padded_m`` has a ring of void around the terrain.

    The queue is keyed by level, then by the ground's own height, so that what is filled drains along its
    lowest places, then by the way back to where the level was entered. A post on level ground may be queued
    again with a shorter way: the earlier entry is passed over when it comes up.
    """
    high, width = padded_m.shape
    rows, columns = high - 2, width - 2
    ground_m = padded_m.ravel()
    steps = np.array([-width - 1, -width, -width + 1, -1, 1, width - 1, width, width + 1])
    slant = math.hypot(spacing_x_m, spacing_y_m)
    lengths = np.array([slant, spacing_y_m, slant, spacing_x_m, spacing_x_m, slant, spacing_y_m, slant])
    level_m = ground_m.copy()
    way_m = np.zeros(len(ground_m))
    back = np.full(len(ground_m), -1, np.int8)  # step toward the post that flooded it
    state = np.zeros(len(ground_m), np.uint8)
    keys = np.empty((1024, 2))
    places = np.empty(1024, np.int64)
    count = 0
    posts = 0
    for place in range(width + 1, len(ground_m) - width - 1):
        if math.isnan(ground_m[place]):
            continue
        posts += 1
        for step in steps:
            if math.isnan(ground_m[place + step]):
                if count == len(places):
                    keys, places = _wider(keys, places)
                _push(keys, places, count, ground_m[place], ground_m[place], place)
                count += 1
                state[place] = _QUEUED
                break
    filled_m = np.full((rows, columns), np.nan)
    receiver = np.full(rows * columns, VOID, np.int64)
    order = np.empty(posts, np.int64)
    done = 0
    while count > 0:
        place = places[0]
        count -= 1
        _drop_first(keys, places, count)
        if state[place] == _DONE:
            continue
        state[place] = _DONE
        level = level_m[place]
        if count + 8 > len(places):
            keys, places = _wider(keys, places)
        steepest, chosen = 0.0, -1
        for k in range(8):
            other = place + steps[k]
            if state[other] == _DONE:
                fall = (level - level_m[other]) / lengths[k]
                # Of equal falls, as on to filled ground, the one to the lowest ground.
                if fall > steepest or (
                    fall > 0.0 and fall == steepest and ground_m[other] < ground_m[place + steps[chosen]]
                ):
                    steepest, chosen = fall, k
                continue
            ground = ground_m[other]
            if math.isnan(ground):
                continue
            if state[other] == _UNSEEN:
                state[other] = _QUEUED
                back[other] = 7 - k
                level_m[other] = max(ground, level)
                way_m[other] = 0.0 if ground > level else way_m[place] + lengths[k]
            elif (
                back[other] >= 0
                and level_m[other] == level
                and ground == ground_m[place]
                and way_m[place] + lengths[k] < way_m[other]
            ):
                back[other] = 7 - k
                way_m[other] = way_m[place] + lengths[k]
            else:
                continue
            _push(keys, places, count, level_m[other], ground + _WAY_SHARE * way_m[other], other)
            count += 1
        row, column = place // width - 1, place % width - 1
        post = row * columns + column
        filled_m[row, column] = level
        order[done] = post
        done += 1
        if back[place] < 0:
            receiver[post] = LEAVES
        else:
            if chosen < 0:
                chosen = back[place]
            below = place + steps[chosen]
            receiver[post] = (below // width - 1) * columns + below % width - 1
    return filled_m, receiver, order


@compiled
def _wider(keys: Floats, places: Integers) -> tuple[Floats, Integers]:
    """The queue's arrays with twice the room."""
    count = len(places)
    more_keys = np.empty((2 * count, 2))
    more_keys[:count] = keys
    more_places = np.empty(2 * count, np.int64)
    more_places[:count] = places
    return more_keys, more_places
