"""The cheapest line across a picture, one row a column, by dynamic programming.

Each column has a cost for every row at which the line may cross it; between neighbouring columns a step
costs so
much a row, up to a most. After W.-N. Lie, T. C.-I. Lin, T.-C. Lin and K.-S. Hung, "A robust dynamic
programming
algorithm to extract skyline in images for navigation" (Pattern Recognition Letters 26, 2005; from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from hillsight.arrays import AnyArray, Floats


def stepped(cost: Floats, row_cost: float, most: float) -> Floats:
    """Least cost of arriving at each row from any row of the column before, (rows,) to (rows,)."""
    ramp = row_cost * np.arange(cost.size)
    down = np.minimum.accumulate(cost - ramp) + ramp
    up = (np.minimum.accumulate((cost + ramp)[::-1]))[::-1] - ramp
    return np.asarray(np.minimum(np.minimum(down, up), cost.min() + most))


def forward(costs: Floats, row_cost: float, most: float) -> Floats:
    """Least cost of a line from the left edge to each row of each column, (columns, rows)."""
    total = np.empty_like(costs)
    total[0] = costs[0]
    for k in range(1, len(costs)):
        total[k] = costs[k] + stepped(total[k - 1], row_cost, most)
    return total


def through(costs: Floats, row_cost: float, most: float) -> Floats:
    """Least cost of a line through each row of each column, (columns, rows); the same least in all
    columns."""
    return forward(costs, row_cost, most) + forward(costs[::-1], row_cost, most)[::-1] - costs


def cheapest(costs: Floats, row_cost: float, most: float) -> AnyArray:
    """Rows of the cheapest line, (columns,) int."""
    total = forward(costs, row_cost, most)
    rows = np.arange(costs.shape[1])
    line = np.empty(len(costs), np.int64)
    line[-1] = int(np.argmin(total[-1]))
    for k in range(len(costs) - 2, -1, -1):
        line[k] = int(np.argmin(total[k] + np.minimum(row_cost * np.abs(rows - line[k + 1]), most)))
    return line


def lead_over_others(costs: Floats, line: AnyArray, apart: int, row_cost: float, most: float) -> Floats:
    """By how much the cheapest line is cheaper than any that crosses a column more than ``apart`` rows off
    it,
    (columns,)."""
    total = through(costs, row_cost, most)
    rows = np.arange(costs.shape[1])
    away = np.abs(rows - line[:, None]) > apart
    return np.where(away, total, np.inf).min(axis=1) - total.min(axis=1)
