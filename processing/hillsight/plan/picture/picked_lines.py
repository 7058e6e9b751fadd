"""From a line drawn on a photograph to lines on the ground.

A line through open ground is followed pixel by pixel. An edge, traced where nearer ground stands against
farther ground or the sky, lies on a crest: it is taken to be of the crest that shows nearest to it, if one is
near enough, for a ray a hair to either side of an edge meets ground far before or far behind it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from hillsight.plan.picture.picking import standing_eye
from hillsight.sight.bearings import see_bearings
from hillsight.sight.down_ray import meet

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.plan.picture.camera import Camera
    from hillsight.plan.picture.picking import Ground, Stand

#: What a line is of: the sky's edge, the near brow's edge, or whatever ground it lies on.
type LineOf = Literal["skyline", "brow", "ground"]

#: A line is looked at every so many pixels, or at so many places if it is long.
_STEP_PX, _MOST_PLACES = 4.0, 600

#: An edge is of a crest that shows within so many standard deviations of where it was traced, and never
#: farther than so many pixels. Common practice, no source.
_WITHIN, _WITHIN_PX = 4.0, 60.0

#: Neighbouring places whose distances differ by more than this ratio, and by two posts, lie on different
#: ground.
_JUMP, _JUMP_POSTS = 1.25, 2.0


@dataclass(frozen=True)
class PickedLine:
    """One piece of ground that a line shows; arrays (n,), n >= 2.

    of : see :data:`LineOf`
    x_px, y_px : in the picture
    easting_m, northing_m, height_m, distance_m : on the ground, distances on the grid
    """

    of: LineOf
    x_px: Floats
    y_px: Floats
    easting_m: Floats
    northing_m: Floats
    height_m: Floats
    distance_m: Floats


def picked_lines(
    of: LineOf,
    x_px: Floats,
    y_px: Floats,
    camera: Camera,
    stand: Stand,
    ground: Ground,
    give_or_take_px: float,
) -> tuple[list[PickedLine], float]:
    """The ground that a line in the picture shows, in pieces, and the share of its length that shows any.

    Parameters
    ----------
    x_px, y_px : (n,) vertices in the order drawn, n >= 2
    give_or_take_px : standard deviation of the line

    Raises
    ------
    ValueError : as for :func:`hillsight.plan.picture.picking.pick`
    """
    eye = standing_eye(stand, ground)
    x, y = _places_along(x_px, y_px)
    bearing, angle = camera.directions(x, y)
    if of == "ground":
        distance_m = np.full(len(x), math.nan)
        posts = ground.posts(None)
        for n in np.flatnonzero(np.isfinite(bearing + angle)):
            met = meet(ground.surface.grid, posts, ground.highest_m, eye, float(bearing[n]), float(angle[n]))
            distance_m[n] = met.distance_m if met.meets == "ground" else math.nan
    else:
        grid = ground.surface.grid
        reach_m = math.hypot(grid.east_m - grid.west_m, grid.north_m - grid.south_m)
        distance_m = np.full(len(x), math.nan)
        inside = np.flatnonzero(np.isfinite(bearing + angle))
        along = see_bearings(ground.surface, eye, reach_m, bearing[inside])
        crest_m = along.crests[:, :, 0]
        if of == "skyline":
            crest_m = along.skyline_distance_m[:, None]
        east = stand.easting_m + crest_m * np.sin(np.radians(bearing[inside]))[:, None]
        north = stand.northing_m + crest_m * np.cos(np.radians(bearing[inside]))[:, None]
        height_m = ground.surface.heights_at_m(east, north)
        with np.errstate(invalid="ignore", divide="ignore"):
            shown_deg = np.degrees(
                np.arctan((height_m - eye.drop_per_m * crest_m**2 - eye.level_m) / crest_m)
            )
        shown_x, shown_y = camera.pixels(bearing[inside][:, None], shown_deg)
        off_px = np.hypot(shown_x - x[inside][:, None], shown_y - y[inside][:, None])
        off_px = np.where(np.isnan(off_px), np.inf, off_px)
        best = off_px.argmin(axis=1)
        rows = np.arange(len(inside))
        near = off_px[rows, best] <= min(_WITHIN * give_or_take_px, _WITHIN_PX)
        distance_m[inside] = np.where(near, crest_m[rows, best], math.nan)
    return _pieces(of, x, y, bearing, distance_m, stand, ground)


def _places_along(x_px: Floats, y_px: Floats) -> tuple[Floats, Floats]:
    """Places along a line, evenly spaced, both its ends among them."""
    run = np.concatenate(([0.0], np.cumsum(np.hypot(np.diff(x_px), np.diff(y_px)))))
    count = int(np.clip(math.ceil(run[-1] / _STEP_PX) + 1, 2, _MOST_PLACES))
    at = np.linspace(0.0, run[-1], count)
    return np.interp(at, run, x_px), np.interp(at, run, y_px)


def _pieces(
    of: LineOf, x: Floats, y: Floats, bearing: Floats, distance_m: Floats, stand: Stand, ground: Ground
) -> tuple[list[PickedLine], float]:
    """Cut where nothing is met, and where the ground is other ground."""
    grid = ground.surface.grid
    least_m = _JUMP_POSTS * max(grid.spacing_x_m, grid.spacing_y_m)
    known = np.isfinite(distance_m)
    with np.errstate(invalid="ignore"):
        jump = (np.abs(np.diff(distance_m)) > least_m) & (
            np.abs(np.diff(np.log(np.where(known, np.maximum(distance_m, 1e-3), np.nan)))) > math.log(_JUMP)
        )
    cuts = np.flatnonzero(~known[:-1] | ~known[1:] | jump) + 1
    found = []
    for part in np.split(np.arange(len(x)), cuts):
        if len(part) < 2 or not known[part].all():
            continue
        turn = np.radians(bearing[part])
        east = stand.easting_m + distance_m[part] * np.sin(turn)
        north = stand.northing_m + distance_m[part] * np.cos(turn)
        height_m = ground.surface.heights_at_m(east, north)
        found.append(PickedLine(of, x[part], y[part], east, north, height_m, distance_m[part]))
    return found, float(known.mean())
