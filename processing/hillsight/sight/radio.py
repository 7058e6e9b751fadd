"""How radio waves get over the ground: free space, the first Fresnel zone, one sharp edge, several ridges.

Distances are metres, frequencies MHz, losses dB (positive: what is lost). The ray is straightened: ground
stands higher between the ends by the bulge of the Earth, ``drop_per_m`` times the distances to both ends,
with ``drop_per_m`` from ``ground.geodesy.drop_coefficient_per_m`` (refraction 0.25 is an Earth of 4/3 its
radius, Recommendation ITU-R P.526, section 1: "8 500 km if no other information is available").

Sources: Recommendations ITU-R P.525 (free space) and P.526 (diffraction). P.526-8 was read for section 2 and
the contents of P.526-16 for the numbers of its sections; the formulae of 4.1 and 4.5.1 are from memory and
agree with the same method as P.1812 4.3.1 has it, to the last digit of a validation profile of its Study
Group. Checked by: tests/outside/test_radio_tables.py
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from hillsight.arrays import Floats

#: Speed of light in metres a microsecond.
_LIGHT_M_PER_US = 299.792458

#: An edge parameter at and below which an edge costs nothing (P.526, 4.1).
NO_LOSS = -0.78


def wavelength_m(frequency_mhz: float) -> float:
    """Length of the wave in metres."""
    return _LIGHT_M_PER_US / frequency_mhz


def free_space_loss_db(distance_m: ArrayLike, frequency_mhz: float) -> Floats:
    """Loss between isotropic antennas with nothing between them: 20 log (4 pi d / wavelength).

    Source: Recommendation ITU-R P.525; 0 dB below a distance at which the formula would give a gain
    """
    ratio = 4.0 * np.pi * np.asarray(distance_m, np.float64) / wavelength_m(frequency_mhz)
    return np.asarray(20.0 * np.log10(np.maximum(ratio, 1.0)))


def fresnel_radius_m(before_m: ArrayLike, beyond_m: ArrayLike, frequency_mhz: float, zone: int = 1) -> Floats:
    """Radius of a Fresnel zone at a place on the line, metres.

    Parameters
    ----------
    before_m, beyond_m : distances of the place from the two ends, metres

    Source: Recommendation ITU-R P.526, section 2.1: sqrt(n wavelength d1 d2 / (d1 + d2))
    """
    first, second = np.asarray(before_m, np.float64), np.asarray(beyond_m, np.float64)
    return np.asarray(np.sqrt(zone * wavelength_m(frequency_mhz) * first * second / (first + second)))


def edge_parameter(
    above_line_m: ArrayLike, before_m: ArrayLike, beyond_m: ArrayLike, frequency_mhz: float
) -> Floats:
    """The parameter nu of a sharp edge: how far it reaches above the line between the ends, in zones.

    It is sqrt(2) times the height above the line in radii of the first Fresnel zone; negative below the line.

    Source: Recommendation ITU-R P.526, section 4.1
    """
    return np.asarray(
        np.sqrt(2.0)
        * np.asarray(above_line_m, np.float64)
        / fresnel_radius_m(before_m, beyond_m, frequency_mhz)
    )


def knife_edge_loss_db(edge: ArrayLike) -> Floats:
    """Loss at a single sharp edge of parameter nu, dB; 0 at and below -0.78.

    Source: Recommendation ITU-R P.526, section 4.1, its approximation for nu > -0.78, within 0.13 dB of the
    Fresnel integral
    """
    nu = np.asarray(edge, np.float64) - 0.1
    with np.errstate(invalid="ignore", divide="ignore"):
        loss = 6.9 + 20.0 * np.log10(np.sqrt(nu * nu + 1.0) + nu)
        return np.asarray(np.where(np.asarray(edge) > NO_LOSS, np.maximum(loss, 0.0), 0.0))


@dataclass(frozen=True)
class RadioPath:
    """What stands between two antennas.

    along_m : (n,) float64, metres from the first antenna, strictly between the ends, ascending
    height_m : (n,) float64, metres in the terrain's datum, of what stands there; no NaN
    length_m : between the antennas on the grid, > 0
    from_level_m, to_level_m : of the antennas, in the terrain's datum
    drop_per_m : (1 - refraction) / 2 R
    from_ground_m, to_ground_m : ground under the antennas, in the terrain's datum
    """

    along_m: Floats
    height_m: Floats
    length_m: float
    from_level_m: float
    to_level_m: float
    drop_per_m: float
    from_ground_m: float
    to_ground_m: float

    def __post_init__(self) -> None:
        if not self.length_m > 0:
            raise ValueError(f"antennas {self.length_m} m apart are one")
        if not (np.isfinite(self.height_m).all() and np.isfinite(self._ends_m).all()):
            raise ValueError("a radio path needs known heights")

    @property
    def _ends_m(self) -> tuple[float, float, float, float]:
        return self.from_level_m, self.to_level_m, self.from_ground_m, self.to_ground_m

    @property
    def bulge_m(self) -> Floats:
        """How far the Earth's bulge lifts the ground at each place."""
        return self.drop_per_m * self.along_m * (self.length_m - self.along_m)

    @property
    def above_line_m(self) -> Floats:
        """How far what stands there, lifted, reaches above the straight line between the antennas."""
        line_m = self.from_level_m + (self.to_level_m - self.from_level_m) * self.along_m / self.length_m
        return self.height_m + self.bulge_m - line_m

    def first_zone_clear(self, frequency_mhz: float) -> Floats:
        """Room below the line at each place in radii of the first Fresnel zone: 0 grazed, below 0 topped."""
        beyond_m = self.length_m - self.along_m
        return -self.above_line_m / fresnel_radius_m(self.along_m, beyond_m, frequency_mhz)

    def edges(self, frequency_mhz: float) -> Floats:
        """The edge parameter of each place, were it the only obstacle."""
        return np.asarray(-np.sqrt(2.0) * self.first_zone_clear(frequency_mhz))


def ridges(path: RadioPath) -> int:
    """How many separate pieces of ground top the line between the antennas."""
    over = path.above_line_m > 0.0
    return int(np.count_nonzero(over & ~np.r_[False, over[:-1]]))


def bullington_loss_db(path: RadioPath, frequency_mhz: float) -> float:
    """Loss by diffraction over any ground between, by one edge that stands for all of it.

    Where a ridge tops the line, the edge stands where the rays that graze the ground from both ends meet;
    else it is the worst single place. To its loss L the method adds (1 - exp(-L / 6)) (10 + 0.02 km).

    Source: Recommendation ITU-R P.526-16, section 4.5.1 (Bullington's model; from memory, see the module)
    """
    if path.along_m.size == 0:
        return 0.0
    lifted_m = path.height_m + path.bulge_m
    beyond_m = path.length_m - path.along_m
    rise_out = float(np.max((lifted_m - path.from_level_m) / path.along_m))
    fall_m = path.to_level_m - path.from_level_m
    if rise_out < fall_m / path.length_m:
        edge = float(np.max(path.edges(frequency_mhz)))
    else:
        rise_back = float(np.max((lifted_m - path.to_level_m) / beyond_m))
        # Where the line is only just grazed, the slopes cancel and meet anywhere on it.
        slopes = rise_out + rise_back
        meet_m = (fall_m + rise_back * path.length_m) / slopes if slopes > 0.0 else path.length_m / 2.0
        meet_m = min(max(meet_m, float(path.along_m[0])), float(path.along_m[-1]))
        above_m = rise_out * meet_m - fall_m * meet_m / path.length_m
        edge = float(edge_parameter(above_m, meet_m, path.length_m - meet_m, frequency_mhz))
    loss = float(knife_edge_loss_db(edge))
    return loss + (1.0 - float(np.exp(-loss / 6.0))) * (10.0 + 0.02 * path.length_m / 1000.0)
