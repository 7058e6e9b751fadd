"""Kernels of the picture match: one place, one direction after the other.

Residuals are traced angle less expected angle, in degrees at the told focal length. Errors along a trace are
a white part and two that are alike between neighbours: the tracing's, along the picture, and the ground's,
along the ground that stands against the sky. A Kalman filter (Kalman 1960) runs along the trace; at every
sample the sky's edge is either in view or hidden by something else, a two-state chain whose states are
collapsed into one after each sample (the first-order generalised pseudo-Bayes filter: Bar-Shalom and Li,
Estimation and Tracking, 1993, from memory). What the filter leaves of residuals and of their derivatives is
white, so the camera and the place are found by Gauss-Newton steps, and summed over by Laplace's method.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled, inlined
from hillsight.plan.picture.normal_equations import solve_normal

if TYPE_CHECKING:
    from hillsight.arrays import Floats

#: What is solved for: heading, tilt, roll, logarithm of the focal length, three ways the place may be off.
PARAMETERS = 7

#: Places in the array of figures that say how traces err; see ``errors.TraceErrors.figures``.
WHITE, ALIKE, ALIKE_OVER, HIDDEN, HIDDEN_OVER, GROUND_OVER_M = range(6)
TILT_PRIOR, TILT_SPREAD, ROLL_SPREAD, FOCAL_SPREAD, WRONG_TOP, CLICK = range(6, 12)
FIGURES = 12

#: What is told of each direction: log likelihood, then the parameters and their standard deviations, the
#: misfit in degrees, and the share of the trace that is hidden.
FOUND = 1 + 2 * PARAMETERS + 2

#: Traced errors are taken for so many times as large while the fit is sought.
_ANNEALED = (4.0, 2.0, 1.0, 1.0, 1.0)

#: Marks alone, which tell nothing of where to begin, are first taken for out by so many times as much.
_FIRST_MARKS = (100.0, 20.0)

#: The focal length is sought within so many of its spreads: beyond, no fit is one of the picture told.
_MOST_FOCAL = 4.0

#: Chance, per degree, of a sample where the sky's edge is not known.
_UNKNOWN_LOG = -1.0

#: Chance of a wrong top's place per square degree: it is rather near the skyline, somewhere in the picture.
_WRONG_TOP_DENSITY = 1.0 / (60.0 * 10.0)

_ROOT_TWO_PI = 2.5066282746310002
_DEG = 57.29577951308232


@inlined
def _hidden_density(off_deg: float) -> float:
    """Density per degree of a sample that is not on the sky's edge: trees and people stand above it."""
    density = 0.3 * math.exp(-abs(off_deg) / 3.0) / 6.0 + 0.1 / 40.0
    if off_deg > 0.0:
        density += 0.6 * math.exp(-off_deg / 2.0) / 2.0
    return density


@inlined
def _directed(across: float, up: float, tilt: float, roll: float, scale: float, out: Floats) -> None:
    """Direction of a place in the picture and its derivatives.

    Parameters
    ----------
    across, up : right and up of the middle, as shares of the told focal length; scale : focal length over it
    tilt, roll : radians; out : (8,) filled with bearing from the axis and vertical angle, radians, and their
        derivatives by tilt, roll and the focal length's logarithm
    """
    u, v = across / scale, up / scale
    cr, sr, ct, st = math.cos(roll), math.sin(roll), math.cos(tilt), math.sin(tilt)
    x, y = u * cr + v * sr, -u * sr + v * cr
    f, z = ct - y * st, st + y * ct
    level2 = x * x + f * f
    level = math.sqrt(level2)
    whole2 = level2 + z * z
    out[0], out[1] = math.atan2(x, f), math.atan2(z, level)
    for k in range(3):
        if k == 0:
            dx, df, dz = 0.0, -z, f
        elif k == 1:
            dx, df, dz = y, x * st, -x * ct
        else:
            dx, df, dz = -x, y * st, -y * ct
        out[2 + 2 * k] = (f * dx - x * df) / level2
        out[3 + 2 * k] = (level * dz - z * (x * dx + f * df) / level) / whole2


@inlined
def _wrapped_deg(angle: float) -> float:
    return angle - 360.0 * math.floor((angle + 180.0) / 360.0)


@compiled
def _passed(
    node_deg: float,
    theta: Floats,
    times: float,
    trace: Floats,
    marks: Floats,
    step_deg: float,
    sky: Floats,
    seen_marks: Floats,
    figures: Floats,
    normal: Floats,
    right: Floats,
    told: Floats,
) -> float:
    """One pass along trace and marks: the log likelihood; fills the normal equations.

    Parameters
    ----------
    node_deg, theta : heading from grid north, and what is solved for beside it
    times : the tracing's errors are so many times as large
    trace : (n, 3) across, up, degrees from the sample before (below nought where a piece begins)
    marks : (m, 2) across, up
    sky : (6, b) by grid bearing: angle, ground's error, distance, and what each spread of the place adds
    seen_marks : (m, 12): bearing, angle, distance in metres, spread of bearing and of angle, chance of being
        seen, and what each spread of the place adds to bearing, then to angle; degrees
    normal, right : (7, 7), (7,) filled; told : (3,) sum of weights, of weighted squares, of what is hidden
    """
    n_bearings = sky.shape[1]
    tilt, roll = theta[1] / _DEG, theta[2] / _DEG
    scale = math.exp(theta[3])
    ray = np.empty(8)
    columns = PARAMETERS + 1
    means = np.zeros((2, columns))
    values = np.zeros(columns)
    left = np.zeros(columns)
    normal[:] = 0.0
    right[:] = 0.0
    told[:] = 0.0
    log_likelihood = 0.0
    white2 = (times * figures[WHITE]) ** 2
    alike2 = (times * figures[ALIKE]) ** 2
    hidden, hidden_over = figures[HIDDEN], figures[HIDDEN_OVER]
    p_tt, p_tg, p_gg = alike2, 0.0, 1.0
    in_view = 1.0 - hidden
    before_m, before_off, known_before = -1.0, 0.0, False
    for i in range(trace.shape[0]):
        apart = trace[i, 2]
        _directed(trace[i, 0], trace[i, 1], tilt, roll, scale, ray)
        at = ((node_deg + theta[0] + ray[0] * _DEG) % 360.0) / step_deg
        first = int(at) % n_bearings
        part = at - math.floor(at)
        second = (first + 1) % n_bearings
        near = first if part < 0.5 else second
        expected = sky[0, first] * (1.0 - part) + sky[0, second] * part
        distance_m = sky[2, near]
        if apart < 0.0:
            means[:] = 0.0
            p_tt, p_tg, p_gg = alike2, 0.0, 1.0
            in_view, known_before = 1.0 - hidden, False
        else:
            keep_t = math.exp(-apart / figures[ALIKE_OVER])
            apart_m = 0.0
            if before_m > 0.0 and distance_m > 0.0:
                sideways_m = apart / _DEG * min(before_m, distance_m)
                apart_m = math.sqrt(sideways_m**2 + (before_m - distance_m) ** 2)
            keep_g = math.exp(-apart_m / figures[GROUND_OVER_M])
            p_tt = keep_t * keep_t * p_tt + (1.0 - keep_t * keep_t) * alike2
            p_tg = keep_t * keep_g * p_tg
            p_gg = keep_g * keep_g * p_gg + 1.0 - keep_g * keep_g
            for j in range(columns):
                means[0, j] *= keep_t
                means[1, j] *= keep_g
            if hidden > 0.0:
                shown_again = 1.0 - math.exp(-apart / hidden_over)
                goes = shown_again * hidden / (1.0 - hidden)
                in_view = in_view * (1.0 - goes) + (1.0 - in_view) * shown_again
            else:
                in_view = 1.0
        before_m = distance_m
        if expected != expected:
            log_likelihood += _UNKNOWN_LOG
            known_before = False
            continue
        angle = ray[1] * _DEG
        slope = (sky[0, second] - sky[0, first]) / step_deg
        ground = sky[1, near]
        values[0] = (angle - expected) * scale
        values[1] = -slope * scale
        for k in range(3):
            # By tilt and roll in degrees, by the focal length in logarithms.
            unit = scale if k < 2 else scale * _DEG
            values[2 + k] = (ray[3 + 2 * k] - slope * ray[2 + 2 * k]) * unit
        values[4] += values[0]
        for k in range(3):
            values[5 + k] = -sky[3 + k, near] * scale
        variance = p_tt + 2.0 * ground * p_tg + ground * ground * p_gg + white2
        for j in range(columns):
            left[j] = values[j] - means[0, j] - ground * means[1, j]
        off = values[0]
        normal_density = math.exp(-0.5 * left[0] * left[0] / variance) / math.sqrt(variance) / _ROOT_TWO_PI
        hidden_density = _hidden_density(off)
        if known_before:
            # What hides goes on at about the same height.
            goes_on = 0.5 * (1.0 - in_view)
            like = math.exp(-0.5 * ((off - before_off) / 0.8) ** 2) / 0.8 / _ROOT_TWO_PI
            hidden_density = (1.0 - goes_on) * hidden_density + goes_on * like
        density = in_view * normal_density + (1.0 - in_view) * hidden_density
        log_likelihood += math.log(max(density, 1e-300))
        in_view = min(in_view * normal_density / max(density, 1e-300), 1.0)
        before_off, known_before = off, True
        weight = in_view / variance
        for j in range(PARAMETERS):
            right[j] += weight * left[j + 1] * left[0]
            for k in range(j + 1):
                normal[j, k] += weight * left[j + 1] * left[k + 1]
        told[0] += in_view
        told[1] += in_view * off * off
        told[2] += 1.0 - in_view
        gain_t = (p_tt + ground * p_tg) / variance
        gain_g = (p_tg + ground * p_gg) / variance
        for j in range(columns):
            means[0, j] += in_view * gain_t * left[j]
            means[1, j] += in_view * gain_g * left[j]
        p_tt -= in_view * gain_t * gain_t * variance
        p_tg -= in_view * gain_t * gain_g * variance
        p_gg -= in_view * gain_g * gain_g * variance
    for m in range(marks.shape[0]):
        _directed(marks[m, 0], marks[m, 1], tilt, roll, scale, ray)
        level = math.cos(ray[1])
        click2 = (times * figures[CLICK]) ** 2
        across2 = click2 + (times * seen_marks[m, 3]) ** 2
        upright2 = click2 + (times * seen_marks[m, 4]) ** 2
        across = _wrapped_deg(node_deg + theta[0] + ray[0] * _DEG - seen_marks[m, 0]) * level * scale
        upright = (ray[1] * _DEG - seen_marks[m, 1]) * scale
        normal_density = math.exp(-0.5 * (across * across / across2 + upright * upright / upright2)) / (
            2.0 * math.pi * math.sqrt(across2 * upright2)
        )
        wrong = figures[WRONG_TOP]
        right_one = (1.0 - wrong) * seen_marks[m, 5] * normal_density
        density = right_one + wrong * _WRONG_TOP_DENSITY
        log_likelihood += math.log(max(density, 1e-300))
        share = right_one / max(density, 1e-300)
        if times > 1.0:
            # While the fit is sought, no mark is given up for lying far off (Cauchy's weights).
            share = 1.0 / (1.0 + 0.25 * (across * across / across2 + upright * upright / upright2))
        for way in range(2):
            if way == 0:
                values[0], values[1] = across, level * scale
                variance = across2
                for k in range(3):
                    values[2 + k] = ray[2 + 2 * k] * level * (scale if k < 2 else scale * _DEG)
                    values[5 + k] = -seen_marks[m, 6 + k] * level * scale
            else:
                values[0], values[1] = upright, 0.0
                variance = upright2
                for k in range(3):
                    values[2 + k] = ray[3 + 2 * k] * (scale if k < 2 else scale * _DEG)
                    values[5 + k] = -seen_marks[m, 9 + k] * scale
            values[4] += values[0]
            weight = share / variance
            for j in range(PARAMETERS):
                right[j] += weight * values[j + 1] * values[0]
                for k in range(j + 1):
                    normal[j, k] += weight * values[j + 1] * values[k + 1]
    # What is believed beforehand; nothing of the heading.
    off_prior = (
        (theta[1] - figures[TILT_PRIOR], figures[TILT_SPREAD]),
        (theta[2], figures[ROLL_SPREAD]),
        (theta[3], figures[FOCAL_SPREAD]),
        (theta[4], 1.0),
        (theta[5], 1.0),
        (theta[6], 1.0),
    )
    for k in range(6):
        off, spread = off_prior[k]
        normal[k + 1, k + 1] += 1.0 / spread**2
        right[k + 1] += off / spread**2
        log_likelihood -= 0.5 * (off / spread) ** 2 + math.log(spread)
    for j in range(PARAMETERS):
        for k in range(j):
            normal[k, j] = normal[j, k]
    return log_likelihood


@compiled
def _log_box(peak: float, spread: float, half: float) -> float:
    """Logarithm of a normal's chance of lying within a box about nought."""
    root = spread * 1.4142135623730951
    inside = 0.5 * (math.erfc((-half - peak) / root) - math.erfc((half - peak) / root))
    if inside > 1e-290:
        return math.log(inside)
    return -0.5 * ((abs(peak) - half) / spread) ** 2


@compiled
def weigh_headings(
    nodes_deg: Floats,
    starts: Floats,
    trace: Floats,
    marks: Floats,
    step_deg: float,
    sky: Floats,
    seen_marks: Floats,
    figures: Floats,
    score: Floats,
) -> None:
    """How well one place fits in each of some directions as it stands, (h,), without another step.

    See ``fit_headings``.
    """
    normal, right = np.empty((PARAMETERS, PARAMETERS)), np.empty(PARAMETERS)
    told, theta = np.empty(3), np.empty(PARAMETERS)
    for h in range(nodes_deg.size):
        theta[:] = 0.0
        theta[:4] = starts[h]
        score[h] = _passed(
            nodes_deg[h], theta, 1.5, trace, marks, step_deg, sky, seen_marks, figures, normal, right, told
        )


@compiled
def fit_headings(
    nodes_deg: Floats,
    starts: Floats,
    half_deg: float,
    trace: Floats,
    marks: Floats,
    step_deg: float,
    sky: Floats,
    seen_marks: Floats,
    figures: Floats,
    found: Floats,
) -> None:
    """Fit one place in each of some directions.

    Parameters
    ----------
    nodes_deg : (h,) grid headings, each for those within half_deg of it
    starts : (h, 4) degrees beside the node, tilt and roll in degrees, and log of the focal length, to begin
        from
    found : (h, FOUND) filled; the log likelihood is of the mean over the headings about each node
    See ``_passed`` for the rest.
    """
    normal, inverse = np.empty((PARAMETERS, PARAMETERS)), np.empty((PARAMETERS, PARAMETERS))
    right, told, theta = np.empty(PARAMETERS), np.empty(3), np.empty(PARAMETERS)
    for h in range(nodes_deg.size):
        theta[:] = 0.0
        theta[:4] = starts[h]
        first = 2 if trace.shape[0] == 0 else 0
        for step in range(first + len(_ANNEALED)):
            times = _FIRST_MARKS[step] if step < first else _ANNEALED[step - first]
            _passed(
                nodes_deg[h],
                theta,
                times,
                trace,
                marks,
                step_deg,
                sky,
                seen_marks,
                figures,
                normal,
                right,
                told,
            )
            # The heading is held near its node while it is sought.
            normal[0, 0] += 1.0 / half_deg**2
            right[0] += theta[0] / half_deg**2
            solve_normal(normal, right, inverse)
            for k in range(PARAMETERS):
                most = 15.0 if k in (1, 2) else (0.15 if k == 3 else 2.0)
                theta[k] -= min(max(right[k], -most), most)
            theta[0] = min(max(theta[0], -1.5 * half_deg), 1.5 * half_deg)
            most = _MOST_FOCAL * figures[FOCAL_SPREAD]
            theta[3] = min(max(theta[3], -most), most)
        log_likelihood = _passed(
            nodes_deg[h], theta, 1.0, trace, marks, step_deg, sky, seen_marks, figures, normal, right, told
        )
        normal[0, 0] += 1e-4
        log_det = solve_normal(normal, right, inverse)
        spread = math.sqrt(max(inverse[0, 0], 1e-12))
        # Where the likeliest heading is, as seen from where the fit stands.
        farther = min(max(-right[0], -4.0 * spread), 4.0 * spread)
        log_likelihood += 0.5 * (farther / spread) ** 2
        log_likelihood += math.log(_ROOT_TWO_PI / (2.0 * half_deg)) - 0.5 * log_det
        log_likelihood += _log_box(theta[0] + farther, spread, half_deg)
        found[h, 0] = log_likelihood
        for k in range(PARAMETERS):
            found[h, 1 + k] = theta[k]
            found[h, 1 + PARAMETERS + k] = math.sqrt(max(inverse[k, k], 0.0))
        found[h, 1 + 2 * PARAMETERS] = math.sqrt(told[1] / max(told[0], 1e-9))
        found[h, 2 + 2 * PARAMETERS] = told[2] / max(told[0] + told[2], 1e-9)
