"""Sample points that stand for a map feature when its visibility is judged."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Integers

#: A feature is judged by at most about this many samples along it, and as many again inside an area.
MOST_SAMPLES = 4_000


@dataclass(frozen=True)
class Samples:
    """Places on a feature, each standing for an equal part of its points, length or area.

    easting_m, northing_m : (n,) float64
    weight : (n,) float64, share of the feature that each stands for. The outline of an area has none: it
        counts for the edges of what is seen but not for the share; unless the area is too narrow for
        samples inside, when its sides stand for it
    number : (n,) int64; samples next to each other along a line feature follow each other in number, and all
        others are at least 2 apart
    """

    easting_m: Floats
    northing_m: Floats
    weight: Floats
    number: Integers


def sample(geometry: shapely.Geometry, spacing_m: float) -> Samples:
    """Sample a point, line or area feature.

    Parameters
    ----------
    geometry : Point, LineString, Polygon or a collection of one of these kinds, in a metric CRS
    spacing_m : wanted spacing; widened where a feature would need more than MOST_SAMPLES
    """
    dimension = shapely.get_dimensions(geometry)
    if dimension == 0:
        xy = shapely.get_coordinates(geometry)
        return Samples(xy[:, 0], xy[:, 1], np.full(len(xy), 1 / len(xy)), _apart(len(xy)))
    if dimension == 1:
        xy, weight, number = _along(geometry, spacing_m)
        return Samples(xy[:, 0], xy[:, 1], weight / weight.sum(), number)
    outline, lengths, _ = _along(shapely.boundary(geometry), spacing_m)
    inside = _inside(geometry, spacing_m)
    if not len(inside):
        return Samples(outline[:, 0], outline[:, 1], lengths / lengths.sum(), _apart(len(outline)))
    xy = np.concatenate((inside, outline))
    weight = np.r_[np.full(len(inside), 1 / len(inside)), np.zeros(len(outline))]
    return Samples(xy[:, 0], xy[:, 1], weight, _apart(len(xy)))


def _apart(count: int) -> Integers:
    return 2 * np.arange(count, dtype=np.int64)


def _along(geometry: shapely.Geometry, spacing_m: float) -> tuple[Floats, Floats, Integers]:
    """Middles of equal stretches of each line, with their lengths, and each line's two ends (length 0).

    Numbered along each line, with one number left out between two.
    """
    lines = [part for part in shapely.get_parts(shapely.get_parts(geometry)) if part.length > 0]
    if not lines:
        xy = shapely.get_coordinates(geometry)[:1]
        return xy, np.ones(1), _apart(1)
    total_m = float(sum(line.length for line in lines))
    spacing_m = max(spacing_m, total_m / MOST_SAMPLES)
    places, weights, numbers, first = [], [], [], 0
    for line in lines:
        stretches = max(1, int(np.ceil(line.length / spacing_m)))
        step_m = line.length / stretches
        at = np.r_[0.0, (np.arange(stretches) + 0.5) * step_m, line.length]
        places.append(places_along(line, at))
        weights.append(np.r_[0.0, np.full(stretches, step_m), 0.0])
        numbers.append(first + np.arange(at.size, dtype=np.int64))
        first += at.size + 1
    return np.concatenate(places), np.concatenate(weights), np.concatenate(numbers)


def places_along(line: shapely.LineString, at_m: Floats) -> Floats:
    """Places at distances along a line; GEOS would walk it from the start for each of them."""
    xy = shapely.get_coordinates(line)
    along_m = np.r_[0.0, np.cumsum(np.hypot(*np.diff(xy, axis=0).T))]
    return np.column_stack((np.interp(at_m, along_m, xy[:, 0]), np.interp(at_m, along_m, xy[:, 1])))


def _inside(geometry: shapely.Geometry, spacing_m: float) -> Floats:
    """Places of a square lattice that fall inside an area; none if it is too narrow for a fair sample."""
    spacing_m = max(spacing_m, float(np.sqrt(geometry.area / MOST_SAMPLES)))
    west, south, east, north = geometry.bounds
    # A long thin area slanting through its box would need a lattice far larger than itself.
    while (east - west) * (north - south) / spacing_m**2 > 50 * MOST_SAMPLES:
        spacing_m *= 2
    mean_width_m = 2 * geometry.area / geometry.length
    if mean_width_m < 2 * spacing_m:
        return np.empty((0, 2))
    x = np.arange(np.floor(west / spacing_m), np.ceil(east / spacing_m) + 1) * spacing_m
    y = np.arange(np.floor(south / spacing_m), np.ceil(north / spacing_m) + 1) * spacing_m
    xs, ys = (a.ravel() for a in np.meshgrid(x, y))
    shapely.prepare(geometry)
    inside = shapely.contains_xy(geometry, xs, ys)
    return np.column_stack((xs[inside], ys[inside]))
