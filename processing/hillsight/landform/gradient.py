"""Slope, aspect and curvature from the 3 x 3 posts around each post.

Horn's weighted differences are the formula of Hill shading and the reflectance map (Proceedings of the IEEE
69, 1981); the least-squares quadratic is that of I. S. Evans, An integrated system of terrain analysis and
slope mapping (Zeitschrift fuer Geomorphologie, Supplementband 36, 1980). Both are written from memory; the
tests hold the first to published figures and the second to surfaces with known derivatives.

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


@dataclass(frozen=True)
class Bend:
    """The quadratic fitted at each post, all (rows, columns) float64; curvatures per metre, NaN where level.

    slope_deg : from level
    profile_per_m : of the surface along the line of fall; positive is convex (the slope steepens downhill)
    contour_per_m : of the contour in plan; positive is convex (a spur), 1 / radius on a cone
    tangential_per_m : of the surface across the line of fall, which is the contour's times the sine of the
        slope: steady where the ground is nearly level
    dz_dx, dz_dy : rise over run toward grid east and grid north
    d2z_dx2, d2z_dy2, d2z_dxdy : second derivatives, per metre
    """

    slope_deg: Floats
    profile_per_m: Floats
    contour_per_m: Floats
    tangential_per_m: Floats
    dz_dx: Floats
    dz_dy: Floats
    d2z_dx2: Floats
    d2z_dy2: Floats
    d2z_dxdy: Floats


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


def evans(height_m: Floats, spacing_x_m: float, spacing_y_m: float) -> Bend:
    """Slope and curvature from the quadratic that fits the nine posts best, by least squares."""
    (nw, north, ne), (west, here, east), (sw, south, se) = _neighbours(height_m)
    eastern, middle, western = ne + east + se, north + here + south, nw + west + sw
    northern, level, southern = nw + north + ne, west + here + east, sw + south + se
    known = 0 * (eastern + middle + western)
    dz_dx = (eastern - western) / (6 * spacing_x_m) + known
    dz_dy = (northern - southern) / (6 * spacing_y_m) + known
    d2z_dx2 = (eastern - 2 * middle + western) / (3 * spacing_x_m**2)
    d2z_dy2 = (northern - 2 * level + southern) / (3 * spacing_y_m**2)
    d2z_dxdy = (ne + sw - nw - se) / (4 * spacing_x_m * spacing_y_m) + known
    square = dz_dx**2 + dz_dy**2
    along = dz_dx**2 * d2z_dx2 + 2 * dz_dx * dz_dy * d2z_dxdy + dz_dy**2 * d2z_dy2
    across = dz_dy**2 * d2z_dx2 - 2 * dz_dx * dz_dy * d2z_dxdy + dz_dx**2 * d2z_dy2
    with np.errstate(divide="ignore", invalid="ignore"):
        sloping = np.where(square > 0, square, np.nan)
        profile = -along / (sloping * (1 + sloping) ** 1.5)
        contour = -across / sloping**1.5
        tangential = -across / (sloping * np.sqrt(1 + sloping))
    shape = height_m.shape
    steepness_deg = _steepness_deg(dz_dx, dz_dy)
    parts = (steepness_deg, profile, contour, tangential, dz_dx, dz_dy, d2z_dx2, d2z_dy2, d2z_dxdy)
    return Bend(*(_framed(part, shape) for part in parts))


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
