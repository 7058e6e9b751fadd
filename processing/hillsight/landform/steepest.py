"""Drainage that keeps to the slope: the eight directions of a lattice, without their drift.

A line that always takes the steepest of eight neighbours runs along the lattice where the slope does not.
Here each post knows how far the line that reaches it has strayed sideways from the slope, and takes the one
of two neighbours that brings it back (Orlandini, Moretti, Franchini, Aldighieri, Testa 2003, Water Resources
Research 39, path-based methods with the least transversal deviation; from memory), the slope's direction
being that of the steepest of eight triangles (Tarboton 1997, Water Resources Research 33; from memory).
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled, inlined

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Integers
    from hillsight.landform.flood import Drainage


def keep_to_slope(drainage: Drainage, spacing_x_m: float, spacing_y_m: float) -> Drainage:
    """The drainage with other receivers where ground slopes; across filled ground and flats as it was.

    Receivers stay lower than their posts, so there are no cycles, and the order stays valid.
    """
    receiver = drainage.receiver.ravel().copy()
    _follow(np.ascontiguousarray(drainage.filled_m), receiver, drainage.order, spacing_x_m, spacing_y_m)
    return replace(drainage, receiver=receiver.reshape(drainage.receiver.shape))


@inlined
def _facet(number: int) -> tuple[tuple[int, int], tuple[int, int], int]:
    """Steps to the straight and to the diagonal neighbour of one of eight triangles; its turning sense."""
    turn = number // 2
    side = 1 if number % 2 == 0 else -1
    if turn == 0:
        return (0, 1), (side, 1), side
    if turn == 1:
        return (1, 0), (1, -side), side
    if turn == 2:
        return (0, -1), (-side, -1), side
    return (-1, 0), (-1, side), side


@inlined
def _fall(along: float, across: float, widest: float, slant: float) -> tuple[float, float]:
    """Steepest fall within a triangle, and its angle from the straight neighbour, 0 to ``widest``.

    along, across : fall to the straight neighbour, and from it to the diagonal one; slant : to the latter
    """
    angle = min(max(math.atan2(across, along), 0.0), widest) if along > 0 or across > 0 else 0.0
    if angle == 0.0:
        return along, angle
    if angle == widest:
        return slant, angle
    return math.hypot(along, across), angle


@compiled
def _follow(
    level_m: Floats,
    receiver: Integers,
    order: Integers,
    spacing_x_m: float,
    spacing_y_m: float,
) -> None:
    rows, columns = level_m.shape
    diagonal_m = math.hypot(spacing_x_m, spacing_y_m)
    gathered = np.ones(receiver.size)
    largest = np.zeros(receiver.size)
    strayed_m = np.zeros(receiver.size)
    for k in range(order.size - 1, -1, -1):
        post = order[k]
        row, column = post // columns, post % columns
        below = receiver[post]
        if below < 0:
            continue
        here_m = level_m[row, column]
        off_m = 0.0
        if (
            level_m[below // columns, below % columns] < here_m
            and 0 < row < rows - 1
            and 0 < column < columns - 1
        ):
            steepest, tied = 0.0, False
            one, other, one_m, other_m = below, below, 0.0, 0.0
            for facet in range(8):
                straight, slant, side = _facet(facet)
                ahead_m = spacing_x_m if straight[0] == 0 else spacing_y_m
                beside_m = spacing_y_m if straight[0] == 0 else spacing_x_m
                straight_m = level_m[row + straight[0], column + straight[1]]
                slant_m = level_m[row + slant[0], column + slant[1]]
                if not (straight_m == straight_m and slant_m == slant_m):
                    continue
                widest = math.atan2(beside_m, ahead_m)
                along, across = (here_m - straight_m) / ahead_m, (straight_m - slant_m) / beside_m
                slope, angle = _fall(along, across, widest, (here_m - slant_m) / diagonal_m)
                first = (row + straight[0]) * columns + column + straight[1]
                second = (row + slant[0]) * columns + column + slant[1]
                # Along the lattice there is one way, and not another that depends on the triangle taken.
                if angle == 0.0:
                    second = first
                elif angle == widest:
                    first = second
                if slope > steepest:
                    steepest, tied = slope, False
                    one, other = first, second
                    one_m = 0.0 if first == second else -side * ahead_m * math.sin(angle)
                    other_m = 0.0 if first == second else side * diagonal_m * math.sin(widest - angle)
                elif slope == steepest and slope > 0.0 and (first != one or second != other):
                    tied = True
            if tied:  # as on to filled ground, where all is level: the drainage knows which is lowest
                one, other, one_m, other_m = below, below, 0.0, 0.0
            straight_falls = level_m[one // columns, one % columns] < here_m
            slant_falls = level_m[other // columns, other % columns] < here_m
            if straight_falls and (
                not slant_falls or abs(strayed_m[post] + one_m) <= abs(strayed_m[post] + other_m)
            ):
                below, off_m = one, one_m
            elif slant_falls:
                below, off_m = other, other_m
            receiver[post] = below
        gathered[below] += gathered[post]
        if gathered[post] > largest[below]:
            largest[below] = gathered[post]
            strayed_m[below] = strayed_m[post] + off_m
