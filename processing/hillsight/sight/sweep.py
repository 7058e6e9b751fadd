"""The sweep: every post of an octant against the exact horizon of the ground nearer to the eye.

The octant is cut into wedges of directions. Each wedge is walked outwards row by row with a horizon of its
own, and halves when it has grown wider than WIDEST posts, so that a horizon and its stretch of ground fit
the nearest cache. Ground of a block that lies below the lowest point of the wedge's horizon is left out: it
is hidden and hides nothing. Method and proof: docs/sight.md.
"""

from __future__ import annotations

import math

import numpy as np

from hillsight.kernels.compiled import compiled
from hillsight.sight.answers import (
    Answers,
    Look,
    SweepGround,
    answer_hidden_row,
    answer_row,
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
)
from hillsight.sight.horizon import START, lowest_rise, merge_row, rises_above
from hillsight.sight.maxima import MIDDLE as BLOCK
from hillsight.sight.octants import Octant
from hillsight.sight.rows import (
    blocks_of,
    greatest,
    greatest_known,
    holds_void,
    load_block,
    load_row,
    steps_within,
)

#: Posts across a wedge before it is halved.
WIDEST = 48

#: Columns that a block's rows may need within one wedge, with the posts beside it.
_ROOM = 2 * WIDEST + 2 * BLOCK + 8

#: Pieces of a wedge's horizon, and spans of its voids, that make it be halved too.
_MANY_PIECES, _MANY_SPANS = 512, 256

#: Room for a horizon; a merge can at most double its pieces and those of a row.
_MOST_PIECES = 2 * (2 * _MANY_PIECES + 4 * _ROOM)
_MOST_SPANS = 2 * (2 * _MANY_SPANS + 2 * _ROOM)

#: How far (m, seen at the farthest post) ground must stand above the horizon to become part of it.
_SLACK_M = 1e-8

#: How far (m) below the horizon ground must lie to be left out unseen: far above all rounding.
_CLEAR_M = 1e-4


@compiled
def walk_fan(
    octant: Octant, ground: SweepGround, look: Look, answers: Answers, fan: Fan, to_i: int, keep: bool
) -> Fan:
    """Walk the wedges of a fan as far as row i = to_i of an octant (not included).

    keep : whether to return the wedges as they are at to_i, else an empty fan; a fan is used up
    """
    along_drop = look.drop_per_m * octant.along_m**2
    across_drop = look.drop_per_m * octant.across_m**2
    slack = _SLACK_M / (octant.first_along + octant.posts_along)
    first_across, last_j = octant.first_across, octant.posts_across - 1
    held, asked = ground.held, answers.asked
    rows_asked = steps_within(octant.row, octant.row_step, asked.row, asked.rows)
    columns_asked = steps_within(octant.column, octant.column_step, asked.column, asked.columns)
    if octant.along_rows:
        (first_asked_i, last_asked_i), (first_asked_j, last_asked_j) = rows_asked, columns_asked
        step, cross = octant.row_step * held.columns, octant.column_step
        out_step, out_cross = octant.row_step * asked.columns, octant.column_step
        block_at, block_step = octant.row - held.row, octant.row_step
    else:
        (first_asked_i, last_asked_i), (first_asked_j, last_asked_j) = columns_asked, rows_asked
        step, cross = octant.column_step, octant.row_step * held.columns
        out_step, out_cross = octant.column_step, octant.row_step * asked.columns
        block_at, block_step = octant.column - held.column, octant.column_step
    origin = (octant.row - held.row) * held.columns + octant.column - held.column
    out_origin = (octant.row - asked.row) * asked.columns + octant.column - asked.column
    tallest_m = look.tallest_m
    states, height_m = answers.states[0], look.target_heights_m[0]
    plain = look.target_heights_m.size == 1 and answers.clearance_m.size == 0
    exhaustive, with_crests = answers.clearance_m.size > 0, answers.crest_distance_m.size > 0

    rows, gaps, crests = np.empty((BLOCK + 1, _ROOM)), np.empty(_ROOM), np.empty(_ROOM)
    tops, voids = np.empty(BLOCK + 1), np.zeros(BLOCK + 1, np.bool_)
    horizons, which = np.empty((2, _MOST_PIECES, 4)), 0
    spans, joined = np.empty((_MOST_SPANS, 2)), np.empty((_MOST_SPANS, 2))
    lines, row_spans = np.empty((4 * _ROOM, 5)), np.empty((2 * _ROOM, 2))

    kept = empty_fan()
    while fan.wedges_used > 0:
        wedge = fan.wedges[fan.wedges_used - 1]
        start, end, posts_end, lowest = wedge[FIRST], wedge[END], wedge[POSTS_END], wedge[LOWEST]
        pieces, span_count = int(wedge[PIECES]), int(wedge[SPANS])
        broken, i, before_top = wedge[BROKEN] != 0.0, int(wedge[NEXT_I]), wedge[BEFORE_TOP]
        pieces_used, spans_used = fan.pieces_used - pieces - 1, fan.spans_used - span_count
        copy_rows(fan.pieces, pieces_used, horizons[which], 0, pieces + 1)
        copy_rows(fan.spans, spans_used, spans, 0, span_count)
        fan = Fan(fan.wedges_used - 1, pieces_used, spans_used, fan.wedges, fan.pieces, fan.spans)
        stop_i = min(to_i, octant.posts_along)
        reach_i = look.reach_m / math.sqrt(octant.along_m**2 + (start * octant.across_m) ** 2)
        if reach_i - octant.first_along < stop_i:
            stop_i = int(max(reach_i - octant.first_along, 0.0)) + 2
            stop_i = min(stop_i, to_i, octant.posts_along)
        while i < stop_i:
            in_block = (block_at + block_step * i) % BLOCK
            until_i = min(stop_i, i + BLOCK - in_block if block_step > 0 else i + in_block + 1)
            near, far = octant.first_along + i, octant.first_along + (until_i - 1)
            limit = min(min(posts_end, 1.0), (first_across + last_j) / near)
            if limit < start:
                break  # these directions have left the terrain across
            too_wide = far > WIDEST and (limit - start) * far > WIDEST
            if too_wide or pieces > _MANY_PIECES or span_count > _MANY_SPANS:
                middle = 0.5 * (start + limit)
                if not too_wide:
                    many = pieces > _MANY_PIECES
                    middle = horizons[which, pieces // 2, START] if many else spans[span_count // 2, 0]
                if start < middle < end:
                    k = pieces - 1
                    while horizons[which, k, START] > middle:
                        k -= 1
                    s = 0
                    while s < span_count and spans[s, 1] < middle:
                        s += 1
                    fan = push_wedge(
                        fan,
                        middle,
                        end,
                        posts_end,
                        lowest,
                        before_top,
                        broken,
                        i,
                        horizons[which],
                        k,
                        pieces - k,
                        spans,
                        s,
                        span_count - s,
                    )
                    pieces = k + 1 if horizons[which, k, START] < middle else k
                    horizons[which, pieces, START] = middle
                    end = posts_end = middle
                    while span_count > 0 and spans[span_count - 1, 0] > middle:
                        span_count -= 1
                    continue
            base_j = max(octant.first_j, math.floor(start * max(near - 1.0, 0.0) - first_across))
            block_last_j = min(last_j, math.ceil(end * far - first_across))
            has_before = octant.has_before or i > octant.first_i
            hidden, may_hold_void, most = False, False, np.inf
            if base_j <= block_last_j:
                top_m, may_hold_void = blocks_of(ground, octant, i, base_j, block_last_j)
                if has_before and ground.any_void:
                    _, void_before = blocks_of(ground, octant, i - 1, base_j, block_last_j)
                    may_hold_void = may_hold_void or void_before
                over_m = top_m - look.eye_level_m - along_drop * near * near
                if along_drop < 0.0:  # strong refraction: ground stands the higher, the farther it is
                    farthest = first_across + block_last_j
                    over_m = top_m - look.eye_level_m - along_drop * far * far - across_drop * farthest**2
                most = over_m / (near if over_m > 0.0 else far) + (tallest_m + _CLEAR_M) / near
                quick = not with_crests and (span_count == 0 or not exhaustive)
                hidden = most < lowest and not may_hold_void and quick
            if hidden and before_top < lowest:
                while exhaustive and i < until_i:
                    if not first_asked_i <= i <= last_asked_i:
                        i += 1
                        continue
                    along = octant.first_along + i
                    first, last = posts_between(
                        first_across,
                        along,
                        octant.with_axis,
                        octant.with_diagonal,
                        max(first_asked_j, math.floor(start * along - first_across)),
                        min(last_asked_j, math.ceil(end * along - first_across)),
                        start,
                        posts_end,
                    )
                    answer_hidden_row(
                        octant,
                        ground,
                        look,
                        answers,
                        along,
                        first,
                        last,
                        horizons,
                        which,
                        pieces,
                        out_origin + i * out_step,
                        out_cross,
                        origin + i * step,
                        cross,
                    )
                    i += 1
                i, before_top = until_i, most
                continue
            first_i, voids[0], tops[0] = i, False, before_top
            if has_before:
                last_x = min(block_last_j, math.ceil(end * near - first_across)) - base_j
                load_row(
                    ground.heights_m,
                    origin + (i - 1) * step + base_j * cross,
                    cross,
                    first_across + base_j,
                    look.eye_level_m + along_drop * ((near - 1.0) * (near - 1.0)),
                    across_drop,
                    rows,
                    0,
                    0,
                    last_x,
                )
                voids[0] = may_hold_void and holds_void(rows, 0, 0, last_x)
            if not octant.along_rows:
                load_block(
                    ground.heights_m,
                    origin + i * step + base_j * cross,
                    step,
                    cross,
                    first_across + base_j,
                    near,
                    look.eye_level_m,
                    along_drop,
                    across_drop,
                    rows,
                    until_i - i,
                    block_last_j - base_j,
                )
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
                    load_row(
                        ground.heights_m,
                        origin + i_here * step + first * cross,
                        cross,
                        first_across + first,
                        look.eye_level_m + along_drop * (along * along),
                        across_drop,
                        rows,
                        slot,
                        first_x,
                        last_x,
                    )
                voids[slot] = may_hold_void and holds_void(rows, slot, first_x, last_x)
                if voids[slot]:
                    greatest_m = greatest(rows, slot, first_x, last_x)
                else:
                    greatest_m = greatest_known(rows, slot, first_x, last_x)
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
                if low or broken or edge <= start or first == last:
                    rises_above(
                        horizons,
                        which,
                        pieces,
                        rows,
                        slot,
                        first_x,
                        last_x,
                        first_across,
                        base_j,
                        inverse,
                        gaps,
                        crests,
                    )
                else:
                    end = min(end, edge)
                    pieces = merge_row(
                        horizons,
                        which,
                        rows,
                        slot,
                        first_x,
                        last_x,
                        first_across,
                        base_j,
                        along,
                        start,
                        end,
                        slack,
                        gaps,
                        crests,
                    )
                    which = 1 - which
                if first_asked_i <= i_here <= last_asked_i:
                    first, last = posts_between(
                        first_across,
                        along,
                        octant.with_axis,
                        octant.with_diagonal,
                        max(first, first_asked_j),
                        min(last, last_asked_j),
                        start,
                        posts_end,
                    )
                    if plain and span_count == 0:
                        mark_visible(
                            states,
                            gaps,
                            first - base_j,
                            last - base_j,
                            along,
                            height_m,
                            out_origin + i_here * out_step + first * out_cross,
                            out_cross,
                        )
                    else:
                        answer_row(
                            octant,
                            look,
                            answers,
                            along,
                            first,
                            last,
                            base_j,
                            gaps,
                            crests,
                            spans,
                            span_count,
                            out_origin + i_here * out_step,
                            out_cross,
                        )
                if broken and not low:
                    known_before = has_before or i_here > first_i
                    count = lines_of_row(
                        rows, slot, known_before, first_x, last_x, first_across, base_j, along, lines
                    )
                    pieces = merge_lines(horizons, which, pieces, lines, count, start, end, slack)
                    which = 1 - which
                    if voids[slot] or voids[slot - 1]:
                        count = void_spans(
                            rows, slot, known_before, first_x, last_x, first_across, base_j, along, row_spans
                        )
                        span_count = join_spans(spans, span_count, row_spans, count, start, end, joined)
                        spans, joined = joined, spans
                if pieces > 2 * _MANY_PIECES or span_count > 2 * _MANY_SPANS:
                    break  # halve before the next row
            before_top = tops[i - first_i]
            lowest = lowest_rise(horizons, which, pieces)
        if keep and start * (octant.first_along + to_i) <= first_across + last_j:
            kept = push_wedge(
                kept,
                start,
                end,
                posts_end,
                lowest,
                before_top,
                broken,
                to_i,
                horizons[which],
                0,
                pieces,
                spans,
                0,
                span_count,
            )
    return kept
