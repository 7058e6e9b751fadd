"""The sweep: every post of an octant against the exact horizon of the ground nearer to the eye.

The octant is cut into wedges of directions. Each wedge is walked outwards row by row with a horizon of its
own, and halves when it has grown wider than WIDEST posts, so that a horizon and its stretch of ground fit
the nearest cache. Ground of a block that lies below the lowest point of the wedge's horizon is left out: it
is hidden and hides nothing. Method and proof: docs/sight.md.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled, inlined
from hillsight.sight.answers import (
    Answers,
    Look,
    SweepGround,
    answer_hidden_row,
    answer_row,
    lower_gaps,
    mark_visible,
    posts_between,
)
from hillsight.sight.broken import join_spans, lines_of_row, merge_lines, void_spans
from hillsight.sight.fan import (
    BEFORE_TOP,
    BROKEN,
    END,
    FIRST,
    LOWEST,
    NEXT_I,
    PIECES,
    POSTS_END,
    SPANS,
    Fan,
    copy_rows,
    empty_fan,
    push_wedge,
    take_pieces,
)
from hillsight.sight.horizon import (
    MANY_PIECES,
    OTHER,
    ROOM,
    START,
    WIDEST,
    lowest_rise,
    merge_row,
    rises_above,
)
from hillsight.sight.layout import Layout, layout_of
from hillsight.sight.maxima import MIDDLE as BLOCK
from hillsight.sight.octants import Octant
from hillsight.sight.rows import (
    blocks_of,
    greatest,
    greatest_known,
    holds_void,
    load_block,
    load_row,
)

if TYPE_CHECKING:
    from hillsight.arrays import Floats

#: Spans of a wedge's voids that make it be halved, as MANY_PIECES do; and room for them.
_MANY_SPANS = 256
_MOST_SPANS = 2 * (2 * _MANY_SPANS + 2 * ROOM)

#: How far (m, seen at the farthest post) ground must stand above the horizon to become part of it.
_SLACK_M = 1e-8

#: How far (m) below the horizon ground must lie to be left out unseen: far above all rounding.
_CLEAR_M = 1e-4


@compiled
def _stop_of(octant: Octant, reach_m: float, start: float, to_i: int) -> int:
    """The row before which a wedge that begins at direction ``start`` is to be walked no farther."""
    stop_i = min(to_i, octant.posts_along)
    reach_i = reach_m / math.sqrt(octant.along_m**2 + (start * octant.across_m) ** 2)
    if reach_i - octant.first_along < stop_i:
        stop_i = min(int(max(reach_i - octant.first_along, 0.0)) + 2, to_i, octant.posts_along)
    return stop_i


@compiled
def _halve(
    fan: Fan,
    middle: float,
    end: float,
    posts_end: float,
    lowest: float,
    before_top: float,
    broken: bool,
    i: int,
    horizons: Floats,
    which: int,
    pieces: int,
    spans: Floats,
    span_count: int,
) -> tuple[Fan, int, int]:
    """Put the half of a wedge beyond ``middle`` on the fan; pieces and spans that the nearer half keeps."""
    k = pieces - 1
    while horizons[which + k + START] > middle:
        k -= 1
    s = 0
    while s < span_count and spans[s, 1] < middle:
        s += 1
    fan = push_wedge(
        fan, middle, end, posts_end, lowest, before_top, broken, i,
        horizons, which + k, pieces - k, spans, s, span_count - s,
    )  # fmt: skip
    pieces = k + 1 if horizons[which + k + START] < middle else k
    horizons[which + pieces + START] = middle
    while span_count > 0 and spans[span_count - 1, 0] > middle:
        span_count -= 1
    return fan, pieces, span_count


@inlined
def _ceiling(
    octant: Octant,
    ground: SweepGround,
    look: Look,
    i: int,
    first_j: int,
    last_j: int,
    far: float,
    has_before: bool,
) -> tuple[float, bool]:
    """Rise that nothing of a block goes above, the tallest target included; whether it may hold a void.

    far : offset along of the block's farthest row; its nearest is row i
    """
    near = octant.first_along + i
    top_m, may_hold_void = blocks_of(ground, octant, i, first_j, last_j)
    if has_before and ground.any_void:
        _, void_before = blocks_of(ground, octant, i - 1, first_j, last_j)
        may_hold_void = may_hold_void or void_before
    along_drop = look.drop_per_m * octant.along_m**2
    over_m = top_m - look.eye_level_m - along_drop * near * near
    if along_drop < 0.0:  # strong refraction: ground stands the higher, the farther it is
        farthest = octant.first_across + last_j
        across_drop = look.drop_per_m * octant.across_m**2
        over_m = top_m - look.eye_level_m - along_drop * far * far - across_drop * farthest**2
    return over_m / (near if over_m > 0.0 else far) + (look.tallest_m + _CLEAR_M) / near, may_hold_void


@compiled
def _answer_hidden(
    octant: Octant,
    ground: SweepGround,
    look: Look,
    answers: Answers,
    at: Layout,
    from_i: int,
    to_i: int,
    start: float,
    end: float,
    posts_end: float,
    horizons: Floats,
    which: int,
    pieces: int,
) -> None:
    """Clearances of the wedge's posts in rows from_i to before to_i, all of them below the horizon."""
    for i in range(max(from_i, at.first_i), min(to_i, at.last_i + 1)):
        along = octant.first_along + i
        first, last = posts_between(
            octant.first_across, along, octant.with_axis, octant.with_diagonal,
            max(at.first_j, math.floor(start * along - octant.first_across)),
            min(at.last_j, math.ceil(end * along - octant.first_across)), start, posts_end,
        )  # fmt: skip
        answer_hidden_row(
            octant, ground, look, answers, along, first, last, horizons, which, pieces,
            at.out_origin + i * at.out_step, at.out_cross, at.origin + i * at.step, at.cross,
        )  # fmt: skip


@inlined
def _load(
    octant: Octant,
    ground: SweepGround,
    look: Look,
    at: Layout,
    i: int,
    base_j: int,
    rows: Floats,
    slot: int,
    first: int,
    last: int,
) -> None:
    """Put lowered heights less the eye's level of row i, columns base_j + first..last, in a slot of rows."""
    along, first_j = octant.first_along + i, base_j + first
    level_m = look.eye_level_m + look.drop_per_m * octant.along_m**2 * (along * along)
    load_row(
        ground.heights_m, at.origin + i * at.step + first_j * at.cross, at.cross,
        octant.first_across + first_j, level_m, look.drop_per_m * octant.across_m**2, rows, slot, first, last,
    )  # fmt: skip


@compiled
def walk_fan(
    octant: Octant, ground: SweepGround, look: Look, answers: Answers, fan: Fan, to_i: int, keep: bool
) -> Fan:
    """Walk the wedges of a fan as far as row i = to_i of an octant (not included).

    keep : whether to return the wedges as they are at to_i, else an empty fan; a fan is used up

    Stages, marked below by their numbers:
    (1) take a wedge off the fan, with its horizon and spans of void directions;
    (2) block by block outwards: halve a wedge that has grown too wide, and come back for the far half;
    (3) pass over a block whose highest ground lies below the horizon's lowest;
    (4) read the block, with the row before it; (5) row by row: read, bound, pass over what is low;
    (6) set the row against the horizon, and without voids merge it in; (7) answer for its posts' ground;
    (8) where voids break the horizon, merge what is known of the row, and the directions that are not;
    (9) keep the wedge for the next band.
    """
    along_drop = look.drop_per_m * octant.along_m**2
    across_drop = look.drop_per_m * octant.across_m**2
    slack = _SLACK_M / (octant.first_along + octant.posts_along)
    first_across, last_j = octant.first_across, octant.posts_across - 1
    at = layout_of(octant, ground.held, answers.asked)
    tallest_m = look.tallest_m
    states, height_m = answers.states[0], look.target_heights_m[0]
    plain = look.target_heights_m.size == 1 and answers.clearance_m.size == 0
    exhaustive, with_crests = answers.clearance_m.size > 0, answers.crest_distance_m.size > 0
    covered = ground.ground_m.size > 0

    rows, gaps, crests = np.empty((BLOCK + 1, ROOM)), np.empty(ROOM), np.empty(ROOM)
    flat_rows = rows.reshape(rows.size)
    tops, voids = np.empty(BLOCK + 1), np.zeros(BLOCK + 1, np.bool_)
    horizons, which = np.empty(2 * OTHER), 0
    spans, joined = np.empty((_MOST_SPANS, 2)), np.empty((_MOST_SPANS, 2))
    lines, row_spans = np.empty((4 * ROOM, 5)), np.empty((2 * ROOM, 2))

    kept = empty_fan()
    while fan.wedges_used > 0:
        # (1)
        wedge = fan.wedges[fan.wedges_used - 1]
        start, end, posts_end, lowest = wedge[FIRST], wedge[END], wedge[POSTS_END], wedge[LOWEST]
        pieces, span_count = int(wedge[PIECES]), int(wedge[SPANS])
        broken, i, before_top = wedge[BROKEN] != 0.0, int(wedge[NEXT_I]), wedge[BEFORE_TOP]
        pieces_used, spans_used = fan.pieces_used - pieces - 1, fan.spans_used - span_count
        take_pieces(fan, pieces_used, horizons, which, pieces + 1)
        copy_rows(fan.spans, spans_used, spans, 0, span_count)
        fan = Fan(fan.wedges_used - 1, pieces_used, spans_used, fan.wedges, fan.pieces, fan.spans)
        stop_i = _stop_of(octant, look.reach_m, start, to_i)
        while i < stop_i:
            in_block = (at.block_at + at.block_step * i) % BLOCK
            until_i = min(stop_i, i + BLOCK - in_block if at.block_step > 0 else i + in_block + 1)
            near, far = octant.first_along + i, octant.first_along + (until_i - 1)
            limit = min(min(posts_end, 1.0), (first_across + last_j) / near)
            if limit < start:
                break  # these directions have left the terrain across
            # (2)
            too_wide = far > WIDEST and (limit - start) * far > WIDEST
            if too_wide or pieces > MANY_PIECES or span_count > _MANY_SPANS:
                middle = 0.5 * (start + limit)
                if not too_wide:
                    many = pieces > MANY_PIECES
                    middle = horizons[which + START + pieces // 2] if many else spans[span_count // 2, 0]
                if start < middle < end:
                    fan, pieces, span_count = _halve(
                        fan, middle, end, posts_end, lowest, before_top, broken, i,
                        horizons, which, pieces, spans, span_count,
                    )  # fmt: skip
                    end = posts_end = middle
                    continue
            # (3)
            base_j = max(octant.first_j, math.floor(start * max(near - 1.0, 0.0) - first_across))
            block_last_j = min(last_j, math.ceil(end * far - first_across))
            has_before = octant.has_before or i > octant.first_i
            hidden, may_hold_void, most = False, False, np.inf
            if base_j <= block_last_j:
                most, may_hold_void = _ceiling(octant, ground, look, i, base_j, block_last_j, far, has_before)
                quick = not with_crests and (span_count == 0 or not exhaustive)
                hidden = most < lowest and not may_hold_void and quick
            if hidden and before_top < lowest:
                if exhaustive:
                    _answer_hidden(
                        octant, ground, look, answers, at, i, until_i, start, end, posts_end,
                        horizons, which, pieces,
                    )  # fmt: skip
                i, before_top = until_i, most
                continue
            # (4)
            first_i, voids[0], tops[0] = i, False, before_top
            if has_before:
                last_x = min(block_last_j, math.ceil(end * near - first_across)) - base_j
                _load(octant, ground, look, at, i - 1, base_j, rows, 0, 0, last_x)
                voids[0] = may_hold_void and holds_void(rows, 0, 0, last_x)
            if not octant.along_rows:
                load_block(
                    ground.heights_m, at.origin + i * at.step + base_j * at.cross, at.step, at.cross,
                    first_across + base_j, near, look.eye_level_m, along_drop, across_drop, rows,
                    until_i - i, block_last_j - base_j,
                )  # fmt: skip
            # (5)
            for i_here in range(first_i, until_i):
                i = i_here + 1
                along = octant.first_along + i_here
                inverse = 1.0 / along
                slot = i_here - first_i + 1
                first = max(octant.first_j, math.floor(start * along - first_across))
                last = min(last_j, math.ceil(end * along - first_across))
                tops[slot], voids[slot] = -np.inf, False
                edge = (first_across + last_j) * inverse
                if last < first or edge < start:
                    continue
                first_x, last_x = first - base_j, last - base_j
                if octant.along_rows:
                    _load(octant, ground, look, at, i_here, base_j, rows, slot, first_x, last_x)
                voids[slot] = may_hold_void and holds_void(rows, slot, first_x, last_x)
                if voids[slot]:
                    greatest_m = greatest(rows, slot, first_x, last_x)
                else:
                    greatest_m = greatest_known(flat_rows, slot * ROOM + first_x, last_x - first_x + 1)
                tops[slot] = (greatest_m + _CLEAR_M) * inverse
                low = (
                    tops[slot] + tallest_m * inverse < lowest
                    and tops[slot - 1] < lowest
                    and not voids[slot]
                    and not voids[slot - 1]
                )
                if low and not exhaustive:
                    continue
                broken = broken or voids[slot] or voids[slot - 1]
                # (6)
                if low or broken or edge <= start or first == last:
                    rises_above(
                        horizons, which, pieces, rows, slot, first_x, last_x, first_across, base_j,
                        inverse, gaps, crests,
                    )  # fmt: skip
                else:
                    end = min(end, edge)
                    which, pieces = merge_row(
                        horizons, which, flat_rows, ROOM, slot, first_x, last_x, first_across, base_j,
                        along, start, end, slack, gaps, crests,
                    )  # fmt: skip
                # (7)
                if at.first_i <= i_here <= at.last_i:
                    out = at.out_origin + i_here * at.out_step
                    first, last = posts_between(
                        first_across, along, octant.with_axis, octant.with_diagonal,
                        max(first, at.first_j), min(last, at.last_j), start, posts_end,
                    )  # fmt: skip
                    if covered:
                        lower_gaps(
                            ground, gaps, first - base_j, last - base_j, inverse,
                            at.origin + i_here * at.step + first * at.cross, at.cross,
                        )  # fmt: skip
                    if plain and span_count == 0:
                        mark_visible(
                            states, gaps, first - base_j, last - base_j, along, height_m,
                            out + first * at.out_cross, at.out_cross,
                        )  # fmt: skip
                    else:
                        answer_row(
                            octant, look, answers, along, first, last, base_j, gaps, crests,
                            spans, span_count, out, at.out_cross,
                        )  # fmt: skip
                # (8)
                if broken and not low:
                    known_before = has_before or i_here > first_i
                    count = lines_of_row(
                        rows, slot, known_before, first_x, last_x, first_across, base_j, along, lines
                    )
                    pieces = merge_lines(horizons, which, pieces, lines, count, start, end, slack)
                    which = OTHER - which
                    if voids[slot] or voids[slot - 1]:
                        count = void_spans(
                            rows, slot, known_before, first_x, last_x, first_across, base_j, along, row_spans
                        )
                        span_count = join_spans(spans, span_count, row_spans, count, start, end, joined)
                        spans, joined = joined, spans
                if pieces > 2 * MANY_PIECES or span_count > 2 * _MANY_SPANS:
                    break  # halve before the next row
            before_top = tops[i - first_i]
            lowest = lowest_rise(horizons, which, pieces)
        # (9)
        if keep and start * (octant.first_along + to_i) <= first_across + last_j:
            kept = push_wedge(
                kept, start, end, posts_end, lowest, before_top, broken, to_i,
                horizons, which, pieces, spans, 0, span_count,
            )  # fmt: skip
    return kept
