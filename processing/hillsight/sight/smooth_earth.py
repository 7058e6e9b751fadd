"""Radio over smooth ground: what the ground throws back and bends takes off a wave that nothing tops.

Over level ground low antennas hear far less than free space and edges tell, because the wave that the ground
throws back all but wipes out the direct one. Recommendation ITU-R P.526 has that as the loss over a smooth
sphere (section 3.2), and its complete method for any path (section 4.5.2) adds what the sphere costs more
than Bullington's model makes of it. Distances are metres, frequencies MHz, losses dB.

The formulae are from memory; they give the figures of the same method in a validation of ITU-R P.1812 (4.3.2
to 4.3.5) to the digits that it prints. Checked by: tests/outside/test_radio_tables.py
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.sight.radio import RadioPath, bullington_loss_db, wavelength_m

if TYPE_CHECKING:
    from hillsight.arrays import Floats


@dataclass(frozen=True)
class Soil:
    """What the wave meets: relative permittivity, and conductivity in S/m."""

    permittivity: float
    conductivity_s_per_m: float


#: Medium dry ground (P.526, section 3.1, from memory).
LAND = Soil(22.0, 0.003)


def general_loss_db(path: RadioPath, frequency_mhz: float) -> float:
    """Loss by diffraction over any path: Bullington's, and what smooth ground costs more than his model has.

    Source: Recommendation ITU-R P.526-16, section 4.5.2, complete method; antennas upright, over land
    """
    over_all = bullington_loss_db(path, frequency_mhz)
    if path.along_m.size == 0:
        return over_all
    from_m, to_m = (
        antenna - ground
        for antenna, ground in zip((path.from_level_m, path.to_level_m), smooth_ends_m(path), strict=True)
    )
    if not (from_m > 0 and to_m > 0):
        return over_all
    level = RadioPath(
        path.along_m, np.zeros_like(path.height_m), path.length_m, from_m, to_m, path.drop_per_m, 0.0, 0.0
    )
    smooth = bullington_loss_db(level, frequency_mhz)
    radius_m = 0.5 / path.drop_per_m if path.drop_per_m > 0 else np.inf
    sphere = sphere_loss_db(path.length_m, from_m, to_m, radius_m, frequency_mhz)
    return over_all + max(sphere - smooth, 0.0)


def smooth_ends_m(path: RadioPath) -> tuple[float, float]:
    """Heights of the ends of a straight line through the ground, no higher than the ground at the ends.

    Source: P.526-16, section 4.5.2 (as P.1812, Attachment 1, 5.6): a fit by least squares, lowered at the
    ends where ground tops the line between the antennas
    """
    along = np.concatenate(([0.0], path.along_m, [path.length_m]))
    height = np.concatenate(([path.from_ground_m], path.height_m, [path.to_ground_m]))
    step, length = np.diff(along), path.length_m
    first = float((step * (height[1:] + height[:-1])).sum())
    second = float(
        (
            step * (height[1:] * (2 * along[1:] + along[:-1]) + height[:-1] * (along[1:] + 2 * along[:-1]))
        ).sum()
    )
    start = (2.0 * first * length - second) / length**2
    end = (second - first * length) / length**2
    # Without the Earth's bulge, as the Recommendation has it.
    line_m = path.from_level_m + (path.to_level_m - path.from_level_m) * path.along_m / length
    above = path.height_m - line_m
    tops = float(above.max(initial=-np.inf))
    if tops > 0.0:
        out, back = float((above / path.along_m).max()), float((above / (length - path.along_m)).max())
        start, end = start - tops * out / (out + back), end - tops * back / (out + back)
    return min(start, path.from_ground_m), min(end, path.to_ground_m)


def sphere_loss_db(
    length_m: float,
    from_m: float,
    to_m: float,
    earth_radius_m: float,
    frequency_mhz: float,
    *,
    soil: Soil = LAND,
    upright: bool = True,
) -> float:
    """Loss over a smooth sphere between antennas above it, in sight of each other or not.

    Parameters
    ----------
    from_m, to_m : of the antennas above the sphere, > 0
    earth_radius_m : of the Earth as a straight ray has it; infinite or negative where rays bend as much
    upright : vertical polarisation, else horizontal

    Source: P.526-16, section 3.2
    """
    flat = not (np.isfinite(earth_radius_m) and earth_radius_m > 0)
    # So large a sphere is flat for any radio link on a hill.
    radius_m = 1e12 if flat else earth_radius_m
    roots = np.sqrt(from_m) + np.sqrt(to_m)
    if length_m >= np.sqrt(2.0 * radius_m) * roots:
        return max(_first_term_db(length_m, (from_m, to_m), radius_m, frequency_mhz, soil, upright), 0.0)
    uneven = (from_m - to_m) / (from_m + to_m)
    bulge = length_m**2 / (4.0 * radius_m * (from_m + to_m))
    turn = np.arccos(np.clip(1.5 * uneven * np.sqrt(3.0 * bulge / (bulge + 1.0) ** 3), -1.0, 1.0))
    share = 2.0 * np.sqrt((bulge + 1.0) / (3.0 * bulge)) * np.cos(np.pi / 3.0 + turn / 3.0)
    before_m = length_m / 2.0 * (1.0 + share)
    beyond_m = length_m - before_m
    clear_m = (
        (from_m - before_m**2 / (2 * radius_m)) * beyond_m + (to_m - beyond_m**2 / (2 * radius_m)) * before_m
    ) / length_m
    needed_m = 0.552 * np.sqrt(before_m * beyond_m * wavelength_m(frequency_mhz) / length_m)
    if clear_m > needed_m:
        return 0.0
    marginal_m = 0.5 * (length_m / roots) ** 2
    whole = _first_term_db(length_m, (from_m, to_m), marginal_m, frequency_mhz, soil, upright)
    return float((1.0 - clear_m / needed_m) * max(whole, 0.0))


def _first_term_db(
    length_m: float,
    antennas_m: tuple[float, float],
    radius_m: float,
    frequency_mhz: float,
    soil: Soil,
    upright: bool,
) -> float:
    """The first term of the loss beyond the horizon (P.526-16, section 3.1.1.2)."""
    radius_km, ghz = radius_m / 1000.0, frequency_mhz / 1000.0
    conducts = 18.0 * soil.conductivity_s_per_m / ghz
    admittance = 0.036 * (radius_km * ghz) ** (-1 / 3)
    admittance *= ((soil.permittivity - 1.0) ** 2 + conducts**2) ** -0.25
    if upright:
        admittance *= np.sqrt(soil.permittivity**2 + conducts**2)
    square = admittance * admittance
    beta = (1.0 + 1.6 * square + 0.67 * square**2) / (1.0 + 4.5 * square + 1.53 * square**2)
    far = 21.88 * beta * (ghz / radius_km**2) ** (1 / 3) * length_m / 1000.0
    if far >= 1.6:
        distance_db = 11.0 + 10.0 * np.log10(far) - 17.6 * far
    else:
        distance_db = -20.0 * np.log10(far) - 5.6488 * far**1.425
    heights = 0.9575 * beta * (ghz**2 / radius_km) ** (1 / 3) * np.array(antennas_m)
    return float(-distance_db - _height_gain_db(beta * heights, admittance).sum())


def _height_gain_db(risen: Floats, admittance: float) -> Floats:
    """What antennas gain by their height above the sphere."""
    with np.errstate(invalid="ignore"):
        above = np.maximum(risen - 1.1, 1e-9)
        high = 17.6 * np.sqrt(above) - 5.0 * np.log10(above) - 8.0
    low = 20.0 * np.log10(risen + 0.1 * risen**3)
    return np.asarray(np.maximum(np.where(risen > 2.0, high, low), 2.0 + 20.0 * np.log10(admittance)))
