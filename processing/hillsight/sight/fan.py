"""Wedges of directions on their way outwards: a stack that a sweep takes up, adds to and hands on."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from hillsight.kernels.compiled import compiled
from hillsight.sight.horizon import MOST_PIECES

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.sight.octants import Octant

#: Columns of ``Fan.wedges``: first direction, end of the horizon, end of the directions whose posts are the
#: wedge's, lowest rise of the horizon, pieces of the horizon, spans of void directions, whether the horizon
#: is broken (0 or 1), the next row i, and a rise that the row before it stays under. Whole numbers are exact.
FIRST, END, POSTS_END, LOWEST, PIECES, SPANS, BROKEN, NEXT_I, BEFORE_TOP = range(9)


class Fan(NamedTuple):
    """Wedges, each with the horizon it has come to.

    wedges_used, pieces_used, spans_used : rows in use of the arrays below
    wedges : (>= wedges_used, 9) see above; the last one is walked next
    pieces, spans : horizons (pieces + 1 rows each: START, RISE, SLOPE, CREST) and spans of void directions,
        one wedge after another
    """

    wedges_used: int
    pieces_used: int
    spans_used: int
    wedges: Floats
    pieces: Floats
    spans: Floats


def open_fan(octant: Octant, first_u: float, last_u: float) -> Fan:
    """One wedge at the eye, before any ground."""
    # The octant's outermost direction lies within its last wedge, whatever rounding makes of it.
    end, posts_end = (1.0 + 1e-9, 2.0) if last_u >= 1.0 else (last_u, last_u)
    broken, next_i = float(octant.broken), float(octant.first_i)
    wedge = [first_u, end, posts_end, -np.inf, 1.0, 0.0, broken, next_i, np.inf]
    pieces = np.array([[first_u, -np.inf, 0.0, 0.0], [end, 0.0, 0.0, 0.0]])
    return Fan(1, 2, 0, np.array([wedge]), pieces, np.empty((1, 2)))


@compiled
def empty_fan() -> Fan:
    """No wedges."""
    return Fan(0, 0, 0, np.empty((1, 9)), np.empty((1, 4)), np.empty((1, 2)))


@compiled
def push_wedge(
    fan: Fan,
    first: float,
    end: float,
    posts_end: float,
    lowest: float,
    before_top: float,
    broken: bool,
    next_i: int,
    horizons: Floats,
    first_piece: int,
    pieces: int,
    spans: Floats,
    first_span: int,
    span_count: int,
) -> Fan:
    """The fan with one more wedge, whose horizon and spans are copied from larger ones.

    first_piece : its place among the horizons; it is made to start at ``first``
    """
    wedges = _with_room(fan.wedges, fan.wedges_used + 1)
    row = wedges[fan.wedges_used]
    row[FIRST], row[END], row[POSTS_END], row[LOWEST] = first, end, posts_end, lowest
    row[BEFORE_TOP] = before_top
    row[PIECES], row[SPANS], row[BROKEN], row[NEXT_I] = pieces, span_count, 1.0 if broken else 0.0, next_i
    pieces_used, spans_used = fan.pieces_used + pieces + 1, fan.spans_used + span_count
    kept = _with_room(fan.pieces, pieces_used)
    for field in range(4):
        for r in range(pieces + 1):
            kept[fan.pieces_used + r, field] = horizons[field * MOST_PIECES + first_piece + r]
    kept[fan.pieces_used, 0] = first
    kept_spans = _with_room(fan.spans, spans_used)
    copy_rows(spans, first_span, kept_spans, fan.spans_used, span_count)
    return Fan(fan.wedges_used + 1, pieces_used, spans_used, wedges, kept, kept_spans)


@compiled
def _with_room(array: Floats, rows: int) -> Floats:
    if rows <= array.shape[0]:
        return array
    larger = np.empty((2 * rows, array.shape[1]))
    copy_rows(array, 0, larger, 0, array.shape[0])
    return larger


@compiled
def copy_rows(source: Floats, first: int, target: Floats, at: int, rows: int) -> None:
    """Copy rows; plain loops, which compile sooner than slices."""
    for r in range(rows):
        for c in range(source.shape[1]):
            target[at + r, c] = source[first + r, c]


@compiled
def take_pieces(fan: Fan, at: int, horizons: Floats, place: int, count: int) -> None:
    """Put some kept pieces, from row ``at`` on, into a horizon at a place."""
    for field in range(4):
        for r in range(count):
            horizons[field * MOST_PIECES + place + r] = fan.pieces[at + r, field]
