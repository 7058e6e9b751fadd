"""Map features judged sample by sample: where each is seen, hidden or unknown."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np

from hillsight.reading.things.extent import within_arc
from hillsight.reading.things.samples import sample

if TYPE_CHECKING:
    import geopandas

    from hillsight.arrays import Flags, Floats, Integers
    from hillsight.ground.grid import Grid
    from hillsight.sight.points import PointSight
    from hillsight.sight.viewing import Viewing


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

    @property
    def state(self) -> str:
        """visible, partly, hidden, unknown or out_of_reach, by the terrain taken at its word."""
        if not self.near.any():
            return "out_of_reach"
        if self.seen.all():
            return "visible"
        if self.seen.any():
            return "partly"
        return "unknown" if self.unknown.any() else "hidden"

    @property
    def visible_share(self) -> float | None:
        """Share of what lies within the reach and can be judged that is seen; None where nothing can."""
        known = self.near & ~self.unknown
        weight = float(self.weight[known].sum())
        if weight > 0:
            return float(self.weight[self.seen].sum()) / weight
        return float(self.seen.any()) if known.any() else None


class Looks(Protocol):
    """What judges places: a ``reading.view.View``, or less."""

    @property
    def grid(self) -> Grid:
        """The lattice of the terrain."""

    @property
    def viewing(self) -> Viewing:
        """The reach, and the height of what has none of its own."""

    def measure(self, eastings_m: Floats, northings_m: Floats) -> tuple[Floats, Floats]:
        """True bearing and ground distance of places."""

    def grid_distance_m(self, eastings_m: Floats, northings_m: Floats) -> Floats:
        """Distance of places on the grid."""

    def at(self, eastings_m: Floats, northings_m: Floats, heights_m: Floats | float, /) -> PointSight:
        """Clearance of things at places."""


def judge(
    view: Looks, features: geopandas.GeoDataFrame, sector: tuple[float, float] | None = None
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
