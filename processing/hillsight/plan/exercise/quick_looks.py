"""What very many places show at a glance: skyline, first brow and the run of the ground, bearing by bearing.

No things and no errors: it is what places are chosen by before any of them is looked from with care.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.arrays import known_or
from hillsight.reading.ground.brows import first_brows
from hillsight.sight.bearings import see_bearings
from hillsight.sight.sky_rounds import sky_rounds
from hillsight.sight.viewing import Eye

if TYPE_CHECKING:
    from collections.abc import Callable

    from hillsight.arrays import Floats, Integers
    from hillsight.sight.far_sky import FarGround

#: Bearings all round, by true north.
BEARINGS = 120
STEP_DEG = 360.0 / BEARINGS

#: A brow farther off is none: it belongs to no near ground.
BROW_WITHIN_M = 1_500.0

#: The slope ahead is taken to here, or over two posts; the form of the ground ahead is judged there and as
#: far to each side.
_AHEAD_M, _FORM_AT_M, _FORM_BESIDE_M = 150.0, 300.0, 200.0

#: Eyes between two reports of progress.
_AT_A_TIME = 64


@dataclass(frozen=True)
class QuickLooks:
    """What n places show, (n,) each, or (n, BEARINGS) by true bearing from north.

    skyline_deg, skyline_m : vertical angle of the sky's edge, and its distance on the grid
    brow_m : distance of the first brow, infinite where there is none within BROW_WITHIN_M
    hidden_m : how much ground along the bearing is out of view behind it, to BROW_WITHIN_M
    ahead_deg : slope of the ground ahead, falling negative
    form_deg : how the ground ahead stands above that to both sides of it: a spur positive, a re-entrant
        negative
    """

    easting_m: Floats
    northing_m: Floats
    ground_m: Floats
    skyline_deg: Floats
    skyline_m: Floats
    brow_m: Floats
    hidden_m: Floats
    ahead_deg: Floats
    form_deg: Floats

    def __len__(self) -> int:
        return int(self.easting_m.size)

    def at(self, direction_deg: Floats, half_width_deg: float) -> Integers:
        """Indices of the bearings from left to right of a middle, (d, k)."""
        half = max(1, int(half_width_deg // STEP_DEG))
        middle = np.rint(np.asarray(direction_deg) / STEP_DEG).astype(np.int64)
        indices: Integers = (middle[:, None] + np.arange(-half, half + 1)) % BEARINGS
        return indices


def quick_looks(
    far: FarGround,
    easting_m: Floats,
    northing_m: Floats,
    eye_height_m: float,
    drop_per_m: float,
    convergence_deg: float,
    progress: Callable[[float], None] | None = None,
) -> QuickLooks:
    """Look from many places, (n,) each, that stand on known ground.

    Parameters
    ----------
    far : all ground that may stand against the sky
    drop_per_m : of curvature and refraction, the same for all; see ``sight.viewing.Eye``
    convergence_deg : grid north's true bearing, the same for all
    """
    surface, grid = far.surface, far.surface.grid
    bearings_deg = np.asarray(np.arange(BEARINGS) * STEP_DEG - convergence_deg, np.float64)
    east, north = np.sin(np.radians(bearings_deg)), np.cos(np.radians(bearings_deg))
    ground_m = surface.heights_at_m(easting_m, northing_m)
    rows, columns = grid.to_array(easting_m, northing_m)
    level_m = ground_m + eye_height_m
    sky = sky_rounds(far, rows, columns, level_m, drop_per_m, bearings_deg)
    brow_m, hidden_m = np.full((2, easting_m.size, BEARINGS), np.inf)
    for k in range(easting_m.size):
        eye = Eye.on(grid, float(easting_m[k]), float(northing_m[k]), float(level_m[k]), drop_per_m)
        brows = first_brows(see_bearings(surface, eye, BROW_WITHIN_M, bearings_deg).crests)
        brow_m[k] = known_or(brows.brow_m, np.inf)
        out_m = np.minimum(known_or(brows.out_again_m, BROW_WITHIN_M), BROW_WITHIN_M)
        hidden_m[k] = np.where(np.isfinite(brow_m[k]), out_m - brow_m[k], 0.0)
        if progress is not None and k % _AT_A_TIME == 0:
            progress(k / easting_m.size)
    ahead_m = max(_AHEAD_M, 2.0 * max(grid.spacing_x_m, grid.spacing_y_m))

    def height_m(along_m: float, beside_m: float) -> Floats:
        """Of the ground so far ahead and so far to the right, less that underfoot; nought where unknown."""
        there = surface.heights_at_m(
            easting_m[:, None] + along_m * east + beside_m * north,
            northing_m[:, None] + along_m * north - beside_m * east,
        )
        return known_or(there - ground_m[:, None], 0.0)

    sides_m = (height_m(_FORM_AT_M, -_FORM_BESIDE_M) + height_m(_FORM_AT_M, _FORM_BESIDE_M)) / 2.0
    form_m = height_m(_FORM_AT_M, 0.0) - sides_m
    return QuickLooks(
        easting_m,
        northing_m,
        ground_m,
        known_or(sky.angle_deg.astype(np.float64), 0.0),
        known_or(sky.distance_m.astype(np.float64), 0.0),
        brow_m,
        hidden_m,
        np.degrees(np.arctan(height_m(ahead_m, 0.0) / ahead_m)),
        np.degrees(np.arctan(form_m / _FORM_BESIDE_M)),
    )
