"""What one place sees, as few enough numbers to weigh a thousand places by: bearings, and things.

Cheaper than a ``reading.view.View``: no posts are judged, only bearings all round and the samples of things.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from hillsight.ground.geodesy import drop_coefficient_per_m
from hillsight.reading.ground.first_ground import LEAST_DEPTH_M
from hillsight.sight.bearings import see_bearings
from hillsight.sight.points import see_points
from hillsight.sight.viewing import Eye

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Integers
    from hillsight.ground.accuracy import ErrorModel
    from hillsight.ground.geodesy import Geodesy
    from hillsight.ground.grid import Surface
    from hillsight.plan.look.things import Things
    from hillsight.sight.maxima import Maxima
    from hillsight.sight.viewing import Viewing


#: Bearings all round, a multiple of four. Half a degree is less than a person tells in a picture.
BEARINGS = 720
STEP_DEG = 360.0 / BEARINGS

#: The slope beyond a brow and that of ground which shows again are taken over this length.
_BEYOND_M = 60.0

#: Seen things this little below the skyline stand on it.
_ON_SKYLINE_DEG = 0.05


@dataclass(frozen=True)
class ThingsSeen:
    """What is seen of each thing; every array (m,), NaN where it does not apply.

    chance : that anything of it is seen, by the terrain's errors; 0 beyond the reach
    left_deg, width_deg : true bearing of its left edge and angle from there to its right edge, of what is
        seen, or of what would show first where nothing is
    middle_deg : true bearing of its middle
    distance_m : of its middle; nearest_m : of the nearest that is seen
    vertical_deg, height_difference_m : of its highest seen ground against the eye
    vertical_spread_deg, height_spread_m : standard deviations by the terrain's errors
    below_sky_deg : least angle between what is seen of it and the skyline on that bearing
    falls_right_deg : how far right of its higher end its lower end is seen; NaN for what is no line
    """

    chance: Floats
    left_deg: Floats
    width_deg: Floats
    middle_deg: Floats
    distance_m: Floats
    nearest_m: Floats
    vertical_deg: Floats
    height_difference_m: Floats
    vertical_spread_deg: Floats
    height_spread_m: Floats
    below_sky_deg: Floats
    falls_right_deg: Floats


@dataclass(frozen=True)
class Glance:
    """What one place sees. Arrays (BEARINGS,) are by true bearing in steps of STEP_DEG from north.

    convergence_deg : grid north's true bearing
    skyline_deg, skyline_m : vertical angle and grid distance of the skyline; NaN where there is none
    brow_m, depth_m, out_again_m : distance of the nearest brow that hides at least a metre, depth hidden and
        where ground shows again, inf for never; NaN where there is no brow
    before_deg, beyond_deg, again_deg : slope of the ground up to the brow, behind it, and where it shows
        again, away from the eye, falling negative
    """

    label: str
    easting_m: float
    northing_m: float
    ground_m: float
    eye_level_m: float
    convergence_deg: float
    skyline_deg: Floats
    skyline_m: Floats
    brow_m: Floats
    depth_m: Floats
    out_again_m: Floats
    before_deg: Floats
    beyond_deg: Floats
    again_deg: Floats
    things: ThingsSeen


def glance(
    surface: Surface,
    geodesy: Geodesy,
    label: str,
    easting_m: float,
    northing_m: float,
    ground_m: float,
    viewing: Viewing,
    things: Things,
    errors: ErrorModel,
    maxima: Maxima | None = None,
    raised_m: float = 0.0,
) -> Glance:
    """Look round from a place whose ground height is known; ``raised_m`` puts the eye higher than usual."""
    drop = drop_coefficient_per_m(geodesy.gaussian_radius_m(easting_m, northing_m), viewing.refraction)
    eye = Eye.on(surface.grid, easting_m, northing_m, ground_m + viewing.eye_height_m + raised_m, drop)
    convergence_deg = float(geodesy.convergence_deg(easting_m, northing_m))
    true_deg = np.arange(BEARINGS, dtype=np.float64) * np.float64(STEP_DEG)
    along = see_bearings(surface, eye, viewing.reach_m, true_deg - convergence_deg)
    deep = along.crests[:, :, 2] >= LEAST_DEPTH_M
    chosen = along.crests[np.arange(BEARINGS), np.argmax(deep, axis=1)]
    chosen = np.where(deep.any(axis=1)[:, None], chosen, np.nan)
    brow_m, out_m, depth_m = chosen[:, 0], chosen[:, 1], chosen[:, 2]
    out_m = np.where(np.isfinite(brow_m) & ~np.isfinite(out_m), np.inf, out_m)
    turn = np.radians(true_deg - convergence_deg)
    east, north = np.sin(turn), np.cos(turn)

    def height_m(distance_m: Floats) -> Floats:
        return surface.heights_at_m(easting_m + distance_m * east, northing_m + distance_m * north)

    beyond_m = np.fmin(_BEYOND_M, np.where(np.isfinite(out_m), out_m - brow_m, np.inf))
    seen_again_m = np.where(np.isfinite(out_m), out_m, np.nan)
    with np.errstate(invalid="ignore", divide="ignore"):
        at_brow_m = height_m(brow_m)
        before = np.degrees(np.arctan((at_brow_m - ground_m) / brow_m))
        beyond = np.degrees(np.arctan((height_m(brow_m + beyond_m) - at_brow_m) / beyond_m))
        rise_m = height_m(seen_again_m + _BEYOND_M) - height_m(seen_again_m)
        again = np.degrees(np.arctan(rise_m / _BEYOND_M))
    skyline_deg = np.degrees(np.arctan(along.skyline_slope))
    return Glance(
        label,
        easting_m,
        northing_m,
        ground_m,
        eye.level_m,
        convergence_deg,
        skyline_deg,
        along.skyline_distance_m,
        brow_m,
        depth_m,
        out_m,
        before,
        beyond,
        again,
        _things_seen(surface, eye, convergence_deg, skyline_deg, viewing, things, errors, maxima),
    )


def _things_seen(
    surface: Surface,
    eye: Eye,
    convergence_deg: float,
    skyline_deg: Floats,
    viewing: Viewing,
    things: Things,
    errors: ErrorModel,
    maxima: Maxima | None,
) -> ThingsSeen:
    m = len(things)
    if m == 0:
        return ThingsSeen(*(np.zeros(0) for _ in range(12)))
    rows, columns = surface.grid.to_array(things.easting_m, things.northing_m)
    sight = see_points(surface, eye, rows, columns, things.height_m, maxima)
    down_m = (rows - eye.row) * surface.grid.spacing_y_m
    right_m = (columns - eye.column) * surface.grid.spacing_x_m
    distance_m = np.maximum(np.hypot(down_m, right_m), 0.5)
    bearing = (np.degrees(np.arctan2(right_m, -down_m)) + convergence_deg) % 360.0
    spread_m = _clearance_spread_m(errors, distance_m, sight.crest_distance_m)
    vertical = np.degrees(np.arctan(sight.slope))
    slot = np.rint(bearing / STEP_DEG).astype(np.int64) % BEARINGS
    skyline = np.fmin(skyline_deg[slot], np.fmin(skyline_deg[slot - 1], skyline_deg[(slot + 1) % BEARINGS]))
    below_sky = np.maximum(skyline - vertical - _ON_SKYLINE_DEG, 0.0)
    within = distance_m <= viewing.reach_m
    with np.errstate(invalid="ignore"):
        chance = np.where(within, special.ndtr(sight.clearance_m / spread_m), 0.0)
    chance = np.nan_to_num(chance, nan=0.0)
    found = np.full((12, m), np.nan)
    tall_m = things.height_m
    for k in range(m):
        here = slice(int(things.starts[k]), int(things.starts[k + 1]))
        best = float(chance[here].max(initial=0.0))
        # What is likelier seen than not, or where nothing is what would show first.
        seen = np.flatnonzero(chance[here] >= min(0.5, 0.999 * best)) + here.start
        if not seen.size or best == 0.0:
            seen = np.array([here.start + int(np.argmin(distance_m[here]))])
        left, width = _extent_deg(bearing[seen])
        offset = (bearing[seen] - left) % 360.0
        one = int(seen[np.lexsort((distance_m[seen], offset))[(seen.size - 1) // 2]])
        high = int(seen[np.argmax(np.nan_to_num(vertical[seen], nan=-90.0))])
        difference_m = sight.ground_m[high] + tall_m[high] - eye.level_m
        height_spread_m = float(np.sqrt(2.0) * errors.terrain_rmse_m * _unlike(errors, distance_m[high]))
        found[:, k] = (
            best,
            left,
            width,
            (left + width / 2) % 360.0,
            distance_m[one],
            distance_m[seen].min(),
            vertical[high],
            difference_m,
            np.degrees(height_spread_m / distance_m[high]),
            height_spread_m,
            np.nanmin(np.r_[below_sky[seen], 90.0]),
            _falls_right_deg(things, k, here, seen, bearing, sight.ground_m),
        )
    return ThingsSeen(*found)


def _falls_right_deg(
    things: Things, k: int, here: slice, seen: Integers, bearing: Floats, ground_m: Floats
) -> float:
    """Angle from the higher to the lower end of what is seen of a line."""
    if things.frame.geometry.iloc[k].geom_type not in ("LineString", "MultiLineString") or seen.size < 2:
        return np.nan
    high, low = seen[np.argmax(ground_m[seen])], seen[np.argmin(ground_m[seen])]
    return float((bearing[low] - bearing[high] + 180.0) % 360.0 - 180.0)


def _extent_deg(bearing_deg: Floats) -> tuple[float, float]:
    """Left edge and width of the narrowest arc that holds all bearings."""
    order = np.sort(bearing_deg)
    gaps = np.diff(np.r_[order, order[0] + 360.0])
    widest = int(np.argmax(gaps))
    return float(order[(widest + 1) % order.size]), float(360.0 - gaps[widest])


def _unlike(errors: ErrorModel, distance_m: float | Floats) -> Floats:
    """Share, in standard deviations, of the terrain's error that two places do not have in common."""
    alike = np.exp(-np.asarray(distance_m, np.float64) / errors.correlation_length_m)
    unlike: Floats = np.sqrt(np.maximum(1.0 - alike, 0.0))
    return unlike


def _clearance_spread_m(errors: ErrorModel, distance_m: Floats, crest_m: Floats) -> Floats:
    """Standard deviation of the clearance: eye, crest and target err, alike where they lie close together.

    First order along the line of sight: clearance = target - eye - (crest - eye) distance / crest distance.
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        crest = np.where(np.isfinite(crest_m) & (crest_m > 0), crest_m, distance_m)
        ratio = distance_m / np.maximum(crest, 1.0)
        at_eye, at_crest, at_target = ratio - 1.0, -ratio, 1.0
        variance = errors.terrain_rmse_m**2 * (at_eye**2 + at_crest**2 + at_target**2)
        for one, other, apart in (
            (at_eye, at_crest, crest),
            (at_eye, at_target, distance_m),
            (at_crest, at_target, distance_m - crest),
        ):
            shared = np.exp(-np.abs(apart) / errors.correlation_length_m)
            variance = variance + 2.0 * errors.terrain_rmse_m**2 * one * other * shared
        variance = variance + (at_eye * errors.eye_height_m) ** 2 + 0.05**2
    spread: Floats = np.sqrt(np.maximum(np.nan_to_num(variance, nan=1.0), 0.01))
    return spread
