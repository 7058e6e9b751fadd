"""Horizons of ground with voids, beginnings or ends, where outlines break off and grid lines are missing.

The arrays are those of hillsight.sight.horizon; slower, and for any horizon and any row. A sight line over a
known post meets that post even if all the ground about it is void, so each such post is ground of its own,
POST_WIDTH wide each way.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled
from hillsight.sight.horizon import CREST, OTHER, RISE, SLOPE, START, put

if TYPE_CHECKING:
    from hillsight.arrays import Floats

#: Half the width (spacings) of a single post: a sight line this near to it passes over it.
POST_WIDTH = 1e-9

#: Columns of ``lines``: the u where a line begins, rise, slope and crest as in a horizon, and its end.
FROM, LINE_RISE, LINE_SLOPE, LINE_CREST, UNTIL = range(5)


@compiled
def lines_of_row(
    rows: Floats,
    slot: int,
    has_before: bool,
    first: int,
    last: int,
    first_across: float,
    base: int,
    along: float,
    lines: Floats,
) -> int:
    """Known grid lines of a row with voids (NaN) or ends, nearest column first; returns their number.

    lines : (n, 5) see FROM; they do not overlap
    """
    inverse = 1.0 / along
    width = POST_WIDTH * inverse
    n = 0
    for x in range(first, last + 1):
        height = rows[slot, x]
        if height != height:
            continue
        at = first_across + (base + x)
        here = at * inverse
        known_after = x < last and rows[slot, x + 1] == rows[slot, x + 1]
        if x == first or rows[slot, x - 1] != rows[slot, x - 1]:
            lines[n, FROM], lines[n, LINE_RISE], lines[n, LINE_SLOPE] = here - width, height * inverse, 0.0
            lines[n, LINE_CREST], lines[n, UNTIL] = along, here
            n += 1
        until = (first_across + (base + x + 1)) * inverse if known_after else here + width
        slope = rows[slot, x + 1] - height if known_after else 0.0
        rise = (height - slope * at) * inverse
        if at > 0.0 and has_before and rows[slot - 1, x] == rows[slot - 1, x]:
            lean = rows[slot - 1, x] * along - height * (along - 1.0)
            if not known_after or lean > at * slope:
                column_until = at / (along - 1.0) if along > 1.0 else np.inf
                if known_after:
                    column_until = min(column_until, until)
                column_slope = lean / at
                lines[n, FROM], lines[n, LINE_RISE] = here, (height - column_slope * at) * inverse
                lines[n, LINE_SLOPE], lines[n, LINE_CREST], lines[n, UNTIL] = column_slope, -at, column_until
                n += 1
                here = column_until
        if until > here:
            lines[n, FROM], lines[n, LINE_RISE], lines[n, LINE_SLOPE] = here, rise, slope
            lines[n, LINE_CREST], lines[n, UNTIL] = along, until
            n += 1
    return n


@compiled
def merge_lines(
    horizons: Floats,
    which: int,
    pieces: int,
    lines: Floats,
    count: int,
    start: float,
    end: float,
    slack: float,
) -> int:
    """Upper envelope of any horizon and the lines of a row; returns its number of pieces."""
    k, n, i = 0, 0, 0
    here = start
    while here < end:
        while k + 1 < pieces and horizons[which + START + k + 1] <= here:
            k += 1
        while i < count and lines[i, UNTIL] <= here:
            i += 1
        piece_until = horizons[which + START + k + 1] if k + 1 < pieces else end
        stop = min(piece_until, end)
        rise, slope, crest = (
            horizons[which + RISE + k],
            horizons[which + SLOPE + k],
            horizons[which + CREST + k],
        )
        if i < count and lines[i, FROM] < stop:
            if lines[i, FROM] > here:
                stop = lines[i, FROM]
                n = _put_unless_same(horizons, OTHER - which, n, here, rise, slope, crest)
            else:
                stop = min(stop, lines[i, UNTIL])
                line_rise, line_slope, line_crest = (
                    lines[i, LINE_RISE],
                    lines[i, LINE_SLOPE],
                    lines[i, LINE_CREST],
                )
                above = (line_rise - rise) + (line_slope - slope) * here > slack
                above_after = (line_rise - rise) + (line_slope - slope) * stop > slack
                if above:
                    n = _put_unless_same(horizons, OTHER - which, n, here, line_rise, line_slope, line_crest)
                else:
                    n = _put_unless_same(horizons, OTHER - which, n, here, rise, slope, crest)
                if above != above_after:
                    crossing = min(max((rise - line_rise) / (line_slope - slope), here), stop)
                    if above_after:
                        n = _put_unless_same(
                            horizons, OTHER - which, n, crossing, line_rise, line_slope, line_crest
                        )
                    else:
                        n = _put_unless_same(horizons, OTHER - which, n, crossing, rise, slope, crest)
        else:
            n = _put_unless_same(horizons, OTHER - which, n, here, rise, slope, crest)
        here = stop
    horizons[OTHER - which + START + n] = end
    return n


@compiled
def _put_unless_same(
    horizons: Floats, which: int, n: int, start: float, rise: float, slope: float, crest: float
) -> int:
    """Append a piece unless the last one is the same line going on."""
    if n > 0 and horizons[which + START + n - 1] >= start:
        n -= 1
    if (
        n > 0
        and horizons[which + RISE + n - 1] == rise
        and horizons[which + SLOPE + n - 1] == slope
        and horizons[which + CREST + n - 1] == crest
    ):
        return n
    return put(horizons, which, which + n, start, rise, slope, crest) - which


@compiled
def void_spans(
    rows: Floats,
    slot: int,
    has_before: bool,
    first: int,
    last: int,
    first_across: float,
    base: int,
    along: float,
    spans: Floats,
) -> int:
    """Spans of u in which a row's lines, or its columns' lines back to the row before, rest on a void.

    spans : (n, 2), in order, apart from one another; a known post between two is not part of them
    """
    inverse = 1.0 / along
    width = POST_WIDTH * inverse
    n = 0
    for x in range(first, last + 1):
        at = first_across + (base + x)
        here = at * inverse
        known = rows[slot, x] == rows[slot, x]
        # Somewhat before a void post, whose direction rounding may put there; the line to it is void too.
        after_start = here + width if known else here - width
        if x < last:
            next_known = rows[slot, x + 1] == rows[slot, x + 1]
            if not (known and next_known):
                until = (first_across + (base + x + 1)) * inverse
                n = _join(spans, n, after_start, until - width if next_known else until + width)
        elif not known:
            n = _join(spans, n, after_start, here + width)
        if at > 0.0 and has_before and not (known and rows[slot - 1, x] == rows[slot - 1, x]):
            until = np.inf
            if along > 1.0:
                until = at / (along - 1.0)
                if rows[slot - 1, x] == rows[slot - 1, x]:
                    until -= until * POST_WIDTH / (along - 1.0)
            n = _join(spans, n, after_start, until)
    return n


@compiled
def _join(spans: Floats, n: int, start: float, end: float) -> int:
    """Append a span, or lengthen the last one where they touch; starts must not fall."""
    if end <= start:
        return n
    if n > 0 and start <= spans[n - 1, 1]:
        spans[n - 1, 1] = max(spans[n - 1, 1], end)
        return n
    spans[n, 0], spans[n, 1] = start, end
    return n + 1


@compiled
def join_spans(
    old: Floats,
    old_count: int,
    new: Floats,
    new_count: int,
    start: float,
    end: float,
    out: Floats,
) -> int:
    """Union of two ordered lists of spans, cut to start..end."""
    i, j, n = 0, 0, 0
    while i < old_count or j < new_count:
        if j >= new_count or (i < old_count and old[i, 0] <= new[j, 0]):
            low, high = old[i, 0], old[i, 1]
            i += 1
        else:
            low, high = new[j, 0], new[j, 1]
            j += 1
        n = _join(out, n, max(low, start), min(high, end))
    return n


@compiled
def in_spans(spans: Floats, count: int, u: float) -> bool:
    """Whether u lies in one of the spans, ends included."""
    for i in range(count):
        if spans[i, 0] > u:
            return False
        if u <= spans[i, 1]:
            return True
    return False
