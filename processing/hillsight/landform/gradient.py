"""Slope and aspect from the 3 x 3 posts around each post.

Horn's weighted differences are the formula of Hill shading and the reflectance map (Proceedings of the IEEE
69, 1981), written from memory; the tests hold it to published figures.

East and north are positive; heights are (rows, columns) float64, metres, row 0 north, NaN void. Posts on the
terrain's edge and posts with a void among their 3 x 3 come out NaN.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hillsight.arrays import Floats


@dataclass(frozen=True)
class Slope:
    """First derivatives at each post, all (rows, columns) float64.

    slope_deg : from level
    aspect_deg : bearing from grid north toward which the ground falls, 0 to below 360; NaN where level
    dz_dx, dz_dy : rise over run toward grid east and grid north
    """

    slope_deg: Floats
    aspect_deg: Floats
    dz_dx: Floats
    dz_dy: Floats


def horn(height_m: Floats, spacing_x_m: float, spacing_y_m: float) -> Slope:
    """Slope and aspect by Horn's differences: the nearer neighbours count twice."""
    (nw, north, ne), (west, here, east), (sw, south, se) = _neighbours(height_m)
    known = 0 * (nw + north + ne + west + here + east + sw + south + se)
    dz_dx = ((ne + 2 * east + se) - (nw + 2 * west + sw)) / (8 * spacing_x_m) + known
    dz_dy = ((nw + 2 * north + ne) - (sw + 2 * south + se)) / (8 * spacing_y_m) + known
    aspect_deg = np.degrees(np.arctan2(-dz_dx, -dz_dy)) % 360.0
    aspect_deg[aspect_deg == 360.0] = 0.0  # a hair west of north rounds up
    aspect_deg[(dz_dx == 0) & (dz_dy == 0)] = np.nan
    shape = height_m.shape
    return Slope(
        _framed(_steepness_deg(dz_dx, dz_dy), shape),
        _framed(aspect_deg, shape),
        _framed(dz_dx, shape),
        _framed(dz_dy, shape),
    )


def _neighbours(height_m: Floats) -> list[list[Floats]]:
    """The nine posts around every post within the edge: north to south, west to east."""
    rows, columns = (max(count - 2, 0) for count in height_m.shape)
    return [[height_m[r : r + rows, c : c + columns] for c in range(3)] for r in range(3)]


def _steepness_deg(dz_dx: Floats, dz_dy: Floats) -> Floats:
    return np.degrees(np.arctan(np.hypot(dz_dx, dz_dy)))


def _framed(inner: Floats, shape: tuple[int, ...]) -> Floats:
    """The values with the terrain's edge around them, NaN."""
    framed = np.full(shape, np.nan)
    framed[1:-1, 1:-1] = inner
    return framed
