"""What is seen from an eye: of every post, of single points, and along bearings."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.sight import kernels
from hillsight.sight.viewing import ON_LINE

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from hillsight.ground.grid import Grid, Surface
    from hillsight.sight.viewing import Eye

#: Rows a thread does before it looks up for an interruption and reports progress.
_ROWS_AT_A_TIME = 16

#: Crests kept in full for each bearing; the nearest matter to a person on the ground.
CRESTS_KEPT = 32


@dataclass(frozen=True)
class PostSight:
    """The view of every post of a surface.

    clearance_m : (rows, columns) float32, metres the target stands above the line grazing the highest
        nearer ground; >= 0 visible, < 0 hidden by that much; +inf where no ground is nearer; NaN
        unknown or beyond the reach
    crest_distance_m : (rows, columns) float32, metres on the grid from the eye to the ground that sets
        the grazing line of each post; 0 where none does; NaN beyond the reach
    """

    clearance_m: NDArray[np.float32]
    crest_distance_m: NDArray[np.float32]


@dataclass(frozen=True)
class PointSight:
    """The view of single targets, each array (n,) float64.

    clearance_m : as for posts; NaN unknown, or off the terrain
    crest_distance_m : metres on the grid from the eye to the ground that sets the grazing line
    ground_m : height of the ground under the target, NaN where unknown
    slope : apparent rise of the target over grid distance, from the eye's level
    """

    clearance_m: NDArray[np.float64]
    crest_distance_m: NDArray[np.float64]
    ground_m: NDArray[np.float64]
    slope: NDArray[np.float64]


@dataclass(frozen=True)
class BearingSight:
    """The view along bearings; each array has one entry a bearing, in the order asked.

    skyline_slope, skyline_distance_m, skyline_height_m : apparent slope, grid distance and ground
        height of the highest-standing ground within the reach; NaN where there is none
    skyline_end : uint8, one of SKYLINE_ENDS
    brow_distance_m : grid distance at which ground first turns out of view; NaN if it never does
    crest_count : how often ground turns out of view
    crests : (n, CRESTS_KEPT, 3) crest distance, re-emergence distance, greatest depth between; metres

    Brow and crests are sought up to the first void on the way.
    """

    skyline_slope: NDArray[np.float64]
    skyline_distance_m: NDArray[np.float64]
    skyline_height_m: NDArray[np.float64]
    skyline_end: NDArray[np.uint8]
    brow_distance_m: NDArray[np.float64]
    crest_count: NDArray[np.int32]
    crests: NDArray[np.float64]


#: Meaning of ``BearingSight.skyline_end``, by code.
SKYLINE_ENDS = ("ground", "reach", "terrain_edge", "void")


def distance_from_m(grid: Grid, eye: Eye) -> NDArray[np.float64]:
    """Grid distance of every post from an eye, (rows, columns) float64, metres."""
    north_south_m = (np.arange(grid.rows) - eye.row) * grid.spacing_y_m
    east_west_m = (np.arange(grid.columns) - eye.column) * grid.spacing_x_m
    # The same arithmetic as the kernel's, so that both draw the reach through the same posts.
    distance: NDArray[np.float64] = np.sqrt((north_south_m**2)[:, None] + (east_west_m**2)[None, :])
    return distance


def lower(surface: Surface, eye: Eye) -> NDArray[np.float64]:
    """Heights of the posts lowered for curvature and refraction, (rows, columns) float64, NaN voids."""
    lowered = surface.height_m.astype(np.float64)
    if eye.drop_per_m:
        lowered -= eye.drop_per_m * distance_from_m(surface.grid, eye) ** 2
    return lowered


def _check_on_terrain(surface: Surface, eye: Eye) -> None:
    """The kernels read posts on all sides of the eye without looking whether they exist."""
    grid = surface.grid
    if not (0 <= eye.row <= grid.rows - 1 and 0 <= eye.column <= grid.columns - 1):
        raise ValueError(
            f"an eye at row {eye.row:g}, column {eye.column:g} is outside {grid.rows} x {grid.columns} posts"
        )


def see_posts(
    surface: Surface,
    eye: Eye,
    reach_m: float,
    target_height_m: float = 0.0,
    progress: Callable[[float], None] | None = None,
) -> PostSight:
    """Clearance of every post within the reach.

    Parameters
    ----------
    surface : heights; the eye must stand within its outermost posts
    eye : position on the surface's lattice, level, drop for curvature and refraction
    reach_m : metres on the grid
    target_height_m : metres above the ground at each post
    progress : called with the share done, 0 to 1, from the calling thread

    Raises
    ------
    ValueError : the eye lies outside the outermost posts
    """
    _check_on_terrain(surface, eye)
    grid = surface.grid
    lowered = lower(surface, eye)
    clearance_m = np.full((grid.rows, grid.columns), np.nan, np.float32)
    crest_distance_m = np.full((grid.rows, grid.columns), np.nan, np.float32)

    def rows_from(first: int) -> None:
        kernels.clearance_of_rows(
            lowered,
            first,
            min(first + _ROWS_AT_A_TIME, grid.rows),
            grid.spacing_x_m,
            grid.spacing_y_m,
            eye.row,
            eye.column,
            eye.level_m,
            float(reach_m),
            float(target_height_m),
            clearance_m,
            crest_distance_m,
        )

    starts = range(0, grid.rows, _ROWS_AT_A_TIME)
    pool = ThreadPoolExecutor(os.process_cpu_count() if hasattr(os, "process_cpu_count") else os.cpu_count())
    try:
        for done, _ in enumerate(pool.map(rows_from, starts), 1):
            if progress is not None:
                progress(done / len(starts))
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
    return PostSight(clearance_m, crest_distance_m)


def see_points(
    surface: Surface,
    eye: Eye,
    rows: NDArray[np.float64],
    columns: NDArray[np.float64],
    target_heights_m: NDArray[np.float64] | float = 0.0,
) -> PointSight:
    """Clearance of targets at fractional rows and columns, by the same definition as for posts.

    Targets outside the outermost posts are unknown. Whether a target lies within a reach is the
    caller's to judge.

    Raises
    ------
    ValueError : the eye lies outside the outermost posts
    """
    _check_on_terrain(surface, eye)
    rows = _on_lines(np.atleast_1d(np.asarray(rows, np.float64)))
    columns = _on_lines(np.atleast_1d(np.asarray(columns, np.float64)))
    heights_m = np.broadcast_to(np.asarray(target_heights_m, np.float64), rows.shape)
    grid = surface.grid
    on_terrain = (rows >= 0) & (rows <= grid.rows - 1) & (columns >= 0) & (columns <= grid.columns - 1)
    clearance_m, fraction, lowered_m = (np.full(rows.size, np.nan) for _ in range(3))
    inside = np.flatnonzero(on_terrain)
    if inside.size:
        found = [np.full(inside.size, np.nan) for _ in range(3)]
        kernels.clearance_of_points(
            lower(surface, eye),
            eye.row,
            eye.column,
            eye.level_m,
            rows[inside],
            columns[inside],
            np.ascontiguousarray(heights_m[inside]),
            *found,
        )
        clearance_m[inside], fraction[inside], lowered_m[inside] = found
    distance_m = np.hypot((rows - eye.row) * grid.spacing_y_m, (columns - eye.column) * grid.spacing_x_m)
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = (lowered_m + heights_m - eye.level_m) / distance_m
    return PointSight(
        clearance_m=clearance_m,
        crest_distance_m=fraction * distance_m,
        ground_m=lowered_m + eye.drop_per_m * distance_m**2,
        slope=slope,
    )


def _on_lines(positions: NDArray[np.float64]) -> NDArray[np.float64]:
    """Positions brought onto a grid line that they all but touch, as an eye is."""
    whole = np.round(positions)
    return np.where(np.abs(positions - whole) < ON_LINE, whole, positions)


def see_bearings(
    surface: Surface, eye: Eye, reach_m: float, bearings_grid_deg: NDArray[np.float64]
) -> BearingSight:
    """Skyline and crests along bearings from grid north, each walked crossing by crossing.

    Raises
    ------
    ValueError : the eye lies outside the outermost posts
    """
    _check_on_terrain(surface, eye)
    angles = np.radians(np.atleast_1d(np.asarray(bearings_grid_deg, np.float64)))
    easts, norths = np.sin(angles), np.cos(angles)
    # A bearing along a grid line must not wander off it by rounding.
    easts[np.abs(easts) < 1e-14] = 0.0
    norths[np.abs(norths) < 1e-14] = 0.0
    n = angles.size
    slope, distance_m, lowered_m, brow_m = (np.full(n, np.nan) for _ in range(4))
    end = np.zeros(n, np.uint8)
    count = np.zeros(n, np.int32)
    crests = np.full((n, CRESTS_KEPT, 3), np.nan)
    lowered = lower(surface, eye)
    workers = max(1, os.cpu_count() or 1)
    bounds = np.linspace(0, n, 4 * workers + 1).astype(int)

    def some(part: int) -> None:
        s = slice(bounds[part], bounds[part + 1])
        kernels.walk_bearings(
            lowered,
            surface.grid.spacing_x_m,
            surface.grid.spacing_y_m,
            eye.row,
            eye.column,
            eye.level_m,
            float(reach_m),
            easts[s],
            norths[s],
            slope[s],
            distance_m[s],
            lowered_m[s],
            end[s],
            brow_m[s],
            count[s],
            crests[s],
        )

    with ThreadPoolExecutor(workers) as pool:
        list(pool.map(some, range(4 * workers)))
    slope[~np.isfinite(slope)] = np.nan
    return BearingSight(
        skyline_slope=slope,
        skyline_distance_m=distance_m,
        skyline_height_m=lowered_m + eye.drop_per_m * distance_m**2,
        skyline_end=end,
        brow_distance_m=brow_m,
        crest_count=count,
        crests=crests,
    )
