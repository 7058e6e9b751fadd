"""Compiled: the probability that a sight line passes over all the ground on its way.

A target is seen if all gaps of its sight line (doubt_gaps) are positive. That orthant probability is worked
out by sequential conditioning (Mendell and Elston 1974, Biometrics 30; from memory): the gap likeliest to be
negative is taken to be positive, the others' means and variances are corrected for it as if all stayed
normal, and so on. Of gaps that are all but one variable only the worst is taken.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled
from hillsight.kernels.corners import corner_posts
from hillsight.sight.crossings import entry_share, lines_between
from hillsight.sight.doubt_gaps import (
    ALIKE_SPACINGS,
    COLUMN,
    COLUMNS,
    COVERED,
    E_COLUMN,
    E_COVER_VARIANCE,
    E_DROP,
    E_DROP_SIGMA,
    E_FIXED_VARIANCE,
    E_GROUND_VARIANCE,
    E_HEIGHT_VARIANCE,
    E_LEVEL,
    E_PLACE_SIGMA,
    E_RISE_DOWN,
    E_RISE_RIGHT,
    E_ROUGH_BETWEEN,
    E_ROW,
    E_TARGET_SIGMA,
    EYE_DOWN,
    EYE_RIGHT,
    MEAN,
    NEXT_COLUMN,
    NEXT_ROW,
    NOW_MEAN,
    NOW_VARIANCE,
    PART,
    ROUGH,
    ROW,
    SHARE,
    SIGMAS,
    SURE_SIGMAS,
    TARGET_DOWN,
    TARGET_RIGHT,
    VARIANCE,
    WITH_EYE,
    WITH_TARGET,
    bend_m2,
    chance_past_roughness,
    collect_gaps,
    gap_variance,
    ground_covariance,
    lag_covariance,
)
from hillsight.sight.viewing import TIE_M

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Floats32, Integers

#: Gaps correlated more than this are as good as one.
SAME_GAP = 0.93

#: A gap this many standard deviations from nought is decided once others are known to be positive.
SURE_BY_NOW = 2.7

#: Gaps conditioned on at most.
MOST_GAPS = 24

#: A probability below this is not worked out further; what is told then is an upper bound.
NEGLIGIBLE = 5e-3

#: Standard deviations at which one gap alone makes the probability negligible.
SURELY_NEGATIVE = -2.5758

#: What a target's chance hangs on: the sum of its gaps by how much each sways the chance. Columns: weight of
#: target and of eye, share of the ray's curvature, covariance of the ground with the eye's, the places' four,
#: weight of the cover's height.
B_TARGET, B_EYE, B_BEND, B_WITH_EYE, B_EYE_DOWN, B_EYE_RIGHT, B_TARGET_DOWN, B_TARGET_RIGHT = range(8)
B_COVER = 8
BLAMES = 9

#: Gaps that the sum is made of, two posts each.
BLAMED_GAPS = 10


@compiled
def _blame(
    gap: Floats,
    place: Integers,
    weight: float,
    blame: Floats,
    blamed: Floats,
) -> None:
    """Add a gap to what the chance hangs on; ``blamed`` (2, 3) takes row, column and weight of its posts."""
    share, part = gap[SHARE], gap[PART]
    blame[B_TARGET] += weight * share
    blame[B_EYE] += weight * (1.0 - share)
    blame[B_BEND] += weight * share * (1.0 - share)
    blame[B_WITH_EYE] += weight * gap[WITH_EYE]
    for k in range(4):
        blame[B_EYE_DOWN + k] += weight * gap[EYE_DOWN + k]
    blame[B_COVER] += weight * gap[COVERED]
    blamed[0, 0], blamed[0, 1], blamed[0, 2] = place[ROW], place[COLUMN], weight * (1.0 - part)
    blamed[1, 0], blamed[1, 1], blamed[1, 2] = place[NEXT_ROW], place[NEXT_COLUMN], weight * part


@compiled
def chance_all_positive(
    lags_m2: Floats32,
    gaps: Floats,
    places: Integers,
    count: int,
    numbers: Floats,
    target_variance: float,
    target_with_eye: float,
    length_m: float,
    alike_m: float,
    kept: Floats,
    blame: Floats,
    blamed: Floats,
) -> float:
    """Orthant probability of the gaps.

    alike_m : metres along the line within which roughness between posts is alike
    kept : (>= count, MOST_GAPS) scratch
    blame, blamed : (BLAMES,) and (2 * BLAMED_GAPS, 3) filled, nought where no gap is in doubt; or of no size
    """
    least, chosen = SURE_SIGMAS, -1
    for i in range(count):
        if gaps[i, SIGMAS] < least:
            least, chosen = gaps[i, SIGMAS], i
    blame[:], blamed[:] = 0.0, 0.0
    weights = np.empty(MOST_GAPS)
    chance = 1.0
    eye_variance = numbers[E_GROUND_VARIANCE] + numbers[E_HEIGHT_VARIANCE]
    station_m2, place_m2 = numbers[E_PLACE_SIGMA] ** 2, numbers[E_TARGET_SIGMA] ** 2
    for taken in range(MOST_GAPS):
        if chosen < 0:
            break
        passes = 0.5 * math.erfc(-least * 0.7071067811865476)
        chance *= passes
        if chance < NEGLIGIBLE and taken > 0:
            break
        hazard = 0.3989422804014327 * math.exp(-0.5 * least * least) / passes
        weights[taken] = hazard * (hazard + least)
        per_sigma = 1.0 / math.sqrt(gaps[chosen, NOW_VARIANCE])
        if taken < BLAMED_GAPS and blame.size > 0:
            _blame(gaps[chosen], places[chosen], hazard * per_sigma, blame, blamed[2 * taken : 2 * taken + 2])
        if chance < NEGLIGIBLE:
            break
        alike = SAME_GAP * SAME_GAP * gaps[chosen, VARIANCE]
        gaps[chosen, SIGMAS] = np.inf
        last, chosen = chosen, -1
        sure, least = min(SURE_BY_NOW, least + SURE_SIGMAS), SURE_BY_NOW
        share, part = gaps[last, SHARE], gaps[last, PART]
        bent_m2 = bend_m2(numbers, length_m, share)
        to_target = share * target_variance + (1.0 - share) * target_with_eye - gaps[last, WITH_TARGET]
        to_eye = (1.0 - share) * eye_variance + share * target_with_eye - gaps[last, WITH_EYE]
        eye_down, eye_right = station_m2 * gaps[last, EYE_DOWN], station_m2 * gaps[last, EYE_RIGHT]
        target_down, target_right = place_m2 * gaps[last, TARGET_DOWN], place_m2 * gaps[last, TARGET_RIGHT]
        for i in range(count):
            # Gaps err together, so that one that is surely positive by now will stay so.
            if gaps[i, SIGMAS] >= sure:
                gaps[i, SIGMAS] = np.inf  # for good: ``kept`` has nothing of it from here on
                continue
            here = gaps[i, SHARE]
            covariance = here * to_target + (1.0 - here) * (to_eye + here * bent_m2)
            covariance -= share * gaps[i, WITH_TARGET] + (1.0 - share) * gaps[i, WITH_EYE]
            covariance += eye_down * gaps[i, EYE_DOWN] + eye_right * gaps[i, EYE_RIGHT]
            covariance += target_down * gaps[i, TARGET_DOWN] + target_right * gaps[i, TARGET_RIGHT]
            covariance += ground_covariance(lags_m2, places[i], gaps[i, PART], places[last], part)
            apart_m = abs(here - share) * length_m
            covariance += gaps[i, COVERED] * gaps[last, COVERED] * numbers[E_COVER_VARIANCE]
            if apart_m < alike_m:
                both_m2 = math.sqrt(gaps[i, ROUGH] * gaps[last, ROUGH])
                covariance += both_m2 * (1.0 - apart_m / alike_m)
            if covariance > 0.0 and covariance * covariance > alike * gaps[i, VARIANCE]:
                gaps[i, SIGMAS] = np.inf
                continue
            for k in range(taken):
                covariance -= weights[k] * kept[i, k] * kept[last, k]
            covariance *= per_sigma
            kept[i, taken] = covariance
            gaps[i, NOW_MEAN] += covariance * hazard
            left = gaps[i, NOW_VARIANCE] - covariance * covariance * weights[taken]
            gaps[i, NOW_VARIANCE] = max(left, 1e-6 * gaps[i, VARIANCE])
            gaps[i, SIGMAS] = gaps[i, NOW_MEAN] / math.sqrt(gaps[i, NOW_VARIANCE])
            if gaps[i, SIGMAS] < least:
                least, chosen = gaps[i, SIGMAS], i
    return chance


@compiled
def chances(
    height_m: Floats32,
    blocking_m: Floats32,
    smooth_m: Floats32,
    steep: Floats32,
    steepest: float,
    rough: Floats32,
    lags_m2: Floats32,
    with_eye: Floats32,
    spacing_x_m: float,
    spacing_y_m: float,
    numbers: Floats,
    targets: Floats,
    chance: Floats,
    blame: Floats,
    blamed: Floats,
) -> None:
    """Probability that each target is seen.

    Parameters
    ----------
    height_m, blocking_m : (rows, columns) of the ground, and of what blocks sight
    smooth_m : (posts,) float32, the latter smoothed as far as places are uncertain; of no posts if none is
    steep, steepest : (posts,) float32, no less than the slope about each post, and about any
    rough : (posts,) float32, scale of the roughness about each post
    lags_m2 : covariance of two posts' errors by how many rows and columns they are apart
    with_eye : (posts,) float32, covariance of each post's error with that of the ground under the eye
    numbers : see E_NUMBERS
    targets : (n, 6) row, column, on the terrain; height above the ground; the ground's rise a metre down and
        right, and mean over that at the place
    chance : (n,) filled: NaN where the target is void, or its line crosses one and known ground leaves it
        in sight with a probability of a twentieth or more
    blame, blamed : (n, BLAMES) and (n, 2 * BLAMED_GAPS, 3) filled, or of no rows: what each chance hangs on
    """
    rows, columns = height_m.shape
    flat_m, bare_m = blocking_m.reshape(blocking_m.size), height_m.reshape(height_m.size)
    gaps = np.zeros((rows + columns + 4, COLUMNS))
    places = np.zeros((rows + columns + 4, 4), np.int64)
    kept = np.empty((gaps.shape[0], MOST_GAPS))
    bearing, corners, weights = np.zeros((4, 3)), np.zeros((4, 2), np.int64), np.zeros(4)
    no_blame, no_posts = np.empty(0), np.empty((0, 3))
    eye_row, eye_column = numbers[E_ROW], numbers[E_COLUMN]
    spacing_m = max(spacing_x_m, spacing_y_m)
    for n in range(targets.shape[0]):
        row, column, target_m = targets[n, 0], targets[n, 1], targets[n, 2]
        if blame.shape[0] > 0:
            blame[n], blamed[n] = 0.0, 0.0
        # The ground under the target, bilinear between the lowered posts around.
        used = corner_posts(row, column, rows, columns, bearing)
        for a in range(used):
            r, c, weights[a] = int(bearing[a, 0]), int(bearing[a, 1]), bearing[a, 2]
            south_m, east_m = (r - eye_row) * spacing_y_m, (c - eye_column) * spacing_x_m
            target_m += weights[a] * (
                height_m[r, c] - numbers[E_DROP] * (south_m * south_m + east_m * east_m)
            )
            corners[a, 0], corners[a, 1] = r, c
        if target_m != target_m:
            chance[n] = np.nan
            continue
        entry = max(entry_share(eye_row, row, rows), entry_share(eye_column, column, columns))
        length_m = math.sqrt(
            ((row - eye_row) * spacing_y_m) ** 2 + ((column - eye_column) * spacing_x_m) ** 2
        )
        bend_m = numbers[E_DROP_SIGMA] * length_m * length_m / 4.0
        fixed_m2 = numbers[E_FIXED_VARIANCE] + bend_m**2
        climb = abs(target_m - numbers[E_LEVEL]) / max(length_m, 1e-9)
        eye_rise = math.sqrt(numbers[E_RISE_DOWN] ** 2 + numbers[E_RISE_RIGHT] ** 2)
        target_rise = math.sqrt(targets[n, 3] ** 2 + targets[n, 4] ** 2)
        astray_m = numbers[E_PLACE_SIGMA] * (eye_rise + climb) + numbers[E_TARGET_SIGMA] * (
            target_rise + climb
        )
        target = (row, column, target_m, targets[n, 3], targets[n, 4], targets[n, 5])
        count, void, more_void = 0, False, False
        if row != eye_row:
            count, void = collect_gaps(
                flat_m,
                bare_m,
                smooth_m,
                steep,
                rough,
                with_eye,
                True,
                lines_between(eye_row, row, entry, rows),
                rows,
                columns,
                (columns, 1),
                (spacing_y_m, spacing_x_m),
                numbers,
                target,
                fixed_m2,
                astray_m,
                steepest,
                gaps,
                places,
                count,
            )
        if count >= 0 and column != eye_column:
            count, more_void = collect_gaps(
                flat_m,
                bare_m,
                smooth_m,
                steep,
                rough,
                with_eye,
                False,
                lines_between(eye_column, column, entry, columns),
                columns,
                rows,
                (1, columns),
                (spacing_x_m, spacing_y_m),
                numbers,
                target,
                fixed_m2,
                astray_m,
                steepest,
                gaps,
                places,
                count,
            )
        if count < 0:
            chance[n] = 0.0
            continue
        target_variance, target_with_eye = 0.0, 0.0
        for a in range(used):
            target_with_eye += weights[a] * with_eye[corners[a, 0] * columns + corners[a, 1]]
            for b in range(used):
                shared = lag_covariance(lags_m2, corners[a, 0], corners[a, 1], corners[b, 0], corners[b, 1])
                target_variance += weights[a] * weights[b] * shared
        # The deepest gap is looked at first: it decides most targets.
        deepest = 0
        for i in range(1, count):
            if gaps[i, MEAN] < gaps[deepest, MEAN]:
                deepest = i
        if count > 0:
            for k in range(NOW_MEAN):
                gaps[0, k], gaps[deepest, k] = gaps[deepest, k], gaps[0, k]
            for k in range(4):
                places[0, k], places[deepest, k] = places[deepest, k], places[0, k]
        doubtful = 0
        for i in range(count):
            with_target, part = 0.0, gaps[i, PART]
            for a in range(used):
                r, c = corners[a, 0], corners[a, 1]
                shared = (1.0 - part) * lag_covariance(lags_m2, places[i, ROW], places[i, COLUMN], r, c)
                shared += part * lag_covariance(lags_m2, places[i, NEXT_ROW], places[i, NEXT_COLUMN], r, c)
                with_target += weights[a] * shared
            gaps[i, WITH_TARGET] = with_target
            variance = gap_variance(
                lags_m2, gaps[i], places[i], numbers, target_variance, target_with_eye, length_m
            )
            mean = gaps[i, MEAN] + TIE_M
            if mean > 0.0 and mean * mean > SURE_SIGMAS * SURE_SIGMAS * variance:
                continue
            for k in range(NOW_MEAN):
                gaps[doubtful, k] = gaps[i, k]
            for k in range(4):
                places[doubtful, k] = places[i, k]
            # A gap without error is decided by its sign; a tie is seen.
            gaps[doubtful, VARIANCE] = gaps[doubtful, NOW_VARIANCE] = max(variance, 1e-16)
            gaps[doubtful, NOW_MEAN] = mean
            gaps[doubtful, SIGMAS] = mean / math.sqrt(gaps[doubtful, VARIANCE])
            doubtful += 1
            if gaps[doubtful - 1, SIGMAS] < SURELY_NEGATIVE:
                break
        mine, posts = (blame[n], blamed[n]) if blame.shape[0] > 0 else (no_blame, no_posts)
        found = chance_all_positive(
            lags_m2,
            gaps,
            places,
            doubtful,
            numbers,
            target_variance,
            target_with_eye,
            length_m,
            ALIKE_SPACINGS * spacing_m,
            kept,
            mine,
            posts,
        )
        if found >= NEGLIGIBLE and numbers[E_ROUGH_BETWEEN] > 0.0 and length_m > 0.0:
            found *= chance_past_roughness(
                bare_m, rough, (rows, columns), numbers, target, length_m, spacing_m, bearing
            )
        chance[n] = np.nan if (void or more_void) and found >= 0.05 else found
