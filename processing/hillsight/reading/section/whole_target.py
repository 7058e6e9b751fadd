"""What is seen of a whole line or area that a section leads to: the section itself meets one point of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import geopandas
import numpy as np

from hillsight.reading.things.judged import judge
from hillsight.sight.points import see_points

if TYPE_CHECKING:
    import shapely

    from hillsight.arrays import Floats
    from hillsight.ground.geodesy import Geodesy
    from hillsight.ground.grid import Grid, Surface
    from hillsight.sight.points import PointSight
    from hillsight.sight.viewing import Eye, Viewing


@dataclass(frozen=True)
class WholeTarget:
    """How much of a target is seen, as a bearing list judges it.

    state : visible, partly, hidden or unknown
    visible_share : 0 to 1; None where nothing of it can be judged
    """

    state: str
    visible_share: float | None


@dataclass(frozen=True)
class Standpoint:
    """An eye on ground that holds it and all of a target."""

    easting_m: float
    northing_m: float
    surface: Surface
    eye: Eye
    viewing: Viewing
    geodesy: Geodesy

    @property
    def grid(self) -> Grid:
        """The lattice of the surface."""
        return self.surface.grid

    def measure(self, eastings_m: Floats, northings_m: Floats) -> tuple[Floats, Floats]:
        """True bearing (degrees) and ground distance (m, ellipsoid) of places."""
        return self.geodesy.inverse(self.easting_m, self.northing_m, eastings_m, northings_m)

    def grid_distance_m(self, eastings_m: Floats, northings_m: Floats) -> Floats:
        """Distance of places on the grid."""
        return np.hypot(eastings_m - self.easting_m, northings_m - self.northing_m)

    def at(self, eastings_m: Floats, northings_m: Floats, heights_m: Floats | float) -> PointSight:
        """Clearance of things at places."""
        return see_points(self.surface, self.eye, *self.grid.to_array(eastings_m, northings_m), heights_m)


def whole_target(stand: Standpoint, shape: shapely.Geometry, height_m: float) -> WholeTarget:
    """Judge all of a target, however far it reaches.

    Parameters
    ----------
    shape : a line or an area, on the surface
    height_m : of the target above the ground
    """
    frame = geopandas.GeoDataFrame({"target_height_m": [height_m]}, geometry=[shape], crs=stand.grid.crs)
    (judged,) = judge(stand, frame)
    assert judged is not None  # without a sector all of it is judged
    return WholeTarget(judged.state, judged.visible_share)
