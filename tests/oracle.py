"""Brute-force walker along sight lines: slow, obvious, and written apart from the kernels.

It obeys the definition that the kernels obey: posts are lowered first, the ground is straight between
neighbouring posts along rows and columns, a sight line meets it where it crosses those lines, a tie is
visible, and what known nearer ground hides is hidden whatever void lies on the way. Off the terrain there
is no ground, so nothing to cross; an eye may be there. Plain floats and lists; nothing of the package is
imported.

What stands on the ground blocks sight, while targets stand on the ground: a walk goes over the tops
(``lowered`` is of ground and cover), and a target's height is told by ``lowered_target_m`` or added up by the
caller. Screens, upright on lines of their own, are crossed like grid lines.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

SNAP = 1e-9
TIE_M = 1e-6


def lowered_posts(height_m, spacing_x_m, spacing_y_m, eye_row, eye_column, drop_per_m):
    """Every post lowered by the drop at its distance from the eye."""
    rows, columns = np.indices(height_m.shape)
    distance_m = np.hypot((rows - eye_row) * spacing_y_m, (columns - eye_column) * spacing_x_m)
    return height_m.astype(float) - drop_per_m * distance_m**2


def ground(lowered, row, column):
    """Ground where a grid line is crossed; NaN if a post that bears it is a void."""
    row = round(row) if abs(row - round(row)) < SNAP else row
    column = round(column) if abs(column - round(column)) < SNAP else column
    top, left = math.floor(row), math.floor(column)
    assert row == top or column == left, "not on a grid line"
    if row == top and column == left:
        return float(lowered[top, left])
    if row == top:
        share = column - left
        return float((1 - share) * lowered[top, left] + share * lowered[top, left + 1])
    share = row - top
    return float((1 - share) * lowered[top, left] + share * lowered[top + 1, left])


def bilinear(lowered, row, column):
    """Ground anywhere: the posts around, each by its weight; a void of no weight does not count."""
    total = 0.0
    for r in {math.floor(row), math.ceil(row)}:
        for c in {math.floor(column), math.ceil(column)}:
            weight = (1 - abs(row - r)) * (1 - abs(column - c))
            if weight > 0:
                total += weight * lowered[r, c]
    return float(total)


def on_terrain(shape, row, column):
    """Whether a place lies within the outermost posts, or a hair outside."""
    return -SNAP <= row <= shape[0] - 1 + SNAP and -SNAP <= column <= shape[1] - 1 + SNAP


def crossings(eye_row, eye_column, row, column, shape=None):
    """(share of the way, row, column) of every grid line strictly between eye and target.

    shape : rows and columns of posts; crossings off the terrain are left out; None for boundless terrain
    """
    places = []
    for line in range(math.floor(min(eye_row, row)), math.ceil(max(eye_row, row)) + 1):
        if min(eye_row, row) < line < max(eye_row, row):
            share = (line - eye_row) / (row - eye_row)
            places.append((share, float(line), eye_column + share * (column - eye_column)))
    for line in range(math.floor(min(eye_column, column)), math.ceil(max(eye_column, column)) + 1):
        if min(eye_column, column) < line < max(eye_column, column):
            share = (line - eye_column) / (column - eye_column)
            places.append((share, eye_row + share * (row - eye_row), float(line)))
    return sorted(place for place in places if shape is None or on_terrain(shape, *place[1:]))


def screens_crossed(ground, screens, eye_row, eye_column, row, column):
    """(share of the way, height of the top) of every screen strictly between eye and target.

    ground : lowered posts of the bare ground
    screens : (row, column, to row, to column, height) each
    """
    down, right = row - eye_row, column - eye_column
    length = math.hypot(down, right)
    found = []
    for one_row, one_column, other_row, other_column, height_m in screens:
        if height_m <= 0 or length == 0:
            continue
        # On which side of the sight line both ends lie, and how far (spacings).
        one = (down * (one_column - eye_column) - right * (one_row - eye_row)) / length
        other = (down * (other_column - eye_column) - right * (other_row - eye_row)) / length
        if one == other or min(one, other) > SNAP or max(one, other) < -SNAP:
            continue
        part = min(max(one / (one - other), 0.0), 1.0)
        at_row = one_row + part * (other_row - one_row)
        at_column = one_column + part * (other_column - one_column)
        share = ((at_row - eye_row) * down + (at_column - eye_column) * right) / length**2
        inside = 0 <= at_row <= ground.shape[0] - 1 and 0 <= at_column <= ground.shape[1] - 1
        if inside and SNAP < share * length < length - SNAP:
            found.append((share, bilinear(ground, at_row, at_column) + height_m))
    return found


def wood_path_m(lowered, spacing_x_m, spacing_y_m, eye, row, column, target_m):
    """Metres of a sight line below the lowered tops of what stands on the ground, straight between crossings.

    target_m : the target's lowered height
    """
    places = [(0.0, eye.row, eye.column), *crossings(eye.row, eye.column, row, column, lowered.shape)]
    places.append((1.0, row, column))
    gaps = []
    for share, at_row, at_column in places:
        top_m = math.nan
        if 0 <= at_row <= lowered.shape[0] - 1 and 0 <= at_column <= lowered.shape[1] - 1:
            top_m = bilinear(lowered, at_row, at_column)
        gaps.append((share, eye.level_m + share * (target_m - eye.level_m) - top_m))
    below = 0.0
    for (share, gap_m), (next_share, next_gap_m) in pairwise(gaps):
        if gap_m < 0 and next_gap_m < 0:
            below += next_share - share
        elif gap_m < 0 <= next_gap_m or next_gap_m < 0 <= gap_m:
            deep = -min(gap_m, next_gap_m)
            below += (next_share - share) * deep / (deep + max(gap_m, next_gap_m))
    plan_m = math.hypot((row - eye.row) * spacing_y_m, (column - eye.column) * spacing_x_m)
    return below * math.hypot(plan_m, target_m - eye.level_m)


@dataclass(frozen=True)
class Sighting:
    """What the walker finds on the way to one target.

    clearance_m : as in the package; NaN unknown, +inf with no nearer ground
    crest_shares : shares of the way at which ground stands within a micrometre of the grazing line
    """

    clearance_m: float
    crest_shares: tuple[float, ...]


@dataclass(frozen=True)
class Way:
    """What a sight line meets before its end.

    grazing_m : height, at the end, of the line from the eye over the highest ground met; -inf for none
    crest_shares : shares of the way at which ground stands within a micrometre of the grazing line
    void : whether a void is crossed
    """

    grazing_m: float
    crest_shares: tuple[float, ...]
    void: bool


def way(lowered, eye_row, eye_column, eye_level_m, row, column, screens=(), bare=None):
    """Walk from the eye to one place.

    screens : what stands upright on the way, on the ground ``bare`` (lowered; ``lowered`` itself for None)
    """
    risen, void = [], False
    met = [
        (share, ground(lowered, at_row, at_column))
        for share, at_row, at_column in crossings(eye_row, eye_column, row, column, lowered.shape)
    ]
    met += screens_crossed(lowered if bare is None else bare, screens, eye_row, eye_column, row, column)
    for share, height_m in sorted(met, key=lambda one: one[0]):
        if math.isnan(height_m):
            void = True
            continue
        # Height, at the target, of the line from the eye through this ground.
        risen.append((eye_level_m + (height_m - eye_level_m) / share, share))
    grazing_m = max((height for height, _ in risen), default=-math.inf)
    return Way(grazing_m, tuple(share for height, share in risen if grazing_m - height <= 1e-6), void)


def clearance_over(walked, target_m):
    """Clearance of a target at some lowered height at the end of a way; NaN unknown, +inf with no ground."""
    if math.isnan(target_m):
        return math.nan
    clearance_m = target_m - walked.grazing_m
    if -TIE_M <= clearance_m < 0:
        clearance_m = 0.0
    return math.nan if clearance_m >= 0 and walked.void else clearance_m


def sighting(
    lowered, eye_row, eye_column, eye_level_m, row, column, target_height_m=0.0, *, lowered_target_m=None
):
    """Walk from the eye to one target, so high above its ground or at a level of its own."""
    walked = way(lowered, eye_row, eye_column, eye_level_m, row, column)
    target_m = lowered_target_m
    if target_m is None:
        target_m = bilinear(lowered, row, column) + target_height_m
    return Sighting(clearance_over(walked, target_m), walked.crest_shares)


def clearance(lowered, eye_row, eye_column, eye_level_m, row, column, target_height_m=0.0):
    """Clearance of one target, metres; NaN unknown, +inf with no nearer ground."""
    return sighting(lowered, eye_row, eye_column, eye_level_m, row, column, target_height_m).clearance_m


def clearance_of_all(height_m, spacing_x_m, spacing_y_m, eye, reach_m, target_height_m=0.0):
    """Clearance of every post; NaN also beyond the reach."""
    lowered = lowered_posts(height_m, spacing_x_m, spacing_y_m, eye.row, eye.column, eye.drop_per_m)
    out = np.full(height_m.shape, np.nan)
    for row in range(height_m.shape[0]):
        for column in range(height_m.shape[1]):
            if math.hypot((row - eye.row) * spacing_y_m, (column - eye.column) * spacing_x_m) <= reach_m:
                out[row, column] = clearance(
                    lowered, eye.row, eye.column, eye.level_m, row, column, target_height_m
                )
    return out


@dataclass(frozen=True)
class Outlook:
    """What the walker finds along one bearing.

    crossings : (distance, height) of all known ground crossed within the reach, nearest first
    skyline_slope : greatest slope from the eye of any of it; -inf for none
    skyline_distances_m : where ground has that slope (all ties to 1e-12)
    brow_distances_m : where the first ground that turns out of view does so (all ties); () if none does
    pockets : (crests with ties, last hidden crossing, first crossing seen again or NaN, greatest depth)
        of each stretch out of view that begins before any void
    void : whether a void is crossed within the reach
    """

    crossings: list[tuple[float, float]]
    skyline_slope: float
    skyline_distances_m: tuple[float, ...]
    brow_distances_m: tuple[float, ...]
    pockets: list[tuple[tuple[float, ...], float, float, float]]
    void: bool


def look_along(lowered, spacing_x_m, spacing_y_m, eye, reach_m, bearing_deg, screens=(), bare=None):
    """Walk a bearing from grid north to the reach or the end of the terrain, crossing by crossing.

    screens : what stands upright on the way, on the ground ``bare`` (lowered), which is seen or hidden
    """
    bare = lowered if bare is None else bare
    rows, columns = lowered.shape
    east, north = math.sin(math.radians(bearing_deg)), math.cos(math.radians(bearing_deg))
    east = 0.0 if abs(east) < 1e-14 else east
    north = 0.0 if abs(north) < 1e-14 else north
    places = []
    for line in range(rows):
        if north != 0 and (eye.row - line) * spacing_y_m / north > 0:
            d = (eye.row - line) * spacing_y_m / north
            places.append((d, float(line), eye.column + d * east / spacing_x_m))
    for line in range(columns):
        if east != 0 and (line - eye.column) * spacing_x_m / east > 0:
            d = (line - eye.column) * spacing_x_m / east
            places.append((d, eye.row - d * north / spacing_y_m, float(line)))
    known, void_m = [], math.inf
    for d, row, column in sorted(places):
        if d > reach_m or not on_terrain(lowered.shape, row, column):
            continue
        height_m = ground(lowered, row, column)
        if math.isnan(height_m):
            void_m = min(void_m, d)
        else:
            known.append((d, height_m, ground(bare, row, column)))
    far_m = 2 * (rows * spacing_y_m + columns * spacing_x_m) + math.hypot(eye.row, eye.column) * max(
        spacing_x_m, spacing_y_m
    )
    end = eye.row - far_m * north / spacing_y_m, eye.column + far_m * east / spacing_x_m
    for share, top_m in screens_crossed(bare, screens, eye.row, eye.column, *end):
        if share * far_m <= reach_m and math.isnan(top_m):
            void_m = min(void_m, share * far_m)
        elif share * far_m <= reach_m:
            known.append((share * far_m, top_m, None))
    # A screen on a line of posts comes after the ground there.
    known.sort(key=lambda one: (one[0], one[2] is None))
    slopes = [(top_m - eye.level_m) / d for d, top_m, _ in known]
    steepest = max(slopes, default=-math.inf)
    tops = [(d, top_m) for d, top_m, _ in known]
    skyline = tuple(d for (d, _), s in zip(tops, slopes, strict=True) if steepest - s <= 1e-12)
    brow, pockets = (), []
    for i, (d, top_m, h) in enumerate(known):
        before = slopes[:i]
        if h is None and before and top_m < eye.level_m + max(before) * d - TIE_M:
            continue
        h = top_m if h is None else h
        if before and h < eye.level_m + max(before) * d - TIE_M:  # hidden
            depth_m = eye.level_m + max(before) * d - h
            crests = tuple(
                known[j][0] for j in range(i) if max(before) - slopes[j] <= 1e-12 and known[j][0] < d
            )
            was_hidden = bool(pockets) and pockets[-1]["open"]
            if not was_hidden:
                if not brow and not pockets and d < void_m:
                    brow = crests
                pockets.append(
                    {"crest": crests, "last": d, "again": math.nan, "depth": depth_m, "open": True}
                )
                pockets[-1]["before_void"] = d < void_m
            else:
                pockets[-1]["last"] = d
                pockets[-1]["depth"] = max(pockets[-1]["depth"], depth_m)
        elif pockets and pockets[-1]["open"]:
            pockets[-1]["open"] = False
            if d < void_m:
                pockets[-1]["again"] = d
    return Outlook(
        tops,
        steepest,
        skyline,
        brow,
        [(p["crest"], p["last"], p["again"], p["depth"]) for p in pockets if p["before_void"]],
        void_m < math.inf,
    )
