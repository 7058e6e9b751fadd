"""Limits of ground: what no marshal is put on, and how open a place is to the wind."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely
from scipy import ndimage

from hillsight.landform.gradient import horn
from hillsight.plan.posts.places import Limit

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Flags, Floats
    from hillsight.ground.grid import Grid, Surface
    from hillsight.plan.posts.plan import Limits

#: A bearing is sheltered where ground within this distance rises by this angle above a standing person's
#: feet; so many bearings are asked. Common practice, no source.
SHELTER_WITHIN_M, SHELTER_DEG, BEARINGS = 300.0, 5.0, 16

#: Places whose surroundings are sampled at a time.
_BATCH = 500


def slope_at_deg(surface: Surface, easting_m: Floats, northing_m: Floats) -> Floats:
    """(n,) slope of the ground at places, bilinear between the posts'; NaN beside a void or at the edge."""
    return surface.grid.sampled(slopes_deg(surface), easting_m, northing_m)


def slopes_deg(surface: Surface) -> Floats:
    """(rows, columns) slope at the posts by Horn's differences, degrees from level."""
    grid = surface.grid
    return horn(surface.height_m.astype(np.float64), grid.spacing_x_m, grid.spacing_y_m).slope_deg


def near_steep(slope_deg: Floats, grid: Grid, from_deg: float, within_m: float) -> Floats:
    """(rows, columns) 1.0 at posts that a post at least so steep lies within a distance of, else 0.0.

    Sampled between posts, 0.5 or more is near: half a spacing more or less.
    """
    steep = np.nan_to_num(slope_deg) >= from_deg
    if not steep.any():
        return np.zeros(slope_deg.shape)
    apart_m: Floats = ndimage.distance_transform_edt(~steep, sampling=(grid.spacing_y_m, grid.spacing_x_m))
    return (apart_m <= within_m).astype(np.float64)


def open_shares(surface: Surface, easting_m: Floats, northing_m: Floats) -> Floats:
    """(n,) openness to wind: the share of bearings without shelter, 0 (a pit) to 1 (a top or a plain).

    A bearing is sheltered where ground within 300 m rises 5 degrees or more above the place's own. It says
    nothing of walls and woods, nor of the wind that blows. A simple measure of ours, no source. Ground off
    the terrain shelters nothing.
    """
    step_m = max(surface.grid.spacing_x_m, surface.grid.spacing_y_m)
    out_m = np.arange(step_m, SHELTER_WITHIN_M + step_m / 2, step_m)
    bearings = np.radians(np.arange(BEARINGS) * 360.0 / BEARINGS)
    found = np.empty(len(easting_m))
    rise = np.tan(np.radians(SHELTER_DEG)) * out_m
    for k in range(0, len(easting_m), _BATCH):
        part = slice(k, k + _BATCH)
        own_m = surface.heights_at_m(easting_m[part], northing_m[part])
        about_e = easting_m[part, None, None] + np.sin(bearings)[:, None] * out_m
        about_n = northing_m[part, None, None] + np.cos(bearings)[:, None] * out_m
        ground_m = surface.heights_at_m(about_e, about_n)
        with np.errstate(invalid="ignore"):
            sheltered = (ground_m - own_m[:, None, None] >= rise).any(axis=2)
        found[part] = 1.0 - sheltered.mean(axis=1)
    return found


def ground_limits(
    limits: Limits,
    surface: Surface,
    easting_m: Floats,
    northing_m: Floats,
    water: Sequence[shapely.Geometry],
) -> list[Limit]:
    """What the limits of the plan say of places, those that refuse nothing left out.

    Parameters
    ----------
    easting_m, northing_m : (n,) metres on the working grid
    water : streams and lakes there
    """
    slope_deg = slopes_deg(surface)
    at_deg = surface.grid.sampled(slope_deg, easting_m, northing_m)
    ground_m = surface.heights_at_m(easting_m, northing_m)
    found = [
        Limit("ground that is not known", np.isfinite(ground_m) & np.isfinite(at_deg)),
        Limit(f"slope over {limits.slope_deg:g} degrees", ~(at_deg > limits.slope_deg)),
    ]
    near = near_steep(slope_deg, surface.grid, limits.crag_deg, limits.crag_within_m)
    crag = surface.grid.sampled(near, easting_m, northing_m) >= 0.5
    found.append(Limit(f"ground of {limits.crag_deg:g} degrees within {limits.crag_within_m:g} m", ~crag))
    if limits.water_within_m is not None and len(water):
        wet = within(water, limits.water_within_m, easting_m, northing_m)
        found.append(Limit(f"water within {limits.water_within_m:g} m", ~wet))
    if limits.highest_m is not None:
        found.append(Limit(f"ground above {limits.highest_m:g} m", ~(ground_m > limits.highest_m)))
    if limits.open_share is not None:
        openness = open_shares(surface, easting_m, northing_m)
        found.append(Limit(f"openness to wind over {limits.open_share:g}", openness <= limits.open_share))
    return [limit for limit in found if not limit.keeps.all()]


def within(
    shapes: Sequence[shapely.Geometry], within_m: float, easting_m: Floats, northing_m: Floats
) -> Flags:
    """(n,) whether places lie on any of the shapes, or no farther off than a distance (m on the grid)."""
    found = np.zeros(len(easting_m), np.bool_)
    if len(shapes):
        tree = shapely.STRtree(np.asarray(shapes, dtype=object))
        points = shapely.points(easting_m, northing_m)
        found[tree.query(points, predicate="dwithin", distance=within_m)[0]] = True
    return found
