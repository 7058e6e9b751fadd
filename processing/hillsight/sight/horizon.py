"""The horizon within a wedge of directions: what the ground walked so far hides, as an exact outline.

Seen from the eye, a grid line between two posts is a straight line in the plane of

    lateral slope   u = offset across / offset along        (spacings over spacings)
    rise            v = (lowered height - eye level) / offset along     (metres a spacing along)

so the horizon over an interval of u is the upper envelope of straight pieces. ``horizons`` is one flat array
with room for two horizons: the one in force begins at ``which``, 0 or OTHER, and the other place takes the
next one. Each field has a stretch of its own there, so that field F of the piece at place k (``which`` and
more) is ``horizons[k + F]``: START, the u where the piece begins, RISE at u = 0 and SLOPE of its line, and
CREST, where that line lies on the ground: the row's offset along if > 0, minus the column's offset across if
< 0, 0 for no ground (rise -inf). After the last piece START holds the end of the interval.

``rows[slot]`` is one row of lowered heights less the eye's level, ``rows[slot - 1]`` the row one nearer the
eye, in the same columns. See docs/sight.md for why a column's line counts only where it stands above the
row's line beside it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled, inlined
from hillsight.sight.maxima import MIDDLE as BLOCK

if TYPE_CHECKING:
    from hillsight.arrays import Floats

#: Posts across a wedge before it is halved.
WIDEST = 48

#: Columns that a block's rows may need within one wedge, with the posts beside it.
ROOM = 2 * WIDEST + 2 * BLOCK + 8

#: Pieces of a wedge's horizon that make it be halved too.
MANY_PIECES = 512

#: Room for a horizon; a merge can at most double its pieces and those of a row.
MOST_PIECES = 2 * (2 * MANY_PIECES + 4 * ROOM)

#: Where a horizon's fields begin, and the other horizon.
START, RISE, SLOPE, CREST, OTHER = (field * MOST_PIECES for field in range(5))


@inlined
def put(horizons: Floats, begin: int, n: int, start: float, rise: float, slope: float, crest: float) -> int:
    """Put a piece at place n of the horizon that begins at ``begin``; returns the place after it.

    It takes the place of the last one if that has no length.
    """
    if n > begin and horizons[np.uint64(n - 1 + START)] >= start:
        n -= 1
    horizons[np.uint64(n + START)] = start
    horizons[np.uint64(n + RISE)] = rise
    horizons[np.uint64(n + SLOPE)] = slope
    horizons[np.uint64(n + CREST)] = crest
    return n + 1


@compiled
def lowest_rise(horizons: Floats, which: int, pieces: int) -> float:
    """Least rise of the horizon over its interval."""
    lowest = np.inf
    for k in range(pieces):
        rise, slope = horizons[which + RISE + k], horizons[which + SLOPE + k]
        lowest = min(
            lowest, rise + slope * horizons[which + START + k], rise + slope * horizons[which + START + k + 1]
        )
    return lowest


@compiled
def rises_above(
    horizons: Floats,
    which: int,
    pieces: int,
    rows: Floats,
    slot: int,
    first: int,
    last: int,
    first_across: float,
    base: int,
    inverse_along: float,
    gaps: Floats,
    crests: Floats,
) -> None:
    """Rise of the posts first..last over the horizon, and the horizon's crest there; fills two outputs.

    first_across, base : column x of ``rows`` is first_across + (base + x) spacings across
    Posts before the interval are left alone.
    """
    k = 0
    start = horizons[which + START + 0]
    for x in range(first, last + 1):
        u = (first_across + (base + x)) * inverse_along
        if u < start:
            continue
        while k + 1 < pieces and horizons[which + START + k + 1] <= u:
            k += 1
        gaps[x] = rows[slot, x] * inverse_along - (
            horizons[which + RISE + k] + horizons[which + SLOPE + k] * u
        )
        crests[x] = horizons[which + CREST + k]


@inlined
def _carry(horizons: Floats, begin: int, n: int, first: int, last: int) -> int:
    """Put the pieces at places first..last out as they are; returns the place after them."""
    if first > last:
        return n
    if n > begin and horizons[np.uint64(n - 1 + START)] >= horizons[np.uint64(first + START)]:
        n -= 1
    for k in range(last + 1 - first):
        horizons[np.uint64(n + k + START)] = horizons[np.uint64(first + k + START)]
        horizons[np.uint64(n + k + RISE)] = horizons[np.uint64(first + k + RISE)]
        horizons[np.uint64(n + k + SLOPE)] = horizons[np.uint64(first + k + SLOPE)]
        horizons[np.uint64(n + k + CREST)] = horizons[np.uint64(first + k + CREST)]
    return n + last + 1 - first


@inlined
def _follow(
    horizons: Floats,
    begin: int,
    k: int,
    rise: float,
    slope: float,
    crest: float,
    here: float,
    until: float,
    slack: float,
    above: bool,
    n: int,
) -> tuple[int, int, bool, float, bool]:
    """Follow one line of ground over the horizon's pieces from k on, as far as ``until``.

    above : whether the line is the outline at ``here``; then its piece has been put out already

    Returns
    -------
    the horizon's piece at ``until``, the place for the next piece, whether the line is above there, by how
    much, and whether it was above anywhere
    """
    rose = above
    over_rise, over_slope = horizons[np.uint64(k + RISE)], horizons[np.uint64(k + SLOPE)]
    while True:
        after = horizons[np.uint64(k + 1 + START)]
        stop = min(after, until)
        gap = (rise - over_rise) + (slope - over_slope) * stop
        if (gap > slack) != above:
            above, rose = not above, True
            crossing = min(max((over_rise - rise) / (slope - over_slope), here), stop)
            if above:
                n = put(horizons, begin, n, crossing, rise, slope, crest)
            else:
                over_crest = horizons[np.uint64(k + CREST)]
                n = put(horizons, begin, n, crossing, over_rise, over_slope, over_crest)
        if after >= until:
            return k, n, above, gap, rose
        here = stop
        k += 1
        over_rise, over_slope = horizons[np.uint64(k + RISE)], horizons[np.uint64(k + SLOPE)]
        if not above:
            n = put(horizons, begin, n, stop, over_rise, over_slope, horizons[np.uint64(k + CREST)])


@compiled
def _merge_stretch(
    horizons: Floats,
    begin: int,
    k: int,
    n: int,
    above: bool,
    is_first: bool,
    at: float,
    along: float,
    height: float,
    slope: float,
    lean: float,
    here: float,
    until: float,
    slack: float,
) -> tuple[int, int, bool, float, bool]:
    """Merge one stretch of a row, between two posts, whatever crosses there; as _follow.

    at, height : of the nearer post; lean : of its column's line back to the nearer row, as in merge_row

    (1) Where the column's line tops the row's line, follow that first; (2) whether the row's line stands
    above the horizon at its start; (3) follow it to its end.
    """
    inverse, nearer = 1.0 / along, along - 1.0
    rise, column_rose = (height - slope * at) * inverse, False
    # (1)
    if at > 0.0 and lean > at * slope:
        column_until = min(at / nearer, until) if nearer > 0.0 else until
        if column_until > here:
            column_slope = lean / at
            column_rise = (height - column_slope * at) * inverse
            if is_first:
                gap = (column_rise - horizons[k + RISE]) + (column_slope - horizons[k + SLOPE]) * here
                above = gap > slack
                if not above:
                    n = put(
                        horizons, begin, n, here, horizons[k + RISE], horizons[k + SLOPE], horizons[k + CREST]
                    )
            if above:
                n = put(horizons, begin, n, here, column_rise, column_slope, -at)
            k, n, above, gap, column_rose = _follow(
                horizons, begin, k, column_rise, column_slope, -at, here, column_until, slack, above, n
            )
            is_first, here = False, column_until
            # The row's line may lie below the horizon here again.
            if above:
                gap = (rise - horizons[k + RISE]) + (slope - horizons[k + SLOPE]) * here
                above = gap > slack
                if not above:
                    n = put(
                        horizons, begin, n, here, horizons[k + RISE], horizons[k + SLOPE], horizons[k + CREST]
                    )
    # (2)
    if is_first:
        gap = (rise - horizons[k + RISE]) + (slope - horizons[k + SLOPE]) * here
        above = gap > slack
        if not above:
            n = put(horizons, begin, n, here, horizons[k + RISE], horizons[k + SLOPE], horizons[k + CREST])
    # (3)
    if above:
        n = put(horizons, begin, n, here, rise, slope, along)
    k, n, above, gap, rose = _follow(horizons, begin, k, rise, slope, along, here, until, slack, above, n)
    return k, n, above, gap, rose or column_rose


@compiled
def merge_row(
    horizons: Floats,
    which: int,
    flat_rows: Floats,
    width: int,
    slot: int,
    first: int,
    last: int,
    first_across: float,
    base: int,
    along: float,
    start: float,
    end: float,
    slack: float,
    gaps: Floats,
    crests: Floats,
) -> tuple[int, int]:
    """Upper envelope of a horizon without breaks and a row without voids; where it begins, and its pieces.

    flat_rows, width : ``rows`` one after another, and the columns of each
    first, last : columns of ``rows`` whose grid lines cover start..end; there are at least two
    slack : ground less than this above the horizon (as rise) adds nothing to it
    gaps, crests : filled as by rises_above, over the horizon as it was before this row

    Most stretches between two posts lie wholly below the horizon, or wholly above: these are passed quickly,
    and what stays of the horizon is carried over only when something rises above it. Stages of a stretch,
    marked below by their numbers:
    (1) the line between the posts, and the column's line from the first of them back to the nearer row;
    (2) below the horizon so far: nothing to do if both lines stay there; (3) above: one piece, if the row's
    line stays there and tops the column's; (4) else the stretch in full.
    """
    inverse, nearer = 1.0 / along, along - 1.0
    inverse_nearer = 1.0 / nearer if nearer > 0.0 else np.inf
    begin = OTHER - which
    k, n, above, changed = which, begin, False, False
    carried = which  # the pieces before it are in the next horizon, or covered there
    over_rise, over_slope = horizons[k + RISE], horizons[k + SLOPE]
    column = np.float64(base + first)
    at, place = first_across + column, slot * width + first
    height = flat_rows[np.uint64(place)]
    gaps[first] = height * inverse - (over_rise + over_slope * (at * inverse))
    crests[first] = horizons[k + CREST]
    here = start
    for x in range(first, last):
        # (1)
        column += 1.0
        next_at, next_height = first_across + column, flat_rows[np.uint64(place + 1)]
        slope = next_height - height
        rise = (height - slope * at) * inverse
        until = min(next_at * inverse, end)
        lean = flat_rows[np.uint64(place - width)] * along - height * nearer
        column_tops = (at > 0.0) & (lean > at * slope)
        there, quick = k, x > first
        gap = 0.0
        if not above:
            # (2)
            after = horizons[np.uint64(there + 1 + START)]
            if after < until:
                column_until = at * inverse_nearer
                column_slope = lean / at
                column_rise = (height - lean) * inverse
                while after < until:
                    gap = (rise - over_rise) + (slope - over_slope) * after
                    column_gap = (column_rise - over_rise) + (column_slope - over_slope) * after
                    shows = (gap > slack) | (column_tops & (after < column_until) & (column_gap > slack))
                    if shows:
                        quick = False
                        break
                    there += 1
                    over_rise, over_slope = (
                        horizons[np.uint64(there + RISE)],
                        horizons[np.uint64(there + SLOPE)],
                    )
                    after = horizons[np.uint64(there + 1 + START)]
            gap = (rise - over_rise) + (slope - over_slope) * until
            # Near the diagonal, and at the wedge's end, a column's line reaches as far as the row's.
            inner = (at < nearer * until) | (not column_tops)
            quick = quick & inner & (gap <= slack)
        else:
            # (3)
            after = horizons[np.uint64(there + 1 + START)]
            while after < until:
                gap = (rise - over_rise) + (slope - over_slope) * after
                if not gap > slack:
                    quick = False
                    break
                there += 1
                over_rise, over_slope = horizons[np.uint64(there + RISE)], horizons[np.uint64(there + SLOPE)]
                after = horizons[np.uint64(there + 1 + START)]
            gap = (rise - over_rise) + (slope - over_slope) * until
            quick = quick & (not column_tops) & (gap > slack)
            if quick:
                n = put(horizons, begin, n, here, rise, slope, along)
        if not quick:
            # (4)
            if not above and x > first:
                n = _carry(horizons, begin, n, carried, k)
            there, n, above, gap, rose = _merge_stretch(
                horizons, begin, k, n, above, x == first,
                at, along, height, slope, lean, here, until, slack,
            )  # fmt: skip
            over_rise, over_slope = horizons[np.uint64(there + RISE)], horizons[np.uint64(there + SLOPE)]
            changed = changed or rose
            carried = there + 1
        k, here = there, until
        gaps[np.uint64(x + 1)] = gap
        crests[np.uint64(x + 1)] = horizons[np.uint64(k + CREST)]
        at, height = next_at, next_height
        place += 1
    if not changed:
        horizons[k + 1 + START] = end
        return which, k + 1 - which
    if not above:
        n = _carry(horizons, begin, n, carried, k)
    horizons[n + START] = end
    return begin, n - begin
