"""From a good choice to the best: search, bound, rule out, and solve exactly what is left."""

from __future__ import annotations

import math
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.posts.solving.bound import bound
from hillsight.plan.posts.solving.exact import least_cost, most_cover
from hillsight.plan.posts.solving.search import greedy_reaching, pruned, searched, swapped

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Integers
    from hillsight.plan.posts.solving.table import Table

#: Of the time there is, the share until the search ends, and until the bound does.
_SEARCH, _BOUND = 0.25, 0.5

#: The solver's answers are good to so much.
_SOLVER = 1e-6


@dataclass(frozen=True)
class Most:
    """A choice of a number of places, and what no choice of as many sees more than.

    chosen : rows of the table
    """

    chosen: Integers
    bound: float


@dataclass(frozen=True)
class Fewest:
    """A choice that sees what is wanted, and the number of places below which none does.

    chosen : rows of the table
    """

    chosen: Integers
    needed: int


def most(table: Table, posts: int, seconds: float) -> Most:
    """What so many posts see most of."""
    start = time.monotonic()
    best = searched(table, posts, start + _SEARCH * seconds)
    cover, whole = table.cover(best), table.whole
    if cover >= whole - table.tolerance:
        return Most(best, whole)
    known = bound(table, posts, cover, start + _BOUND * seconds)
    highest = min(float(known.by_posts[min(posts, table.place.size)]), whole)
    if highest <= cover + table.tolerance:
        return Most(best, cover)
    left = table.only(known.possible)
    found = most_cover(left, posts, start + seconds - time.monotonic())
    if found.chosen is not None:
        tried = table.rows_of(left.place[found.chosen])
        if table.cover(tried) > cover + table.tolerance:
            best = swapped(table, tried, start + seconds)
            cover = table.cover(best)
    # Beyond what is left no choice sees as much as the best known.
    within = max(found.bound, cover)
    if within <= cover + _SOLVER * whole:
        within = cover
    return Most(best, min(highest, within))


def fewest(table: Table, wanted: float, seconds: float) -> Fewest:
    """The fewest posts that see so much; the table as a whole sees it."""
    start = time.monotonic()
    best = greedy_reaching(table, wanted)
    while best.size > 1 and time.monotonic() < start + _SEARCH * seconds:
        fewer = searched(table, best.size - 1, start + _SEARCH * seconds, enough=wanted)
        if table.cover(fewer) < wanted - table.tolerance:
            break
        best = pruned(table, fewer, wanted)
    if best.size <= 1:
        return Fewest(best, int(best.size))
    known = bound(table, best.size - 1, wanted, start + _BOUND * seconds)
    needed = min(known.fewest(wanted - table.tolerance), int(best.size))
    if needed >= best.size or not known.possible.any():
        return Fewest(best, int(best.size))
    left = table.only(known.possible)
    if left.whole < wanted - table.tolerance:
        return Fewest(best, int(best.size))
    found = least_cost(
        left, wanted, np.ones(left.place.size), start + seconds - time.monotonic(), int(best.size) - 1
    )
    if found.impossible:
        return Fewest(best, int(best.size))
    needed = max(needed, math.ceil(found.bound - _SOLVER))
    if found.chosen is not None:
        tried = table.rows_of(left.place[found.chosen])
        if tried.size < best.size and table.cover(tried) >= wanted - table.tolerance:
            best = tried
    return Fewest(best, min(needed, int(best.size)))


def least_effort(table: Table, chosen: Integers, floor: float, seconds: float) -> Integers:
    """Of choices of at most as many posts that see no less than a floor, the one of least effort known.

    chosen : rows of the table, which see that much
    """
    start = time.monotonic()
    best = _cheaper(table, pruned(table, chosen, floor), floor)
    if not best.size or table.effort[best].sum() <= 0.0:
        return best
    posts = int(chosen.size)
    known = bound(table, posts, floor, start + 0.3 * seconds)
    left = table.only(known.possible)
    found = least_cost(left, floor, left.effort, start + seconds - time.monotonic(), posts)
    if found.chosen is None:
        return best
    tried = table.rows_of(left.place[found.chosen])
    better = table.effort[tried].sum() < table.effort[best].sum() - 1e-9
    return tried if better and table.cover(tried) >= floor - table.tolerance else best


def _cheaper(table: Table, chosen: Integers, floor: float) -> Integers:
    """Posts put one by one where they take least effort, as long as the floor is kept."""
    current, moved = chosen.copy(), True
    while moved:
        moved = False
        for at in range(current.size):
            counts = table.counts(np.delete(current, at))
            kept: Floats = table.worth @ np.minimum(counts, table.times) + table.gains(counts)
            fits = (kept >= floor - table.tolerance) & (table.effort < table.effort[current[at]])
            fits[current] = False
            if fits.any():
                rows = np.flatnonzero(fits)
                current[at] = rows[np.lexsort((-kept[rows], table.effort[rows]))[0]]
                moved = True
    return current
