"""Where somebody may stand with a class: on known ground, not in water, not too steep."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from hillsight.arrays import known_or

if TYPE_CHECKING:
    import geopandas

    from hillsight.arrays import Flags, Floats
    from hillsight.ground.grid import Surface

#: A stream on the map is kept clear of by so much, as its place there is no better.
_BESIDE_WATER_M = 15.0

#: Slope is taken over so much ground to each side, or over a post if that is more.
_SLOPE_OVER_M = 15.0

#: Ground that differs by less (m) over two posts each way is taken for a sheet of water. Common practice, no
#: source: survey files hold lakes perfectly level.
_LEVEL_M = 0.02

CAUTIONS = (
    "a person must check, on the map and on the ground, that every place can be reached and that it is "
    "lawful to stand there",
    "slopes are those of the terrain model: small crags, bog, and ground undercut by water do not show in "
    "it; on steep ground the leader on the spot decides",
)


@dataclass(frozen=True)
class Standing:
    """Which of n places somebody may stand at, and what is against the others, (n,) flags each."""

    off_terrain: Flags
    in_water: Flags
    too_steep: Flags

    @property
    def allowed(self) -> Flags:
        """Where nothing is against it."""
        return ~(self.off_terrain | self.in_water | self.too_steep)

    def words(self) -> str:
        """How many were passed over, and why; empty where none were."""
        steep = self.too_steep & ~self.in_water
        counts = (
            (int(self.off_terrain.sum()), "off the terrain or on a void"),
            (int(self.in_water.sum()), "in water"),
            (int(steep.sum()), "too steep"),
        )
        return ", ".join(f"{count:,} {why}" for count, why in counts if count)


def standing(
    surface: Surface,
    features: geopandas.GeoDataFrame | None,
    easting_m: Floats,
    northing_m: Floats,
    steepest_deg: float,
) -> Standing:
    """Judge places, (n,) each.

    Parameters
    ----------
    features : map features with evidence_class and geometry in the surface's grid; None for none
    steepest_deg : ground steeper than this is passed over
    """
    height_m = surface.heights_at_m(easting_m, northing_m)
    off = ~np.isfinite(height_m)
    spacing_m = max(surface.grid.spacing_x_m, surface.grid.spacing_y_m)
    over_m = max(_SLOPE_OVER_M, spacing_m)
    east, north = (
        surface.heights_at_m(easting_m + over_m * e, northing_m + over_m * n)
        - surface.heights_at_m(easting_m - over_m * e, northing_m - over_m * n)
        for e, n in ((1.0, 0.0), (0.0, 1.0))
    )
    slope_deg = np.degrees(np.arctan(np.hypot(known_or(east, 0.0), known_or(north, 0.0)) / (2.0 * over_m)))
    about = np.stack(
        [
            surface.heights_at_m(easting_m + spacing_m * e, northing_m + spacing_m * n)
            for e in (-1.0, 0.0, 1.0)
            for n in (-1.0, 0.0, 1.0)
        ]
    )
    # Where the terrain ends, what of it is known tells water from land.
    wet = known_or(about, -np.inf).max(axis=0) - known_or(about, np.inf).min(axis=0) < _LEVEL_M
    if features is not None:
        water = features[features["evidence_class"] == "water"].geometry
        if len(water):
            shape = shapely.union_all(shapely.buffer(shapely.force_2d(water.to_numpy()), _BESIDE_WATER_M))
            shapely.prepare(shape)
            wet |= shapely.intersects_xy(shape, easting_m, northing_m)
    return Standing(off, wet & ~off, (slope_deg > steepest_deg) & ~off)
