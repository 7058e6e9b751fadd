"""The horizon within a wedge of directions: what the ground walked so far hides, as an exact outline.

Seen from the eye, a grid line between two posts is a straight line in the plane of

    lateral slope   u = offset across / offset along        (spacings over spacings)
    rise            v = (lowered height - eye level) / offset along     (metres a spacing along)

so the horizon over an interval of u is the upper envelope of straight pieces. It is kept as an array
(pieces + 1, 4) float64: START u of the piece, rise at u = 0 and slope of its line, and CREST, where that
line lies on the ground: the row's offset along if > 0, minus the column's offset across if < 0, 0 for no
ground (rise -inf). The row after the last piece holds the end of the interval in START.

``heights`` are one row of lowered heights less the eye level; ``before`` those of the row one nearer the
eye, in the same columns. See docs/sight.md for why a column's line counts only where it stands above the
row's line beside it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.sight.compiled import compiled, inlined

if TYPE_CHECKING:
    from numpy.typing import NDArray

START, RISE, SLOPE, CREST = 0, 1, 2, 3


@inlined
def put(out: NDArray[np.float64], n: int, start: float, rise: float, slope: float, crest: float) -> int:
    """Append a piece, in place of the last one if that has no length."""
    if n > 0 and out[n - 1, START] >= start:
        n -= 1
    out[n, START] = start
    out[n, RISE] = rise
    out[n, SLOPE] = slope
    out[n, CREST] = crest
    return n + 1


@compiled
def lowest_rise(horizon: NDArray[np.float64], pieces: int) -> float:
    """Least rise of the horizon over its interval."""
    lowest = np.inf
    for k in range(pieces):
        rise, slope = horizon[k, RISE], horizon[k, SLOPE]
        lowest = min(lowest, rise + slope * horizon[k, START], rise + slope * horizon[k + 1, START])
    return lowest


@compiled
def rises_above(
    horizon: NDArray[np.float64],
    pieces: int,
    heights: NDArray[np.float64],
    first: int,
    last: int,
    first_across: float,
    base: int,
    inverse_along: float,
    gaps: NDArray[np.float64],
    crests: NDArray[np.float64],
) -> None:
    """Rise of the posts first..last over the horizon, and the horizon's crest there; fills two outputs.

    first_across, base : column x of ``heights`` is first_across + (base + x) spacings across
    Posts before the interval are left alone.
    """
    k = 0
    start = horizon[0, START]
    for x in range(first, last + 1):
        u = (first_across + (base + x)) * inverse_along
        if u < start:
            continue
        while k + 1 < pieces and horizon[k + 1, START] <= u:
            k += 1
        gaps[x] = heights[x] * inverse_along - (horizon[k, RISE] + horizon[k, SLOPE] * u)
        crests[x] = horizon[k, CREST]


@inlined
def _follow(
    horizon: NDArray[np.float64],
    k: int,
    rise: float,
    slope: float,
    crest: float,
    here: float,
    until: float,
    slack: float,
    above: bool,
    out: NDArray[np.float64],
    n: int,
) -> tuple[int, int, bool, float]:
    """Follow one line of ground over the horizon's pieces from k on, as far as ``until``.

    above : whether the line is the outline at ``here``; then its piece has been put out already

    Returns
    -------
    the horizon's piece at ``until``, the pieces put out, whether the line is above there, and by how much
    """
    over_rise, over_slope = horizon[k, RISE], horizon[k, SLOPE]
    while True:
        stop = horizon[k + 1, START]
        done = stop >= until
        if done:
            stop = until
        gap = (rise - over_rise) + (slope - over_slope) * stop
        if (gap > slack) != above:
            above = not above
            crossing = min(max((over_rise - rise) / (slope - over_slope), here), stop)
            if above:
                n = put(out, n, crossing, rise, slope, crest)
            else:
                n = put(out, n, crossing, over_rise, over_slope, horizon[k, CREST])
        if done:
            return k, n, above, gap
        here = stop
        k += 1
        over_rise, over_slope = horizon[k, RISE], horizon[k, SLOPE]
        if not above:
            n = put(out, n, stop, over_rise, over_slope, horizon[k, CREST])


@compiled
def merge_row(
    horizon: NDArray[np.float64],
    pieces: int,
    heights: NDArray[np.float64],
    before: NDArray[np.float64],
    first: int,
    last: int,
    first_across: float,
    base: int,
    along: float,
    start: float,
    end: float,
    slack: float,
    out: NDArray[np.float64],
    gaps: NDArray[np.float64],
    crests: NDArray[np.float64],
) -> int:
    """Upper envelope of a horizon without breaks and a row without voids; returns its number of pieces.

    first, last : columns of ``heights`` whose grid lines cover start..end
    slack : ground less than this above the horizon (as rise) adds nothing to it
    gaps, crests : filled as by rises_above, over the horizon as it was before this row
    """
    if first < 0:
        return 0
    inverse, nearer = 1.0 / along, along - 1.0
    k, n, above = 0, 0, False
    at, height = first_across + (base + first), heights[first]
    gaps[first] = height * inverse - (horizon[0, RISE] + horizon[0, SLOPE] * (at * inverse))
    crests[first] = horizon[0, CREST]
    here = start
    for x in range(first, last):
        next_at, next_height = first_across + (base + x + 1), heights[x + 1]
        slope = next_height - height
        rise = (height - slope * at) * inverse
        until = min(next_at * inverse, end)
        # The column's line from this row's post back to the nearer row's, where it tops the row's line.
        lean = before[x] * along - height * nearer
        if at > 0.0 and lean > at * slope:
            column_until = min(at / nearer, until) if nearer > 0.0 else until
            # Between two posts that the horizon tops, a column's line can only show where the horizon bends.
            whole = x > first and column_until < until
            if column_until > here and (above or not whole or horizon[k + 1, START] < column_until):
                column_slope = lean / at
                column_rise = (height - column_slope * at) * inverse
                if x == first:
                    gap = (column_rise - horizon[0, RISE]) + (column_slope - horizon[0, SLOPE]) * start
                    above = gap > slack
                    if not above:
                        n = put(out, n, start, horizon[0, RISE], horizon[0, SLOPE], horizon[0, CREST])
                if above:
                    n = put(out, n, here, column_rise, column_slope, -at)
                k, n, above, gap = _follow(
                    horizon, k, column_rise, column_slope, -at, here, column_until, slack, above, out, n
                )
                here = column_until
                # The row's line may lie below the horizon here again.
                if above:
                    gap = (rise - horizon[k, RISE]) + (slope - horizon[k, SLOPE]) * here
                    above = gap > slack
                    if not above:
                        n = put(out, n, here, horizon[k, RISE], horizon[k, SLOPE], horizon[k, CREST])
        if here == start:
            gap = (rise - horizon[k, RISE]) + (slope - horizon[k, SLOPE]) * start
            above = gap > slack
            if not above:
                n = put(out, n, start, horizon[k, RISE], horizon[k, SLOPE], horizon[k, CREST])
        if above:
            n = put(out, n, here, rise, slope, along)
        k, n, above, gap = _follow(horizon, k, rise, slope, along, here, until, slack, above, out, n)
        here = until
        gaps[x + 1] = gap
        crests[x + 1] = horizon[k, CREST]
        at, height = next_at, next_height
    out[n, START] = end
    return n
