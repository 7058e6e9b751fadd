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
    from numpy.typing import NDArray

    from hillsight.arrays import Floats, Integers32
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


@compiled
def _steepest(
    level_m: Floats, receiver: Integers32, spacing_x_m: float, spacing_y_m: float
) -> tuple[NDArray[np.int8], Floats]:
    """The triangle of the steepest fall about each post, and its angle in it from the straight neighbour.

    -1 where ground does not fall, or falls alike in two of them, as on to filled ground, where all is level:
    the drainage knows which is lowest.
    """
    rows, columns = level_m.shape
    diagonal_m = math.hypot(spacing_x_m, spacing_y_m)
    triangle = np.full(receiver.size, -1, np.int8)
    angle = np.zeros(receiver.size)
    for row in range(1, rows - 1):
        for column in range(1, columns - 1):
            post = row * columns + column
            below = receiver[post]
            here_m = level_m[row, column]
            if below < 0 or not level_m[below // columns, below % columns] < here_m:
                continue
            steepest, tied = 0.0, False
            chosen, chosen_along, chosen_across, chosen_edge = -1, 0.0, 0.0, 0
            for facet in range(8):
                straight, slant, _ = _facet(facet)
                ahead_m = spacing_x_m if straight[0] == 0 else spacing_y_m
                beside_m = spacing_y_m if straight[0] == 0 else spacing_x_m
                straight_m = level_m[row + straight[0], column + straight[1]]
                slant_m = level_m[row + slant[0], column + slant[1]]
                if not (straight_m == straight_m and slant_m == slant_m):
                    continue
                along, across = (here_m - straight_m) / ahead_m, (straight_m - slant_m) / beside_m
                # Along the lattice there is one way, and not another that depends on the triangle taken.
                if not across > 0.0:
                    slope, edge = along, 1
                elif not along > 0.0 or across * ahead_m >= along * beside_m:
                    slope, edge = (here_m - slant_m) / diagonal_m, 2
                else:
                    slope, edge = math.sqrt(along * along + across * across), 0
                if slope > steepest:
                    steepest, tied = slope, False
                    chosen, chosen_along, chosen_across, chosen_edge = facet, along, across, edge
                elif slope == steepest and slope > 0.0:
                    tied = tied or not (
                        edge > 0 and edge == chosen_edge and _edge(facet, edge) == _edge(chosen, edge)
                    )
            if tied:
                continue
            triangle[post] = chosen
            if chosen_edge == 0:
                angle[post] = math.atan2(chosen_across, chosen_along)
            elif chosen_edge == 2:
                angle[post] = np.inf
    return triangle, angle


@inlined
def _edge(number: int, edge: int) -> tuple[int, int]:
    """Step to the straight (edge 1) or the diagonal (edge 2) neighbour of a triangle."""
    straight, slant, _ = _facet(number)
    return straight if edge == 1 else slant


@compiled
def _follow(
    level_m: Floats,
    receiver: Integers32,
    order: Integers32,
    spacing_x_m: float,
    spacing_y_m: float,
) -> None:
    columns = level_m.shape[1]
    diagonal_m = math.hypot(spacing_x_m, spacing_y_m)
    triangle, angles = _steepest(level_m, receiver, spacing_x_m, spacing_y_m)
    gathered = np.ones(receiver.size, np.int32)
    largest = np.zeros(receiver.size, np.int32)
    strayed_m = np.zeros(receiver.size)
    for k in range(order.size - 1, -1, -1):
        post = int(order[k])
        below = int(receiver[post])
        if below < 0:
            continue
        off_m = 0.0
        if triangle[post] >= 0:
            straight, slant, side = _facet(triangle[post])
            angle = angles[post]
            first = post + straight[0] * columns + straight[1]
            second = post + slant[0] * columns + slant[1]
            if angle == 0.0:
                below = first
            elif angle == np.inf:
                below = second
            else:
                ahead_m = spacing_x_m if straight[0] == 0 else spacing_y_m
                beside_m = spacing_y_m if straight[0] == 0 else spacing_x_m
                one_m = -side * ahead_m * math.sin(angle)
                other_m = side * diagonal_m * math.sin(math.atan2(beside_m, ahead_m) - angle)
                if abs(strayed_m[post] + one_m) <= abs(strayed_m[post] + other_m):
                    below, off_m = first, one_m
                else:
                    below, off_m = second, other_m
            receiver[post] = below
        gathered[below] += gathered[post]
        if gathered[post] > largest[below]:
            largest[below] = gathered[post]
            strayed_m[below] = strayed_m[post] + off_m
