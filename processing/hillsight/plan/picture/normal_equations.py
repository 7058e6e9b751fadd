"""Normal equations of a few unknowns, solved within a kernel (Cholesky)."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled

if TYPE_CHECKING:
    from hillsight.arrays import Floats


@compiled
def solve_normal(matrix: Floats, right: Floats, inverse: Floats) -> float:
    """Inverse of a symmetric positive matrix, and the right side solved in place; its log determinant."""
    n = matrix.shape[0]
    lower = np.zeros((n, n))
    log_det = 0.0
    for i in range(n):
        for j in range(i + 1):
            total = matrix[i, j]
            for k in range(j):
                total -= lower[i, k] * lower[j, k]
            if i == j:
                lower[i, i] = math.sqrt(max(total, 1e-12))
                log_det += 2.0 * math.log(lower[i, i])
            else:
                lower[i, j] = total / lower[j, j]
    for column in range(n + 1):
        # Forwards, then back.
        solved = np.zeros(n)
        for i in range(n):
            total = right[i] if column == n else (1.0 if i == column else 0.0)
            for k in range(i):
                total -= lower[i, k] * solved[k]
            solved[i] = total / lower[i, i]
        for back in range(n):
            i = n - 1 - back
            total = solved[i]
            for k in range(i + 1, n):
                total -= lower[k, i] * solved[k]
            solved[i] = total / lower[i, i]
        for i in range(n):
            if column == n:
                right[i] = solved[i]
            else:
                inverse[i, column] = solved[i]
    return log_det
