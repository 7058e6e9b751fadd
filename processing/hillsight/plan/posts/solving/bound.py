"""More than so much no choice of as many posts can see: a bound by Lagrange's multipliers.

A piece counts as seen if a post sees it. Let each breach of that cost a price instead of being forbidden:
what is best then is found by sorting, and can only be more than the truth (Cornuejols, Fisher and Nemhauser
1977, Management Science 23; from memory). Prices are bettered by subgradient steps (Held, Wolfe and Crowder
1974; from memory).
"""

from __future__ import annotations

import math
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats
    from hillsight.plan.posts.solving.table import Table

#: Steps at most, and steps without a better bound after which they are halved.
_STEPS, _PATIENCE = 1500, 25

#: A bound this little above a whole number is that number.
_ROUNDING = 1e-6

#: Steps this small lead nowhere.
_SMALLEST = 2e-3


@dataclass(frozen=True)
class Bound:
    """What is proven of choices of places.

    by_posts : (places + 1,) no choice of so many posts sees more
    possible : (places,) False where no choice of the number asked about that sees as much as the one known
        has this place
    """

    by_posts: Floats
    possible: Flags

    def fewest(self, wanted: float) -> int:
        """No fewer posts than this see so much."""
        enough = np.flatnonzero(self.by_posts >= wanted)
        return int(enough[0]) if enough.size else int(self.by_posts.size)


def bound(table: Table, posts: int, known: float, until: float) -> Bound:
    """Bounds for choices of a number of posts, and for any other number by the way.

    posts : choices of so many are asked about; the bound is sharpest for them
    known : a cover; places are ruled out that no choice of so many posts that sees as much can have
    until : ``time.monotonic()`` at which to end
    """
    places = table.place.size
    posts = min(posts, places)
    turned = table.seen.T.tocsr()
    worth, times, slack = table.worth, table.times, table.tolerance
    by_posts = np.full(places + 1, float(worth @ times))
    possible = np.ones(places, bool)
    if posts == 0 or places == 0:
        by_posts[0] = 0.0
        return Bound(by_posts, possible)
    # A price in proportion to how few see a piece is a fair start.
    price = worth * np.minimum(1.0, 1.0 / np.maximum(np.asarray(turned.sum(axis=1)).ravel(), 1.0) * 2.0)
    best, best_price, step, since = np.inf, price, 1.0, 0
    for _ in range(_STEPS):
        if time.monotonic() > until or step < _SMALLEST:
            break
        takings = table.seen @ price
        order = np.argsort(-takings, kind="stable")
        base = float(times @ (worth - price))
        sums = base + np.concatenate(([0.0], np.cumsum(takings[order])))
        np.minimum(by_posts, sums, out=by_posts)
        here = float(sums[posts])
        if here < known - slack:  # no choice of so many sees as much
            break
        # A place not among those taken would have to stand in for the last of them.
        possible &= here - takings[order[posts - 1]] + takings >= known - slack
        if here < best - 1e-6 * slack:
            since = since + 1 if here > best * (1.0 - 1e-5) else 0
            best, best_price = here, price
        else:
            since += 1
        if since >= _PATIENCE:
            step, since, price = step * 0.6, 0, best_price
            continue
        chosen = np.zeros(places)
        chosen[order[:posts]] = 1.0
        slope = turned @ chosen - times
        # Pieces whose price cannot fall or rise further do not count for the length of a step.
        stuck = ((slope < 0) & (price >= worth)) | ((slope > 0) & (price <= 0.0))
        slope[stuck] = 0.0
        length = float(slope @ slope)
        if length == 0.0:
            break
        aim = max(here - known, 1e-4 * here)
        price = np.clip(price - step * aim / length * slope, 0.0, worth)
    return Bound(by_posts, possible)


def fewest_for_all(table: Table, posts: int, until: float) -> int:
    """No fewer posts than this see every piece as often as it is worth seeing.

    Here a price is paid for each piece that is not seen (Beasley 1987, European Journal of Operational
    Research 31; from memory).

    posts : so many are known to be enough
    """
    turned = table.seen.T.tocsr()
    sizes = np.maximum(np.diff(table.seen.indptr), 1).astype(np.float64)
    # Each piece pays its part of the place that sees most besides.
    price = 1.0 / np.maximum((turned.multiply(sizes[None, :])).max(axis=1).toarray().ravel(), 1.0)
    best, best_price, step, since = 0.0, price, 1.0, 0
    for _ in range(_STEPS):
        if time.monotonic() > until or step < _SMALLEST or math.ceil(best - _ROUNDING) >= posts:
            break
        left = 1.0 - table.seen @ price
        here = float(table.times @ price + np.minimum(left, 0.0).sum())
        if here > best:
            since = since + 1 if here < best + 1e-4 else 0
            best, best_price = here, price
        else:
            since += 1
        if since >= _PATIENCE:
            step, since, price = step * 0.6, 0, best_price
            continue
        slope = table.times - turned @ (left < 0.0).astype(np.float64)
        slope[(slope < 0.0) & (price <= 0.0)] = 0.0
        length = float(slope @ slope)
        if length == 0.0:
            break
        price = np.maximum(price + step * max(posts - here, 0.1) / length * slope, 0.0)
    return math.ceil(best - _ROUNDING)
