"""Wearing down: an irregular mesh, stream incision and creep upon it, and drainage of the finished posts."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit
from scipy import spatial

Floats = Any  # arrays of float64; numba's arguments carry no static type


def compiled(function):  # type: ignore[no-untyped-def]
    """Compile a function, keeping the result for the next run where a folder can be written."""
    try:
        return njit(cache=True)(function)
    except RuntimeError:  # numba finds no folder for it
        return njit(function)


@compiled
def push(levels, items, size, level, item):  # type: ignore[no-untyped-def]
    """Put (level, item) on a binary heap of two arrays; equal levels go by item. Returns the new size."""
    at = size
    while at > 0:
        above = (at - 1) // 2
        if levels[above] < level or (levels[above] == level and items[above] < item):
            break
        levels[at], items[at] = levels[above], items[above]
        at = above
    levels[at], items[at] = level, item
    return size + 1


@compiled
def pop(levels, items, size):  # type: ignore[no-untyped-def]
    """Take the lowest (level, item) off the heap. Returns the item; the heap is one shorter."""
    lowest = items[0]
    size -= 1
    level, item = levels[size], items[size]
    at = 0
    while True:
        below = 2 * at + 1
        if below >= size:
            break
        right = below + 1
        if right < size and (
            levels[right] < levels[below] or (levels[right] == levels[below] and items[right] < items[below])
        ):
            below = right
        if level < levels[below] or (level == levels[below] and item < items[below]):
            break
        levels[at], items[at] = levels[below], items[below]
        at = below
    levels[at], items[at] = level, item
    return lowest


@compiled
def wear(z, start, neighbour, span, weight, area, fixed, k_t, lift, head_m2, d_t, rounds, substeps):  # type: ignore[no-untyped-def]
    """Rounds of stream incision and creep on a mesh; z is changed in place, the catchment returned.

    Incision dz/dt = -K A^0.45 S, solved from the outlets upwards (implicit, linear in slope: the scheme of
    Braun & Willett 2013, Geomorphology 180-181, written from memory). Hollows drain over their lowest lip.
    Creep dz/dt = D laplace(z) with the cotangent weights of the triangles, which leave planes alone.
    """
    n = z.size
    receiver = np.empty(n, np.int64)
    run = np.empty(n)
    order = np.empty(n, np.int64)
    seen = np.zeros(n, np.bool_)
    catchment = np.empty(n)
    change = np.empty(n)
    levels, items = np.empty(n), np.empty(n, np.int64)
    for _ in range(rounds):
        # flood inwards from the rim: the order is one from which every point drains to an earlier one
        size = 0
        for i in range(n):
            z[i] += lift[i]
            catchment[i] = area[i]
            seen[i] = False
        for i in range(n):
            if fixed[i]:
                size = push(levels, items, size, z[i], i)
                seen[i] = True
                receiver[i] = i
                run[i] = 1.0
        count = 0
        while size > 0:
            level = levels[0]
            i = pop(levels, items, size)
            size -= 1
            order[count] = i
            count += 1
            for e in range(start[i], start[i + 1]):
                j = neighbour[e]
                if not seen[j]:
                    seen[j] = True
                    receiver[j] = i
                    run[j] = span[e]
                    size = push(levels, items, size, max(z[j], level), j)
        for i in range(n):
            if not fixed[i]:
                steepest = 0.0
                for e in range(start[i], start[i + 1]):
                    slope = (z[i] - z[neighbour[e]]) / span[e]
                    if slope > steepest:
                        steepest = slope
                        receiver[i] = neighbour[e]
                        run[i] = span[e]
        for c in range(n - 1, -1, -1):
            i = order[c]
            if receiver[i] != i:
                catchment[receiver[i]] += catchment[i]
        for c in range(n):
            i = order[c]
            r = receiver[i]
            if r != i and z[i] > z[r]:
                gathered = catchment[i] * catchment[i] / (catchment[i] + head_m2)
                pull = k_t[i] * gathered**0.45 / run[i]
                z[i] = (z[i] + pull * z[r]) / (1.0 + pull)
        for _step in range(substeps):
            for i in range(n):
                total = 0.0
                for e in range(start[i], start[i + 1]):
                    total += weight[e] * (z[neighbour[e]] - z[i])
                change[i] = 0.0 if fixed[i] else d_t / substeps * total / area[i]
            for i in range(n):
                z[i] += change[i]
    return catchment


@compiled
def drain(z, rise, lake):  # type: ignore[no-untyped-def]
    """Fill hollows so that every post drains off the sheet, rising by `rise` per post out of a lip.

    Posts of `lake` are filled level instead. Returns the filled heights, the receiver of each post
    (steepest descent; flat index, its own at the rim) and the catchment in posts.
    Priority flood, after Barnes, Lehman & Mulla 2014, from memory.
    """
    rows, columns = z.shape
    n = rows * columns
    filled = z.copy().ravel()
    lakes = lake.ravel()
    receiver = np.arange(n)
    order = np.empty(n, np.int64)
    seen = np.zeros(n, np.bool_)
    levels, items = np.empty(n), np.empty(n, np.int64)
    size = 0
    for r in range(rows):
        for c in range(columns):
            if r == 0 or c == 0 or r == rows - 1 or c == columns - 1:
                size = push(levels, items, size, filled[r * columns + c], r * columns + c)
                seen[r * columns + c] = True
    count = 0
    while size > 0:
        level = levels[0]
        i = pop(levels, items, size)
        size -= 1
        order[count] = i
        count += 1
        r, c = i // columns, i % columns
        for dr in range(-1, 2):
            for dc in range(-1, 2):
                rr, cc = r + dr, c + dc
                if rr < 0 or cc < 0 or rr >= rows or cc >= columns:
                    continue
                j = rr * columns + cc
                if seen[j]:
                    continue
                seen[j] = True
                receiver[j] = i
                lip = level if lakes[j] else level + rise
                filled[j] = max(filled[j], lip)
                size = push(levels, items, size, filled[j], j)
    for r in range(1, rows - 1):
        for c in range(1, columns - 1):
            i = r * columns + c
            steepest = 0.0
            for dr in range(-1, 2):
                for dc in range(-1, 2):
                    if dr != 0 or dc != 0:
                        j = (r + dr) * columns + c + dc
                        slope = (filled[i] - filled[j]) / np.sqrt(float(dr * dr + dc * dc))
                        if slope > steepest:
                            steepest = slope
                            receiver[i] = j
    catchment = np.ones(n)
    for k in range(n - 1, -1, -1):
        i = order[k]
        if receiver[i] != i:
            catchment[receiver[i]] += catchment[i]
    return filled.reshape(rows, columns), receiver, catchment.reshape(rows, columns)


def mesh(rng: np.random.Generator, low: float, high: float, spacing_m: float) -> tuple[Any, ...]:
    """Jittered points over a square: points, start, neighbour, span, weight, area, rim, triangles.

    The neighbours of point i are neighbour[start[i]:start[i + 1]], span metres away; weight is the cotangent
    weight of each, area the third of the triangles round each point in m2, rim true at the outer points.
    """
    ys = np.arange(low, high + spacing_m, spacing_m * np.sqrt(3) / 2)
    xs = np.arange(low, high + spacing_m, spacing_m)
    x, y = np.meshgrid(xs, ys)
    x = x + np.where(np.arange(len(ys)) % 2, spacing_m / 2, 0.0)[:, None]
    points = np.column_stack([x.ravel(), y.ravel()]) + rng.uniform(-0.32, 0.32, (x.size, 2)) * spacing_m
    triangles = spatial.Delaunay(points)
    corner = triangles.simplices.astype(np.int64)
    p = points[corner]
    first, second, value, areas = [], [], [], np.zeros(len(points))
    one, two = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
    double = np.abs(one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0])
    for k in range(3):
        a, b, c = corner[:, k], corner[:, (k + 1) % 3], corner[:, (k + 2) % 3]
        cot = ((points[b] - points[a]) * (points[c] - points[a])).sum(1) / np.maximum(double, 1e-6)
        np.add.at(areas, a, double / 6)
        first += [b, c]
        second += [c, b]
        value += [cot / 2, cot / 2]
    i, j, w = np.concatenate(first), np.concatenate(second), np.concatenate(value)
    key, where = np.unique(i * len(points) + j, return_inverse=True)
    weight = np.bincount(where, w)
    i, j = key // len(points), key % len(points)
    start = np.searchsorted(i, np.arange(len(points) + 1))
    span = np.hypot(*(points[i] - points[j]).T)
    x, y = points.T
    reach = 1.5 * spacing_m
    rim = (x < low + reach) | (y < low + reach) | (x > high - reach) | (y > high - reach)
    return points, start, j, span, weight, areas, rim, triangles
