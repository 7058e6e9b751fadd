"""Prominence by a sorted union-find: posts join from the highest down; a rise ends where it meets a higher.

Prominence is the height of a summit above its key saddle, the highest of the lowest points on all ways to
higher ground. The sweep is the join tree of Carr, Snoeyink and Axen (Computing contour trees in all
dimensions, Computational Geometry 24, 2003), cited from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from hillsight.arrays import Flags, Floats, Integers, Integers32
from hillsight.kernels.compiled import compiled, inlined
from hillsight.landform.sorting import rising

_VOID = -2
_WAITING = -1
_BLOCK = 32


@dataclass(frozen=True)
class Peaks:
    """Rises of a terrain, the highest summit first; all arrays have one entry to a rise.

    summit : flat index of the highest post; of a level top the post with the lowest flat index
    saddle : flat index of the key saddle; -1 where no higher ground is reached within the terrain
    prominence_m : height above the key saddle, or what is certain of it (see ``is_least``)
    is_least : the ground around the summit runs out of the terrain, or into a void, above the key saddle;
        higher ground may lie beyond at that level, so the prominence is ``prominence_m`` or more
    parent : row of the summit joined at the key saddle, the highest there; -1 none. Where that one was left
        out for want of prominence (it stands at the edge) the nearest kept one that it joins in turn
    edge_level_m : highest level at which the ground above it, around the summit, touches the terrain's edge
        or a void; NaN where the key saddle comes first
    """

    summit: Integers
    saddle: Integers
    prominence_m: Floats
    is_least: Flags
    parent: Integers
    edge_level_m: Floats

    def __len__(self) -> int:
        return len(self.summit)


def prominences(height_m: Floats, least_m: float = 0.0) -> Peaks:
    """Every rise with a prominence of ``least_m`` or more, by 8 neighbours.

    Of equal summits the one with the lowest flat index counts as the higher. A post on the terrain's edge or
    beside a void that nothing around it overtops is a rise too, of 0 m at least.

    Parameters
    ----------
    height_m : (rows, columns) float64, metres; NaN is void
    """
    rows, columns = height_m.shape
    flat_m = np.ascontiguousarray(height_m, dtype=np.float64).ravel()
    order = _falling(flat_m)
    labels = np.full((rows + 2) * (columns + 2), _VOID, np.int32)
    inner = labels.reshape(rows + 2, columns + 2)[1:-1, 1:-1]
    inner[~np.isnan(height_m)] = _WAITING
    room = ((rows + 1) // 2) * ((columns + 1) // 2)  # no two posts that start a rise are neighbours
    summit = np.empty(room, np.int64)
    saddle = np.full(room, -1, np.int64)
    parent = np.full(room, -1, np.int64)
    edge_level_m = np.full(room, np.nan)
    count = _sweep(flat_m, order, columns, labels, summit, saddle, parent, edge_level_m)
    return _kept(flat_m, summit[:count], saddle[:count], parent[:count], edge_level_m[:count], float(least_m))


def nearest_higher_m(height_m: Floats, spacing_x_m: float, spacing_y_m: float, posts: Integers) -> Floats:
    """Distance in metres from each post (flat index) to the nearest strictly higher post; inf if none."""
    rows, columns = height_m.shape
    high, wide = -(-rows // _BLOCK) * _BLOCK, -(-columns // _BLOCK) * _BLOCK
    padded_m = np.full((high, wide), -np.inf)
    padded_m[:rows, :columns] = np.where(np.isnan(height_m), -np.inf, height_m)
    highest_m = padded_m.reshape(high // _BLOCK, _BLOCK, wide // _BLOCK, _BLOCK).max(axis=(1, 3))
    at = np.ascontiguousarray(posts, dtype=np.int64).ravel()
    return _nearest_higher(padded_m, highest_m, columns, float(spacing_x_m), float(spacing_y_m), at)


def _falling(flat_m: Floats) -> Integers:
    """Flat indices of the posts that are not void, highest first, equal ones by index."""
    known = np.flatnonzero(~np.isnan(flat_m))
    if known.size == flat_m.size:
        return rising(-flat_m).astype(np.int64)
    return known[rising(-flat_m[known])]


def _kept(
    flat_m: Floats,
    summit: Integers,
    saddle: Integers,
    parent: Integers,
    edge_level_m: Floats,
    least_m: float,
) -> Peaks:
    """Rises that are no mere second start on one level, with prominence enough."""
    top_m = flat_m[summit]
    saddle_m = np.where(saddle >= 0, flat_m[saddle], -np.inf)
    is_least = edge_level_m > saddle_m
    prominence_m = top_m - np.where(is_least, edge_level_m, saddle_m)
    kept = (saddle_m < top_m) & (prominence_m >= least_m)
    rows = _rows_of_kept(parent, kept)
    level_m = np.where(is_least, edge_level_m, np.nan)
    return Peaks(summit[kept], saddle[kept], prominence_m[kept], is_least[kept], rows[kept], level_m[kept])


@inlined
def _root(joined: Integers32, rise: int) -> int:
    """The rise that this one has become part of; halves the way for the next asker."""
    while joined[rise] != rise:
        joined[rise] = joined[joined[rise]]
        rise = joined[rise]
    return rise


@compiled
def _sweep(
    flat_m: Floats,
    order: Integers,
    columns: int,
    labels: Integers32,
    summit: Integers,
    saddle: Integers,
    parent: Integers,
    edge_level_m: Floats,
) -> int:
    """Join posts from the highest down; fills the four last arrays and returns how many rises there are.

    Rises are numbered as they start, so the lower number is the higher summit. ``labels`` has a ring of void
    around the terrain.
    """
    width = columns + 2
    steps = np.array([-width - 1, -width, -width + 1, -1, 1, width - 1, width, width + 1])
    joined = np.empty(len(summit), np.int32)
    count = 0
    for post in order:
        place = post + 2 * (post // columns) + width + 1
        best = -1
        several = False
        at_edge = False
        for step in steps:
            label = labels[place + step]
            if label == _VOID:
                at_edge = True
            elif label >= 0:
                rise = _root(joined, label)
                if best == -1:
                    best = rise
                elif rise != best:
                    several = True
                    best = min(best, rise)
        if best == -1:
            best = count
            joined[count] = count
            summit[count] = post
            count += 1
        labels[place] = best
        if several:
            for step in steps:
                label = labels[place + step]
                if label < 0:
                    continue
                rise = _root(joined, label)
                if rise != best:
                    joined[rise] = best
                    saddle[rise] = post
                    parent[rise] = best
                    at_edge = at_edge or not math.isnan(edge_level_m[rise])
        if at_edge and math.isnan(edge_level_m[best]):
            edge_level_m[best] = flat_m[post]
    return count


@compiled
def _rows_of_kept(parent: Integers, kept: Flags) -> Integers:
    """For each rise, the row among the kept ones of the nearest kept rise that it joins; -1 none."""
    row = np.cumsum(kept) - 1
    found = np.full(len(parent), -1, np.int64)
    for rise in range(len(parent)):
        above = parent[rise]  # a lower number: settled before
        if above >= 0:
            found[rise] = row[above] if kept[above] else found[above]
    return found


@compiled
def _nearest_higher(
    height_m: Floats,
    highest_m: Floats,
    columns: int,
    spacing_x_m: float,
    spacing_y_m: float,
    posts: Integers,
) -> Floats:
    """Rings of blocks outward until no block can hold a nearer one; blocks with nothing higher are passed."""
    high, wide = highest_m.shape
    found_m = np.empty(len(posts))
    for k in range(len(posts)):
        row, column = posts[k] // columns, posts[k] % columns
        top_m = height_m[row, column]
        middle_row, middle_column = row // _BLOCK, column // _BLOCK
        best = np.inf
        for ring in range(max(high, wide)):
            # the nearest post of any block in this ring, seen from anywhere in the middle block
            reach = ((ring - 1) * _BLOCK + 1) * min(spacing_x_m, spacing_y_m)
            if ring > 0 and reach * reach >= best:
                break
            for block_row in range(max(0, middle_row - ring), min(high, middle_row + ring + 1)):
                across = ring if abs(block_row - middle_row) < ring else 0
                step = 2 * ring if across else 1
                for block_column in range(middle_column - ring, middle_column + ring + 1, step):
                    if block_column < 0 or block_column >= wide:
                        continue
                    if highest_m[block_row, block_column] > top_m:
                        near = _in_block(
                            height_m, block_row, block_column, row, column, spacing_x_m, spacing_y_m
                        )
                        best = min(best, near)
        found_m[k] = math.sqrt(best)
    return found_m


@inlined
def _in_block(
    height_m: Floats,
    block_row: int,
    block_column: int,
    row: int,
    column: int,
    spacing_x_m: float,
    spacing_y_m: float,
) -> float:
    """Squared distance to the nearest post of a block that is higher than the post given."""
    top_m = height_m[row, column]
    best = np.inf
    for r in range(block_row * _BLOCK, (block_row + 1) * _BLOCK):
        for c in range(block_column * _BLOCK, (block_column + 1) * _BLOCK):
            if height_m[r, c] > top_m:
                best = min(best, ((r - row) * spacing_y_m) ** 2 + ((c - column) * spacing_x_m) ** 2)
    return best
