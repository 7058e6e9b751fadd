"""The sky's edge round places, finer than a glance, for a photograph's skyline to be held against."""

from __future__ import annotations

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
    from hillsight.ground.grid import Grid
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
    east, north = np.sin(np.radians(grid_deg)), np.cos(np.radians(grid_deg))
    count = len(places)
    angle, distance, ground, higher = (np.full((count, ROUND), np.nan) for _ in range(4))
    slope_east, slope_north, eye_m = np.zeros(count), np.zeros(count), np.zeros(count)
    nothing = np.full(at.size, np.nan)
    for k, place in enumerate(places):
        erring = looker.erring(place.easting_m, place.northing_m)
        surface, errors = erring.surface, looker.errors
        easting_m, northing_m = place.easting_m, place.northing_m
        beside_m = max(PLACE_M, 0.5 * surface.grid.spacing_x_m)
        around = surface.heights_at_m(
            easting_m + beside_m * np.array([0.0, 1.0, -1.0, 0.0, 0.0]),
            northing_m + beside_m * np.array([0.0, 0.0, 0.0, 1.0, -1.0]),
        )
        level_m = float(around[0]) + place.surveyed_m + looker.viewing.eye_height_m
        if not np.isfinite(level_m):
            continue
        sky = far_sky(
            looker.far(place),
            easting_m,
            northing_m,
            level_m,
            place.drop_per_m,
            grid_deg,
            nothing,
            nothing,
            nothing,
        )
        angle[k, at] = np.degrees(np.arctan(sky.slope))
        distance[k, at] = sky.distance_m
        slopes = np.nan_to_num((around[[1, 3]] - around[[2, 4]]) / (2.0 * beside_m))
        slope_east[k], slope_north[k] = slopes
        away_m = np.nan_to_num(sky.distance_m)
        rough_m = _rough_m(
            erring.rough_m, surface.grid, easting_m + away_m * east, northing_m + away_m * north, errors
        )
        higher[k, at] = _HIGHER_SHARE * rough_m
        apart_m2 = 2.0 * (errors.terrain_rmse_m**2 - errors.covariance_m2(away_m))
        ground[k, at] = np.sqrt(rough_m**2 + np.maximum(apart_m2, 0.0) / 2.0)
        here_m = _rough_m(erring.rough_m, surface.grid, np.array([easting_m]), np.array([northing_m]), errors)
        near_m2 = (errors.terrain_rmse_m**2 - errors.covariance_m2(np.array([1_000.0])))[0]
        eye_m[k] = np.sqrt(float(here_m[0]) ** 2 + EYE_M**2 + max(float(near_m2), 0.0))
        if report is not None:
            report((k + 1) / count)
    return sky_rows(angle, distance, ground, higher, slope_east, slope_north, PLACE_M, eye_m)


def alike_over_m(spacing_m: float, errors: ErrorModel) -> float:
    """Over how much ground the errors of what stands against the sky are alike."""
    over_m = _ROUGH_OVER_POSTS * spacing_m
    if errors.correlation_length_m > 10.0 * spacing_m:
        return over_m
    return max(over_m, 0.5 * errors.correlation_length_m)


def _rough_m(scale_m: AnyArray, grid: Grid, east_m: Floats, north_m: Floats, errors: ErrorModel) -> Floats:
    """How far the ground at some places errs for its roughness; off the posts held, as usual there."""
    row, column = grid.to_array(east_m, north_m)
    r, c = np.rint(row).astype(np.int64), np.rint(column).astype(np.int64)
    inside = (r >= 0) & (r < grid.rows) & (c >= 0) & (c < grid.columns)
    scale = np.where(
        inside,
        scale_m[np.clip(r, 0, grid.rows - 1), np.clip(c, 0, grid.columns - 1)],
        float(np.median(scale_m[::7, ::7])),
    )
    rough = ROUGHNESS[errors.between_posts]
    return np.asarray(_ROUGH_SHARE * (rough.between > 0.0) * scale, np.float64)
