"""A place looked from as it may truly be: ground, place, eye, picture and judgement drawn by their errors.

One draw is shared by all statements and all places: if the ground before a candidate is higher than its
terrain model, that is so for whatever is said of it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy import special
from scipy.stats import qmc

from hillsight.plan.look.glance import BEARINGS, STEP_DEG, Glance, cut_bearings
from hillsight.plan.look.things_seen import things_plainly_seen
from hillsight.reading.ground.brows import brow_slopes, first_brows
from hillsight.sight.bearings import see_bearings
from hillsight.sight.far_sky import to_the_sky
from hillsight.sight.maxima import Maxima
from hillsight.sight.points import ground_between_posts
from hillsight.sight.viewing import Eye

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Floats32, Integers
    from hillsight.ground.grid import Surface
    from hillsight.plan.look.framing import Framing
    from hillsight.plan.look.things import Things
    from hillsight.plan.observer import Observer
    from hillsight.sight.far_sky import FarGround
    from hillsight.sight.viewing import Viewing

#: A spot named on a map is good to so much each way (one standard deviation): the picture was taken some 10
#: to 25 m beside it. Common practice, no source.
PLACE_M = 12.0

#: No place is looked from so far beside its spot, nor the variation of a candidate.
BESIDE_M = 120.0

#: One standard deviation of how high the eye was, besides what is told, and of the picture's width as a
#: share.
EYE_M, WIDTH_SHARE = 0.15, 0.08

#: Widths that are told apart, so that each picture is laid over the bearings only so often.
_WIDTHS = 7

#: One bearing in so many is walked: a degree apart, as a picture is judged by the mean over many.
_EVERY = 2

_SEED = 20_261_129


@dataclass(frozen=True)
class Draw:
    """What is not known, drawn once.

    number : of the terrain's errors
    east_m, north_m : how far beside the place named the picture was taken
    eye_m : how much higher the eye was
    width_share : the picture's width over that told
    level_deg : how much too high everything seems, the picture's level not being known
    scale_log : how much too far everything seems, as a natural logarithm
    """

    number: int
    east_m: float
    north_m: float
    eye_m: float
    width_share: float
    level_deg: float
    scale_log: float


def draws(count: int, observer: Observer, first: int = 0) -> list[Draw]:
    """So many draws from the ``first`` on, the same every time, spread evenly (Halton 1960, from memory)."""
    points = qmc.Halton(6, scramble=True, rng=_SEED).random(first + count)[first:]
    normal = special.ndtri(np.clip(points, 1e-6, 1.0 - 1e-6))
    middles = (np.floor(points[:, 3] * _WIDTHS) + 0.5) / _WIDTHS
    width = 1.0 + WIDTH_SHARE * special.ndtri(middles)
    return [
        Draw(
            first + k,
            PLACE_M * float(one[0]),
            PLACE_M * float(one[1]),
            EYE_M * float(one[2]),
            float(width[k]),
            observer.level_deg * float(one[4]),
            observer.scale_log * float(one[5]),
        )
        for k, one in enumerate(normal)
    ]


@dataclass(frozen=True)
class Place:
    """Somewhere to look from in many draws; all but the ground is worked out once.

    surveyed_m : how far its surveyed height stands above the terrain's; 0 where it has none
    drop_per_m : of curvature and refraction there
    """

    label: str
    easting_m: float
    northing_m: float
    surveyed_m: float
    convergence_deg: float
    drop_per_m: float


@dataclass(frozen=True)
class DrawnGround:
    """Ground as it may truly be."""

    surface: Surface
    maxima: Maxima

    @classmethod
    def of(cls, surface: Surface, error_m: Floats32) -> DrawnGround:
        """A surface with errors, (rows, columns) metres."""
        height_m = (surface.height_m + error_m).astype(np.float32)
        drawn = replace(surface, height_m=height_m)
        return cls(drawn, Maxima.over(drawn))


def drawn_glance(
    ground: DrawnGround,
    place: Place,
    draw: Draw,
    viewing: Viewing,
    things: Things,
    bearings: Integers,
    far: FarGround,
) -> Glance | None:
    """Look from about a place; None where that is off the terrain or on a void.

    What is seen is seen for sure and stands where it is seen: all spreads are nought, as other draws carry
    them. Distances of brows and vertical angles are as the observer of this draw judges them.

    Parameters
    ----------
    bearings : indices of those that a picture may show, multiples of _EVERY; each stands for those up to the
        next; elsewhere all is NaN
    far : ground beyond the reach, whose errors make no odds to the angle of the sky's edge
    """
    surface = ground.surface
    easting_m, northing_m = place.easting_m + draw.east_m, place.northing_m + draw.north_m
    ground_m = float(surface.heights_at_m(easting_m, northing_m)) + place.surveyed_m
    if not np.isfinite(ground_m):
        return None
    level_m = ground_m + max(viewing.eye_height_m + draw.eye_m, 0.2)
    eye = Eye.on(surface.grid, easting_m, northing_m, level_m, place.drop_per_m)
    grid_deg = bearings * np.float64(STEP_DEG) - place.convergence_deg
    along = see_bearings(surface, eye, viewing.reach_m, grid_deg)
    along = to_the_sky(
        far, easting_m, northing_m, level_m, place.drop_per_m, grid_deg, along, viewing.reach_m
    )
    brows = first_brows(along.crests)
    east, north = np.sin(np.radians(grid_deg)), np.cos(np.radians(grid_deg))

    def height_m(distance_m: Floats) -> Floats:
        return ground_between_posts(surface, easting_m + distance_m * east, northing_m + distance_m * north)

    spacing_m = max(surface.grid.spacing_x_m, surface.grid.spacing_y_m)
    slopes = brow_slopes(brows, ground_m, height_m, spacing_m, viewing.reach_m)
    never = np.isfinite(brows.brow_m) & ~np.isfinite(brows.out_again_m)
    scale = float(np.exp(draw.scale_log))

    def all_round(values: Floats) -> Floats:
        whole = np.full(BEARINGS, np.nan)
        for beside in range(_EVERY):
            whole[bearings + beside] = values
        return whole

    skyline_deg = all_round(np.degrees(np.arctan(along.skyline_slope)))
    return Glance(
        place.label,
        easting_m,
        northing_m,
        ground_m,
        eye.level_m,
        place.convergence_deg,
        spacing_m,
        viewing.reach_m,
        skyline_deg,
        all_round(along.skyline_distance_m),
        all_round(cut_bearings(along, viewing.reach_m).astype(np.float64)) == 1.0,
        all_round(brows.brow_m * scale),
        all_round(brows.depth_m),
        all_round(np.where(never, np.inf, brows.out_again_m * scale)),
        all_round(slopes.before_deg),
        all_round(slopes.beyond_deg),
        all_round(slopes.again_deg),
        things_plainly_seen(
            surface, eye, viewing.reach_m, place.convergence_deg, skyline_deg, things, ground.maxima
        ).seeming_higher(draw.level_deg),
    )


def bearings_in_pictures(framings: list[Framing]) -> Integers:
    """Indices of bearings that stand for all that any of some pictures may show, rising."""
    shown = np.zeros(BEARINGS, bool)
    for framing in framings:
        shown[framing.bearings("anywhere").ravel()] = True
    found: Integers = _EVERY * np.flatnonzero(shown.reshape(-1, _EVERY).any(axis=1))
    return found
