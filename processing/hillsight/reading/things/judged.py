"""Map features judged sample by sample: where each is seen, hidden or unknown."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.reading.things.extent import within_arc
from hillsight.reading.things.samples import sample

if TYPE_CHECKING:
    import geopandas

    from hillsight.arrays import Flags, Floats, Integers
    from hillsight.reading.view import View


@dataclass(frozen=True)
class Judged:
    """The samples of one feature that lie in the sector; each array (n,), n >= 1.

    easting_m, northing_m : places on the grid
    weight : share of the feature each stands for; 0 on an area's outline
    bearing_deg, distance_m : true bearing and ground distance from the station
    near : within the reach
    clearance_m : as in ``sight.points.PointSight``
    ground_m, slope, crest_distance_m : likewise
    number : samples next to each other along a line follow each other in number; see ``samples.Samples``
    """

    easting_m: Floats
    northing_m: Floats
    weight: Floats
    bearing_deg: Floats
    distance_m: Floats
    near: Flags
    clearance_m: Floats
    ground_m: Floats
    slope: Floats
    crest_distance_m: Floats
    number: Integers

    @property
    def seen(self) -> Flags:
        """Samples that are seen, within the reach."""
        with np.errstate(invalid="ignore"):
            seen: Flags = self.near & (self.clearance_m >= 0)
        return seen

    @property
    def hidden(self) -> Flags:
        """Samples that known ground hides, within the reach."""
        with np.errstate(invalid="ignore"):
            hidden: Flags = self.near & (self.clearance_m < 0)
        return hidden

    @property
    def unknown(self) -> Flags:
        """Samples within the reach that cannot be judged."""
        unknown: Flags = self.near & np.isnan(self.clearance_m)
        return unknown


def judge(
    view: View, features: geopandas.GeoDataFrame, sector: tuple[float, float] | None = None
) -> list[Judged | None]:
    """Judge every feature; None for those with nothing in the sector.

    Parameters
    ----------
    features : columns target_height_m (NaN takes the view's) and geometry, in the view's CRS
    sector : true bearings, clockwise from left to right; None for all round
    """
    if len(features) == 0:
        return []
    spacing_m = min(view.grid.spacing_x_m, view.grid.spacing_y_m) / 2
    samples = [sample(geometry, spacing_m) for geometry in features.geometry]
    counts = np.array([s.weight.size for s in samples])
    easting = np.concatenate([s.easting_m for s in samples])
    northing = np.concatenate([s.northing_m for s in samples])
    heights_m = features["target_height_m"].to_numpy(np.float64)
    heights_m = np.where(np.isnan(heights_m), view.viewing.target_height_m, heights_m)
    # All at once: the posts are lowered and the geodesics solved in one go.
    bearing, distance_m = view.measure(easting, northing)
    sight = view.at(easting, northing, np.repeat(heights_m, counts))
    columns = (
        easting,
        northing,
        np.concatenate([s.weight for s in samples]),
        bearing,
        distance_m,
        view.grid_distance_m(easting, northing) <= view.viewing.reach_m,
        sight.clearance_m,
        sight.ground_m,
        sight.slope,
        sight.crest_distance_m,
        np.concatenate([s.number for s in samples]),
    )
    inside = np.ones(easting.size, bool) if sector is None else within_arc(bearing, *sector)
    ends = np.cumsum(counts)
    judged: list[Judged | None] = []
    for start, end in zip(ends - counts, ends, strict=True):
        chosen = start + np.flatnonzero(inside[start:end])
        judged.append(Judged(*(column[chosen] for column in columns)) if chosen.size else None)
    return judged
