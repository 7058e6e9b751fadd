"""Compiled: the walls, fences and hedges that sight lines cross.

A screen stands upright on the straight line between its ends. Where a sight line crosses that line it meets
the ground there (bilinear between the lowered posts) with the screen's height on top, and this hides like any
ground crossed. Screens are looked for in the squares of the lattice that a line comes through, so that a line
costs what is near it. A screen seen end on has no width. One at the very eye or target does not hide it.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled
from hillsight.kernels.corners import corner_posts
from hillsight.kernels.threads import in_slices
from hillsight.sight.crossings import post_as_seen
from hillsight.sight.viewing import CROSSING_SNAP

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats, Floats32
    from hillsight.ground.cover import ScreenSquares
    from hillsight.ground.grid import Surface

#: Lines more nearly along a screen than this (sine of the angle) do not cross it.
_ALONG = 1e-12

#: Squares that a line comes so near to (spacings) are looked into too.
_SLACK = 1e-6

#: Lines that a thread does before it looks up for an interruption: milliseconds.
_LINES_AT_A_TIME = 4096


@compiled
def lowered_at(
    height_m: Floats32,
    row: float,
    column: float,
    eye_row: float,
    eye_column: float,
    spacing_x_m: float,
    spacing_y_m: float,
    drop_per_m: float,
    corners: Floats,
) -> float:
    """Bilinear ground at a place as seen from the eye; NaN on voids and off the terrain.

    corners : (4, 3) scratch
    """
    used = corner_posts(row, column, height_m.shape[0], height_m.shape[1], corners)
    total_m = 0.0 if used else np.nan
    for k in range(used):
        total_m += corners[k, 2] * post_as_seen(
            height_m,
            int(corners[k, 0]),
            int(corners[k, 1]),
            eye_row,
            eye_column,
            spacing_x_m,
            spacing_y_m,
            drop_per_m,
        )
    return total_m


@compiled
def crossing_of(
    eye_row: float, eye_column: float, down: float, right: float, lines: Floats, screen: int
) -> float:
    """Share of a way at which it crosses a screen; NaN where it does not.

    down, right : the way from the eye, spacings
    lines : (n, 5) as ``Screens.lines``
    """
    from_row, from_column = lines[screen, 0], lines[screen, 1]
    along_row, along_column = lines[screen, 2] - from_row, lines[screen, 3] - from_column
    length, screen_length = math.hypot(down, right), math.hypot(along_row, along_column)
    across = right * along_row - down * along_column
    if abs(across) <= _ALONG * length * screen_length:
        return np.nan
    to_row, to_column = from_row - eye_row, from_column - eye_column
    share = (to_column * along_row - to_row * along_column) / across
    if share * length <= CROSSING_SNAP or (1.0 - share) * length <= CROSSING_SNAP:
        return np.nan
    # A hair is added to both ends, so that no sight line slips through where two pieces of a wall meet.
    hair = CROSSING_SNAP / screen_length
    place = (to_column * down - to_row * right) / across
    return share if -hair <= place <= 1.0 + hair else np.nan


@compiled
def screens_met(
    height_m: Floats32,
    spacing_x_m: float,
    spacing_y_m: float,
    drop_per_m: float,
    eye_row: float,
    eye_column: float,
    row: float,
    column: float,
    lines: Floats,
    squares: ScreenSquares,
    met: Floats,
) -> tuple[int, Floats]:
    """Screens that the way from an eye to a place crosses, in no order; some may come twice.

    Returns
    -------
    how many, and where they are told, (n, 2): share of the way, height of the top as seen from the eye (NaN
    over a void); ``met`` itself or, where it is too small, a larger one
    """
    corners = np.empty((4, 3))
    down, right = row - eye_row, column - eye_column
    by_rows = abs(down) >= abs(right)
    # The squares are gone through in strips across the way's main direction.
    strips, others = (squares.rows, squares.columns) if by_rows else (squares.columns, squares.rows)
    start, way = (eye_row, down) if by_rows else (eye_column, right)
    beside, lean = (eye_column, right) if by_rows else (eye_row, down)
    count = 0
    if way == 0.0:
        return count, met
    first = max(math.floor((min(start, start + way) - _SLACK) / squares.size), 0)
    last = min(math.floor((max(start, start + way) + _SLACK) / squares.size), strips - 1)
    for strip in range(first, last + 1):
        one = min(max((strip * squares.size - _SLACK - start) / way, 0.0), 1.0)
        other = min(max(((strip + 1) * squares.size + _SLACK - start) / way, 0.0), 1.0)
        low, high = beside + min(one * lean, other * lean), beside + max(one * lean, other * lean)
        first_beside = max(math.floor((low - _SLACK) / squares.size), 0)
        last_beside = min(math.floor((high + _SLACK) / squares.size), others - 1)
        for square_beside in range(first_beside, last_beside + 1):
            square = strip * squares.columns + square_beside
            if not by_rows:
                square = square_beside * squares.columns + strip
            for k in range(squares.starts[square], squares.starts[square + 1]):
                screen = squares.screens[k]
                share = crossing_of(eye_row, eye_column, down, right, lines, screen)
                if share != share:
                    continue
                at_row, at_column = eye_row + share * down, eye_column + share * right
                if not (
                    -CROSSING_SNAP <= at_row <= height_m.shape[0] - 1.0 + CROSSING_SNAP
                    and -CROSSING_SNAP <= at_column <= height_m.shape[1] - 1.0 + CROSSING_SNAP
                ):
                    continue
                ground_m = lowered_at(
                    height_m,
                    min(max(at_row, 0.0), height_m.shape[0] - 1.0),
                    min(max(at_column, 0.0), height_m.shape[1] - 1.0),
                    eye_row,
                    eye_column,
                    spacing_x_m,
                    spacing_y_m,
                    drop_per_m,
                    corners,
                )
                if count == met.shape[0]:
                    larger = np.empty((2 * count, 2))
                    for i in range(count):
                        larger[i, 0], larger[i, 1] = met[i, 0], met[i, 1]
                    met = larger
                met[count, 0], met[count, 1] = share, ground_m + lines[screen, 4]
                count += 1
    return count, met


@compiled
def _over_screens(
    height_m: Floats32,
    spacing_x_m: float,
    spacing_y_m: float,
    eyes: Floats,
    rows: Floats,
    columns: Floats,
    lines: Floats,
    squares: ScreenSquares,
    rise_m: Floats,
    fraction: Floats,
    void: Flags,
) -> None:
    """Fill the rise of the line grazing the highest screen, where that stands, and whether a void is met.

    eyes : (n, 4) or (1, 4) row, column, level, drop
    """
    met = np.empty((64, 2))
    for i in range(rows.size):
        eye = i if eyes.shape[0] > 1 else 0
        level_m = eyes[eye, 2]
        count, met = screens_met(
            height_m,
            spacing_x_m,
            spacing_y_m,
            eyes[eye, 3],
            eyes[eye, 0],
            eyes[eye, 1],
            rows[i],
            columns[i],
            lines,
            squares,
            met,
        )
        rise_m[i], fraction[i], void[i] = -np.inf, 0.0, False
        for k in range(count):
            share, top_m = met[k, 0], met[k, 1]
            if top_m != top_m:
                void[i] = True
            elif (top_m - level_m) / share > rise_m[i]:
                rise_m[i], fraction[i] = (top_m - level_m) / share, share


def over_screens(
    surface: Surface, eyes: Floats, rows: Floats, columns: Floats
) -> tuple[Floats, Floats, Flags]:
    """The highest of the screens on the ways to n places.

    Parameters
    ----------
    surface : with cover
    eyes : (n, 4) or (1, 4) row, column, level in the terrain's datum, drop
    rows, columns : (n,) fractional

    Returns
    -------
    rise_m : (n,) over the whole way, from the eye's level, of the line grazing the highest screen; -inf: none
    fraction : (n,) share of the way at which that stands
    void : (n,) whether a screen on the way stands on a void
    """
    assert surface.cover is not None
    rise_m, fraction, void = np.empty(rows.size), np.empty(rows.size), np.empty(rows.size, np.bool_)
    lines, squares = surface.cover.screens.lines, surface.cover.squares
    height_m = np.ascontiguousarray(surface.height_m, np.float32)
    eyes = np.ascontiguousarray(eyes, np.float64)

    def some(first: int, last: int) -> None:
        s = slice(first, last)
        _over_screens(
            height_m,
            surface.grid.spacing_x_m,
            surface.grid.spacing_y_m,
            eyes if eyes.shape[0] == 1 else eyes[s],
            np.ascontiguousarray(rows[s], np.float64),
            np.ascontiguousarray(columns[s], np.float64),
            lines,
            squares,
            rise_m[s],
            fraction[s],
            void[s],
        )

    in_slices(some, rows.size, _LINES_AT_A_TIME)
    return rise_m, fraction, void


@compiled
def tops_along(
    height_m: Floats32,
    spacing_x_m: float,
    spacing_y_m: float,
    drop_per_m: float,
    eye_row: float,
    eye_column: float,
    east: float,
    north: float,
    reach_m: float,
    lines: Floats,
    squares: ScreenSquares,
    met: Floats,
) -> tuple[int, Floats]:
    """Screens on a bearing, nearest first: how many, and (n, 2) distance (m) and height of the top as seen.

    east, north : unit direction on the grid
    """
    if squares.screens.size == 0:
        return 0, met
    # To beyond the farthest corner is far enough.
    rows, columns = height_m.shape
    down_m = max(abs(eye_row), abs(eye_row - rows + 1.0)) * spacing_y_m
    right_m = max(abs(eye_column), abs(eye_column - columns + 1.0)) * spacing_x_m
    far_m = min(reach_m * (1.0 + 1e-9), down_m + right_m + spacing_x_m + spacing_y_m)
    count, met = screens_met(
        height_m,
        spacing_x_m,
        spacing_y_m,
        drop_per_m,
        eye_row,
        eye_column,
        eye_row - north * far_m / spacing_y_m,
        eye_column + east * far_m / spacing_x_m,
        lines,
        squares,
        met,
    )
    kept = 0
    for k in range(count):
        distance_m, top_m = met[k, 0] * far_m, met[k, 1]
        if distance_m > reach_m:
            continue
        at = kept
        while at > 0 and met[at - 1, 0] > distance_m:
            met[at, 0], met[at, 1] = met[at - 1, 0], met[at - 1, 1]
            at -= 1
        met[at, 0], met[at, 1] = distance_m, top_m
        kept += 1
    return kept, met
