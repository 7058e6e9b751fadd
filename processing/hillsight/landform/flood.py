"""Where water runs: depressions filled, a way out for every post, and the ground upstream of each.

Filling is the priority-flood of Barnes, Lehman and Mulla (Priority-flood: an optimal depression-filling and
watershed-labeling algorithm for digital elevation models, Computers & Geosciences 62, 2014), with the queue
kept short as Zhou, Sun and Fu do (An efficient variant of the priority-flood algorithm for filling
depressions in raster digital elevation models, Computers & Geosciences 90, 2016); the steepest of 8
neighbours is the rule of O'Callaghan and Mark (The extraction of drainage networks from digital elevation
data, Computer Vision, Graphics, and Image Processing 28, 1984). All cited from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hillsight.arrays import Flags, Floats, Integers, Integers32
from hillsight.kernels.compiled import compiled, inlined
from hillsight.landform.sorting import rising

#: ``Drainage.receiver`` of a post that leaves the terrain, and of a void.
LEAVES = -1
VOID = -2

_QUEUED, _DONE = 1, 2


@dataclass(frozen=True)
class Drainage:
    """Where each post drains to.

    filled_m : (rows, columns) float64, heights with every depression filled to its outlet; NaN at void
    receiver : for each post, by flat index, that of the post drained to; ``LEAVES`` (-1) at an outlet,
        ``VOID`` (-2) at a void
    order : flat indices of the posts that are not void, each after the one it drains to
    """

    filled_m: Floats
    receiver: Integers32
    order: Integers32


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
def _accumulate(receiver: Integers32, order: Integers32, total: Floats) -> None:
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
def _flood(padded_m: Floats, spacing_x_m: float, spacing_y_m: float) -> tuple[Floats, Integers32, Integers32]:
    """Levels, receivers and order of a terrain with a ring of void around it."""
    high, width = padded_m.shape
    rows, columns = high - 2, width - 2
    ground_m = padded_m.ravel()
    steps = np.array([-width - 1, -width, -width + 1, -1, 1, width - 1, width, width + 1])
    slant = math.hypot(spacing_x_m, spacing_y_m)
    lengths = np.array([slant, spacing_y_m, slant, spacing_x_m, spacing_x_m, slant, spacing_y_m, slant])
    outlet = np.zeros(ground_m.size, np.bool_)
    level_m = _levels(ground_m, steps, outlet)
    filled_m = level_m.reshape(high, width)[1:-1, 1:-1].copy()
    # Toward the first of eight neighbours that falls most; of equal falls, as on to filled ground, to the
    # lowest ground.
    way = np.full(ground_m.size, -1, np.int8)
    posts = 0
    level_posts = 0
    for place in range(width + 1, ground_m.size - width - 1):
        level = level_m[place]
        if math.isnan(level):
            continue
        posts += 1
        if outlet[place]:
            continue
        steepest, chosen = 0.0, -1
        for k in range(8):
            other = place + steps[k]
            if level_m[other] < level:
                fall = (level - level_m[other]) / lengths[k]
                lower = fall == steepest and ground_m[other] < ground_m[place + steps[chosen]]
                if fall > steepest or lower:
                    steepest, chosen = fall, k
        way[place] = chosen
        level_posts += chosen < 0
    late = _across_level(ground_m, level_m, outlet, way, steps, lengths, level_posts)
    receiver = np.full(rows * columns, VOID, np.int32)
    started = np.empty(posts, np.int32)  # those that fall, then the others as the flood comes to them
    keys = np.empty(posts)
    count = 0
    for row in range(rows):
        for column in range(columns):
            place = (row + 1) * width + column + 1
            post = row * columns + column
            if math.isnan(level_m[place]):
                continue
            if outlet[place]:
                receiver[post] = LEAVES
            elif way[place] >= 8:
                continue
            else:
                k = way[place]
                receiver[post] = (row + (k + (k > 3)) // 3 - 1) * columns + column + (k + (k > 3)) % 3 - 1
            started[count] = post
            keys[count] = level_m[place]
            count += 1
    for place in late:
        row, column, k = place // width - 1, place % width - 1, way[place] - 8
        post = row * columns + column
        receiver[post] = (row + (k + (k > 3)) // 3 - 1) * columns + column + (k + (k > 3)) % 3 - 1
        started[count] = post
        keys[count] = level_m[place]
        count += 1
    return filled_m, receiver, started[rising(keys)]


@compiled
def _levels(ground_m: Floats, steps: Integers, outlet: Flags) -> Floats:
    """Heights with every depression filled; marks the outlets.

    Only what may spill waits in a queue by height: what rises from a post that is done is done itself, and
    what lies no higher is filled.
    """
    level_m = ground_m.copy()
    done = np.isnan(ground_m)
    keys = np.empty((1024, 2))
    places = np.empty(1024, np.int64)
    count = 0
    for place in range(ground_m.size):
        if done[place]:
            continue
        for step in steps:
            if math.isnan(ground_m[place + step]):
                if count == len(places):
                    keys, places = _wider(keys, places)
                _push(keys, places, count, ground_m[place], 0.0, place)
                count += 1
                outlet[place] = True
                break
    for k in range(count):
        done[places[k]] = True
    climbing = np.empty(ground_m.size, np.int32)
    filling = np.empty(ground_m.size, np.int32)
    to_fill = 0
    while to_fill > 0 or count > 0:
        if to_fill > 0:
            to_fill -= 1
            place = int(filling[to_fill])
        else:
            place = places[0]
            count -= 1
            _drop_first(keys, places, count)
        first, last = 0, 0
        level = level_m[place]
        for step in steps:
            other = place + step
            if done[other]:
                continue
            done[other] = True
            if ground_m[other] <= level:
                level_m[other] = level
                filling[to_fill] = other
                to_fill += 1
            else:
                climbing[last] = other
                last += 1
        while first < last:
            place = int(climbing[first])
            first += 1
            ground = ground_m[place]
            waits = False
            for step in steps:
                other = place + step
                if done[other]:
                    continue
                if ground_m[other] > ground:
                    done[other] = True
                    climbing[last] = other
                    last += 1
                elif not waits:
                    # Unless it is come to from somewhere lower.
                    waits = True
                    for further in steps:
                        if done[other + further] and level_m[other + further] < ground_m[other]:
                            waits = False
                            break
            if waits:
                if count == len(places):
                    keys, places = _wider(keys, places)
                _push(keys, places, count, ground, 0.0, place)
                count += 1
    return level_m


@compiled
def _across_level(
    ground_m: Floats,
    level_m: Floats,
    outlet: Flags,
    way: NDArray[np.int8],
    steps: Integers,
    lengths: Floats,
    most: int,
) -> Integers:
    """Give posts from which nothing falls a way, and return them in the order in which they are come to.

    The flood goes inward from where a level is left, by the ground's own height first, so that what is filled
    drains along its lowest places, then by the way back. A post may be queued again with a shorter way: the
    earlier entry is passed over when it comes up.

    Parameters
    ----------
    way : step to the post drained to; -1 where none falls, which is filled with the step and 8 more
    most : how many of those there are
    """
    late = np.empty(most, np.int64)
    if most == 0:
        return late
    way_m = np.zeros(level_m.size)
    state = np.zeros(level_m.size, np.uint8)
    keys = np.empty((1024, 2))
    places = np.empty(1024, np.int64)
    count = 0
    for place in range(level_m.size):
        if math.isnan(level_m[place]) or not (outlet[place] or way[place] >= 0):
            continue
        for step in steps:
            other = place + step
            if level_m[other] == level_m[place] and way[other] < 0 and not outlet[other]:
                if count == len(places):
                    keys, places = _wider(keys, places)
                _push(keys, places, count, level_m[place], ground_m[place], place)
                count += 1
                state[place] = _QUEUED
                break
    found = 0
    while count > 0:
        place = places[0]
        count -= 1
        _drop_first(keys, places, count)
        if state[place] == _DONE:
            continue
        state[place] = _DONE
        if way[place] >= 8:
            late[found] = place
            found += 1
        if count + 8 > len(places):
            keys, places = _wider(keys, places)
        for k in range(8):
            other = place + steps[k]
            if level_m[other] != level_m[place] or state[other] == _DONE:
                continue
            along_m = way_m[place] + lengths[k]
            if way[other] < 0 and not outlet[other]:
                state[other] = _QUEUED
            elif not (way[other] >= 8 and ground_m[other] == ground_m[place] and along_m < way_m[other]):
                continue
            way[other] = 8 + 7 - k
            way_m[other] = along_m
            _push(keys, places, count, level_m[other], ground_m[other] + _WAY_SHARE * along_m, other)
            count += 1
    return late[:found]


@compiled
def _wider(keys: Floats, places: Integers) -> tuple[Floats, Integers]:
    """The queue's arrays with twice the room."""
    count = len(places)
    more_keys = np.empty((2 * count, 2))
    more_keys[:count] = keys
    more_places = np.empty(2 * count, np.int64)
    more_places[:count] = places
    return more_keys, more_places
