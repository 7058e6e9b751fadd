"""What one place sees, as few enough numbers to weigh a thousand places by: bearings, and things.

Cheaper than a ``reading.view.View``: no posts are judged, only bearings all round and the samples of things.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.ground.geodesy import drop_coefficient_per_m
from hillsight.plan.look.things_seen import ThingsSeen, things_seen
from hillsight.reading.ground.brows import brow_slopes, first_brows
from hillsight.sight.bearings import SKYLINE_ENDS, BearingSight, see_bearings
from hillsight.sight.far_sky import to_the_sky
from hillsight.sight.viewing import Eye

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats
    from hillsight.ground.geodesy import Geodesy
    from hillsight.plan.look.things import Things
    from hillsight.sight.doubt import ErringGround
    from hillsight.sight.far_sky import FarGround
    from hillsight.sight.maxima import Maxima
    from hillsight.sight.viewing import Viewing


#: Bearings all round, a multiple of four. Half a degree is less than a person tells in a picture.
BEARINGS = 720
STEP_DEG = 360.0 / BEARINGS

#: Ends of a view behind which ground may be that nobody knows of.
_CUT_ENDS = [SKYLINE_ENDS.index(end) for end in ("terrain_edge", "void")]


@dataclass(frozen=True)
class Glance:
    """What one place sees. Arrays (BEARINGS,) are by true bearing in steps of STEP_DEG from north.

    convergence_deg : grid north's true bearing
    spacing_m : the wider spacing of the terrain's posts
    reach_m : how far things are looked for, on the grid
    skyline_deg, skyline_m : vertical angle and grid distance of the skyline; NaN where there is none
    is_cut : whether known ground ends there within the reach, at a void or the terrain's edge, before the sky
        is settled: the skyline may stand higher, and a brow may have been missed
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
    spacing_m: float
    reach_m: float
    skyline_deg: Floats
    skyline_m: Floats
    is_cut: Flags
    brow_m: Floats
    depth_m: Floats
    out_again_m: Floats
    before_deg: Floats
    beyond_deg: Floats
    again_deg: Floats
    things: ThingsSeen


def cut_bearings(along: BearingSight, reach_m: float) -> Flags:
    """On which bearings known ground ends within the reach, before the sky is settled."""
    # Where the sky is not followed on beyond the reach, no distance is told.
    return np.isin(along.skyline_end, _CUT_ENDS) & ~(along.edge_distance_m > reach_m)


def glance(
    erring: ErringGround,
    geodesy: Geodesy,
    label: str,
    easting_m: float,
    northing_m: float,
    ground_m: float,
    viewing: Viewing,
    things: Things,
    maxima: Maxima | None = None,
    raised_m: float = 0.0,
    far: FarGround | None = None,
) -> Glance:
    """Look round from a place whose ground height is known; ``raised_m`` puts the eye higher than usual.

    Parameters
    ----------
    erring : the ground and its errors, of map features: ``ErringGround(surface, errors, feature=True)``
    far : all ground that may stand against the sky; the surface to the reach alone where None
    """
    surface = erring.surface
    drop = drop_coefficient_per_m(geodesy.gaussian_radius_m(easting_m, northing_m), viewing.refraction)
    eye = Eye.on(surface.grid, easting_m, northing_m, ground_m + viewing.eye_height_m + raised_m, drop)
    convergence_deg = float(geodesy.convergence_deg(easting_m, northing_m))
    true_deg = np.arange(BEARINGS, dtype=np.float64) * np.float64(STEP_DEG)
    along = see_bearings(surface, eye, viewing.reach_m, true_deg - convergence_deg)
    if far is not None:
        along = to_the_sky(far, easting_m, northing_m, eye.level_m, drop, true_deg - convergence_deg, along)
    brows = first_brows(along.crests)
    turn = np.radians(true_deg - convergence_deg)
    east, north = np.sin(turn), np.cos(turn)

    def height_m(distance_m: Floats) -> Floats:
        return surface.heights_at_m(easting_m + distance_m * east, northing_m + distance_m * north)

    spacing_m = max(surface.grid.spacing_x_m, surface.grid.spacing_y_m)
    slopes = brow_slopes(brows, ground_m, height_m, spacing_m, viewing.reach_m)
    never = np.isfinite(brows.brow_m) & ~np.isfinite(brows.out_again_m)
    skyline_deg = np.degrees(np.arctan(along.skyline_slope))
    return Glance(
        label,
        easting_m,
        northing_m,
        ground_m,
        eye.level_m,
        convergence_deg,
        spacing_m,
        viewing.reach_m,
        skyline_deg,
        along.skyline_distance_m,
        cut_bearings(along, viewing.reach_m),
        brows.brow_m,
        brows.depth_m,
        np.where(never, np.inf, brows.out_again_m),
        slopes.before_deg,
        slopes.beyond_deg,
        slopes.again_deg,
        things_seen(erring, eye, viewing.reach_m, convergence_deg, skyline_deg, things, maxima),
    )
