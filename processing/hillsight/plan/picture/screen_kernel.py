"""The kernel of a rough picture match: one place in very many directions."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled, inlined

if TYPE_CHECKING:
    from hillsight.arrays import Floats

#: How often the rough fit weighs the samples anew.
_TIMES_WEIGHED = 3


@compiled
def screen_headings(
    nodes_deg: Floats,
    rays: Floats,
    spread_deg: float,
    priors: Floats,
    step_deg: float,
    sky: Floats,
    score: Floats,
    starts: Floats,
) -> None:
    """How well one place fits in each of some directions, quickly and roughly.

    Tilt, roll and focal length are taken to act straight from where the trace lies by a guess; residuals are
    weighed by how far they are out, as often as it takes.

    Parameters
    ----------
    rays : (n, 8) of the trace at the guess: bearing and vertical angle with their derivatives, in degrees
    spread_deg : of a traced sample; priors : (3,) spreads of tilt, roll and log focal length
    score : (h,) filled, rather like a log likelihood; starts : (h, 4) filled: heading beside the node, tilt,
        roll and log focal length beside the guess
    """
    n, n_bearings = rays.shape[0], sky.shape[1]
    off, weight, columns = np.empty(n), np.empty(n), np.empty((n, 4))
    precision = np.empty(n)
    matrix, right = np.empty((4, 4)), np.empty(4)
    ordered = np.empty(n)
    for h in range(nodes_deg.size):
        known = 0
        for i in range(n):
            at = (nodes_deg[h] + rays[i, 0]) / step_deg
            whole = math.floor(at)
            part = at - whole
            first = int(whole)
            while first < 0:
                first += n_bearings
            while first >= n_bearings:
                first -= n_bearings
            second = first + 1 if first + 1 < n_bearings else 0
            slope = (sky[0, second] - sky[0, first]) / step_deg
            expected = sky[0, first] * (1.0 - part) + sky[0, second] * part
            if expected != expected:
                precision[i], off[i] = 0.0, 0.0
                columns[i] = 0.0
                continue
            off[i] = rays[i, 1] - expected
            ordered[known] = off[i]
            known += 1
            precision[i] = 1.0 / (spread_deg**2 + sky[1, first] ** 2)
            columns[i, 0] = -slope
            for k in range(3):
                columns[i, 1 + k] = rays[i, 3 + 2 * k] - slope * rays[i, 2 + 2 * k]
        starts[h] = 0.0
        if known < 4:
            score[h] = -3.0 * n
            continue
        some = ordered[:known]
        some.sort()
        middle = some[int(0.4 * (known - 1))]
        for i in range(n):
            weight[i] = precision[i] / (1.0 + precision[i] * (off[i] - middle) ** 2 / 9.0)
        for _ in range(_TIMES_WEIGHED):
            matrix[:] = 0.0
            right[:] = 0.0
            matrix[0, 0] = 1.0
            for k in range(3):
                matrix[k + 1, k + 1] = 1.0 / priors[k] ** 2
            for i in range(n):
                for j in range(4):
                    right[j] -= weight[i] * columns[i, j] * off[i]
                    for k in range(j + 1):
                        matrix[j, k] += weight[i] * columns[i, j] * columns[i, k]
            _solved_in_place(matrix, right)
            for i in range(n):
                left = off[i]
                for j in range(4):
                    left += columns[i, j] * right[j]
                weight[i] = precision[i] / (1.0 + left * left * precision[i] / 3.0)
        total = -0.5 * right[0] ** 2
        for k in range(3):
            total -= 0.5 * (right[k + 1] / priors[k]) ** 2
        # Heavy tails: a Student's t of three degrees of freedom, half of it as neighbours err alike.
        for i in range(n):
            if precision[i] > 0.0:
                total += math.log(weight[i] / precision[i] * math.sqrt(math.sqrt(precision[i]) * spread_deg))
        score[h] = total - 0.5 * (n - known)
        for k in range(4):
            starts[h, k] = right[k]


@inlined
def _solved_in_place(matrix: Floats, right: Floats) -> None:
    """Solve a small symmetric positive system, its lower half given (Cholesky)."""
    n = right.size
    for i in range(n):
        for j in range(i + 1):
            total = matrix[i, j]
            for k in range(j):
                total -= matrix[i, k] * matrix[j, k]
            matrix[i, j] = math.sqrt(max(total, 1e-12)) if i == j else total / matrix[j, j]
    for i in range(n):
        for k in range(i):
            right[i] -= matrix[i, k] * right[k]
        right[i] /= matrix[i, i]
    for back in range(n):
        i = n - 1 - back
        for k in range(i + 1, n):
            right[i] -= matrix[k, i] * right[k]
        right[i] /= matrix[i, i]
