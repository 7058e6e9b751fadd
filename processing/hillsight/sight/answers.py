"""What the sweep is asked, what it reads, and how it writes a row of posts down."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from hillsight.kernels.compiled import compiled
from hillsight.sight.broken import in_spans
from hillsight.sight.horizon import RISE, SLOPE, START
from hillsight.sight.octants import Octant, Window
from hillsight.sight.viewing import TIE_M

if TYPE_CHECKING:
    from hillsight.arrays import Bytes, Flags, Floats, Floats32

_VISIBLE, _UNKNOWN = np.uint8(3), np.uint8(4)
_TO_VISIBLE = np.uint8(2)


class SweepGround(NamedTuple):
    """Heights as the sweep reads them.

    held : where the heights lie on the lattice; its first row and column are multiples of BLOCK
    heights_m : (posts of held,) float32, of what blocks sight, NaN voids
    ground_m : (posts of held,) float32, of the ground that targets stand on, nowhere above that; of no posts
        where nothing stands on the ground
    highest_m, has_void : (blocks) of held, see Maxima
    any_void : whether there is a void anywhere
    """

    held: Window
    heights_m: Floats32
    ground_m: Floats32
    highest_m: Floats32
    has_void: Flags
    any_void: bool


class Look(NamedTuple):
    """What the eye asks of the ground.

    eye_level_m : metres in the terrain's datum
    drop_per_m : a post at d metres stands lower by this times d squared
    reach_m : metres on the grid; ground beyond it need not be walked
    target_heights_m : (targets,) metres above the ground
    tallest_m : the greatest of them, or 0 if that is more
    """

    eye_level_m: float
    drop_per_m: float
    reach_m: float
    target_heights_m: Floats
    tallest_m: float


class Answers(NamedTuple):
    """Where the sweep puts what it finds.

    asked : where the outputs lie on the lattice
    states : (targets, posts of asked) uint8; posts that hold 0 are not asked for; HIDDEN turns to VISIBLE
        or UNKNOWN where it must
    clearance_m, crest_distance_m : (posts of asked,) float32, of the first target, set wherever its state is
        asked for; both may be empty, or the second
    """

    asked: Window
    states: Bytes
    clearance_m: Floats32
    crest_distance_m: Floats32


@compiled
def posts_between(
    first_across: float,
    along: float,
    with_axis: bool,
    with_diagonal: bool,
    first_j: int,
    last_j: int,
    start: float,
    posts_end: float,
) -> tuple[int, int]:
    """First and last of some posts of a row that lie in a wedge's directions and are the octant's."""
    inverse = 1.0 / along
    first, last = max(first_j, 0), last_j
    while first <= last and (first_across + first) * inverse < start:
        first += 1
    while first <= last and ((first_across + last) * inverse >= posts_end or first_across + last > along):
        last -= 1
    if first <= last and first_across + last == along and not with_diagonal:
        last -= 1
    if first_across + first == 0.0 and not with_axis:
        first += 1
    return first, last


@compiled
def mark_visible(
    states: Bytes,
    gaps: Floats,
    first: int,
    last: int,
    along: float,
    target_height_m: float,
    place: int,
    step: int,
) -> None:
    """Answer a row of posts of which only the states of one target are asked, without voids.

    first, last : of ``gaps``; place : of the first of them in ``states``
    """
    for x in range(first, last + 1):
        # Without branches, which nothing could foresee: HIDDEN has one bit of VISIBLE, and gets the other.
        asked, seen = states[np.uint64(place)] != 0, gaps[np.uint64(x)] * along + target_height_m >= -TIE_M
        states[np.uint64(place)] |= _TO_VISIBLE * np.uint8(asked & seen)
        place += step


@compiled
def lower_gaps(
    ground: SweepGround, gaps: Floats, first: int, last: int, inverse_along: float, place: int, step: int
) -> None:
    """Take what stands on the posts of a row off their rise over the horizon: targets stand on the ground.

    first, last : of ``gaps``; place, step : of the first of them among the heights, and to the next
    """
    for x in range(first, last + 1):
        gaps[x] -= (np.float64(ground.heights_m[place]) - ground.ground_m[place]) * inverse_along
        place += step


@compiled
def answer_row(
    octant: Octant,
    look: Look,
    answers: Answers,
    along: float,
    first: int,
    last: int,
    base_j: int,
    gaps: Floats,
    crests: Floats,
    spans: Floats,
    span_count: int,
    origin: int,
    step: int,
) -> None:
    """Write the answers of posts first..last of a row, whatever is asked."""
    inverse = 1.0 / along
    with_clearance = answers.clearance_m.size > 0
    targets = look.target_heights_m.size
    if targets == 1 and span_count == 0 and with_clearance:
        states, height_m = answers.states[0], look.target_heights_m[0]
        for j in range(first, last + 1):
            place = origin + j * step
            clear_m = gaps[j - base_j] * along + height_m
            if states[place] != 0:
                if clear_m >= -TIE_M:
                    states[place] = _VISIBLE
                    clear_m = max(clear_m, 0.0)
                answers.clearance_m[place] = clear_m
    else:
        for j in range(first, last + 1):
            place = origin + j * step
            over_m = gaps[j - base_j] * along
            u = (octant.first_across + j) * inverse
            over_void = span_count > 0 and in_spans(spans, span_count, u)
            for target in range(targets):
                if answers.states[target, place] == 0:
                    continue
                clear_m = over_m + look.target_heights_m[target]
                visible = clear_m >= -TIE_M
                if visible:
                    answers.states[target, place] = _UNKNOWN if over_void else _VISIBLE
                if target == 0 and with_clearance:
                    known_m = max(clear_m, 0.0) if visible else clear_m
                    answers.clearance_m[place] = np.nan if visible and over_void else known_m
    if answers.crest_distance_m.size > 0:
        for j in range(first, last + 1):
            place = origin + j * step
            if answers.states[0, place] == 0:
                continue
            across = octant.first_across + j
            crest = crests[j - base_j]
            share = crest * inverse if crest >= 0.0 else -crest / across
            answers.crest_distance_m[place] = share * math.sqrt(
                (along * octant.along_m) ** 2 + (across * octant.across_m) ** 2
            )


@compiled
def answer_hidden_row(
    octant: Octant,
    ground: SweepGround,
    look: Look,
    answers: Answers,
    along: float,
    first: int,
    last: int,
    horizons: Floats,
    which: int,
    pieces: int,
    origin: int,
    step: int,
    ground_origin: int,
    ground_step: int,
) -> None:
    """Clearances of posts first..last of a row that is known to lie below the horizon, without voids."""
    inverse = 1.0 / along
    across_drop = look.drop_per_m * octant.across_m**2
    level_m = look.eye_level_m + look.drop_per_m * (along * octant.along_m) ** 2 - look.target_heights_m[0]
    states, clearance_m = answers.states[0], answers.clearance_m
    heights_m = ground.ground_m if ground.ground_m.size > 0 else ground.heights_m
    j, k = first, 0
    while j <= last:
        while k + 1 < pieces and horizons[which + START + k + 1] <= (octant.first_across + j) * inverse:
            k += 1
        until = horizons[which + START + k + 1] if k + 1 < pieces else np.inf
        floor_m, slope = horizons[which + RISE + k] * along + level_m, horizons[which + SLOPE + k]
        while True:
            across = octant.first_across + j
            place = origin + j * step
            if states[place] != 0:
                height_m = heights_m[ground_origin + j * ground_step] - across_drop * (across * across)
                clearance_m[place] = height_m - (floor_m + slope * across)
            j += 1
            if j > last or (across + 1.0) * inverse >= until:
                break
