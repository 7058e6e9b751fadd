"""Where a section runs: from a station to a target, or on a bearing to the reach or the terrain's end."""

from __future__ import annotations

from dataclasses import replace
from math import ceil, floor
from typing import TYPE_CHECKING

import numpy as np
import shapely

from hillsight.errors import CallError, TerrainError
from hillsight.ground.geodesy import Geodesy, drop_coefficient_per_m, grid_bearing_deg
from hillsight.ground.grid import Surface
from hillsight.ground.standing import ground_height_m
from hillsight.ground.terrain import MOST_POSTS
from hillsight.reading.section.profile import Course, cut_section
from hillsight.reading.section.whole_target import Standpoint, whole_target
from hillsight.sight.viewing import Eye
from hillsight.words.angles import wrap_deg

if TYPE_CHECKING:
    from collections.abc import Callable

    from hillsight.arrays import Floats32
    from hillsight.ground.grid import Grid
    from hillsight.ground.stations import Station
    from hillsight.ground.terrain import Terrain
    from hillsight.reading.section.profile import Section, Target
    from hillsight.reading.section.whole_target import WholeTarget
    from hillsight.sight.viewing import Viewing

    Read = Callable[[int, int, int, int], Floats32]

#: Posts around a section that are read with it.
_MARGIN_POSTS = 2

#: A target this near (m) to the station is the station.
_SAME_PLACE_M = 0.01


def section_along(
    terrain: Terrain,
    read: Read,
    station: Station,
    to: Target | float,
    viewing: Viewing,
    *,
    number: int,
    beside_m: float = 0.0,
) -> tuple[Section, list[str]]:
    """Cut the ground from a station to a target, or on a true bearing out to the reach.

    A section on a bearing ends where the terrain does, if that is nearer than the reach.

    Parameters
    ----------
    read : from ``terrain.reading()``
    to : a target on the terrain, or a true bearing in degrees
    viewing : eye height, refraction, and of a bearing the reach; its target height does not matter here
    number : of the section within the run
    beside_m : how far beside the section features are sought, so that the ground there is read too

    Returns
    -------
    (the section, plain sentences on the station's height)

    Raises
    ------
    StationError : the station stands on a void, or its surveyed height puts the eye underground
    CallError : the target is the station itself, or the bearing leads off the terrain at once
    TerrainError : more ground than can be held, or it cannot be read
    """
    grid, geodesy = terrain.grid, Geodesy(terrain.crs)
    here = (station.easting_m, station.northing_m)
    if isinstance(to, float):
        target = None
        grid_deg = float(wrap_deg(to - geodesy.convergence_deg(*here)))
        end, ends_at = _out(grid, here, grid_deg, viewing.reach_m)
        true_deg = float(wrap_deg(to))
        if np.hypot(end[0] - here[0], end[1] - here[1]) < _SAME_PLACE_M:
            raise CallError(
                f"on bearing {to:g} the terrain ends at the feet of {station.label!r}",
                remedy="Give another bearing, or terrain that goes on",
                parameters=("bearing",),
            )
    else:
        target, end, ends_at = to, (to.easting_m, to.northing_m), "target"
        if np.hypot(end[0] - here[0], end[1] - here[1]) < _SAME_PLACE_M:
            raise CallError(
                f"the target {to.name!r} is where {station.label!r} stands",
                remedy="Give a target elsewhere, or leave that station out",
            )
        grid_deg = float(grid_bearing_deg(*here, *end))
        true_deg = float(geodesy.inverse(*here, *end)[0])
    surface = _around(terrain, read, here, end, beside_m)
    ground_m, notes = ground_height_m(station, surface.height_at_m(*here), viewing.eye_height_m)
    course = Course(
        number, station.label, *here, ground_m, viewing.eye_height_m, viewing.refraction, target, ends_at,
        *end, true_deg, grid_deg,
    )  # fmt: skip
    drop_per_m = drop_coefficient_per_m(geodesy.gaussian_radius_m(*here), viewing.refraction)
    section = cut_section(course, surface, drop_per_m, geodesy)
    if target is not None and target.shape is not None:
        section = replace(section, whole=_whole(terrain, read, section, target, viewing, geodesy))
    return section, notes


def _whole(
    terrain: Terrain, read: Read, section: Section, target: Target, viewing: Viewing, geodesy: Geodesy
) -> WholeTarget | None:
    """What is seen of all of a target; None where it spans more ground than can be held."""
    here = section.course.easting_m, section.course.northing_m
    corners = shapely.box(*shapely.total_bounds([target.shape, shapely.Point(here)])).bounds
    if (corners[2] - corners[0]) * (corners[3] - corners[1]) > MOST_POSTS * (
        terrain.grid.spacing_x_m * terrain.grid.spacing_y_m
    ):
        return None
    surface = _around(terrain, read, corners[:2], corners[2:], 0.0)
    eye = Eye.on(surface.grid, *here, section.eye.level_m, section.eye.drop_per_m)
    across_m = float(np.hypot(corners[2] - corners[0], corners[3] - corners[1]))
    stand = Standpoint(*here, surface, eye, replace(viewing, reach_m=across_m + 1.0), geodesy)
    return whole_target(stand, target.shape, target.height_m)


def _out(
    grid: Grid, here: tuple[float, float], bearing_grid_deg: float, reach_m: float
) -> tuple[tuple[float, float], str]:
    """The end of a section on a bearing, and what ends it."""
    angle = np.radians(bearing_grid_deg)
    ways = [float(np.sin(angle)), float(np.cos(angle))]
    # A bearing along a grid line must not wander off it by rounding.
    ways = [0.0 if abs(way) < 1e-14 else way for way in ways]
    edges = ((grid.west_m, grid.east_m), (grid.south_m, grid.north_m))
    room_m = [
        ((high if way > 0 else low) - at) / way if way else np.inf
        for at, way, (low, high) in zip(here, ways, edges, strict=True)
    ]
    length_m = min(reach_m, *room_m)
    end = [
        min(max(at + way * length_m, low), high)
        for at, way, (low, high) in zip(here, ways, edges, strict=True)
    ]
    return (end[0], end[1]), "reach" if length_m == reach_m else "terrain_edge"


def _around(
    terrain: Terrain, read: Read, here: tuple[float, float], end: tuple[float, float], beside_m: float
) -> Surface:
    """The posts around a section."""
    grid = terrain.grid
    rows, columns = grid.to_array(np.array([here[0], end[0]]), np.array([here[1], end[1]]))
    firsts, counts = [], []
    for places, posts, spacing_m in (
        (rows, grid.rows, grid.spacing_y_m),
        (columns, grid.columns, grid.spacing_x_m),
    ):
        margin = _MARGIN_POSTS + beside_m / spacing_m
        first = max(0, floor(places.min() - margin))
        firsts.append(first)
        counts.append(min(posts - 1, ceil(places.max() + margin)) - first + 1)
    if counts[0] * counts[1] > MOST_POSTS:
        raise TerrainError(
            f"the section needs {counts[0]:,} x {counts[1]:,} posts around it, more than can be held at once "
            f"({MOST_POSTS:,})",
            where=terrain.path,
            remedy="Ask for a shorter section, or give coarser terrain",
        )
    return terrain.surface(firsts[0], firsts[1], read(*firsts, *counts))
