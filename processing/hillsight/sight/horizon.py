"""The horizon within a wedge of directions: what the ground walked so far hides, as an exact outline.

Seen from the eye, a grid line between two posts is a straight line in the plane of

    lateral slope   u = offset across / offset along        (spacings over spacings)
    rise            v = (lowered height - eye level) / offset along     (metres a spacing along)

so the horizon over an interval of u is the upper envelope of straight pieces. ``horizons`` is (2, pieces, 4)
float64: ``horizons[which]`` is the horizon in force and the other half takes the next one. Each piece has
START, the u where it begins, RISE at u = 0 and SLOPE of its line, and CREST, where that line lies on the
ground: the row's offset along if > 0, minus the column's offset across if < 0, 0 for no ground (rise -inf).
The row after the last piece holds the end of the interval in START.

``rows[slot]`` is one row of lowered heights less the eye's level, ``rows[slot - 1]`` the row one nearer the
eye, in the same columns. See docs/sight.md for why a column's line counts only where it stands above the
row's line beside it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled, inlined

if TYPE_CHECKING:
    from hillsight.arrays import Floats

START, RISE, SLOPE, CREST = 0, 1, 2, 3


@inlined
def put(horizons: Floats, which: int, n: int, start: float, rise: float, slope: float, crest: float) -> int:
    """Append a piece, in place of the last one if that has no length."""
    if n > 0 and horizons[which, n - 1, START] >= start:
        n -= 1
    horizons[which, n, START] = start
    horizons[which, n, RISE] = rise
    horizons[which, n, SLOPE] = slope
    horizons[which, n, CREST] = crest
    return n + 1


@compiled
def lowest_rise(horizons: Floats, which: int, pieces: int) -> float:
    """Least rise of the horizon over its interval."""
    lowest = np.inf
    for k in range(pieces):
        rise, slope = horizons[which, k, RISE], horizons[which, k, SLOPE]
        lowest = min(
            lowest, rise + slope * horizons[which, k, START], rise + slope * horizons[which, k + 1, START]
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
    start = horizons[which, 0, START]
    for x in range(first, last + 1):
        u = (first_across + (base + x)) * inverse_along
        if u < start:
            continue
        while k + 1 < pieces and horizons[which, k + 1, START] <= u:
            k += 1
        gaps[x] = rows[slot, x] * inverse_along - (horizons[which, k, RISE] + horizons[which, k, SLOPE] * u)
        crests[x] = horizons[which, k, CREST]


@inlined
def _follow(
    horizons: Floats,
    which: int,
    k: int,
    rise: float,
    slope: float,
    crest: float,
    here: float,
    until: float,
    slack: float,
    above: bool,
    n: int,
) -> tuple[int, int, bool, float]:
    """Follow one line of ground over the horizon's pieces from k on, as far as ``until``.

    above : whether the line is the outline at ``here``; then its piece has been put out already

    Returns
    -------
    the horizon's piece at ``until``, the pieces put out, whether the line is above there, and by how much
    """
    over_rise, over_slope = horizons[which, k, RISE], horizons[which, k, SLOPE]
    while True:
        after = horizons[which, k + 1, START]
        stop = min(after, until)
        gap = (rise - over_rise) + (slope - over_slope) * stop
        if (gap > slack) != above:
            above = not above
            crossing = min(max((over_rise - rise) / (slope - over_slope), here), stop)
            if above:
                n = put(horizons, 1 - which, n, crossing, rise, slope, crest)
            else:
                n = put(horizons, 1 - which, n, crossing, over_rise, over_slope, horizons[which, k, CREST])
        if after >= until:
            return k, n, above, gap
        here = stop
        k += 1
        over_rise, over_slope = horizons[which, k, RISE], horizons[which, k, SLOPE]
        if not above:
            n = put(horizons, 1 - which, n, stop, over_rise, over_slope, horizons[which, k, CREST])


@compiled
def merge_row(
    horizons: Floats,
    which: int,
    rows: Floats,
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
) -> int:
    """Upper envelope of a horizon without breaks and a row without voids; returns its number of pieces.

    first, last : columns of ``rows`` whose grid lines cover start..end
    slack : ground less than this above the horizon (as rise) adds nothing to it
    gaps, crests : filled as by rises_above, over the horizon as it was before this row

    Stages of each stretch between two posts of the row, marked below by their numbers:
    (1) the line between the posts; (2) where the column's line back to the nearer row tops it, follow that
    first; (3) whether the row's line stands above the horizon at its start; (4) follow it to its end.
    """
    if first < 0:
        return 0
    inverse, nearer = 1.0 / along, along - 1.0
    k, n, above = 0, 0, False
    at, height = first_across + (base + first), rows[slot, first]
    gaps[first] = height * inverse - (horizons[which, 0, RISE] + horizons[which, 0, SLOPE] * (at * inverse))
    crests[first] = horizons[which, 0, CREST]
    here = start
    for x in range(first, last):
        # (1)
        next_at, next_height = first_across + (base + x + 1), rows[slot, x + 1]
        slope = next_height - height
        rise = (height - slope * at) * inverse
        until = min(next_at * inverse, end)
        # (2)
        # The column's line from this row's post back to the nearer row's, where it tops the row's line.
        lean = rows[slot - 1, x] * along - height * nearer
        if at > 0.0 and lean > at * slope:
            column_until = min(at / nearer, until) if nearer > 0.0 else until
            # Between two posts that the horizon tops, a column's line can only show where the horizon bends.
            whole = x > first and column_until < until
            if column_until > here and (above or not whole or horizons[which, k + 1, START] < column_until):
                column_slope = lean / at
                column_rise = (height - column_slope * at) * inverse
                if x == first:
                    gap = (column_rise - horizons[which, 0, RISE]) + (
                        column_slope - horizons[which, 0, SLOPE]
                    ) * start
                    above = gap > slack
                    if not above:
                        n = put(
                            horizons,
                            1 - which,
                            n,
                            start,
                            horizons[which, 0, RISE],
                            horizons[which, 0, SLOPE],
                            horizons[which, 0, CREST],
                        )
                if above:
                    n = put(horizons, 1 - which, n, here, column_rise, column_slope, -at)
                k, n, above, gap = _follow(
                    horizons, which, k, column_rise, column_slope, -at, here, column_until, slack, above, n
                )
                here = column_until
                # The row's line may lie below the horizon here again.
                if above:
                    gap = (rise - horizons[which, k, RISE]) + (slope - horizons[which, k, SLOPE]) * here
                    above = gap > slack
                    if not above:
                        n = put(
                            horizons,
                            1 - which,
                            n,
                            here,
                            horizons[which, k, RISE],
                            horizons[which, k, SLOPE],
                            horizons[which, k, CREST],
                        )
        # (3)
        if here == start:
            gap = (rise - horizons[which, k, RISE]) + (slope - horizons[which, k, SLOPE]) * start
            above = gap > slack
            if not above:
                n = put(
                    horizons,
                    1 - which,
                    n,
                    start,
                    horizons[which, k, RISE],
                    horizons[which, k, SLOPE],
                    horizons[which, k, CREST],
                )
        # (4)
        if above:
            n = put(horizons, 1 - which, n, here, rise, slope, along)
        k, n, above, gap = _follow(horizons, which, k, rise, slope, along, here, until, slack, above, n)
        here = until
        gaps[x + 1] = gap
        crests[x + 1] = horizons[which, k, CREST]
        at, height = next_at, next_height
    horizons[1 - which, n, START] = end
    return n
