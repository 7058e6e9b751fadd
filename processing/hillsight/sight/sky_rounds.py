"""The sky's edge all round for many eyes: what a search for a place asks of hundreds of thousands of them.

The definition is that of ``far_sky``, whose walk is used as it stands. What makes it quick is where the walk
begins. The ground that stood against the sky for the eye before, on the same bearing or those beside it,
most often does so again; a crossing at about that distance is looked at first. Then nearly all nearer ground
lies in blocks that cannot rise above it and is passed over. No bound is guessed: the answer is the same.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled
from hillsight.kernels.threads import in_slices
from hillsight.sight.crossings import ground_on_line
from hillsight.sight.far_sky import follow, raise_to_screens
from hillsight.sight.under_cover import screens_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from hillsight.arrays import Flags, Floats, Floats32, Integers
    from hillsight.ground.cover import ScreenSquares
    from hillsight.sight.far_sky import FarGround

#: Eyes that a thread does before it looks up for an interruption: tens of milliseconds.
_EYES_AT_A_TIME = 64

#: A slope below all others, which can be reckoned with.
_STRAIGHT_DOWN = -1e12


@dataclass(frozen=True)
class SkyRounds:
    """The sky's edge round many eyes, (n, b) float32 each.

    angle_deg : apparent vertical angle above the level; NaN where there is no ground on the bearing, and all
        along for an eye whose level is not known
    distance_m : grid distance of the ground that stands there
    """

    angle_deg: Floats32
    distance_m: Floats32


def sky_rounds(
    far: FarGround,
    row: Floats,
    column: Floats,
    level_m: Floats,
    drop_per_m: float,
    bearings_grid_deg: Floats,
    progress: Callable[[float], None] | None = None,
) -> SkyRounds:
    """The sky's edge from many eyes on the same bearings.

    Ground beyond the file and in voids is taken not to rise against the sky.

    Parameters
    ----------
    far : all ground that may stand against the sky
    row, column : (n,) fractional places on its lattice; quickest where neighbours follow each other
    level_m : (n,) metres, of the eyes in the terrain's datum
    drop_per_m : of curvature and refraction, the same for all; see ``viewing.Eye``
    bearings_grid_deg : (b,) from grid north, quickest where they follow each other round
    progress : called with the share done
    """
    angles = np.radians(np.atleast_1d(np.asarray(bearings_grid_deg, np.float64)))
    easts, norths = np.sin(angles), np.cos(angles)
    # A bearing along a grid line must not wander off it by rounding.
    easts[np.abs(easts) < 1e-14] = 0.0
    norths[np.abs(norths) < 1e-14] = 0.0
    row, column, level_m = (np.ascontiguousarray(v, np.float64) for v in (row, column, level_m))
    found_deg, found_m = (np.empty((row.size, angles.size), np.float32) for _ in range(2))
    heights_m = np.ascontiguousarray(far.surface.blocking_m, np.float32)
    bare_m = np.ascontiguousarray(far.surface.height_m, np.float32)
    lines, squares = screens_of(far.surface)
    grid = far.surface.grid

    def some(first: int, last: int) -> None:
        _rounds(
            heights_m,
            bare_m,
            lines,
            squares,
            far.maxima.ladder_m,
            far.maxima.ladder_void,
            far.maxima.offsets,
            grid.spacing_x_m,
            grid.spacing_y_m,
            float(drop_per_m),
            far.highest_m,
            row[first:last],
            column[first:last],
            level_m[first:last],
            easts,
            norths,
            found_deg[first:last],
            found_m[first:last],
        )

    in_slices(some, row.size, _EYES_AT_A_TIME, progress)
    return SkyRounds(found_deg, found_m)


@compiled
def _slope_about(
    height_m: Floats32,
    flat_m: Floats32,
    spacing_x_m: float,
    spacing_y_m: float,
    drop_per_m: float,
    eye_row: float,
    eye_column: float,
    level_m: float,
    east: float,
    north: float,
    about_m: float,
) -> tuple[float, float, float]:
    """Slope, distance and lowered height of the crossing about a distance; straight down if there is none."""
    rows, columns = height_m.shape
    columns_per_m, rows_per_m = east / spacing_x_m, -north / spacing_y_m
    if abs(columns_per_m) >= abs(rows_per_m):
        line = math.floor(eye_column + columns_per_m * about_m + 0.5)
        distance_m = (line - eye_column) / columns_per_m
        at = eye_row + rows_per_m * distance_m
        if not (distance_m > 0.0 and 0 <= line <= columns - 1 and 0.0 <= at <= rows - 1.0):
            return _STRAIGHT_DOWN, np.nan, np.nan
        height = ground_on_line(
            flat_m, line, at, 1, columns, eye_column, eye_row, spacing_x_m, spacing_y_m, drop_per_m
        )
    else:
        line = math.floor(eye_row + rows_per_m * about_m + 0.5)
        distance_m = (line - eye_row) / rows_per_m
        at = eye_column + columns_per_m * distance_m
        if not (distance_m > 0.0 and 0 <= line <= rows - 1 and 0.0 <= at <= columns - 1.0):
            return _STRAIGHT_DOWN, np.nan, np.nan
        height = ground_on_line(
            flat_m, line, at, columns, 1, eye_row, eye_column, spacing_y_m, spacing_x_m, drop_per_m
        )
    if height != height:
        return _STRAIGHT_DOWN, np.nan, np.nan
    return (height - level_m) / distance_m, distance_m, height


@compiled
def _rounds(
    height_m: Floats32,
    bare_m: Floats32,
    lines: Floats,
    squares: ScreenSquares,
    ladder_m: Floats32,
    ladder_void: Flags,
    offsets: Integers,
    spacing_x_m: float,
    spacing_y_m: float,
    drop_per_m: float,
    highest_m: float,
    row: Floats,
    column: Floats,
    level_m: Floats,
    easts: Floats,
    norths: Floats,
    found_deg: Floats32,
    found_m: Floats32,
) -> None:
    """Fill angle and distance, (n, b) each, eye by eye.

    height_m, bare_m, lines, squares : of what blocks sight; of the ground; screens
    """
    flat_m = height_m.reshape(height_m.size)
    count = easts.size
    slope, at_m, lowered_m, edge_m = (
        np.empty(count),
        np.full(count, np.nan),
        np.empty(count),
        np.empty(count),
    )
    end = np.empty(count, np.uint8)
    before_m = np.full(count, np.nan)
    for k in range(row.size):
        if level_m[k] != level_m[k]:
            found_deg[k], found_m[k] = np.nan, np.nan
            continue
        for i in range(count):
            slope[i], at_m[i] = _STRAIGHT_DOWN, np.nan
            for beside in range(-1, 2):
                # Of the eye before, beside this bearing too.
                about_m = before_m[(i + beside) % count]
                if about_m == about_m:
                    s, d, h = _slope_about(
                        height_m,
                        flat_m,
                        spacing_x_m,
                        spacing_y_m,
                        drop_per_m,
                        row[k],
                        column[k],
                        level_m[k],
                        easts[i],
                        norths[i],
                        about_m,
                    )
                    if s > slope[i]:
                        slope[i], at_m[i], lowered_m[i] = s, d, h
        raise_to_screens(
            bare_m,
            spacing_x_m,
            spacing_y_m,
            drop_per_m,
            row[k],
            column[k],
            level_m[k],
            0.0,
            easts,
            norths,
            lines,
            squares,
            slope,
            at_m,
            lowered_m,
        )
        follow(
            height_m,
            ladder_m,
            ladder_void,
            offsets,
            spacing_x_m,
            spacing_y_m,
            drop_per_m,
            row[k],
            column[k],
            level_m[k],
            highest_m,
            0.0,
            easts,
            norths,
            slope,
            at_m,
            lowered_m,
            end,
            edge_m,
        )
        for i in range(count):
            before_m[i] = at_m[i]
            found_m[k, i] = at_m[i]
            found_deg[k, i] = math.degrees(math.atan(slope[i])) if slope[i] > _STRAIGHT_DOWN else np.nan
