"""The picture plane of a station: skyline, crests and listed features as bearing against vertical angle.

Bearings count on in degrees clockwise from the sector's left edge, so that a drawing needs no wrapping of
its own. Vertical angles are those under which sight lines leave the eye, with curvature and refraction.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from hillsight.ground.geodesy import Geodesy, drop_coefficient_per_m
from hillsight.words.angles import clockwise_deg

if TYPE_CHECKING:
    from collections.abc import Mapping

    import geopandas
    from pyproj import CRS

    from hillsight.arrays import Flags, Floats
    from hillsight.reading.view import SightLines

#: Degrees by which the skyline runs on beyond both edges of a sector, so that a drawing ends at its frame.
_BEYOND_DEG = 5.0

#: Ground nearer than this (m) has no bearing worth the name.
_LEAST_DISTANCE_M = 1.0


@dataclass(frozen=True)
class Sector:
    """Part of the round, or all of it.

    start_deg : true bearing of the left edge, [0, 360)
    span_deg : width, above 0 and up to 360
    """

    start_deg: float = 0.0
    span_deg: float = 360.0

    @classmethod
    def between(cls, from_deg: float | None, to_deg: float | None) -> Sector:
        """From one true bearing clockwise to another; all round from the first without the second."""
        start = 0.0 if from_deg is None else float(from_deg) % 360.0
        return cls(start, 360.0 if to_deg is None else float(to_deg - start) % 360.0 or 360.0)

    def across_deg(self, bearings_true_deg: Floats) -> Floats:
        """Degrees clockwise from the left edge, [0, 360)."""
        return clockwise_deg(self.start_deg, bearings_true_deg)


@dataclass(frozen=True)
class Standpoint:
    """An eye and how its sight lines run.

    easting_m, northing_m : of the eye, in ``crs``
    eye_level_m : height of the eye in the terrain's datum
    refraction : curvature of the ray / curvature of the Earth
    crs : projected system in metres
    """

    easting_m: float
    northing_m: float
    eye_level_m: float
    refraction: float
    crs: CRS

    @classmethod
    def of_view(cls, view: SightLines) -> Standpoint:
        """The eye of a view."""
        return cls(view.easting_m, view.northing_m, view.eye.level_m, view.viewing.refraction, view.grid.crs)

    def see(self, eastings_m: Floats, northings_m: Floats, heights_m: Floats) -> tuple[Floats, Floats]:
        """True bearings, [0, 360), and vertical angles (degrees, up positive) of places; each (n,).

        Heights are in the terrain's datum. Places at the eye's own foot have no angle: NaN.
        """
        geodesy = Geodesy(self.crs)
        drop = drop_coefficient_per_m(
            geodesy.gaussian_radius_m(self.easting_m, self.northing_m), self.refraction
        )
        distance_m = np.hypot(eastings_m - self.easting_m, northings_m - self.northing_m)
        rise_m = heights_m - drop * distance_m**2 - self.eye_level_m
        bearing, _ = geodesy.inverse(self.easting_m, self.northing_m, eastings_m, northings_m)
        angle = np.degrees(np.arctan2(rise_m, np.where(distance_m > 0, distance_m, np.nan)))
        return np.asarray(bearing, float), angle


@dataclass(frozen=True)
class Outline:
    """The skyline from left to right; each array (n,).

    across_deg : ascending, from a little left of the sector to a little right of it
    angle_deg : vertical angle
    closed : True where ground stands against the sky, False where ground farther off may rise above it
    """

    across_deg: Floats
    angle_deg: Floats
    closed: Flags


@dataclass(frozen=True)
class Trace:
    """A line on the ground as the eye sees it; each array (n,), n >= 2.

    crest : number of the crest line, 0 for none
    role : "crest", "brow" or "skyline"
    across_deg : runs on over the sector's edges without a jump
    angle_deg : vertical angle
    """

    crest: int
    role: str
    across_deg: Floats
    angle_deg: Floats


@dataclass(frozen=True)
class Panorama:
    """What a station's eye sees of a sector, on the picture plane.

    skyline : None where it was not worked out
    crests : those that reach into the sector, by number; one over the edge of the whole round comes twice
    features : rows of the layer ``bearing_list`` in the sector whose vertical angle is known, with the column
        ``across_deg``, in the order of the list
    """

    sector: Sector
    skyline: Outline | None
    crests: tuple[Trace, ...]
    features: pd.DataFrame

    def angles_deg(self) -> tuple[float, float] | None:
        """Lowest and highest vertical angle of skyline and features within the sector; None without any."""
        angles = self.features["vertical_angle_deg"].to_numpy(float)
        if self.skyline is not None:
            across = self.skyline.across_deg
            inside = (across >= 0) & (across <= self.sector.span_deg)
            angles = np.concatenate([angles, self.skyline.angle_deg[inside]])
        angles = angles[np.isfinite(angles)]
        return (float(angles.min()), float(angles.max())) if angles.size else None


def panorama(
    frames: Mapping[str, geopandas.GeoDataFrame], standpoint: Standpoint, sector: Sector | None = None
) -> Panorama:
    """The picture plane of one station.

    Parameters
    ----------
    frames : layers of an outlook for this station alone; those used are ``skyline_bearings``, ``crest_lines``
        and ``bearing_list``, and each may be missing
    standpoint : in the CRS of ``crest_lines``
    sector : what is looked at; None for all round from north
    """
    part = sector or Sector()
    outline, lines, listed = (
        frames.get(name) for name in ("skyline_bearings", "crest_lines", "bearing_list")
    )
    return Panorama(
        part,
        None if outline is None or outline.empty else _outline(outline, part),
        () if lines is None or lines.empty else tuple(_crests(lines, standpoint, part)),
        _features(listed, part),
    )


def _outline(bearings: geopandas.GeoDataFrame, sector: Sector) -> Outline:
    across = sector.across_deg(bearings["bearing_true_deg"].to_numpy(float) + _BEYOND_DEG) - _BEYOND_DEG
    order = np.argsort(across, kind="stable")
    across, angle = across[order], bearings["angle_deg"].to_numpy(float)[order]
    closed = (bearings["state"] == "ground").to_numpy(bool)[order]
    again = across < _BEYOND_DEG  # the whole round ends where it began
    return Outline(
        np.concatenate([across, across[again] + 360.0]),
        np.concatenate([angle, angle[again]]),
        np.concatenate([closed, closed[again]]),
    )


def _crests(lines: geopandas.GeoDataFrame, standpoint: Standpoint, sector: Sector) -> list[Trace]:
    parts, owners = shapely.get_parts(lines.geometry.to_numpy(), return_index=True)
    points, part_of = shapely.get_coordinates(parts, include_z=True, return_index=True)
    far = np.hypot(points[:, 0] - standpoint.easting_m, points[:, 1] - standpoint.northing_m)
    points, part_of = points[far > _LEAST_DISTANCE_M], part_of[far > _LEAST_DISTANCE_M]
    bearing, angle = standpoint.see(points[:, 0], points[:, 1], points[:, 2])
    ends = np.searchsorted(part_of, np.arange(len(parts) + 1))
    found = []
    for owner, start, end in zip(owners, ends[:-1], ends[1:], strict=True):
        chosen = slice(start, end)
        if end - start < 2 or not np.isfinite(angle[chosen]).all():
            continue
        # Unrolled, so that a line over the sector's ends is no stroke across all of it.
        across = np.degrees(np.unwrap(np.radians(sector.across_deg(bearing[chosen]))))
        across -= 360.0 * np.floor(across.min() / 360.0)
        row = lines.iloc[owner]
        found += [
            Trace(int(row["crest"]), str(row["role"]), across - turn, angle[chosen])
            for turn in (0.0, 360.0)
            if across.max() - turn >= 0 and across.min() - turn <= sector.span_deg
        ]
    return found


def _features(listed: geopandas.GeoDataFrame | None, sector: Sector) -> pd.DataFrame:
    if listed is None:
        return pd.DataFrame({"vertical_angle_deg": [], "across_deg": []}, dtype=float)
    rows = pd.DataFrame(listed.drop(columns="geometry"))
    rows["across_deg"] = sector.across_deg(rows["bearing_true_deg"].to_numpy(float))
    known = np.isfinite(rows["vertical_angle_deg"].to_numpy(float))
    return rows[known & (rows["across_deg"] <= sector.span_deg)]
