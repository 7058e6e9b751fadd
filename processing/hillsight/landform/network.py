"""Lines that ground gathers into: the stems of a drainage, long ones first, short ones as their branches.

The same code follows valleys downwards and, on the ground turned upside down, ridges upwards.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats, Integers, Integers32
    from hillsight.landform.flood import Drainage


@dataclass(frozen=True)
class Stem:
    """A line of posts from its far end to where it joins another stem or leaves the terrain.

    posts : flat indices, far end first; the last one is shared with the stem that it joins
    joins : index of that stem in the list, -1 for none
    """

    posts: Integers
    joins: int


def stems(
    drainage: Drainage,
    sources: Flags,
    merit: Floats,
    least_merit: float = 0.0,
) -> list[Stem]:
    """Stems that drain the sources: where several meet, the one of the greatest merit goes on.

    Parameters
    ----------
    drainage : where each post drains to; receivers lie downstream
    sources : (rows, columns) posts that lines come from; everything downstream of one is on a line
    merit : (rows, columns) what each post adds to a line's merit
    least_merit : branches of less are left out

    Returns
    -------
    stems, each after the one that it joins
    """
    receiver, order = drainage.receiver.ravel(), drainage.order
    on_line, best, following = _mark(receiver, order, sources.ravel(), merit.ravel())
    ends = order[on_line[order] & (receiver[order] < 0) & (best[order] >= least_merit)]
    ends = ends[np.lexsort((ends, -best[ends]))]
    first, inflows = _inflows(receiver, order[on_line[order] & (best[order] >= least_merit)])
    posts, starts, joins = _trace(ends, receiver, following, first, inflows)
    return [
        Stem(posts[start:end], int(joined))
        for start, end, joined in zip(starts[:-1].tolist(), starts[1:].tolist(), joins.tolist(), strict=True)
    ]


@compiled
def _mark(
    receiver: Integers32,
    order: Integers32,
    sources: Flags,
    merit: Floats,
) -> tuple[Flags, Floats, Integers]:
    """Posts downstream of a source, the merit gathered on the best way there, the next post up that way."""
    on_line = sources.copy()
    best = np.zeros(receiver.size)
    following = np.full(receiver.size, -1, np.int64)
    for k in range(order.size - 1, -1, -1):
        post = order[k]
        if not on_line[post]:
            continue
        best[post] += merit[post]
        below = receiver[post]
        if below >= 0:
            on_line[below] = True
            up = following[below]
            if up < 0 or best[post] > best[up]:
                following[below] = post
                best[below] = best[post]
    return on_line, best, following


def _inflows(receiver: Integers32, posts: Integers32) -> tuple[Integers, Integers32]:
    """Posts by the post that they drain to: those of ``p`` are ``inflows[first[p]:first[p + 1]]``."""
    posts = posts[receiver[posts] >= 0]
    below = receiver[posts]
    count = np.bincount(below, minlength=receiver.size)
    first = np.concatenate([[0], np.cumsum(count)])
    return first, posts[np.lexsort((posts, below))]


@compiled
def _trace(
    ends: Integers32,
    receiver: Integers32,
    following: Integers,
    first: Integers,
    inflows: Integers32,
) -> tuple[Integers, Integers, Integers]:
    """Stems one after another, far end first: their posts, where each starts, and which each joins.

    ends : last posts of the stems that join none
    """
    most = inflows.size + ends.size  # stems
    posts = np.empty(receiver.size + most, np.int64)  # each post once, and a junction for each stem
    starts = np.empty(most + 1, np.int64)
    joins = np.empty(most, np.int64)
    lowest = np.empty(most, np.int64)
    count = ends.size
    for k in range(ends.size):
        lowest[k], joins[k] = ends[k], -1
    used, me = 0, 0
    while me < count:
        starts[me] = used
        post = lowest[me]
        if joins[me] >= 0:
            posts[used] = receiver[post]  # the post that it shares with the stem it joins
            used += 1
        while post >= 0:
            posts[used] = post
            used += 1
            for k in range(first[post], first[post + 1]):
                if inflows[k] != following[post]:
                    lowest[count], joins[count] = inflows[k], me
                    count += 1
            post = following[post]
        line = posts[starts[me] : used]
        line[:] = line[::-1].copy()
        me += 1
    starts[me] = used
    return posts[:used], starts[: count + 1], joins[:count]


def strahler_orders(found: list[Stem]) -> Integers:
    """Strahler's order (1957) of each stem at its lower end.

    Where two or more of the highest order meet at a post, the order rises by one; stems come after those that
    they join.
    """
    orders = np.ones(len(found), np.int64)
    joining: list[dict[int, list[int]]] = [{} for _ in found]
    for me in range(len(found) - 1, -1, -1):
        stem = found[me]
        order = 1
        place = {post: k for k, post in enumerate(stem.posts.tolist())} if joining[me] else {}
        for post in sorted(joining[me], key=lambda post: place[post]):
            meeting = [order, *joining[me][post]]
            highest = max(meeting)
            order = highest + 1 if meeting.count(highest) > 1 else highest
        orders[me] = order
        if stem.joins >= 0:
            joining[stem.joins].setdefault(int(stem.posts[-1]), []).append(order)
    return orders
