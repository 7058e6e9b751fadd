"""From a good choice to the best: search, bound, rule out, and solve exactly what is left."""

from __future__ import annotations

import math
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.posts.solving.bound import bound, fewest_for_all
from hillsight.plan.posts.solving.exact import least_cost, most_cover
from hillsight.plan.posts.solving.search import greedy_reaching, pruned, searched, swapped

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Integers
    from hillsight.plan.posts.solving.table import Table

#: Of the time there is, the share until the search ends, a bound for one number of posts, and all bounds.
_SEARCH, _FIRST_BOUND, _BOUND = 0.25, 0.35, 0.5

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
    left = table.only(known.possible).undominated(spare_effort=False)
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
    posts, tolerance = int(best.size), table.tolerance
    if wanted >= table.whole - tolerance:
        needed = fewest_for_all(table, posts, start + _FIRST_BOUND * seconds)
        if needed >= posts:
            return Fewest(best, posts)
    else:
        needed = 1
    known = bound(table, posts - 1, wanted, start + _FIRST_BOUND * seconds)
    needed = max(needed, min(known.fewest(wanted - tolerance), posts))
    needed = _fewest_by_halves(table, wanted, needed, posts - 1, start + _BOUND * seconds)
    if needed >= best.size or not known.possible.any():
        return Fewest(best, int(best.size))
    left = table.only(known.possible).undominated(spare_effort=False)
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


def _fewest_by_halves(table: Table, wanted: float, least: int, most: int, until: float) -> int:
    """No fewer posts than this see so much: bounds for one number tell little of numbers far from it.

    least : as many are needed in any case; most : so many could not be ruled out
    """
    while least < most and time.monotonic() < until:
        middle = (least + most) // 2
        found = bound(table, middle, wanted, until)
        least = max(least, min(found.fewest(wanted - table.tolerance), most))
        most = most if least > middle else middle
    return least


def spared(table: Table, chosen: Integers, floor: float, price: float, seconds: float) -> Integers:
    """A choice of no more posts that spares effort, as far as is known the best.

    Parameters
    ----------
    chosen : rows of the table, which see no less than the floor
    floor : what must still be seen
    price : worth that may be given up to spare one of effort; at 0 effort alone counts above the floor
    """
    start = time.monotonic()
    if not chosen.size or table.effort[chosen].max() <= 0.0:
        return chosen
    gain = 1.0 if price > 0.0 else 0.0
    cost = table.effort * (price if price > 0.0 else 1.0)

    def value(rows: Integers) -> float:
        return gain * table.cover(rows) - float(cost[rows].sum())

    best = _moved(table, chosen, floor, gain, cost)
    # Whoever is worth as much, less the walk, sees as much at least.
    known = bound(table, int(chosen.size), max(floor, value(best)), start + 0.3 * seconds)
    left = table.only(known.possible)
    left_cost = cost[table.rows_of(left.place)]
    rest_s = start + seconds - time.monotonic()
    if price > 0.0:
        found = most_cover(left, int(chosen.size), rest_s, left_cost, floor)
    else:
        found = least_cost(left, floor, left_cost, rest_s, int(chosen.size))
    if found.chosen is None:
        return best
    tried = table.rows_of(left.place[found.chosen])
    kept = table.cover(tried) >= floor - table.tolerance
    return tried if kept and value(tried) > value(best) + table.tolerance else best


def _moved(table: Table, chosen: Integers, floor: float, gain: float, cost: Floats) -> Integers:
    """Posts moved one by one to where they are worth most, or given up, as long as the floor is kept.

    gain : what a unit of cover counts beside the costs
    """
    current = [int(k) for k in chosen]
    moved = True
    while moved:
        moved = False
        for post in tuple(current):
            others = np.array([k for k in current if k != post], np.int64)
            counts = table.counts(others)
            base = float(table.worth @ np.minimum(counts, table.times))
            kept: Floats = base + table.gains(counts)
            value = gain * kept - cost
            fits = kept >= floor - table.tolerance
            fits[others] = False
            best = int(np.argmax(np.where(fits, value, -np.inf)))
            if (
                base >= floor - table.tolerance
                and gain * base > max(value[best], value[post]) - table.tolerance
            ):
                current, moved = [int(k) for k in others], True
            elif value[best] > value[post] + table.tolerance:
                current, moved = [best if k == post else k for k in current], True
    return np.array(current, np.int64)
