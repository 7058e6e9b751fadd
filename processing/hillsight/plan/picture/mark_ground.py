"""The ground under marks and stations: heights, slopes, and how far all of it may be out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import HillsightError, MarksError
from hillsight.ground.grid import between_posts
from hillsight.ground.roughness import ROUGHNESS, rough_scale_m, rough_variance_m2
from hillsight.plan.picture.resection_model import KnownMarks, Standing

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Floats, Floats32
    from hillsight.ground.accuracy import ErrorModel
    from hillsight.ground.geodesy import Geodesy
    from hillsight.ground.grid import Surface
    from hillsight.ground.terrain import Terrain
    from hillsight.plan.picture.marks import Landmark

#: A landmark mostly stands out from the ground about it, and posts miss the highest of it. Half-way between
#: two posts it is taken to stand over the line between them by this share of how far the two stand out from
#: their neighbours. Settled on tops of the Highlands thinned from 50 to 100 m, other windows than those that
#: ``docs/studies/camera_study.py`` reports on (0.5 to 0.74 of tops, 0.2 of any ground).
_STANDS_OUT = 0.5

#: Share of how much posts bend that is the ground's at least, however much of it their errors explain.
_LEAST_GROUND = 0.1

#: Posts read about a place on each side.
_POSTS = 8

#: How far about a station another place is looked for, where the place is solved for, metres.
PLACE_WITHIN_M = 3_000.0


@dataclass(frozen=True)
class MarkedThing:
    """A landmark found on the map.

    mark : as it is marked; number : in the file, from 1
    easting_m, northing_m : in the working grid
    height_m : in the terrain's datum where it was given; None to stand on the terrain
    above_ground_m : of what is marked, where it stands on the terrain
    extent_m : how far a feature that is no point spreads, one standard deviation of where on it the mark is
    """

    mark: Landmark
    number: int
    name: str
    easting_m: float
    northing_m: float
    height_m: float | None = None
    above_ground_m: float = 0.0
    extent_m: float = 0.0


@dataclass(frozen=True)
class GroundAt:
    """The ground at a place: height, rise per metre east and north, variance of what lies between posts.

    lift_m : how far what stands out there is likely to stand over the straight line between posts; 0 or more
    posts_m : (4, 2) easting and northing of the posts about it, weights : (4,) by which its height is theirs
    """

    height_m: float
    slope: tuple[float, float]
    rough_m2: float
    lift_m: float
    posts_m: Floats
    weights: Floats


def ground_at(terrain: Terrain, easting_m: float, northing_m: float, errors: ErrorModel) -> GroundAt:
    """The ground of a terrain at a place; its height is NaN over a void.

    Raises
    ------
    TerrainError : the place lies off the terrain, or all about it is void
    """
    spacing_m = max(terrain.spacing_x_m, terrain.spacing_y_m)
    surface = terrain.window(easting_m, northing_m, _POSTS * spacing_m)
    return _ground_on(surface, easting_m, northing_m, errors)


def _ground_on(surface: Surface, easting_m: float, northing_m: float, errors: ErrorModel) -> GroundAt:
    # The slope over as far as the place may be out, for that is what its error does to the height.
    reach_m = max(errors.feature_position_m, errors.station_position_m, 1.0)
    moves = reach_m * np.array([[0, 0], [1, 0], [-1, 0], [0, 1], [0, -1]])
    height = surface.heights_at_m(easting_m + moves[:, 0], northing_m + moves[:, 1])
    slope = np.nan_to_num([(height[1] - height[2]) / (2 * reach_m), (height[3] - height[4]) / (2 * reach_m)])
    row, column = surface.grid.to_array(np.array([easting_m]), np.array([northing_m]))
    scale_m, roughness = rough_scale_m(surface.height_m), ROUGHNESS[errors.between_posts]
    rough_m2 = rough_variance_m2(scale_m, roughness, row, column) * _ground_share(surface, scale_m, errors)
    lift_m = _STANDS_OUT * _bend_m(surface, row, column) if roughness.between > 0 else 0.0
    return GroundAt(
        float(height[0]),
        (float(slope[0]), float(slope[1])),
        float(rough_m2[0]),
        lift_m,
        *_posts_about(surface, float(row[0]), float(column[0])),
    )


def _ground_share(surface: Surface, scale_m: Floats32, errors: ErrorModel) -> float:
    """Share of what posts stand out from their neighbours that is the ground's; the rest are their errors.

    The errors of posts bend them too, by what the error model makes of the second difference.
    """
    bent_m2 = 0.0
    for spacing_m in (surface.grid.spacing_x_m, surface.grid.spacing_y_m):
        own, next_m2, second = errors.covariance_m2(spacing_m * np.arange(3.0))
        bent_m2 += (1.5 * own - 2.0 * next_m2 + 0.5 * second) / 2.0
    known = scale_m[np.isfinite(scale_m) & (scale_m > 0)]
    if not known.size:
        return 1.0
    return float(max(1.0 - bent_m2 / np.mean(known.astype(np.float64) ** 2), _LEAST_GROUND))


def _posts_about(surface: Surface, row: float, column: float) -> tuple[Floats, Floats]:
    """The four posts about a place, (4, 2) metres, and their weights (4,) in its height."""
    first, down = divmod(row, 1.0)
    left, across = divmod(column, 1.0)
    rows, columns = first + np.array([0.0, 0.0, 1.0, 1.0]), left + np.array([0.0, 1.0, 0.0, 1.0])
    east, north = surface.grid.to_map(rows, columns)
    weights = np.outer((1.0 - down, down), (1.0 - across, across)).ravel()
    return np.column_stack((east, north)), weights


def _bend_m(surface: Surface, row: Floats, column: Floats) -> float:
    """How far the posts about a place stand out from their neighbours, over rows and columns together.

    Whole half-way between two posts, nothing at a post; 0 where the ground is hollow, or void.
    """
    total_m = 0.0
    for axis, place in enumerate((row, column)):
        bent_m = np.zeros(surface.height_m.shape)
        inner = tuple(slice(1, -1) if k == axis else slice(None) for k in range(2))
        bent_m[inner] = -np.diff(surface.height_m.astype(np.float64), n=2, axis=axis) / 2.0
        part = float(np.mod(place[0], 1.0))
        total_m += 4.0 * part * (1.0 - part) * float(between_posts(bent_m, row, column)[0])
    return max(total_m, 0.0) if np.isfinite(total_m) else 0.0


def known_marks(
    things: Sequence[MarkedThing], terrain: Terrain, errors: ErrorModel, east_m: float, north_m: float
) -> KnownMarks:
    """Marks with their places, heights and errors, for a camera at a place.

    A height that the marks give is taken as exact; one of the terrain has the terrain's errors, and where
    the landmark's own place is out, its height follows the slope.

    Raises
    ------
    MarksError : a landmark without a height lies off the terrain or on a void
    """
    count = len(things)
    heights, covariance = np.zeros(count), np.zeros((count, 3, 3))
    on_terrain = np.zeros(count + 1, bool)
    here = ground_at(terrain, east_m, north_m, errors)
    posts, weights = [], []
    for k, thing in enumerate(things):
        place_m2 = errors.feature_position_m**2 + thing.extent_m**2
        move = np.array([[1.0, 0.0], [0.0, 1.0], [0.0, 0.0]])
        if thing.height_m is None:
            ground = marked_ground(terrain, thing, errors)
            heights[k] = ground.height_m + ground.lift_m + thing.above_ground_m
            move[2] = ground.slope
            covariance[k, 2, 2] = ground.rough_m2
            on_terrain[k] = True
            posts.append(ground.posts_m)
            weights.append(ground.weights)
        else:
            heights[k] = thing.height_m
            posts.append(np.tile([thing.easting_m, thing.northing_m], (4, 1)))
            weights.append(np.array([1.0, 0.0, 0.0, 0.0]))
        covariance[k] += place_m2 * move @ move.T
    on_terrain[-1] = errors.station_height_m is None
    shared = _shared_m2(np.array([*posts, here.posts_m]), np.array([*weights, here.weights]), errors)
    shared *= np.outer(on_terrain, on_terrain)
    places = np.array([(t.easting_m, t.northing_m) for t in things])
    return KnownMarks(
        tuple(thing.name for thing in things),
        np.array([thing.mark.x_px for thing in things]),
        np.array([thing.mark.y_px for thing in things]),
        np.array([thing.mark.give_or_take_px for thing in things]),
        places[:, 0],
        places[:, 1],
        heights,
        covariance,
        shared,
    )


def _shared_m2(posts_m: Floats, weights: Floats, errors: ErrorModel) -> Floats:
    """Covariance (n, n) of the terrain's errors at n places, each between four posts that err as is told.

    posts_m : (n, 4, 2); weights : (n, 4)
    """
    every = posts_m.reshape(-1, 2)
    apart = np.hypot(*(every[:, None, :] - every[None, :, :]).transpose(2, 0, 1))
    apart = np.where(apart < 1e-3, 0.0, apart)  # the same post, by two windows
    each = errors.covariance_m2(apart).reshape(len(posts_m), 4, len(posts_m), 4)
    return np.asarray(np.einsum("ia,iajb,jb->ij", weights, each, weights))


def marked_ground(terrain: Terrain, thing: MarkedThing, errors: ErrorModel) -> GroundAt:
    """The ground under a landmark that has no height of its own.

    Raises
    ------
    MarksError : it lies off the terrain or on a void
    """
    where = f"landmark {thing.number} ({thing.name})"
    remedy = "Give terrain that covers it, or its easting_m, northing_m and height_m with the mark"
    try:
        ground = ground_at(terrain, thing.easting_m, thing.northing_m, errors)
    except HillsightError as error:
        raise MarksError(
            "lies off the terrain and has no height", where=where, remedy=remedy, parameters=("marks",)
        ) from error
    if np.isnan(ground.height_m):
        raise MarksError(
            "lies off the terrain, or on or beside a void, and has no height",
            where=where,
            remedy=remedy,
            parameters=("marks",),
        )
    return ground


def standing_at(
    terrain: Terrain,
    geodesy: Geodesy,
    errors: ErrorModel,
    place: tuple[float, float],
    ground_height_m: float,
    eye_height_m: float,
    refraction: float,
    *,
    solved: bool,
) -> Standing:
    """Where a camera is believed to stand, over ground of a known height; or whose place is to be solved for.

    Raises
    ------
    TerrainError : the place lies off the terrain
    """
    east_m, north_m = place
    ground = ground_at(terrain, east_m, north_m, errors)
    eye_m2 = errors.eye_height_m**2 + ground.rough_m2
    if errors.station_height_m is not None:
        eye_m2 = errors.eye_height_m**2 + errors.station_height_m**2
    heights = None
    if solved:
        surface = terrain.window(east_m, north_m, PLACE_WITHIN_M)

        def heights(easting_m: Floats, northing_m: Floats) -> Floats:
            return surface.heights_at_m(easting_m, northing_m)

    return Standing(
        east_m,
        north_m,
        ground_height_m + eye_height_m,
        float(geodesy.gaussian_radius_m(east_m, north_m)),
        refraction,
        np.inf if solved else errors.station_position_m,
        float(np.sqrt(eye_m2)),
        (0.0, 0.0) if errors.station_height_m is not None else ground.slope,
        heights,
        errors.refraction,
    )
