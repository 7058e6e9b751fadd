"""The pixels of a drawn view: ground in light and shade, crests in ink, all of it paler with distance.

Each pixel is looked at in several places. Where they meet one piece of ground it is lit once; where they meet
several, or the sky, each by itself, so that edges are smooth. A crest is where the ground breaks off. On a
picture the inverse of the distance to a plane is linear: its second difference is nought on even ground,
however it lies, and large where nearer ground ends before farther. Ink goes on the near side.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled, inlined
from hillsight.sight.grain import grain, speck
from hillsight.sight.rays import bearing_number, look_up
from hillsight.sight.smooth_slopes import add_smooth_slope

if TYPE_CHECKING:
    from hillsight.arrays import Bytes, Floats, Floats32, Integers

#: Places looked at across and down a pixel.
ACROSS, DOWN = 2, 3

#: Places beyond the edges of a strip of pixels that are looked at too: ink may come from there.
MARGIN = 8

#: Rows of colours, each red, green, blue from 0 to 1; those of tints follow.
SHADE, MIDDLE, LIGHT, HAZE, ZENITH, INK, UNKNOWN, FIRST_TINT = range(8)

#: Numbers in ``light``: azimuth and altitude (radians), whether it turns with the view, least share of light,
#: how much darker ground is that bends away from the eye, strength of the grain.
AZIMUTH, ALTITUDE, TURNS, AMBIENT, ROUNDING, GRAIN = range(6)

#: Places of one pixel are one piece of ground if their distances differ by no more than this factor, and the
#: ground breaks off at none by more than this share.
_ONE_PIECE, _UNBROKEN = 1.25, 0.012

#: Places of a broken pixel whose distances differ by less than this share are lit alike.
_SAME = 0.01

#: Shares of its distance at which the ground breaks off that are drawn in the faintest and in full ink.
_FAINT, _FULL = 0.05, 0.5

#: Width of a crest's line, pixels: far off, and what is added close by.
_FINE, _BROAD = 0.7, 0.9

#: Share of contrast that the farthest ground keeps, so that it never melts into the sky.
_CLEAREST = 0.1

#: Slope of a sight line at which the sky has its full tone.
_HIGH_SKY = 0.45

#: How much of the tone for unknown ground lies over sky that may be ground, and over ground beyond a void.
_VEIL_OF_SKY, _VEIL_OF_GROUND = 0.45, 0.5

#: Slope over which the veil of the sky fades towards the highest that unknown ground could stand.
_VEIL_FADES = 0.025


@compiled
def _find_jumps(distance_m: Floats32, jump: Floats32) -> None:
    """How far ground breaks off at each place, as a share; negative in a hollow; 0 along the sides."""
    rows, columns = distance_m.shape
    for r in range(rows):
        for c in range(columns):
            jump[r, c] = 0.0
            here_m = distance_m[r, c]
            if r in (0, rows - 1) or c in (0, columns - 1) or not abs(here_m) < np.inf:
                continue
            for step in range(2):
                one = distance_m[r - 1, c] if step == 0 else distance_m[r, c - 1]
                other = distance_m[r + 1, c] if step == 0 else distance_m[r, c + 1]
                nearer = abs(here_m / one) if abs(one) < np.inf else 0.0
                further = abs(here_m / other) if abs(other) < np.inf else 0.0
                second = 2.0 - nearer - further
                if abs(second) > abs(jump[r, c]):
                    jump[r, c] = second


@inlined
def _ink(jump: Floats32, row: int, column: int, clear: float) -> float:
    """Share of ink at a place of ground, from crests above and beside it; broader and darker near by."""
    width = _FINE + _BROAD * clear
    most = jump[row, column]
    for k in range(1, min(int(width * DOWN + 0.5), MARGIN)):
        most = max(most, jump[row - k, column])
    for k in range(1, min(int(width * ACROSS + 0.5), MARGIN)):
        most = max(most, max(jump[row, column - k], jump[row, column + k]))
    share = min(max((most - _FAINT) / (_FULL - _FAINT), 0.0), 1.0)
    ink: float = share * (0.25 + 0.75 * clear)
    return ink


@inlined
def _cover(codes: Bytes, lattices: Floats, row: float, column: float) -> int:
    """What covers the ground at a place, from the first lattice that holds it; 0 for nothing."""
    for k in range(lattices.shape[0]):
        cell_row = math.floor((row - lattices[k, 3]) * lattices[k, 5])
        cell_column = math.floor((column - lattices[k, 4]) * lattices[k, 6])
        if 0 <= cell_row < lattices[k, 1] and 0 <= cell_column < lattices[k, 2]:
            return int(codes[int(lattices[k, 0]) + int(cell_row) * int(lattices[k, 2]) + int(cell_column)])
    return 0


@compiled
def _light_up(
    away_m: float,
    bearing: float,
    slope: float,
    across_m: float,
    down_m: float,
    eye_row: float,
    eye_column: float,
    spacing_x_m: float,
    spacing_y_m: float,
    ladder_m: Floats32,
    sizes: Integers,
    codes: Bytes,
    lattices: Floats,
    light: Floats,
    steepened: float,
    colours: Floats,
    weights: Floats,
    rise: Floats,
    tone: Floats,
) -> None:
    """Colour of the ground a ray meets, before haze: ``tone``, (3,), is filled.

    bearing : radians
    across_m, down_m : ground that a pixel covers across the sight line and along it
    weights, rise : scratch
    """
    east, north = math.sin(bearing), math.cos(bearing)
    row = eye_row - away_m * north / spacing_y_m
    column = eye_column + away_m * east / spacing_x_m
    covers_m = math.sqrt(across_m * max(across_m, down_m))
    fineness = math.log2(max(covers_m / min(spacing_x_m, spacing_y_m), 1.0))
    fineness = min(fineness, sizes.shape[0] - 1.0)
    level = int(fineness)
    coarser = fineness - level
    rise[0], rise[1] = 0.0, 0.0
    add_smooth_slope(ladder_m, sizes, level, row, column, 1.0 - coarser, weights, rise)
    if coarser > 0.0:
        add_smooth_slope(ladder_m, sizes, level + 1, row, column, coarser, weights, rise)
    eastward, northward = rise[0] / spacing_x_m, -rise[1] / spacing_y_m
    # How squarely the ground faces the eye: what bends away is darker, as on a round thing.
    length = math.sqrt(1.0 + eastward * eastward + northward * northward)
    toward = min(max((eastward * east + northward * north - slope) / length / 0.4, 0.0), 1.0)
    tone_share = 1.0 - light[ROUNDING] * (1.0 - toward) * (1.0 - toward)
    # A grain in plan would be drawn out into streaks on steep ground.
    grains = grain(column * spacing_x_m, row * spacing_y_m, max(across_m, 0.5 * down_m))
    tone_share *= 1.0 + light[GRAIN] * grains / (length * length)
    eastward, northward = eastward * steepened, northward * steepened
    azimuth = light[AZIMUTH] + (bearing if light[TURNS] > 0.0 else 0.0)
    facing = eastward * math.sin(azimuth) + northward * math.cos(azimuth)
    facing = math.sin(light[ALTITUDE]) - math.cos(light[ALTITUDE]) * facing
    facing = max(facing / math.sqrt(1.0 + eastward * eastward + northward * northward), 0.0)
    # Level ground has the middle tone.
    lit = light[AMBIENT] + (1.0 - light[AMBIENT]) * facing
    level_lit = light[AMBIENT] + (1.0 - light[AMBIENT]) * math.sin(light[ALTITUDE])
    code = _cover(codes, lattices, row, column)
    for k in range(3):
        middle = colours[FIRST_TINT + code - 1, k] if code > 0 else colours[MIDDLE, k]
        if lit <= level_lit:
            tone[k] = colours[SHADE, k] + lit / level_lit * (middle - colours[SHADE, k])
        else:
            # What is tinted takes less of the light's own colour.
            share = (0.45 if code > 0 else 1.0) * (lit - level_lit) / max(1.0 - level_lit, 1e-6)
            tone[k] = middle + share * (colours[LIGHT, k] - middle)
        tone[k] *= tone_share


@compiled
def paint_rows(
    first_deg: float,
    step_deg: float,
    stretches: Floats32,
    offsets: Integers,
    void_slope: Floats,
    open_slope: Floats,
    bearing_deg: Floats,
    slope: Floats,
    pixel: float,
    eye_row: float,
    eye_column: float,
    spacing_x_m: float,
    spacing_y_m: float,
    ladder_m: Floats32,
    sizes: Integers,
    codes: Bytes,
    lattices: Floats,
    light: Floats,
    haze_half_m: float,
    steepened: float,
    colours: Floats,
    first_row: int,
    picture: Bytes,
) -> None:
    """Paint some rows of a picture: ``picture``, (rows, columns, 3), is filled.

    first_deg ... open_slope : ``stretches.SeenStretches``
    bearing_deg, slope : (rows DOWN + 2 MARGIN, columns ACROSS + 2 MARGIN) of the places looked at
    pixel : radians across a pixel
    ladder_m, sizes : ``smooth_slopes.SlopeLadder``
    codes : (n,) what covers the ground, lattice after lattice, each row after row: k for the tint k - 1
    lattices : (m, 7) where a lattice begins among the codes, its rows, its columns; row and column among the
        posts of its north-western corner; its cells to a post down and across; the finest lattice first
    light : by AZIMUTH and so on; colours : by SHADE and so on
    first_row : number of the first of the rows in the whole picture
    """
    bearings = void_slope.size
    distance_m, jump = np.empty(slope.shape, np.float32), np.empty(slope.shape, np.float32)
    for r in range(slope.shape[0]):
        for c in range(slope.shape[1]):
            b = bearing_number(first_deg, step_deg, bearings, bearing_deg[r, c])
            distance_m[r, c] = np.nan
            if b >= 0:
                distance_m[r, c] = look_up(
                    stretches, offsets[b], offsets[b + 1], void_slope[b], open_slope[b], slope[r, c]
                )
    _find_jumps(distance_m, jump)
    weights, rise, tone, total = np.empty((4, 4)), np.empty(2), np.empty(3), np.empty(3)
    for y in range(picture.shape[0]):
        for x in range(picture.shape[1]):
            top, left = MARGIN + y * DOWN, MARGIN + x * ACROSS
            nearest_m, farthest_m, whole = np.inf, 0.0, True
            for r in range(top, top + DOWN):
                for c in range(left, left + ACROSS):
                    here_m = abs(np.float64(distance_m[r, c]))
                    whole = whole and bool(here_m < np.inf and abs(jump[r, c]) < _UNBROKEN)
                    nearest_m, farthest_m = min(nearest_m, here_m), max(farthest_m, here_m)
            whole = whole and farthest_m <= _ONE_PIECE * nearest_m
            lit_m, same = -1.0, _SAME
            if whole and lattices.shape[0] > 0:
                codes_met = 0
                for r in range(top, top + DOWN):
                    for c in range(left, left + ACROSS):
                        turn = math.radians(bearing_deg[r, c])
                        away_m = abs(np.float64(distance_m[r, c]))
                        row = eye_row - away_m * math.cos(turn) / spacing_y_m
                        column = eye_column + away_m * math.sin(turn) / spacing_x_m
                        codes_met |= 1 << _cover(codes, lattices, row, column)
                if codes_met & (codes_met - 1):
                    whole, same = False, 0.0
            total[:] = 0.0
            for r in range(top, top + DOWN):
                for c in range(left, left + ACROSS):
                    here_m = np.float64(distance_m[r, c])
                    if not abs(here_m) < np.inf:
                        high = min(max(slope[r, c] / _HIGH_SKY, 0.0), 1.0)
                        veil = 0.0
                        if here_m == here_m:
                            b = bearing_number(first_deg, step_deg, bearings, bearing_deg[r, c])
                            veil = min((open_slope[b] - slope[r, c]) / _VEIL_FADES, 1.0) * _VEIL_OF_SKY
                        for k in range(3):
                            sky = colours[HAZE, k] + high * (colours[ZENITH, k] - colours[HAZE, k])
                            total[k] += sky + veil * (colours[UNKNOWN, k] - sky)
                        continue
                    away_m = abs(here_m)
                    if lit_m < 0.0 or not (whole or abs(away_m - lit_m) < same * away_m):
                        clear = _CLEAREST + (1.0 - _CLEAREST) * 2.0 ** (-away_m / haze_half_m)
                        _light_up(
                            away_m,
                            math.radians(bearing_deg[r, c]),
                            slope[r, c],
                            away_m * pixel,
                            farthest_m - nearest_m if whole else 0.0,
                            eye_row,
                            eye_column,
                            spacing_x_m,
                            spacing_y_m,
                            ladder_m,
                            sizes,
                            codes,
                            lattices,
                            light,
                            steepened,
                            colours,
                            weights,
                            rise,
                            tone,
                        )
                        if here_m < 0.0:
                            for k in range(3):
                                tone[k] += _VEIL_OF_GROUND * (colours[UNKNOWN, k] - tone[k])
                        lit_m = away_m
                    ink = _ink(jump, r, c, clear)
                    for k in range(3):
                        ground = colours[HAZE, k] + clear * (tone[k] - colours[HAZE, k])
                        line = colours[HAZE, k] + math.sqrt(clear) * (colours[INK, k] - colours[HAZE, k])
                        total[k] += ground + ink * (line - ground)
            for k in range(3):
                # Sky and hazy ground would show bands of one byte each; a grain too faint to see breaks them.
                tone_byte = 255.0 * total[k] / (DOWN * ACROSS) + 0.5 + 0.5 * speck(x, first_row + y, k)
                picture[y, x, k] = int(min(max(tone_byte, 0.0), 255.0))
