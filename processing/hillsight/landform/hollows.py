"""Hollows: ground with no way down and out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from scipy import ndimage

from hillsight.ground.accuracy import ErrorModel
from hillsight.landform.flood import drain
from hillsight.landform.outlines import areas_between, posts_inside

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Integers32
    from hillsight.landform.scale import Worked

#: Least depth as a share of the scale, and in metres, on the smoothed ground; least area as a share of the
#: scale, squared. By trial, no source.
_LEAST_DEPTH_SHARE, _LEAST_DEPTH_M, _LEAST_SHARE = 0.01, 1.0, 0.25

#: Greatest area, likewise: a larger one is a valley whose way out is too narrow for the posts. By trial.
_MOST_SHARE = 3.0


#: 95 % of normal errors lie within so many standard deviations (closed form).
_SIGMAS_95 = 1.96


@dataclass(frozen=True)
class Hollow:
    """A hollow; floor and rim as the terrain itself has them."""

    area: shapely.Polygon
    floor_height_m: float
    rim_height_m: float


def find_hollows(worked: Worked, filled_m: Floats) -> list[Hollow]:
    """Hollows of the smoothed ground.

    Parameters
    ----------
    filled_m : (rows, columns) the smoothed heights with depressions filled to their rims
    """
    depth_m = np.where(np.isnan(worked.height_m), 0.0, filled_m - worked.height_m)
    labels, count = ndimage.label(depth_m > 0, structure=np.ones((3, 3)))
    if not count:
        return []
    deepest = ndimage.maximum(depth_m, labels, index=np.arange(1, count + 1))
    least_m = max(_LEAST_DEPTH_M, _LEAST_DEPTH_SHARE * worked.scale_m)
    found = []
    for label, window in enumerate(ndimage.find_objects(labels), 1):
        if window is not None and deepest[label - 1] >= least_m:
            hollow = _hollow(worked, filled_m, labels, label, window)
            if hollow is not None:
                found.append(hollow)
    return found


def depth_plus_minus_m(worked: Worked) -> float:
    """How far a hollow's depth may be out, at 95 %: two heights of a terrain whose errors are guessed.

    A shallower one may drain by a channel that the model has closed.
    """
    grid = worked.raw.grid
    spacing_m = max(grid.spacing_x_m, grid.spacing_y_m)
    # Errors that change from post to post: a channel is narrower than the posts are apart.
    errors = ErrorModel(min(max(0.1 * spacing_m, 0.15), 10.0), max(3.0 * spacing_m, 10.0))
    # Floor and rim lie about half the scale apart, and err alike the nearer they are.
    apart_m = np.array([worked.scale_m / 2.0])
    alike_m2 = float(errors.covariance_m2(apart_m)[0])
    return float(_SIGMAS_95 * np.sqrt(2.0 * (errors.terrain_rmse_m**2 - alike_m2)))


def _hollow(
    worked: Worked,
    filled_m: Floats,
    labels: Integers32,
    label: int,
    window: tuple[slice, slice],
) -> Hollow | None:
    """The hollow of one filled region, outlined at its rim; None if it is too small."""
    top, left = (max(part.start - 2, 0) for part in window)
    bottom, right = (min(part.stop + 2, size) for part, size in zip(window, labels.shape, strict=True))
    here = labels[top:bottom, left:right] == label
    height_m = worked.height_m[top:bottom, left:right]
    rim_m = float(filled_m[top:bottom, left:right][here].max())
    lowest = np.unravel_index(np.argmin(np.where(here, height_m, np.inf)), here.shape)
    grid = worked.grid.part(top, left, bottom - top, right - left)
    place = shapely.Point(*(float(v) for v in grid.to_map(float(lowest[0]), float(lowest[1]))))
    # Below the rim outside the hollow there may be ground too: past its outlet.
    inside = np.where(here | ~(height_m < rim_m), height_m, rim_m + 1e-9)
    areas = areas_between(
        inside, grid, -1e6, rim_m, least_m2=(_LEAST_SHARE * worked.scale_m) ** 2, least_hole_m2=0.0
    )
    most_m2 = (_MOST_SHARE * worked.scale_m) ** 2
    areas = [area for area in areas if area.area <= most_m2 and area.intersects(place)]
    return _measured(worked, areas[0]) if areas else None


def _measured(worked: Worked, area: shapely.Polygon) -> Hollow | None:
    """Floor and rim by flooding the terrain's own posts about the hollow; None where they hold no hollow."""
    grid = worked.raw.grid
    west, south, east, north = area.buffer(worked.scale_m).bounds
    top, left = (max(int(np.floor(v)), 0) for v in grid.to_array(west, north))
    bottom, right = (
        min(int(np.ceil(v)) + 1, size)
        for v, size in zip(grid.to_array(east, south), (grid.rows, grid.columns), strict=True)
    )
    part = grid.part(top, left, bottom - top, right - left)
    height_m = worked.raw.height_m[top:bottom, left:right].astype(np.float64)
    filled_m = drain(height_m, grid.spacing_x_m, grid.spacing_y_m).filled_m
    rows, columns = posts_inside(area, part)
    lowest = int(np.nanargmin(height_m[rows, columns]))
    floor_m, rim_m = (float(v[rows[lowest], columns[lowest]]) for v in (height_m, filled_m))
    return Hollow(area, floor_m, rim_m) if rim_m > floor_m else None
