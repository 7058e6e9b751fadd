"""Near ground that may stand against the sky although the terrain has it a little too low for that.

A model whose posts stand a hundred metres apart misses brows and knolls of some metres. Near the eye these
are degrees, and hide a far skyline that the model has in view. So on each bearing the near ground that comes
nearest to the sky is found too, and of the two the higher one is taken, with both errors.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from hillsight.kernels.compiled import compiled

if TYPE_CHECKING:
    from hillsight.arrays import AnyArray, Floats

#: Near ground is looked for at so many distances, half a post apart; the first are the eye's own ground.
_FIRST, _LAST = 2, 12

#: Nearer than this share of the distance of what stands against the sky.
_NEARER = 0.7

#: How likely, at least, near ground stands against the sky where its errors count.
_COUNTS_FROM = 1e-3


@compiled
def near_ground(
    height_m: AnyArray,
    rough_m: AnyArray,
    error_share: float,
    row: Floats,
    column: Floats,
    level_m: Floats,
    spacing_x_m: float,
    spacing_y_m: float,
    drop_per_m: float,
    bearing_rad: Floats,
    distance_m: Floats,
    found: Floats,
) -> None:
    """The near ground that may soonest stand against the sky.

    Parameters
    ----------
    height_m, rough_m : (rows, columns) of the posts, and how rough the ground about each is
    error_share : one standard deviation of the ground as a share of that roughness
    row, column, level_m : (p,) of the places, in posts, and the level of the eyes
    bearing_rad : (b,) from grid north
    distance_m : (p, b) of what stands against the sky
    found : (2, p, b) filled with vertical angle, degrees, and distance; NaN where there is none
    """
    rows, columns = height_m.shape
    step_m = 0.5 * max(spacing_x_m, spacing_y_m)
    for p in range(row.size):
        for b in range(bearing_rad.size):
            found[0, p, b], found[1, p, b] = math.nan, math.nan
            east, north = math.sin(bearing_rad[b]), math.cos(bearing_rad[b])
            best = -math.inf
            for k in range(_FIRST, _LAST + 1):
                away_m = step_m * k
                if not away_m < _NEARER * distance_m[p, b]:
                    break
                r, c = row[p] - north * away_m / spacing_y_m, column[p] + east * away_m / spacing_x_m
                top, left = math.floor(r), math.floor(c)
                if top < 0 or left < 0 or top >= rows - 1 or left >= columns - 1:
                    break
                down, right = r - top, c - left
                ground_m = (1.0 - down) * (
                    (1.0 - right) * height_m[top, left] + right * height_m[top, left + 1]
                ) + down * ((1.0 - right) * height_m[top + 1, left] + right * height_m[top + 1, left + 1])
                rise_m = ground_m - drop_per_m * away_m * away_m - level_m[p]
                error_m = error_share * rough_m[round(r), round(c)]
                hopeful = (rise_m + error_m) / away_m
                if hopeful > best:
                    best = hopeful
                    found[0, p, b] = math.atan(rise_m / away_m) * 180.0 / math.pi
                    found[1, p, b] = away_m


def higher_of(far: Floats, near: Floats) -> Floats:
    """Rows of the sky, (p, 6, b), where near ground may stand before what the terrain has against it.

    The larger of two normal errors is taken for normal, with the mean and the variance that it has (Clark
    1961, Oper. Res. 9, from memory). What the place adds is shared by both.

    Parameters
    ----------
    far, near : (p, 6, b) see ``sky_rows``; near is NaN where there is none
    """
    a, b = far[:, 0], near[:, 0]
    own_a, own_b = far[:, 1] ** 2, near[:, 1] ** 2
    all_a, all_b = own_a + (far[:, 3:] ** 2).sum(axis=1), own_b + (near[:, 3:] ** 2).sum(axis=1)
    apart = np.sqrt(own_a + own_b + ((far[:, 3:] - near[:, 3:]) ** 2).sum(axis=1))
    by = (a - b) / np.maximum(apart, 1e-9)
    share = special.ndtr(by)
    density = apart * np.exp(-0.5 * by**2) / np.sqrt(2.0 * np.pi)
    mean = a * share + b * (1.0 - share) + density
    square = (a**2 + all_a) * share + (b**2 + all_b) * (1.0 - share) + (a + b) * density
    place = share[:, None] * far[:, 3:] + (1.0 - share)[:, None] * near[:, 3:]
    left = square - mean**2 - (place**2).sum(axis=1)
    counts = np.nan_to_num(1.0 - share) >= _COUNTS_FROM
    found = far.copy()
    found[:, 0] = np.where(counts, mean, a)
    found[:, 1] = np.where(counts, np.sqrt(np.maximum(left, np.minimum(own_a, own_b))), far[:, 1])
    # Its errors are alike as those of the ground are that most of them come from.
    found[:, 2] = np.where(counts & (left > 2.0 * own_a), near[:, 2], far[:, 2])
    found[:, 3:] = np.where(counts[:, None], place, far[:, 3:])
    return found
