"""The sky's edge round places, finer than a glance, for a photograph's skyline to be held against."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.ground.roughness import ROUGHNESS
from hillsight.plan.look.drawn import EYE_M, PLACE_M
from hillsight.plan.picture.sky_rows import sky_rows
from hillsight.sight.far_sky import far_sky

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from hillsight.arrays import AnyArray, Flags, Floats
    from hillsight.ground.accuracy import ErrorModel
    from hillsight.ground.grid import Surface
    from hillsight.plan.look.drawn import Place
    from hillsight.plan.look.looking import Looker

#: Bearings all round from grid north.
ROUND = 720
ROUND_STEP_DEG = 360.0 / ROUND

#: Of the scale of the roughness, how far the ground against the sky errs. Settled on the western Highlands.
_ROUGH_SHARE = 0.25

#: Of that, how much higher it stands than the posts have it. Settled there too.
_HIGHER_SHARE = 0.8

#: Ground errs alike over so many posts of what is rough between them.
_ROUGH_OVER_POSTS = 0.8


def bearings_wanted(heading_grid_deg: Floats, half_width_deg: float) -> Flags:
    """Bearings that pictures in some directions may show, (ROUND,)."""
    shown = np.zeros(ROUND, bool)
    half = int(np.ceil((half_width_deg + 6.0) / ROUND_STEP_DEG))
    middle = np.rint(np.asarray(heading_grid_deg) / ROUND_STEP_DEG).astype(np.int64)
    if 2 * half + 1 >= ROUND:
        return ~shown
    shown[(middle[:, None] + np.arange(-half, half + 1)) % ROUND] = True
    return shown


def skies(
    looker: Looker,
    places: Sequence[Place],
    wanted: Flags,
    report: Callable[[float], None] | None = None,
) -> Floats:
    """What places see of the sky's edge, (p, 6, ROUND): see ``skyline_match.match``; NaN where not wanted.

    Parameters
    ----------
    wanted : (ROUND,) bearings
    """
    at = np.flatnonzero(wanted)
    grid_deg = np.asarray(at * ROUND_STEP_DEG, np.float64)
    count = len(places)
    angle, distance = (np.full((count, ROUND), np.nan) for _ in range(2))
    nothing = np.full(at.size, np.nan)
    grounds = []
    for k, place in enumerate(places):
        erring = looker.erring(place.easting_m, place.northing_m)
        ground = GroundAbout.of(
            erring.surface,
            erring.rough_m,
            looker.errors,
            np.array([place.easting_m]),
            np.array([place.northing_m]),
            PLACE_M,
        )
        grounds.append(ground)
        level_m = float(ground.height_m[0]) + place.surveyed_m + looker.viewing.eye_height_m
        if not np.isfinite(level_m):
            continue
        sky = far_sky(
            looker.far(place),
            place.easting_m,
            place.northing_m,
            level_m,
            place.drop_per_m,
            grid_deg,
            nothing,
            nothing,
            nothing,
        )
        angle[k, at] = np.degrees(np.arctan(sky.slope))
        distance[k, at] = sky.distance_m
        if report is not None:
            report((k + 1) / count)
    if not count:
        return np.zeros((0, 6, ROUND))
    return np.concatenate(
        [one.rows(angle[k : k + 1], distance[k : k + 1], wanted) for k, one in enumerate(grounds)]
    )


@dataclass(frozen=True)
class GroundAbout:
    """The ground that some places stand on, and how far it and what stands against the sky may err.

    surface, rough_m, errors : as ``ErringGround`` has them
    easting_m, northing_m : (p,) of the places
    height_m, slope_east, slope_north : (p,) of the ground there, NaN unknown, and how it rises per metre
    place_m : one standard deviation of a place, each way
    """

    surface: Surface
    rough_m: AnyArray
    errors: ErrorModel
    easting_m: Floats
    northing_m: Floats
    height_m: Floats
    slope_east: Floats
    slope_north: Floats
    place_m: float

    @classmethod
    def of(
        cls,
        surface: Surface,
        rough_m: AnyArray,
        errors: ErrorModel,
        easting_m: Floats,
        northing_m: Floats,
        place_m: float,
    ) -> GroundAbout:
        """The ground under places and a little to each side of them."""
        beside_m = max(place_m, 0.5 * surface.grid.spacing_x_m)
        around = surface.heights_at_m(
            easting_m + beside_m * np.array([0.0, 1.0, -1.0, 0.0, 0.0])[:, None],
            northing_m + beside_m * np.array([0.0, 0.0, 0.0, 1.0, -1.0])[:, None],
        )
        east, north = np.nan_to_num((around[[1, 3]] - around[[2, 4]]) / (2.0 * beside_m))
        return cls(surface, rough_m, errors, easting_m, northing_m, around[0], east, north, place_m)

    def rows(self, angle_deg: Floats, distance_m: Floats, wanted: Flags) -> Floats:
        """Rows of skies, (p, 6, ROUND), from angle and distance of the sky's edge, (p, ROUND) each.

        Parameters
        ----------
        wanted : (ROUND,) bearings; elsewhere all is NaN
        """
        errors, at = self.errors, np.flatnonzero(wanted)
        turn = np.radians(at * ROUND_STEP_DEG)
        away_m = np.nan_to_num(distance_m[:, at])
        there = (
            self.easting_m[:, None] + away_m * np.sin(turn),
            self.northing_m[:, None] + away_m * np.cos(turn),
        )
        rough_m = self.rough_at_m(*there)
        ground, higher = (np.full(angle_deg.shape, np.nan) for _ in range(2))
        higher[:, at] = _HIGHER_SHARE * rough_m
        apart_m2 = 2.0 * (errors.terrain_rmse_m**2 - errors.covariance_m2(away_m))
        ground[:, at] = np.sqrt(rough_m**2 + np.maximum(apart_m2, 0.0) / 2.0)
        here_m = self.rough_at_m(self.easting_m, self.northing_m)
        near_m2 = (errors.terrain_rmse_m**2 - errors.covariance_m2(np.array([1_000.0])))[0]
        eye_m = np.sqrt(here_m**2 + EYE_M**2 + max(float(near_m2), 0.0))
        return sky_rows(
            angle_deg, distance_m, ground, higher, self.slope_east, self.slope_north, self.place_m, eye_m
        )

    def rough_at_m(self, east_m: Floats, north_m: Floats) -> Floats:
        """How far the ground at some places errs for its roughness; off the posts held, as usual there."""
        grid, scale_m = self.surface.grid, self.rough_m
        row, column = grid.to_array(east_m, north_m)
        r, c = np.rint(row).astype(np.int64), np.rint(column).astype(np.int64)
        inside = (r >= 0) & (r < grid.rows) & (c >= 0) & (c < grid.columns)
        scale = np.where(
            inside,
            scale_m[np.clip(r, 0, grid.rows - 1), np.clip(c, 0, grid.columns - 1)],
            float(np.median(scale_m[::7, ::7])),
        )
        share = _ROUGH_SHARE * (ROUGHNESS[self.errors.between_posts].between > 0.0)
        return np.asarray(share * scale, np.float64)


def alike_over_m(spacing_m: float, errors: ErrorModel) -> float:
    """Over how much ground the errors of what stands against the sky are alike."""
    over_m = _ROUGH_OVER_POSTS * spacing_m
    if errors.correlation_length_m > 10.0 * spacing_m:
        return over_m
    return max(over_m, 0.5 * errors.correlation_length_m)
