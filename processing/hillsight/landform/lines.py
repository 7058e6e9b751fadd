"""Ridges and valleys at one scale as networks of stems, and the spurs and re-entrants that are their ends."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled
from hillsight.landform.along import Bundle
from hillsight.landform.axes import places_of, standing_parts
from hillsight.landform.flood import accumulate, drain
from hillsight.landform.network import stems, strahler_orders
from hillsight.landform.steepest import keep_to_slope
from hillsight.landform.support import relief_m, stands_out

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats, Integers, Integers32
    from hillsight.ground.grid import Grid
    from hillsight.landform.flood import Drainage
    from hillsight.landform.network import Stem
    from hillsight.landform.scale import Worked

#: Least length of what stands out along a line, as a share of the scale, for the line to count.
LEAST_LENGTH_SHARE = 2 / 3

#: A line begins where at least this share of the scale, squared, drains to it.
_SOURCE_SHARE = 1 / 4

#: A line of which more than so much lies within a share of the scale of a longer one is that one again.
_BESIDE_SHARE, _MOST_BESIDE = 0.6, 0.4

#: What relief as large as the scale adds to a line's merit, as a share.
_MERIT_OF_RELIEF = 0.1

#: Merit of a line that leads over a saddle: it goes on before any spur.
_OVER_SADDLE_M = 1e12


@dataclass(frozen=True)
class Line:
    """A stem that counts.

    posts : flat indices from its far end (head of a valley, nose of a ridge) to where it ends
    joins : index of the line that it joins, -1 for none
    order : Strahler's order at its lower end (of a ridge: upper end)
    standing : first and last index of the posts that stand out on its own part of order 1; None for none
    over_saddle : index of the saddle it comes from, -1 for none
    """

    posts: Integers
    joins: int
    order: int
    standing: tuple[int, int] | None
    over_saddle: int


@dataclass(frozen=True)
class Network:
    """Lines of one kind, each after the one that it joins.

    gathered_m2 : area that drains through each post, flat
    """

    lines: list[Line]
    drainage: Drainage
    gathered_m2: Floats


def valley_network(worked: Worked) -> Network:
    """Valleys from where they cut into the ground down to the terrain's edge; depressions are filled."""
    grid = worked.grid
    drainage = drained(worked.height_m, grid)
    return _network(worked, drainage, -worked.height_m, {})


def ridge_network(worked: Worked, summits: Integers, saddles: Integers) -> Network:
    """Ridges from noses, and from saddles, up to the summits; lesser tops on the way are walked over.

    The last post of a line that ends at a summit is the summit; a line from a saddle begins beside it, and
    of the two that climb from one saddle each carries its number.

    Parameters
    ----------
    summits : flat indices of the tops that lines may end at
    saddles : flat indices of the saddles that ridges cross
    """
    grid = worked.grid
    upside_down = -worked.height_m
    upside_down.flat[summits] = np.nan  # water leaves there
    drainage = drained(upside_down, grid)
    ends_at = _summit_beside(drainage, summits, grid.columns)
    leads_to = _downstream(drainage, ends_at)
    sides = {
        post: number
        for number, saddle in enumerate(saddles)
        for post in _sides(worked.height_m, leads_to, int(saddle))
    }
    network = _network(worked, drainage, worked.height_m, sides)
    lines = [
        replace(line, posts=np.append(line.posts, summits[ends_at[line.posts[-1]]]))
        if line.joins < 0 and ends_at[line.posts[-1]] >= 0
        else line
        for line in network.lines
    ]
    return replace(network, lines=lines)


def drained(height_m: Floats, grid: Grid) -> Drainage:
    """Drainage of a surface that keeps to the slope."""
    return keep_to_slope(
        drain(height_m, grid.spacing_x_m, grid.spacing_y_m), grid.spacing_x_m, grid.spacing_y_m
    )


def _summit_beside(drainage: Drainage, summits: Integers, columns: int) -> Integers:
    """Index of the summit that each post without a receiver stands beside, flat; -1 for none."""
    beside = np.full(drainage.receiver.size, -1, np.int64)
    rows = drainage.receiver.size // columns
    for number, summit in enumerate(summits):
        row, column = divmod(int(summit), columns)
        for r in range(max(row - 1, 0), min(row + 2, rows)):
            for c in range(max(column - 1, 0), min(column + 2, columns)):
                if drainage.receiver.flat[r * columns + c] == -1:
                    beside[r * columns + c] = number
    return beside


def _downstream(drainage: Drainage, at_outlet: Integers) -> Integers:
    """What each post's outlet carries, flat; -2 on voids."""
    carried = np.full(at_outlet.size, -2, np.int64)
    _carry(drainage.receiver.ravel(), drainage.order, at_outlet, carried)
    return carried


@compiled
def _carry(
    receiver: Integers32,
    order: Integers32,
    at_outlet: Integers,
    carried: Integers,
) -> None:
    for post in order:
        below = receiver[post]
        carried[post] = carried[below] if below >= 0 else at_outlet[post]


def _sides(height_m: Floats, leads_to: Integers, saddle: int) -> tuple[int, ...]:
    """The highest post beside a saddle, or the saddle itself, on each of the two sides; none if unclear."""
    rows, columns = height_m.shape
    row, column = divmod(saddle, columns)
    highest: dict[int, int] = {}
    for r in range(max(row - 1, 0), min(row + 2, rows)):
        for c in range(max(column - 1, 0), min(column + 2, columns)):
            post = r * columns + c
            top = int(leads_to[post])
            if top >= 0 and (top not in highest or height_m[r, c] > height_m.flat[highest[top]]):
                highest[top] = post
    if len(highest) < 2:
        return ()
    return tuple(sorted(highest.values(), key=lambda post: -height_m.flat[post])[:2])


def _network(
    worked: Worked,
    drainage: Drainage,
    standing_m: Floats,
    from_saddle: dict[int, int],
) -> Network:
    grid = worked.grid
    gathered_m2 = accumulate(drainage).ravel() * grid.spacing_x_m * grid.spacing_y_m
    relief = relief_m(worked, standing_m)
    stands = stands_out(worked, standing_m, relief)
    sources = stands & (gathered_m2.reshape(stands.shape) >= (_SOURCE_SHARE * worked.scale_m) ** 2)
    sources &= (drainage.receiver != -2).reshape(stands.shape)
    # What stands out more counts a little more, so that two ways of as many posts are told apart.
    relief_share = relief / worked.scale_m
    merit = np.where(stands, worked.spacing_m * (1.0 + _MERIT_OF_RELIEF * relief_share), 0.0)
    for post in from_saddle:
        sources.flat[post] = True
        merit.flat[post] += _OVER_SADDLE_M
    # The merit counts posts and not diagonals, and none in the breaks that are bridged.
    found = stems(drainage, sources, merit, LEAST_LENGTH_SHARE * worked.scale_m / 2)
    kept, own = _kept(worked, found, stands.ravel(), merit.ravel(), from_saddle)
    orders = strahler_orders(kept)
    branches: list[list[int]] = [[] for _ in kept]
    for stem in kept:
        if stem.joins >= 0:
            branches[stem.joins].append(int(stem.posts[-1]))
    parts, standing_length_m = standing_parts(
        grid, [stem.posts for stem in kept], stands.ravel(), worked.scale_m
    )
    long_enough = standing_length_m >= LEAST_LENGTH_SHARE * worked.scale_m
    lines = [
        Line(
            stem.posts,
            stem.joins,
            order,
            _first_order_part(worked, stem, branches[me], part) if own[me] and long_enough[me] else None,
            from_saddle.get(int(stem.posts[0]), -1),
        )
        for me, (stem, order, part) in enumerate(zip(kept, orders.tolist(), parts.tolist(), strict=True))
    ]
    return Network(lines, drainage, gathered_m2)


def _kept(
    worked: Worked,
    found: list[Stem],
    stands: Flags,
    merit: Floats,
    from_saddle: dict[int, int],
) -> tuple[list[Stem], list[bool]]:
    """Stems that stand out long enough and beside no longer one, and those that such a one joins.

    The list is numbered anew; the second list says which count by themselves.
    """
    grid, scale_m = worked.grid, worked.scale_m
    where, standing_m = standing_parts(grid, [stem.posts for stem in found], stands, scale_m)
    parts: list[tuple[float, float, int, Integers]] = []
    for me, stem in enumerate(found):
        if int(stem.posts[0]) in from_saddle:
            parts.append((_OVER_SADDLE_M, merit[stem.posts].sum(), me, stem.posts))
        elif standing_m[me] >= LEAST_LENGTH_SHARE * scale_m:
            posts = stem.posts[where[me, 0] : where[me, 1] + 1]
            parts.append((standing_m[me], merit[posts].sum(), me, posts))
    keep = np.zeros(len(found), bool)
    taken = np.zeros((grid.rows, grid.columns), bool)
    reach = _BESIDE_SHARE * scale_m
    # Lengths on a lattice are often the same; the merit tells such lines apart whichever way it is turned.
    for length, _, me, posts in sorted(parts, key=lambda part: (-part[0], -part[1], part[2])):
        if length < _OVER_SADDLE_M / 2 and taken.flat[posts].mean() > _MOST_BESIDE:
            continue
        keep[me] = True
        _take(taken, posts, reach / grid.spacing_y_m, reach / grid.spacing_x_m)
    own = keep.copy()
    for me in range(len(found) - 1, -1, -1):
        if keep[me] and found[me].joins >= 0:
            keep[found[me].joins] = True
    number = np.cumsum(keep) - 1
    kept = [
        replace(stem, joins=-1 if stem.joins < 0 else int(number[stem.joins]))
        for me, stem in enumerate(found)
        if keep[me]
    ]
    return kept, own[keep].tolist()


@compiled
def _take(taken: Flags, posts: Integers, by_row: float, by_column: float) -> None:
    """Mark the surroundings of a line as taken: ellipses of these half-axes, in posts."""
    rows, columns = taken.shape
    high = int(by_row)
    wide = np.full(high + 1, -1)  # how far an ellipse reaches in each row
    for down in range(high + 1):
        for across in range(int(by_column) + 1):
            if (down / by_row) ** 2 + (across / by_column) ** 2 <= 1.0:
                wide[down] = across
    for post in posts:
        row, column = post // columns, post % columns
        for r in range(max(row - high, 0), min(row + high + 1, rows)):
            reach = wide[abs(r - row)]
            taken[r, max(column - reach, 0) : min(column + reach + 1, columns)] = True


def _first_order_part(
    worked: Worked, stem: Stem, junctions: list[int], standing: list[int]
) -> tuple[int, int]:
    """What stands out of a stem, down to the first branch that leaves it a length that counts."""
    first, last = standing
    if junctions:
        at = np.sort(np.flatnonzero(np.isin(stem.posts, junctions)))
        at = at[(first < at) & (at < last)]
        if at.size:
            along_m = Bundle.of([places_of(worked.grid, stem.posts[first:last])]).along_m
            far_enough = at[along_m[at - first] >= LEAST_LENGTH_SHARE * worked.scale_m]
            if far_enough.size:
                return first, int(far_enough[0])
    return first, last
