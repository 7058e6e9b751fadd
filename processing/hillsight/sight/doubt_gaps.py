"""Compiled: the gaps by which a sight line passes over the ground on its way, and how they err together.

Where a sight line crosses a grid line it passes the ground with a gap, at share t of the way

    gap = t target + (1 - t) eye - ground,

negative where the ground hides. Errors shift every gap, all about linearly: the terrain's error at the
target, under the eye and at the ground crossed (correlated, and straight between posts as the ground is),
the eye's height, the ray's curvature, the places of station and target. So gaps are about jointly normal.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled, inlined
from hillsight.kernels.corners import corner_posts
from hillsight.sight.viewing import CROSSING_SNAP, TIE_M

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Floats32, Integers

#: A gap this many standard deviations from nought is decided.
SURE_SIGMAS = 3.2

#: Ground nearer to eye or target than so many post spacings goes with theirs, in proportion; roughness met
#: twice on a line within so many is alike, likewise.
NEAR_SPACINGS, ALIKE_SPACINGS = 1.5, 2.0

#: Columns of a gap: share of the way; mean and variance; weight of the second of the two posts that bear the
#: ground; that ground's covariance with target and eye; metres of gap to a metre of the station's and the
#: target's place, down and right; variance of the roughness between the two posts; how much of what is
#: crossed is cover, 0 to 1; the rest is scratch.
SHARE, MEAN, VARIANCE, PART, WITH_TARGET, WITH_EYE = range(6)
EYE_DOWN, EYE_RIGHT, TARGET_DOWN, TARGET_RIGHT, ROUGH, COVERED, NOW_MEAN, NOW_VARIANCE, SIGMAS = range(6, 15)
COLUMNS = 15

#: Columns of a gap's posts: row and column of both, the same twice where the line passes over a post.
ROW, COLUMN, NEXT_ROW, NEXT_COLUMN = range(4)

#: Numbers of an eye and its errors, in this order: row, column, level, drop; the ground's rise a metre down
#: and right under the eye; variances of the eye's own height and of the ground under it; standard deviations
#: of the drop (1/m), the station's place and the target's place (m); no less than what all but
#: the places and the drop add to the variance of any gap; mean ground over that under the eye (m); the
#: largest scale of roughness anywhere (m), and the shares of ``roughness.Roughness``; variance of the height
#: of cover, which errs as one.
E_ROW, E_COLUMN, E_LEVEL, E_DROP, E_RISE_DOWN, E_RISE_RIGHT = range(6)
(
    E_HEIGHT_VARIANCE,
    E_GROUND_VARIANCE,
    E_DROP_SIGMA,
    E_PLACE_SIGMA,
    E_TARGET_SIGMA,
    E_FIXED_VARIANCE,
    E_OVER,
    E_MOST_ROUGH,
    E_ROUGH_BETWEEN,
    E_ROUGH_AT_POSTS,
    E_ROUGH_CURVE,
    E_ROUGH_BY_TARGET,
    E_ROUGH_BY_EYE,
    E_COVER_VARIANCE,
) = range(6, 20)
E_NUMBERS = 20


@inlined
def lag_covariance(
    lags_m2: Floats32,
    row: np.int64,
    column: np.int64,
    to_row: np.int64,
    to_column: np.int64,
) -> float:
    """Covariance of the errors of two posts; 0 beyond the table."""
    down, right = abs(row - to_row), abs(column - to_column)
    if down >= lags_m2.shape[0] or right >= lags_m2.shape[1]:
        return 0.0
    return np.float64(lags_m2[down, right])


@inlined
def ground_covariance(
    lags_m2: Floats32,
    one: Integers,
    p: float,
    other: Integers,
    q: float,
) -> float:
    """Covariance of the errors of the ground at two crossings."""
    total = (1.0 - p) * (1.0 - q) * lag_covariance(lags_m2, one[0], one[1], other[0], other[1])
    total += (1.0 - p) * q * lag_covariance(lags_m2, one[0], one[1], other[2], other[3])
    total += p * (1.0 - q) * lag_covariance(lags_m2, one[2], one[3], other[0], other[1])
    return total + p * q * lag_covariance(lags_m2, one[2], one[3], other[2], other[3])


@inlined
def bend_m2(numbers: Floats, length_m: float, share: float) -> float:
    """What the ray's curvature adds to a gap's covariance with another, per t (1 - t) of the other."""
    bend = np.float64(numbers[E_DROP_SIGMA]) * length_m * length_m
    return bend * bend * share * (1.0 - share)


@compiled
def gap_variance(
    lags_m2: Floats32,
    gap: Floats,
    place: Integers,
    numbers: Floats,
    target_variance: float,
    target_with_eye: float,
    length_m: float,
) -> float:
    """Variance of a gap."""
    share = np.float64(gap[SHARE])
    eye = 1.0 - share
    total = share * share * target_variance + 2.0 * share * eye * target_with_eye
    total += eye * eye * (numbers[E_GROUND_VARIANCE] + numbers[E_HEIGHT_VARIANCE])
    total += share * eye * bend_m2(numbers, length_m, share)
    total -= 2.0 * (share * gap[WITH_TARGET] + eye * gap[WITH_EYE])
    total += numbers[E_PLACE_SIGMA] ** 2 * (gap[EYE_DOWN] ** 2 + gap[EYE_RIGHT] ** 2)
    total += numbers[E_TARGET_SIGMA] ** 2 * (gap[TARGET_DOWN] ** 2 + gap[TARGET_RIGHT] ** 2)
    total += gap[ROUGH] + gap[COVERED] * gap[COVERED] * numbers[E_COVER_VARIANCE]
    alone = 2.0 * gap[PART] * (1.0 - gap[PART])  # of the two posts' errors that do not go together
    if alone == 0.0:
        return np.float64(total + lags_m2[0, 0])
    beside = lag_covariance(lags_m2, place[ROW], place[COLUMN], place[NEXT_ROW], place[NEXT_COLUMN])
    return np.float64(total + lags_m2[0, 0] - alone * (lags_m2[0, 0] - beside))


@inlined
def _slope(
    smooth_m: Floats32,
    post: np.int64 | int,
    place: np.int64 | int,
    beside: int,
    stride: int,
    posts: int,
    per_m: float,
) -> float:
    """Rise a metre along a line of posts: to the next post, or where ``beside`` is 0, from the one before."""
    if beside > 0:
        rise: np.float64 | float = (np.float64(smooth_m[post + beside]) - np.float64(smooth_m[post])) * per_m
    else:
        before, after = min(place, 1), min(posts - 1 - place, 1)
        rise = np.float64(smooth_m[post + after * stride]) - np.float64(smooth_m[post - before * stride])
        rise *= per_m / max(1, before + after)
    return float(rise) if rise == rise else 0.0  # beside a void


@inlined
def _nearness(part: float, sigma: float) -> float:
    """How much of a post's mean over its height counts so far (spacings) from it, errors being so wide.

    Next to the post, the share of how far a normal variable goes beyond a place on average, to 0.02; no more
    than by linear interpolation.
    """
    near = max(0.0, 1.0 - part / (2.5 * max(sigma, 1e-9)))
    return min(1.0 - part, near * near * near)


@compiled
def collect_gaps(
    flat_m: Floats32,
    bare_m: Floats32,
    smooth_m: Floats32,
    steep: Floats32,
    rough: Floats32,
    with_eye: Floats32,
    by_rows: bool,
    lines: tuple[int, int, int],
    lines_in_all: int,
    posts_along: int,
    strides: tuple[int, int],
    spacings_m: tuple[float, float],
    numbers: Floats,
    target: tuple[float, float, float, float, float, float],
    fixed_m2: float,
    astray_m: float,
    steepest: float,
    gaps: Floats,
    places: Integers,
    count: int,
) -> tuple[int, bool]:
    """Add the gaps over parallel grid lines that errors could close; number, and whether a void was met.

    flat_m, bare_m : (posts,) of what blocks sight, and of the ground
    lines : first, step, number; lines_in_all, posts_along : the terrain's
    strides, spacings_m : from line to line, and along a line
    target : row, column, lowered level, its ground's rise a metre down and right, its mean over it
    rough : (posts,) scale of the roughness about each post
    fixed_m2 : no less than what all but the places and the roughness add to a gap's variance
    astray_m, steepest : what places add to its standard deviation over level ground, and slope anywhere
    Returns the number -1 if some ground surely hides.
    """
    first, step, number = lines
    line_stride, along_stride = strides
    row, column, target_m, rise_down, rise_right, over_m = target
    level_m = numbers[E_LEVEL]
    if by_rows:
        eye_line, eye_along, to_line, to_along = numbers[E_ROW], numbers[E_COLUMN], row, column
    else:
        eye_line, eye_along, to_line, to_along = numbers[E_COLUMN], numbers[E_ROW], column, row
    across, along = to_line - eye_line, to_along - eye_along
    rise_m = target_m - level_m
    drop = numbers[E_DROP]
    square = spacings_m[1] ** 2
    length2 = (across * spacings_m[0]) ** 2 + (along * spacings_m[1]) ** 2
    line_per_m, along_per_m = 1.0 / spacings_m[0], 1.0 / spacings_m[1]
    length_m = math.sqrt(length2)
    climb = rise_m / length_m
    ahead_down, ahead_right = across * spacings_m[0] / length_m, along * spacings_m[1] / length_m
    if not by_rows:
        ahead_down, ahead_right = ahead_right, ahead_down
    moves = numbers[E_PLACE_SIGMA] > 0.0 or numbers[E_TARGET_SIGMA] > 0.0
    place_m = numbers[E_PLACE_SIGMA] + numbers[E_TARGET_SIGMA]
    widest = max(numbers[E_PLACE_SIGMA], numbers[E_TARGET_SIGMA], 1e-9)
    eye_place, target_place = numbers[E_PLACE_SIGMA] / widest, numbers[E_TARGET_SIGMA] / widest
    most_rough_m2 = (numbers[E_ROUGH_BETWEEN] * numbers[E_MOST_ROUGH]) ** 2
    limit_m = 2.0 * numbers[E_ROUGH_CURVE] * numbers[E_MOST_ROUGH]
    limit_m += SURE_SIGMAS * math.sqrt(fixed_m2 + most_rough_m2 + (astray_m + place_m * steepest) ** 2)
    near_m = NEAR_SPACINGS * max(spacings_m[0], spacings_m[1])
    per_line = 1.0 / across
    last = np.float64(max(0, posts_along - 2))
    beside = along_stride if posts_along > 1 else 0
    crosses_void = False
    for n in range(number):
        line = first + n * step
        share = (line - eye_line) * per_line
        at = eye_along + share * along
        here = np.int64(max(0.0, min(last, at)))
        part = at - here
        post = line * line_stride + here * along_stride
        one_m = np.float64(flat_m[np.uint64(post)])
        next_m = np.float64(flat_m[np.uint64(post + beside)])
        gap_m = level_m + share * rise_m - one_m - part * (next_m - one_m)
        gap_m += drop * (share * share * length2 + part * (1.0 - part) * square)
        if gap_m > limit_m:
            continue
        if part < -CROSSING_SNAP or at > posts_along - 1.0 + CROSSING_SNAP:
            continue  # off the terrain
        after = here + (1 if posts_along > 1 else 0)
        if part > 1.0 - CROSSING_SNAP:
            here, post, part = after, post + beside, 1.0
        if part < CROSSING_SNAP or part == 1.0:
            after, beside_here, part = here, 0, 0.0
            if gap_m != gap_m:  # a void beside it does not matter
                gap_m = level_m + share * rise_m - np.float64(flat_m[post]) + drop * share * share * length2
        else:
            beside_here = beside
        if gap_m != gap_m:
            crosses_void = True
            continue
        if gap_m < -limit_m:
            return -1, crosses_void
        rough_m2 = 0.0
        if numbers[E_ROUGH_BETWEEN] > 0.0:
            # Ground near the eye or the target goes with theirs.
            rough_m = (1.0 - part) * rough[post] + part * rough[post + beside_here]
            rough_m *= min(1.0, share * length_m / near_m) * min(1.0, (1.0 - share) * length_m / near_m)
            arch = 4.0 * part * (1.0 - part)
            if here > 0 and after < posts_along - 1 and beside_here > 0:
                bend_m = np.float64(bare_m[post]) + np.float64(bare_m[post + along_stride])
                bend_m -= np.float64(bare_m[post - along_stride])
                bend_m -= np.float64(bare_m[post + 2 * along_stride])
                bulge_m = numbers[E_ROUGH_CURVE] * max(-2.0 * rough_m, min(2.0 * rough_m, bend_m / 4.0))
                if bend_m == bend_m:  # not beside a void
                    gap_m -= arch * bulge_m
            at_posts = numbers[E_ROUGH_AT_POSTS]
            rough_m2 = (numbers[E_ROUGH_BETWEEN] * rough_m) ** 2 * (at_posts + (1.0 - at_posts) * arch)
        if moves:
            most_m = astray_m + place_m * np.float64(max(steep[post], steep[post + beside_here]))
            if gap_m * gap_m > SURE_SIGMAS * SURE_SIGMAS * (fixed_m2 + rough_m2 + most_m * most_m):
                if gap_m < 0.0:
                    return -1, crosses_void
                continue
        gap, place = gaps[count], places[count]
        gap[SHARE], gap[MEAN], gap[PART], gap[ROUGH] = share, gap_m, part, rough_m2
        gap[COVERED] = 0.0
        if numbers[E_COVER_VARIANCE] > 0.0:
            here_covered = 1.0 if flat_m[post] > bare_m[post] else 0.0
            next_covered = 1.0 if flat_m[post + beside_here] > bare_m[post + beside_here] else 0.0
            gap[COVERED] = (1.0 - part) * here_covered + part * next_covered
        gap[WITH_EYE] = (1.0 - part) * with_eye[post] + part * with_eye[post + beside_here]
        if by_rows:
            place[ROW], place[COLUMN], place[NEXT_ROW], place[NEXT_COLUMN] = line, here, line, after
        else:
            place[ROW], place[COLUMN], place[NEXT_ROW], place[NEXT_COLUMN] = here, line, after, line
        if moves:
            # Sideways, a metre of place at the eye shifts the ground looked over by 1 - t metres, at the
            # target by t. Lengthways a crest stays where it is and the share of the way changes.
            side = _slope(smooth_m, post, here, beside_here, along_stride, posts_along, along_per_m)
            lengthways = (1.0 - part) * _slope(smooth_m, post, line, 0, line_stride, lines_in_all, line_per_m)
            if part > 0.0:
                lengthways += part * _slope(
                    smooth_m, post + beside_here, line, 0, line_stride, lines_in_all, line_per_m
                )
            down, right = (lengthways, side) if by_rows else (side, lengthways)
            sideways = down * -ahead_right + right * ahead_down
            down, right = (
                climb * ahead_down - sideways * ahead_right,
                climb * ahead_right + sideways * ahead_down,
            )
            gap[EYE_DOWN] = (1.0 - share) * (numbers[E_RISE_DOWN] - down)
            gap[EYE_RIGHT] = (1.0 - share) * (numbers[E_RISE_RIGHT] - right)
            gap[TARGET_DOWN], gap[TARGET_RIGHT] = share * (rise_down - down), share * (rise_right - right)
            shift = math.sqrt((eye_place * (1.0 - share)) ** 2 + (target_place * share) ** 2)
            gap_m += (1.0 - share) * numbers[E_OVER] + share * over_m
            gap_m -= shift * _nearness(part, shift * widest * along_per_m) * (smooth_m[post] - flat_m[post])
            if part > 0.0:
                next_over_m = smooth_m[post + beside_here] - flat_m[post + beside_here]
                gap_m -= shift * _nearness(1.0 - part, shift * widest * along_per_m) * next_over_m
            gap[MEAN] = gap_m
            most_m2 = fixed_m2 + rough_m2
            most_m2 += numbers[E_PLACE_SIGMA] ** 2 * (gap[EYE_DOWN] ** 2 + gap[EYE_RIGHT] ** 2)
            most_m2 += numbers[E_TARGET_SIGMA] ** 2 * (gap[TARGET_DOWN] ** 2 + gap[TARGET_RIGHT] ** 2)
            if gap_m * gap_m > SURE_SIGMAS * SURE_SIGMAS * most_m2:
                if gap_m < 0.0:
                    return -1, crosses_void
                continue
        count += 1
    return count, crosses_void


@compiled
def chance_past_roughness(
    flat_m: Floats32,
    rough: Floats32,
    shape: tuple[int, int],
    numbers: Floats,
    target: tuple[float, float, float, float, float, float],
    length_m: float,
    spacing_m: float,
    bearing: Floats,
) -> float:
    """Chance that the ground close to target and eye, where the line need cross no grid line, hides nothing.

    The gap half a spacing from either, against the roughness there, each on its own.
    """
    chance = 1.0
    row, column, target_m, _, _, _ = target
    step = min(0.5 * spacing_m, 0.5 * length_m) / length_m
    for by_eye in range(2):
        sigma = numbers[E_ROUGH_BY_EYE] if by_eye == 1 else numbers[E_ROUGH_BY_TARGET]
        share = step if by_eye == 1 else 1.0 - step
        used = corner_posts(
            numbers[E_ROW] + share * (row - numbers[E_ROW]),
            numbers[E_COLUMN] + share * (column - numbers[E_COLUMN]),
            shape[0],
            shape[1],
            bearing,
        )
        gap_m = numbers[E_LEVEL] + share * (target_m - numbers[E_LEVEL])
        gap_m += numbers[E_DROP] * (share * length_m) ** 2
        rough_m = 0.0
        for a in range(used):
            post = int(bearing[a, 0]) * shape[1] + int(bearing[a, 1])
            gap_m -= bearing[a, 2] * flat_m[post]
            rough_m += bearing[a, 2] * rough[post]
        if used > 0 and gap_m == gap_m and rough_m > 0.0 and sigma > 0.0:
            chance *= 0.5 * math.erfc(-(gap_m + TIE_M) / (sigma * rough_m) * 0.7071067811865476)
    return chance
