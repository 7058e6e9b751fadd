"""A fan of bearings from one eye, so narrow that a drawn view can be made of it: sky, crests, dead ground."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.sight.bearings import SKYLINE_ENDS
from hillsight.sight.points import ground_between_posts

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats, Integers
    from hillsight.reading.view import SightLines

#: Crests followed on each bearing; the roughest ground tried had 94 in 24 km.
_CRESTS_KEPT = 96

#: Bearings of a whole round at most, and of a degree: no print shows more.
_MOST_BEARINGS = 7_200
_MOST_A_DEGREE = 100.0


@dataclass(frozen=True)
class Fan:
    """Bearings from left to right, n of them, and up to k crests on each, nearest first (NaN: no more).

    bearing_grid_deg : (n,) ascending, counting on past 360
    sky_deg, sky_m : (n,) vertical angle and grid distance of the ground against the sky, NaN without any
    sky_end : (n,) one of ``sight.bearings.SKYLINE_ENDS``
    crest_m, again_m, depth_m : (n, k) grid distance of each crest, of the ground that shows again behind it
        (NaN where none does), greatest depth between
    crest_deg : (n, k) vertical angle of each crest
    whole : whether the fan goes all the way round
    """

    bearing_grid_deg: Floats
    sky_deg: Floats
    sky_m: Floats
    sky_end: Integers
    crest_m: Floats
    again_m: Floats
    depth_m: Floats
    crest_deg: Floats
    whole: bool

    @property
    def step_deg(self) -> float:
        """Degrees between neighbouring bearings."""
        return float(self.bearing_grid_deg[1] - self.bearing_grid_deg[0])

    @property
    def sky_is_ground(self) -> Flags:
        """(n,) whether ground stands against the sky for sure, and none farther off could."""
        closed: Flags = self.sky_end == SKYLINE_ENDS.index("ground")
        return closed

    def hidden(self, distance_m: float) -> Flags:
        """(n,) whether the ground so far off lies behind a crest and before it shows again."""
        # Crests come one behind the other, each before ground shows again behind the last: the last one
        # nearer than the ground decides.
        nearer = np.count_nonzero(distance_m > self.crest_m, axis=1)
        again_m = self.again_m[np.arange(nearer.size), np.maximum(nearer - 1, 0)]
        hidden: Flags = (nearer > 0) & ~(distance_m >= again_m)
        return hidden


def fan_of(lines: SightLines, left_grid_deg: float, span_deg: float, step_deg: float) -> Fan:
    """Look along bearings that are evenly spaced over a sector, both its edges included.

    Parameters
    ----------
    left_grid_deg, span_deg : the sector's left edge, degrees from grid north, and its width up to 360
    step_deg : wanted between bearings; widened where the sector would need more than can be told apart
    """
    most = min(_MOST_BEARINGS, max(2.0, _MOST_A_DEGREE * span_deg))
    count = int(np.clip(np.ceil(span_deg / step_deg), 2, most))
    bearing_deg = left_grid_deg + np.linspace(0.0, span_deg, count + 1)
    along = lines.along(bearing_deg, _CRESTS_KEPT)
    crests = along.crests
    kept = max(1, int(np.isfinite(crests[:, :, 0]).sum(axis=1).max()))
    crests = crests[:, :kept]
    return Fan(
        bearing_deg,
        np.degrees(np.arctan(along.skyline_slope)),
        along.skyline_distance_m,
        along.skyline_end.astype(np.int64),
        crests[:, :, 0],
        crests[:, :, 1],
        crests[:, :, 2],
        ground_angle_deg(lines, bearing_deg[:, None], crests[:, :, 0]),
        span_deg >= 360.0,
    )


def places_of(lines: SightLines, bearing_grid_deg: Floats, distance_m: Floats) -> tuple[Floats, Floats]:
    """Eastings and northings of places on bearings from grid north, so far off on the grid."""
    turn = np.radians(bearing_grid_deg)
    return lines.easting_m + distance_m * np.sin(turn), lines.northing_m + distance_m * np.cos(turn)


def ground_angle_deg(lines: SightLines, bearing_grid_deg: Floats, distance_m: Floats) -> Floats:
    """Vertical angles of the ground on bearings, so far off, seen or not; NaN off the terrain.

    Both broadcast. Curvature and refraction count, as for ``reading.panorama.Standpoint``.
    """
    bearing_deg, distance_m = np.broadcast_arrays(bearing_grid_deg, distance_m)
    angle = np.full(distance_m.shape, np.nan)
    there = np.isfinite(distance_m) & (distance_m > 0)
    far_m = distance_m[there]
    height_m = ground_between_posts(lines.surface, *places_of(lines, bearing_deg[there], far_m))
    angle[there] = apparent_angle_deg(lines, height_m, far_m)
    return angle


def apparent_angle_deg(lines: SightLines, height_m: Floats, distance_m: Floats) -> Floats:
    """Vertical angles of places of a height (terrain's datum), so far off on the grid."""
    eye = lines.eye
    return np.degrees(np.arctan2(height_m - eye.drop_per_m * distance_m**2 - eye.level_m, distance_m))
