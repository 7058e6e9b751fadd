"""Good choices of places, quickly: the greedy one, and what swapping posts makes of it."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Integers
    from hillsight.plan.posts.solving.table import Table

#: Times that some posts of a choice are dropped at random and others found, and how many at most.
_SHAKES, _MOST_DROPPED = 40, 4


def greedy(table: Table, posts: int, start: Integers | None = None) -> Integers:
    """Posts taken one by one, each the one that adds most, until none adds anything.

    Sees at least 1 - 1/e = 0.632 of what the best choice of as many sees (Nemhauser, Wolsey and Fisher 1978,
    Mathematical Programming 14; from memory).

    start : places already taken, which count among the posts
    """
    chosen = [] if start is None else [int(k) for k in start]
    counts = table.counts(np.array(chosen, np.int64))
    while len(chosen) < posts:
        gains = table.gains(counts)
        gains[chosen] = 0.0
        best = _best(gains, table)
        if gains[best] <= table.tolerance:
            break
        chosen.append(best)
        counts = counts + table.counts(np.array([best]))
    return np.array(chosen, np.int64)


def greedy_reaching(table: Table, wanted: float) -> Integers:
    """Posts taken greedily until they see so much, and then without any that is not needed."""
    chosen: list[int] = []
    counts = np.zeros(table.worth.size)
    while table.worth @ np.minimum(counts, table.times) < wanted - table.tolerance:
        gains = table.gains(counts)
        gains[chosen] = 0.0
        best = _best(gains, table)
        if gains[best] <= 0.0:
            break
        chosen.append(best)
        counts = counts + table.counts(np.array([best]))
    return pruned(table, np.array(chosen, np.int64), wanted)


def pruned(table: Table, chosen: Integers, wanted: float) -> Integers:
    """Without posts that are not needed to see so much, those that are missed least first."""
    left = chosen
    while left.size:
        losses = own_share(table, left)
        at = int(np.argmin(losses))
        if table.cover(left) - losses[at] < wanted - table.tolerance:
            break
        left = np.delete(left, at)
    return left


def own_share(table: Table, chosen: Integers) -> Floats:
    """What would be lost without each of some posts, (posts,)."""
    counts = table.counts(chosen)
    alone = np.where(counts <= table.times, table.worth, 0.0)
    found: Floats = table.seen[chosen] @ alone
    return found


def swapped(table: Table, chosen: Integers, until: float) -> Integers:
    """One post after another put where it adds most, until no swap of one helps or time is up."""
    current = chosen.copy()
    counts = table.counts(current)
    since = 0
    at = 0
    while since < current.size and time.monotonic() < until:
        without = counts - table.counts(current[at : at + 1])
        gains = table.gains(without)
        now = gains[current[at]]
        gains[current] = -1.0
        best = _best(gains, table)
        if gains[best] > now + table.tolerance:
            current[at] = best
            counts = without + table.counts(np.array([best]))
            since = 0
        else:
            since += 1
        at = (at + 1) % current.size
    return current


def searched(table: Table, posts: int, until: float, enough: float = np.inf) -> Integers:
    """The best choice that greed, swaps and some shaking find; the same on every run that has time enough.

    enough : a cover at which the search may end
    """
    posts = min(posts, table.place.size)
    best = swapped(table, greedy(table, posts), until)
    best_cover = table.cover(best)
    random = np.random.default_rng(9)
    whole = table.whole
    for shake in range(_SHAKES):
        if best_cover >= min(enough, whole) - table.tolerance or time.monotonic() > until or not best.size:
            break
        dropped = min(2 + shake % (_MOST_DROPPED - 1), best.size)
        kept = np.delete(best, random.choice(best.size, dropped, replace=False))
        # Some that add little are kept out for a while, so that others get their turn.
        barred = random.random(table.place.size) < 0.3
        barred[kept] = False
        tried = swapped(table, _filled(table, posts, kept, ~barred), until)
        cover = table.cover(tried)
        if cover > best_cover + table.tolerance:
            best, best_cover = tried, cover
    return best


def _filled(table: Table, posts: int, kept: Integers, allowed: np.ndarray) -> Integers:
    """A choice filled up greedily, from some places as far as they go, then from all."""
    chosen = [int(k) for k in kept]
    counts = table.counts(kept)
    while len(chosen) < posts:
        gains = table.gains(counts)
        gains[chosen] = -1.0
        some = np.where(allowed, gains, -1.0)
        best = _best(some if some.max() > 0.0 else gains, table)
        if gains[best] < 0.0:
            break
        chosen.append(best)
        counts = counts + table.counts(np.array([best]))
    return np.array(chosen, np.int64)


def _best(gains: Floats, table: Table) -> int:
    """The place of most gain; of those alike the one of least effort, then the first."""
    near = np.flatnonzero(gains >= gains.max() - table.tolerance)
    return int(near[np.argmin(table.effort[near])])
