"""The view from one eye over a sector, ready to be laid on any picture."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from hillsight.reading.drawn.crests import crest_tracks, sky_pieces
from hillsight.reading.drawn.fan import fan_of, ground_angle_deg
from hillsight.reading.drawn.traces import feature_traces
from hillsight.reading.things.bearing_list import bearing_list
from hillsight.sight.far_sky import FarGround
from hillsight.sight.smooth_slopes import SlopeLadder

if TYPE_CHECKING:
    import geopandas

    from hillsight.arrays import Floats
    from hillsight.ground.magnetic import Declination
    from hillsight.reading.drawn.crests import CrestTrack, SkyPiece
    from hillsight.reading.drawn.fan import Fan
    from hillsight.reading.drawn.traces import FeatureTrace
    from hillsight.reading.view import SightLines

#: Lines of ground equally far off start here (m); each is so many times as far as the one before, up to a
#: distance and beyond it: near ground is drawn flat, and needs fewer.
_FIRST_RANGE_M, _NEAR_M, _NEAR_RATIO, _FAR_RATIO = 4.0, 400.0, 1.18, 1.065


@dataclass(frozen=True)
class RangeLine:
    """Ground equally far off, as far as it is seen.

    distance_m : on the grid
    angle_deg : (n,) for each bearing of the fan; NaN where it is not seen
    """

    distance_m: float
    angle_deg: Floats


@dataclass(frozen=True)
class DrawnView:
    """What a drawn view is made of.

    lines : the eye and its sight lines
    fan : the bearings looked along, over the sector and from its left edge to its right
    sky, crests : lines of the fan
    features : map features as given, in the working CRS; None where there are none
    listed : the layer ``bearing_list`` of them but for ``station``, each row's index the place of its feature
    traces : seen pieces of lines and of areas' outlines
    declination : magnetic north, where a day was given
    """

    lines: SightLines
    fan: Fan
    sky: tuple[SkyPiece, ...]
    crests: tuple[CrestTrack, ...]
    features: geopandas.GeoDataFrame | None
    listed: geopandas.GeoDataFrame | None
    traces: tuple[FeatureTrace, ...]
    declination: Declination | None

    @property
    def spacing_m(self) -> float:
        """The wider spacing of the terrain's posts."""
        return max(self.lines.grid.spacing_x_m, self.lines.grid.spacing_y_m)

    @property
    def left_grid_deg(self) -> float:
        """Grid bearing of the sector's left edge."""
        return float(self.fan.bearing_grid_deg[0])

    @property
    def span_deg(self) -> float:
        """Width of the sector."""
        return float(self.fan.bearing_grid_deg[-1] - self.fan.bearing_grid_deg[0])

    @property
    def convergence_deg(self) -> float:
        """True bearing of grid north at the eye."""
        return float(self.lines.geodesy.convergence_deg(self.lines.easting_m, self.lines.northing_m))

    @cached_property
    def far(self) -> FarGround:
        """All ground that may stand against the sky."""
        return self.lines.far if self.lines.far is not None else FarGround.of(self.lines.surface)

    @cached_property
    def slopes(self) -> SlopeLadder:
        """Slopes for light, made once for all pictures of the view."""
        return SlopeLadder.of(self.far.surface.height_m)

    @cached_property
    def ranges(self) -> tuple[RangeLine, ...]:
        """Ground at distances that grow by even ratios, nearest first: they show how it lies."""
        return tuple(_range_lines(self))


def drawn_view(
    lines: SightLines,
    left_grid_deg: float,
    span_deg: float,
    step_deg: float,
    *,
    features: geopandas.GeoDataFrame | None = None,
    declination: Declination | None = None,
) -> DrawnView:
    """Look over a sector.

    Parameters
    ----------
    left_grid_deg, span_deg : the sector's left edge from grid north, and its width up to 360
    step_deg : wanted between bearings: about a pixel of the finest picture to be made
    features : columns name, kind, evidence_class, target_height_m, source and geometry
    """
    fan = fan_of(lines, left_grid_deg, span_deg, step_deg)
    spacing_m = max(lines.grid.spacing_x_m, lines.grid.spacing_y_m)
    listed, traces = None, []
    if features is not None:
        listed = bearing_list(lines, features, None, declination=declination).frame
        traces = feature_traces(lines, features, listed)
    return DrawnView(
        lines,
        fan,
        tuple(sky_pieces(fan, spacing_m)),
        tuple(crest_tracks(fan, spacing_m)),
        features,
        listed,
        tuple(traces),
        declination,
    )


def _range_lines(view: DrawnView) -> list[RangeLine]:
    fan = view.fan
    sky_m = np.where(np.isfinite(fan.sky_m), fan.sky_m, -np.inf)
    found, distance_m = [], _FIRST_RANGE_M
    while distance_m < sky_m.max(initial=0.0):
        angle = ground_angle_deg(view.lines, fan.bearing_grid_deg, np.full(sky_m.size, distance_m))
        angle[fan.hidden(distance_m) | (distance_m > sky_m)] = np.nan
        if np.isfinite(angle).any():
            found.append(RangeLine(distance_m, angle))
        distance_m *= _NEAR_RATIO if distance_m < _NEAR_M else _FAR_RATIO
    return found
