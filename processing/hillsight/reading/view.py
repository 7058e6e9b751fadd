"""The view from one station over one surface: who looks, from where, and what each post answers."""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from hillsight.ground.geodesy import Geodesy, drop_coefficient_per_m
from hillsight.reading.ground.regions import HIDDEN, UNCERTAIN, UNKNOWN, VISIBLE
from hillsight.sight.bearings import CRESTS_KEPT, BearingSight, see_bearings
from hillsight.sight.far_sky import FarGround, to_the_sky
from hillsight.sight.maxima import Maxima
from hillsight.sight.points import PointSight, see_points
from hillsight.sight.posts import distance_from_m, see_posts
from hillsight.sight.under_cover import HIDDEN_BELOW, VISIBLE_ABOVE
from hillsight.sight.viewing import Eye, Viewing

if TYPE_CHECKING:
    from collections.abc import Callable

    from hillsight.arrays import Bytes, Flags, Floats, Floats32
    from hillsight.ground.grid import Grid, Surface
    from hillsight.sight.posts import PostSight

#: Posts worked out beyond the reach, so that edges of ground can be drawn right up to it.
MARGIN_POSTS = 2.5


@dataclass(frozen=True)
class SightLines:
    """An eye over a surface, and what its sight lines meet: all that needs no answer for every post.

    Parameters
    ----------
    easting_m, northing_m : the station, in the surface's grid
    ground_height_m : ground under the station, metres in the terrain's datum
    surface : posts around the station, to the reach and a margin beyond, or to the terrain's edge
    viewing : eye and target height, reach, refraction
    eye : the eye on the surface's lattice
    geodesy : geodesic measures of the surface's grid
    maxima : of the surface's blocks, so that nobody need make them again
    far : all ground that may stand against the sky; the surface alone where None
    """

    easting_m: float
    northing_m: float
    ground_height_m: float
    surface: Surface
    viewing: Viewing
    eye: Eye
    geodesy: Geodesy
    maxima: Maxima | None = None
    far: FarGround | None = None

    @classmethod
    def from_place(
        cls,
        surface: Surface,
        easting_m: float,
        northing_m: float,
        ground_height_m: float,
        viewing: Viewing,
        geodesy: Geodesy,
        maxima: Maxima | None = None,
        far: FarGround | None = None,
    ) -> SightLines:
        """The sight lines of a station whose ground height is known."""
        drop = drop_coefficient_per_m(geodesy.gaussian_radius_m(easting_m, northing_m), viewing.refraction)
        eye = Eye.on(surface.grid, easting_m, northing_m, ground_height_m + viewing.eye_height_m, drop)
        known = Maxima.over(surface) if maxima is None else maxima
        return SightLines(easting_m, northing_m, ground_height_m, surface, viewing, eye, geodesy, known, far)

    @property
    def grid(self) -> Grid:
        """The lattice of the surface."""
        return self.surface.grid

    def measure(self, eastings_m: Floats, northings_m: Floats) -> tuple[Floats, Floats]:
        """True bearing (degrees) and ground distance (m, ellipsoid) from the station to map positions."""
        bearing, distance = self.geodesy.inverse(self.easting_m, self.northing_m, eastings_m, northings_m)
        return np.asarray(bearing, float), np.asarray(distance, float)

    def grid_distance_m(self, eastings_m: Floats, northings_m: Floats) -> Floats:
        """Distance from the station to map positions on the grid."""
        return np.hypot(np.asarray(eastings_m) - self.easting_m, np.asarray(northings_m) - self.northing_m)

    def along(self, bearings_grid_deg: Floats, crests_kept: int = CRESTS_KEPT) -> BearingSight:
        """Crests to the reach along bearings from grid north, and the skyline to the sky's edge."""
        along = see_bearings(self.surface, self.eye, self.viewing.reach_m, bearings_grid_deg, crests_kept)
        if self.far is None:
            return along
        eye = self.eye
        return to_the_sky(
            self.far,
            self.easting_m,
            self.northing_m,
            eye.level_m,
            eye.drop_per_m,
            bearings_grid_deg,
            along,
        )

    def at(
        self,
        eastings_m: Floats,
        northings_m: Floats,
        target_heights_m: Floats | float,
    ) -> PointSight:
        """Clearance of targets at map positions."""
        rows, columns = self.grid.to_array(eastings_m, northings_m)
        return see_points(self.surface, self.eye, rows, columns, target_heights_m, self.maxima)


@dataclass(frozen=True, kw_only=True)
class View(SightLines):
    """What one station's eye sees; all that reading needs, worked out once.

    Parameters
    ----------
    posts : clearance and controlling crest of every post to just beyond the reach
    """

    posts: PostSight

    @classmethod
    def from_station(
        cls,
        surface: Surface,
        easting_m: float,
        northing_m: float,
        ground_height_m: float,
        viewing: Viewing,
        geodesy: Geodesy,
        progress: Callable[[float], None] | None = None,
        far: FarGround | None = None,
    ) -> View:
        """Look from a station whose ground height is known."""
        lines = SightLines.from_place(
            surface, easting_m, northing_m, ground_height_m, viewing, geodesy, far=far
        )
        margin_m = MARGIN_POSTS * float(np.hypot(surface.grid.spacing_x_m, surface.grid.spacing_y_m))
        posts = see_posts(
            surface,
            lines.eye,
            viewing.reach_m + margin_m,
            viewing.target_height_m,
            progress,
            maxima=lines.maxima,
        )
        return cls(**{field.name: getattr(lines, field.name) for field in fields(lines)}, posts=posts)

    @cached_property
    def distance_m(self) -> Floats:
        """Grid distance of every post, (rows, columns) float64."""
        return distance_from_m(self.grid, self.eye)

    @cached_property
    def within_reach(self) -> Flags:
        """Posts within the reach, (rows, columns)."""
        within: Flags = self.distance_m <= self.viewing.reach_m
        return within

    @cached_property
    def classes(self) -> Bytes:
        """UNKNOWN, HIDDEN, VISIBLE or UNCERTAIN for every post, those of the margin too, (rows, columns)."""
        clearance, light = self.posts.clearance_m, self.posts.light
        known = np.where(clearance < 0, HIDDEN, VISIBLE)
        if light.size:
            known[(light >= HIDDEN_BELOW) & (light <= VISIBLE_ABOVE)] = UNCERTAIN
        return np.where(np.isnan(clearance), UNKNOWN, known).astype(np.uint8)

    @cached_property
    def depth_m(self) -> Floats32:
        """How tall a thing must stand to show, (rows, columns); 0 where visible, NaN unknown or beyond."""
        depth = np.maximum(-self.posts.clearance_m, np.float32(0))
        return np.where(self.within_reach, depth, np.float32(np.nan)).astype(np.float32)
