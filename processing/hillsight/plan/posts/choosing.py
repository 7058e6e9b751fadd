"""Which places to man: the most cover for so many posts, or the fewest posts for so much cover.

Arrays in, arrays out. Of each place it is known which pieces of ground it sees; how that was found is no
matter here. A piece that is to be seen from two posts is worth half as much to the first that sees it as it
weighs, and half to the second.
"""

from __future__ import annotations

import math
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import sparse

from hillsight.errors import CallError
from hillsight.plan.posts.solving.search import swapped
from hillsight.plan.posts.solving.stages import fewest, most, spared
from hillsight.plan.posts.solving.table import ALIKE, Table
from hillsight.words.quantities import per_cent

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats, Integers

#: Other places told of for each post.
_OTHERS = 3

#: Of the time there is, the share in which walking is spared.
_SPARING = 0.3


@dataclass(frozen=True)
class Alternative:
    """A place that could be manned instead of a post, all others staying.

    post, place : indices of places
    loss_share : of the course's weight; what would no longer be seen. Below 0 if more would be
    """

    post: int
    place: int
    loss_share: float


@dataclass(frozen=True)
class Choice:
    """Places chosen, and how good the choice is known to be. Shares are of the weight of the whole course.

    chosen : (n,) indices of places, rising
    covered_share : what they see
    at_most_share : no choice of as many posts sees more; with ``wanted_share`` it is not asked and is 1
    needed_posts : no fewer posts see what is wanted, or all that can be seen if the posts allowed see all
        that; else as many as are chosen
    wanted_share : the share asked for; None if a number of posts was
    reachable_share : what all places that are allowed see together
    own_share : (n,) what would no longer be seen without each
    alternatives : for each post that is not fixed, those places that lose least, best first
    is_proven : whether no choice of as many posts sees more, or no fewer posts what is wanted
    given_up_share : cover given up to spare effort, where a price for it was told; counts as proven all the
        same
    counts_twice : whether two posts are asked for over some of it: one post counts half there, in all shares
    """

    chosen: Integers
    covered_share: float
    at_most_share: float
    needed_posts: int
    wanted_share: float | None
    reachable_share: float
    own_share: Floats
    alternatives: tuple[Alternative, ...]
    is_proven: bool
    given_up_share: float = 0.0
    counts_twice: bool = False

    @property
    def gap(self) -> float:
        """How far the choice may be from the best: a share of the cover, or of the posts."""
        if self.wanted_share is not None:
            return 1.0 - self.needed_posts / self.chosen.size if self.chosen.size else 0.0
        return max(self.at_most_share - self.covered_share, 0.0) / max(self.at_most_share, 1e-300)

    @property
    def in_words(self) -> str:
        """What was found and how sure it is, as sentences."""
        posts = many(self.chosen.size, "post")
        see = "sees" if self.chosen.size == 1 else "see"
        seen = f"{posts} {see} {_percent(self.covered_share)} of the course"
        if self.counts_twice:
            seen += ", where one post of two that are wanted counts half"
        if self.wanted_share is not None:
            wanted = _percent(self.wanted_share)
            if self.is_proven:
                return f"{seen}. No fewer posts see {wanted}."
            return f"{seen}. For {wanted} at most {posts}, at least {self.needed_posts} needed."
        if self.given_up_share > ALIKE:
            seen += f"; {_percent(self.given_up_share)} was given up to spare walking"
        if self.covered_share >= self.reachable_share - ALIKE:
            found = f"{seen}, all that any place sees"
            return (
                f"{found}." if self.is_proven else f"{found}. At least {self.needed_posts} are needed for it."
            )
        if self.is_proven and self.given_up_share <= ALIKE:
            return f"{seen}. No choice of as many posts sees more."
        return f"{seen}. No choice of as many posts sees more than {_percent(self.at_most_share, up=True)}."


def choose(
    seen: Flags,
    weight: Floats,
    *,
    posts: int | None = None,
    share: float | None = None,
    fixed: Flags | None = None,
    banned: Flags | None = None,
    twice: Flags | None = None,
    effort: Floats | None = None,
    effort_price: float = 0.0,
    seconds: float = 60.0,
) -> Choice:
    """The best choice of places that is found in the time there is, with how far from the best it may be.

    The same on every run, unless time runs out first. Effort is spared last: of choices that see as much,
    with no more posts, the one of least effort in all is taken.

    Parameters
    ----------
    seen : (places, pieces) what each place sees
    weight : (pieces,) >= 0, what each piece counts: its length, more where it is dangerous
    posts : how many at most, those fixed among them; the most cover is sought
    share : 0 to 1, share of the whole weight to be seen; the fewest posts are sought. With ``posts`` too, the
        fewest if no more than these are needed, else the most cover for these
    fixed, banned : (places,) places that must be, and must not be, among those chosen
    twice : (pieces,) pieces that are to be seen from two posts
    effort : (places,) >= 0, of manning each, such as minutes on foot
    effort_price : share of the course's weight that may be given up to spare one of effort; at 0 no cover is.
        A share asked for is kept in any case, and effort spared with what would be seen beyond it
    seconds : time to search; somewhat more is taken by putting the table up

    Raises
    ------
    CallError : neither posts nor share; more fixed than posts; a place fixed and banned; more cover wanted
        than all places see; arrays that do not fit, or weights and efforts that are no numbers
    """
    start = time.monotonic()
    seen = np.asarray(seen, bool)
    places, pieces = seen.shape
    fixed, banned = _flags(fixed, places, "fixed"), _flags(banned, places, "banned")
    twice = _flags(twice, pieces, "twice")
    weight = _numbers(weight, pieces, "weight")
    told = None if effort is None else _numbers(effort, places, "effort")
    _check(posts, share, fixed, banned, weight, effort_price, seconds)
    whole = float(weight.sum())
    asked = np.where(twice, 2.0, 1.0)
    held = np.minimum(seen[fixed].sum(axis=0), asked)
    free = np.flatnonzero(~fixed & ~banned)
    table = Table.of(
        seen[free], weight / asked, asked - held, free, np.zeros(free.size) if told is None else told[free]
    ).undominated(spare_effort=told is not None)
    base = float(weight / asked @ held)
    reachable = min((base + table.whole) / whole, 1.0)
    if share is not None and share > reachable + ALIKE:
        raise CallError(
            f"all places together see {_percent(reachable)} of the course, not {_percent(share)}",
            where="cover wanted",
            remedy="Ask for less, or allow more places",
        )
    left = None if posts is None else posts - int(fixed.sum())
    until = start + seconds
    with_effort = told is not None and bool(np.any(told > 0))
    by = until - (_SPARING * seconds if with_effort else 0.0)
    rows, needed, at_most = np.empty(0, np.int64), 0, 1.0
    reaches = False
    if share is not None:
        wanted = min(share * whole - base, table.whole)
        if wanted > table.tolerance:
            least = fewest(table, wanted, by - time.monotonic())
            rows, needed = least.chosen, least.needed
        reaches = left is None or rows.size <= left
        floor = wanted
    if not reaches:
        assert left is not None
        best = most(table, left, by - time.monotonic())
        rows, at_most = best.chosen, (base + best.bound) / whole
        needed = int(rows.size)
        if rows.size and table.cover(rows) >= table.whole - table.tolerance:
            # All is seen: perhaps with fewer.
            least = fewest(table, table.whole, by - time.monotonic())
            if least.chosen.size <= rows.size:
                rows, needed = least.chosen, least.needed
        floor = table.cover(rows) if effort_price <= 0.0 else 0.0
    proven = needed >= rows.size and (reaches or at_most <= (base + table.cover(rows)) / whole + ALIKE)
    full = table.cover(rows)
    if with_effort and rows.size:
        rows = spared(table, rows, floor, effort_price * whole, max(until - time.monotonic(), 0.0))
    elif reaches:
        rows = swapped(table, rows, until)
    chosen = np.sort(np.concatenate((np.flatnonzero(fixed), table.place[rows])))
    covered, own, others = _beside(seen, weight, asked, chosen, fixed, banned, told)
    return Choice(
        chosen,
        covered / whole,
        1.0 if reaches else min(max(at_most, covered / whole), 1.0),
        int(fixed.sum()) + needed,
        share if reaches else None,
        reachable,
        own / whole,
        tuple(Alternative(post, place, loss / whole) for post, place, loss in others),
        bool(proven),
        0.0 if reaches else max(full - table.cover(rows), 0.0) / whole,
        bool(twice.any()),
    )


def _beside(
    seen: Flags,
    weight: Floats,
    asked: Floats,
    chosen: Integers,
    fixed: Flags,
    banned: Flags,
    effort: Floats | None,
) -> tuple[float, Floats, list[tuple[int, int, float]]]:
    """Cover of a choice, what hangs on each post alone, and the places that could stand in for each."""
    worth = weight / asked
    counts = seen[chosen].sum(axis=0)
    covered = float(worth @ np.minimum(counts, asked))
    own = np.array([worth @ ((counts <= asked) & seen[post]) for post in chosen], np.float64)
    spread = sparse.csr_array(seen, dtype=np.float64)
    others: list[tuple[int, int, float]] = []
    may = ~fixed & ~banned
    may[chosen] = False
    rows = np.flatnonzero(may)
    if not rows.size:
        return covered, own, others
    trouble = np.zeros(seen.shape[0]) if effort is None else effort
    for post, lost in zip(chosen, own, strict=True):
        if fixed[post]:
            continue
        gains = (spread @ np.where(counts - seen[post] < asked, worth, 0.0))[rows]
        losses = np.round((lost - gains) / (ALIKE * weight.sum())) * (ALIKE * weight.sum())
        order = np.lexsort((rows, trouble[rows], losses))[:_OTHERS]
        others += [(int(post), int(rows[k]), float(losses[k])) for k in order]
    return covered, own, others


def _check(
    posts: int | None,
    share: float | None,
    fixed: Flags,
    banned: Flags,
    weight: Floats,
    effort_price: float,
    seconds: float,
) -> None:
    if posts is None and share is None:
        raise CallError(
            "neither a number of posts nor a cover is asked for",
            where="posts to choose",
            remedy="Give the number of marshals, or the share of the course to be seen",
        )
    if posts is not None and posts < 1:
        raise CallError(f"{posts} posts see nothing", where="posts to choose", remedy="Give 1 or more")
    if share is not None and not 0.0 < share <= 1.0:
        raise CallError(
            f"{share:g} is no share of the course",
            where="cover wanted",
            remedy="Give a share above 0, up to 1",
        )
    if (fixed & banned).any():
        raise CallError(
            f"{many(int((fixed & banned).sum()), 'place')} both fixed and banned",
            where="posts to choose",
            remedy="Take each out of one of the two",
        )
    if posts is not None and fixed.sum() > posts:
        raise CallError(
            f"{many(int(fixed.sum()), 'post')} fixed, but no more than {posts} to be manned",
            where="posts to choose",
            remedy="Fix fewer, or allow more marshals",
        )
    if not (weight > 0).any():
        raise CallError("nothing is to be watched: no piece of the course has any weight", where="course")
    if not 0.0 <= effort_price < 1e6:
        raise CallError(
            f"{effort_price:g} is no price of effort",
            where="posts to choose",
            remedy="Give the share of the course that may be given up to spare one of effort, 0 for none",
        )
    if not 0.0 < seconds < 1e7:
        raise CallError(
            f"{seconds:g} s is no time to search in", where="posts to choose", remedy="Give seconds"
        )


def _flags(values: Flags | None, size: int, what: str) -> Flags:
    if values is None:
        return np.zeros(size, bool)
    flags = np.asarray(values)
    if flags.dtype != np.bool_ or flags.shape != (size,):
        raise CallError(
            f"{what}: {flags.dtype} of {flags.shape} where {size} flags are due", where="posts to choose"
        )
    return flags


def _numbers(values: Floats, size: int, what: str) -> Floats:
    numbers = np.asarray(values, np.float64)
    if numbers.shape != (size,) or not np.isfinite(numbers).all() or (numbers < 0).any():
        raise CallError(f"{what}: {size} numbers of 0 or more are due, one each", where="posts to choose")
    return numbers


def _percent(share: float, *, up: bool = False) -> str:
    """A share to a tenth of a percent; bounds are rounded up."""
    return per_cent(math.ceil(1000.0 * share - 1e-6) / 1000.0 if up else share, 1)


def many(count: int, noun: str) -> str:
    """A number of things in figures."""
    return f"{count:,} {noun}" + ("" if count == 1 else "s")
