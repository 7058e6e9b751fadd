"""Crest lines of a drawn view: the crests of neighbouring bearings joined to lines.

A crest of a bearing is ground behind which ground turns out of view, so it is in view itself: lines through
such places are cut by the silhouettes of nearer ground without any further test.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from hillsight.reading.ground.brows import LEAST_DEPTH_M, goes_on

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats, Integers
    from hillsight.reading.drawn.fan import Fan

#: Ground that shows again at once behind a crest, nearer than this share of its distance, or that dips by
#: less (m), makes no line worth drawing; a line is kept whole where it is worth drawing somewhere.
#: Common practice, no source.
_LEAST_SHARE, _LEAST_DIP_M = 0.015, 0.25
_WORTH_SHARE = 0.04

#: A line ends where its vertical angle changes by more than this for a degree of bearing.
_STEEPEST = 12.0

#: Bearings that a line must reach over, and that another role must hold for before a line is split by it.
_LEAST_BEARINGS, _LEAST_RUN = 6, 12

#: Bearings compared at a time, so that little memory is needed.
_ROWS_AT_A_TIME = 256


@dataclass(frozen=True)
class CrestTrack:
    """One crest line from left to right; each array (n,), n >= 2.

    role : "brow" where no nearer ground turns out of view, else "crest"
    at : index of each bearing in the fan
    distance_m, angle_deg : of the crest, m on the grid and degrees above the level
    lost_m : length of the dead ground behind it, inf where no ground shows again
    depth_m : its greatest depth
    below_deg : how much ground is seen below it before the next nearer crest, degrees; inf without any
    """

    role: str
    at: Integers
    distance_m: Floats
    angle_deg: Floats
    lost_m: Floats
    depth_m: Floats
    below_deg: Floats


@dataclass(frozen=True)
class SkyPiece:
    """A run of bearings whose skyline is one edge of ground: its distance changes without a jump.

    at : (n,) indices in the fan, n >= 2
    closed : whether no ground farther off could rise above it
    """

    at: Integers
    closed: bool


def sky_pieces(fan: Fan, spacing_m: float) -> list[SkyPiece]:
    """The skyline in pieces that each follow one edge of ground."""
    on = goes_on(fan.sky_m[:-1], fan.sky_m[1:], spacing_m) & (fan.sky_end[:-1] == fan.sky_end[1:])
    cuts = np.r_[0, np.flatnonzero(~on) + 1, fan.sky_m.size]
    closed = fan.sky_is_ground
    return [
        SkyPiece(np.arange(start, end), bool(closed[start]))
        for start, end in pairwise(cuts)
        if end - start >= 2 and np.isfinite(fan.sky_m[start])
    ]


def crest_tracks(fan: Fan, spacing_m: float) -> list[CrestTrack]:
    """Crest lines of a fan but for where they are the skyline, nearest first.

    spacing_m : the wider spacing of the terrain's posts
    """
    kept = _worth_following(fan)
    with np.errstate(invalid="ignore"):
        lost_m = np.where(np.isnan(fan.again_m), np.inf, fan.again_m - fan.crest_m)
        sky = np.abs(fan.crest_m - fan.sky_m[:, None]) <= 1e-6 * fan.crest_m
        deep = fan.depth_m >= LEAST_DEPTH_M
        worth = deep & (lost_m >= _WORTH_SHARE * fan.crest_m) & (lost_m >= spacing_m)
    nearest = np.zeros(kept.shape, bool)
    first = np.argmax(deep, axis=1)
    nearest[np.arange(len(first)), first] = deep.any(axis=1)
    number = _joined(fan, kept, spacing_m)
    below = fan.crest_deg - _nearer_crest_deg(fan, kept)
    rows, columns = np.nonzero(number >= 0)
    order = np.lexsort((rows, number[rows, columns]))
    rows, columns = rows[order], columns[order]
    ends = np.flatnonzero(np.diff(number[rows, columns])) + 1
    tracks = []
    for i, j in zip(np.split(rows, ends), np.split(columns, ends), strict=True):
        if i.size < _LEAST_BEARINGS or not worth[i, j].any():
            continue
        for run in _roles(sky[i, j], nearest[i, j]):
            a, b = i[run], j[run]
            role = "brow" if nearest[a, b].mean() >= 0.5 else "crest"
            if a.size >= _LEAST_BEARINGS:
                found = (values[a, b] for values in (fan.crest_m, fan.crest_deg, lost_m, fan.depth_m, below))
                tracks.append(CrestTrack(role, a, *found))
    return sorted(tracks, key=lambda track: (float(track.distance_m.min()), int(track.at[0])))


def _nearer_crest_deg(fan: Fan, kept: Flags) -> Floats:
    """(n, k) vertical angle of the nearest crest before each one, of those kept; -inf where there is none."""
    angle = np.where(kept, fan.crest_deg, -np.inf)
    before = np.full(angle.shape, -np.inf)
    # Crests farther off stand higher, so the nearest one before is the highest.
    before[:, 1:] = np.maximum.accumulate(angle, axis=1)[:, :-1]
    return before


def _worth_following(fan: Fan) -> Flags:
    """(n, k) crests that may be part of a line."""
    with np.errstate(invalid="ignore"):
        again_share = (fan.again_m - fan.crest_m) / fan.crest_m
        far = np.isnan(fan.again_m) | (again_share >= _LEAST_SHARE)
        kept: Flags = np.isfinite(fan.crest_deg) & far & (fan.depth_m >= _LEAST_DIP_M)
    return kept


def _joined(fan: Fan, kept: Flags, spacing_m: float) -> Integers:
    """(n, k) number of the line that each crest belongs to, -1 for crests that are not kept.

    Two crests of neighbouring bearings are joined if each is the other's nearest by the ratio of their
    distances, and neither distance nor angle jumps.
    """
    n, k = kept.shape
    forward, on = np.zeros((n - 1, k), np.int64), np.zeros((n - 1, k), bool)
    for start in range(0, n - 1, _ROWS_AT_A_TIME):
        rows = slice(start, min(start + _ROWS_AT_A_TIME, n - 1) + 1)
        forward[rows.start : rows.stop - 1], on[rows.start : rows.stop - 1] = _linked(
            fan.crest_m[rows], fan.crest_deg[rows], kept[rows], fan.step_deg, spacing_m
        )
    number = np.full((n, k), -1, np.int64)
    count = 0
    for row in range(n):
        if row:
            linked = on[row - 1]
            number[row, forward[row - 1][linked]] = number[row - 1][linked]
        fresh = kept[row] & (number[row] < 0)
        number[row, fresh] = count + np.arange(int(fresh.sum()))
        count += int(fresh.sum())
    return number


def _linked(
    crest_m: Floats, crest_deg: Floats, kept: Flags, step_deg: float, spacing_m: float
) -> tuple[Integers, Flags]:
    """For crests of all bearings but the last: which of the next bearing is nearest; whether it goes on."""
    log_m = np.where(kept, np.log(np.where(kept, crest_m, 1.0)), np.nan)
    away = np.abs(log_m[:-1, :, None] - log_m[1:, None, :])
    away[np.isnan(away)] = np.inf
    forward, back = away.argmin(axis=2), away.argmin(axis=1)
    mutual = np.take_along_axis(back, forward, axis=1) == np.arange(kept.shape[1])
    both = kept[:-1] & np.take_along_axis(kept[1:], forward, axis=1)
    next_m = np.take_along_axis(crest_m[1:], forward, axis=1)
    turn = np.abs(np.take_along_axis(crest_deg[1:], forward, axis=1) - crest_deg[:-1])
    with np.errstate(invalid="ignore"):
        on = mutual & both & goes_on(crest_m[:-1], next_m, spacing_m) & (turn <= _STEEPEST * step_deg)
    return forward, on


def _roles(sky: Flags, nearest: Flags) -> list[slice]:
    """Runs of a line off the sky, split where brow and crest change for good.

    A run takes in the last place against the sky on either side, so that it meets the skyline.
    """
    runs = []
    bounds = np.r_[0, np.flatnonzero(np.diff(sky.astype(np.int8))) + 1, sky.size]
    for start, end in pairwise(bounds):
        if sky[start]:
            continue
        first, last = max(start - 1, 0), min(end + 1, sky.size)
        cuts = [first]
        changes = np.r_[start, start + np.flatnonzero(np.diff(nearest[start:end].astype(np.int8))) + 1, end]
        current = nearest[start]
        for a, b in pairwise(changes):
            if nearest[a] != current and b - a >= _LEAST_RUN and a - cuts[-1] >= _LEAST_RUN:
                cuts.append(int(a))
                current = nearest[a]
        cuts.append(int(last))
        runs += [slice(a, min(b + 1, last)) for a, b in pairwise(cuts)]
    return runs
