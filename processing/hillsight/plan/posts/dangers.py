"""Which stretches of a course are dangerous, by the terrain, by map features and by the plan."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from hillsight.plan.posts.limits import near_steep, slopes_deg, within

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Flags, Floats
    from hillsight.ground.grid import Surface
    from hillsight.plan.posts.course import Course, Stretches
    from hillsight.plan.posts.plan import DangerWeights, NamedDanger


def weighed(
    course: Course,
    stretches: Stretches,
    surface: Surface,
    weights: DangerWeights,
    named: Sequence[NamedDanger],
    water: Sequence[shapely.Geometry],
    paths: Sequence[shapely.Geometry],
    beside_m: float,
) -> Stretches:
    """The stretches with their weights and reasons; where several dangers meet, the heaviest counts.

    Parameters
    ----------
    water, paths : shapes of map features on the working grid
    beside_m : paths no farther from the course than this are the course's own, m on the grid
    """
    dangers = _of_ground(stretches, surface, weights)
    dangers += _of_features(course, stretches, weights, water, paths, beside_m)
    lap_m = course.lap_m
    lap = np.floor((stretches.from_m + stretches.to_m) / 2 / lap_m) if course.laps > 1 else 0.0
    from_m, to_m = stretches.from_m - lap * lap_m, stretches.to_m - lap * lap_m
    for danger in named:
        dangers.append((danger.name, danger.weight, (to_m > danger.from_m) & (from_m < danger.to_m)))
    weight = np.ones(len(stretches.from_m))
    reasons: list[list[str]] = [[] for _ in weight]
    for name, heavier, there in dangers:
        if heavier > 1.0:
            weight[there] = np.maximum(weight[there], heavier)
            for k in np.flatnonzero(there):
                reasons[k].append(name)
    return replace(stretches, weight=weight, reason=tuple(", ".join(words) for words in reasons))


def _of_ground(
    stretches: Stretches, surface: Surface, weights: DangerWeights
) -> list[tuple[str, float, Flags]]:
    slope_deg = slopes_deg(surface)
    places = stretches.easting_m, stretches.northing_m
    near = near_steep(slope_deg, surface.grid, weights.edge_deg, weights.edge_within_m)
    return [
        (
            "steep ground",
            weights.steep,
            _at_least(surface.grid.sampled(slope_deg, *places), weights.steep_deg),
        ),
        ("edge", weights.edge, _at_least(surface.grid.sampled(near, *places), 0.5)),
    ]


def _at_least(values: Floats, least: float) -> Flags:
    return np.nan_to_num(values, nan=-np.inf) >= least


def _of_features(
    course: Course,
    stretches: Stretches,
    weights: DangerWeights,
    water: Sequence[shapely.Geometry],
    paths: Sequence[shapely.Geometry],
    beside_m: float,
) -> list[tuple[str, float, Flags]]:
    """Crossings of water, and places where a path leaves the course."""
    line = shapely.LineString(np.column_stack((course.easting_m, course.northing_m)))
    wet = [shape for shape in water if shapely.intersects(shape, line)]
    found = [("water", weights.water, _touched(stretches, wet, line, weights.water_within_m))]
    beside = shapely.buffer(line, max(beside_m, 1.0))
    leaving = [shapely.intersection(path, shapely.boundary(beside)) for path in paths]
    leaving = [place for place in leaving if not shapely.is_empty(place)]
    reach_m = weights.choice_within_m + max(beside_m, 1.0)
    there = within(leaving, reach_m, stretches.easting_m, stretches.northing_m)
    return [*found, ("route choice", weights.choice, there)]


def _touched(
    stretches: Stretches, shapes: Sequence[shapely.Geometry], line: shapely.Geometry, within_m: float
) -> Flags:
    """Stretches near where the course meets any of the shapes, their own half length allowed for."""
    met = [shapely.intersection(shape, line) for shape in shapes]
    half_m = float(np.max(stretches.length_m)) / 2
    return within(met, within_m + half_m, stretches.easting_m, stretches.northing_m)
