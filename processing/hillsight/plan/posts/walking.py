"""How long marshals walk to their posts, over ground and paths: the quickest way through a directed graph.

Nodes are the terrain's posts, thinned where they lie closer than anybody strides or are too many; places on
paths; where people set out and where they go. From every terrain post sixteen legs lead out, so that a way
is at most 2.8 % longer than a straight one on open ground (eight would make it 8.2 %). Paths are walked along
their own lines. A leg takes its time by Tobler's function in the direction it is walked; Naismith's rule with
Langmuir's corrections is told beside it, along the same way.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from rasterio.features import rasterize
from rasterio.transform import from_origin
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import dijkstra

from hillsight.errors import CallError
from hillsight.ground.grid import Grid, Surface
from hillsight.plan.posts.hill_pace import hill_rule_minutes, tobler_minutes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Flags, Floats, Integers

#: Legs lie at least this far apart (m): on finer ground every boulder would count as a climb.
FINEST_M = 5.0

#: Most terrain posts of the graph; more are thinned.
MOST_NODES = 600_000

#: One of each two opposite legs from a terrain post: rows and columns away.
_LEGS = ((0, 1), (1, 0), (1, 1), (1, -1), (1, 2), (1, -2), (2, 1), (2, -1))

#: Places of paths nearer to each other than this (m) are one.
_SAME_M = 0.01


@dataclass(frozen=True)
class Walk:
    """The quickest way to one place.

    access : number of the place it starts from
    minutes : by Tobler's function; hill_rule_minutes : by Naismith and Langmuir, along the same way
    distance_m, path_m : length on the grid, and how much of it runs along paths
    climb_m, descent_m : sums over the way
    easting_m, northing_m : (k,) from the access to the place
    """

    access: int
    minutes: float
    hill_rule_minutes: float
    distance_m: float
    path_m: float
    climb_m: float
    descent_m: float
    easting_m: Floats
    northing_m: Floats


@dataclass(frozen=True)
class Walks:
    """The quickest ways from the nearest access (in time) to places.

    minutes : (places,) by Tobler's function; inf where no way leads
    access : (places,) number of the place walked from; -1 where no way leads
    spacing_m : between the terrain posts that were walked over
    """

    minutes: Floats
    access: Integers
    spacing_m: float
    nodes: Floats
    before: Integers
    path_nodes: tuple[int, int]
    first_place: int

    def to(self, place: int) -> Walk | None:
        """The way to one place; None where none leads there."""
        if self.access[place] < 0:
            return None
        way = [self.first_place + place]
        while self.before[way[-1]] >= 0:
            way.append(int(self.before[way[-1]]))
        nodes = np.array(way[::-1])
        east, north, up = self.nodes[nodes].T
        length_m, rise_m = np.hypot(np.diff(east), np.diff(north)), np.diff(up)
        on_path = (nodes >= self.path_nodes[0]) & (nodes < self.path_nodes[1])
        along = on_path[1:] & on_path[:-1]
        moved = length_m > 0
        return Walk(
            int(self.access[place]),
            float(self.minutes[place]),
            float(hill_rule_minutes(length_m[moved], rise_m[moved]).sum()),
            float(length_m.sum()),
            float(length_m[along].sum()),
            float(np.maximum(rise_m, 0).sum()),
            float(np.maximum(-rise_m, 0).sum()),
            east,
            north,
        )


@dataclass(frozen=True)
class Barriers:
    """Where nobody walks.

    no_go : shapes that bar paths too
    water : shapes that bar all but paths, which cross them by bridges
    steepest_deg : ground steeper than this, over the spacing of the graph, is not walked off paths
    """

    no_go: Sequence[shapely.Geometry] = ()
    water: Sequence[shapely.Geometry] = ()
    steepest_deg: float = 45.0


def walking_minutes(
    surface: Surface,
    access_m: Floats,
    places_m: Floats,
    paths: Sequence[shapely.LineString] = (),
    barriers: Barriers = Barriers(),
) -> Walks:
    """Quickest ways from any of some places of access to places.

    Parameters
    ----------
    surface : bare ground that holds them all and the ways between; nobody walks off it or over its voids
    access_m, places_m : (k, 2), (n, 2) eastings and northings, metres on the surface's grid
    paths : lines on the grid; where they cross or touch, one goes from one to the other

    Raises
    ------
    CallError : no place of access, or one off the terrain
    """
    _check_access(surface, access_m)
    lattice = _thinned(surface)
    barred = _barred(lattice, barriers)
    path_places, path_legs = _paths(paths, lattice.grid, barriers.no_go)
    ends = np.vstack((access_m, places_m))
    rows, columns = np.indices(lattice.height_m.shape)
    posts = np.column_stack(
        (
            *lattice.grid.to_map(*(v.ravel().astype(np.float64) for v in (rows, columns))),
            lattice.height_m.ravel(),
        )
    )
    extra = np.vstack((path_places, ends))
    extra = np.column_stack((extra, surface.heights_at_m(extra[:, 0], extra[:, 1])))
    nodes = np.vstack((posts.astype(np.float64), extra))
    first_path, first_end = len(posts), len(posts) + len(path_places)
    short = np.vstack(
        (
            _to_lattice(lattice.grid, barred, path_places, first_path),
            _to_lattice(lattice.grid, barred, ends, first_end),
            _to_paths(lattice.grid, path_places, ends, first_path, first_end),
        )
    )
    short = short[~_crosses(nodes, short, (*barriers.no_go, *barriers.water))]
    legs = np.vstack(
        (*_lattice_legs(barred), *(_both_ways(some) for some in (path_legs + first_path, short)))
    )
    graph = _graph(nodes, legs, (first_path, first_end))
    minutes, before, source = dijkstra(
        graph, indices=first_end + np.arange(len(access_m)), return_predecessors=True, min_only=True
    )
    first_place = first_end + len(access_m)
    reached = np.isfinite(minutes[first_place:])
    return Walks(
        minutes[first_place:],
        np.where(reached, source[first_place:] - first_end, -1).astype(np.int64),
        lattice.grid.spacing_x_m,
        nodes,
        before.astype(np.int64),
        (first_path, first_end),
        first_place,
    )


def _check_access(surface: Surface, access_m: Floats) -> None:
    if len(access_m) == 0:
        raise CallError("nobody knows where marshals start walking", remedy="Give a place of access")
    heights_m = surface.heights_at_m(access_m[:, 0], access_m[:, 1])
    for (easting_m, northing_m), height_m in zip(access_m, heights_m, strict=True):
        if not np.isfinite(height_m):
            raise CallError(
                f"the access at E {easting_m:.0f} N {northing_m:.0f} has no height: it lies off the terrain "
                "or in a void",
                remedy="Correct the place, or give terrain that holds it",
            )


def _thinned(surface: Surface) -> Surface:
    """The posts that are walked over: every so many of the terrain's."""
    grid = surface.grid
    finest_m = min(grid.spacing_x_m, grid.spacing_y_m)
    step = max(int(np.ceil(FINEST_M / finest_m - 1e-9)), 1)
    step = max(step, int(np.ceil(np.sqrt(grid.rows * grid.columns / MOST_NODES))))
    heights_m = np.ascontiguousarray(surface.height_m[::step, ::step])
    spacings_m = (grid.spacing_x_m * step, grid.spacing_y_m * step)
    return Surface(Grid(grid.crs, grid.west_m, grid.north_m, *spacings_m, *heights_m.shape), heights_m)


def _barred(lattice: Surface, barriers: Barriers) -> Flags:
    """(rows, columns) posts that are not walked over off paths.

    What a shape touches is barred, so that even a thin one has no diagonal gap.
    """
    grid = lattice.grid
    barred = np.isnan(lattice.height_m)
    if grid.rows > 1 and grid.columns > 1:
        down, right = np.gradient(lattice.height_m.astype(np.float64), grid.spacing_y_m, grid.spacing_x_m)
        with np.errstate(invalid="ignore"):
            barred |= np.hypot(down, right) > np.tan(np.radians(barriers.steepest_deg))
    shapes = [shape for shape in (*barriers.no_go, *barriers.water) if not shape.is_empty]
    if shapes:
        west, _, _, north = grid.cell_edges_m
        cells = from_origin(west, north, grid.spacing_x_m, grid.spacing_y_m)
        barred |= rasterize(shapes, barred.shape, transform=cells, all_touched=True, dtype=np.uint8) > 0
    return barred


def _lattice_legs(barred: Flags) -> list[Integers]:
    """(m, 2) from and to, for each direction: legs between posts with nothing barred on or beside them."""
    rows, columns = barred.shape
    number = np.arange(barred.size).reshape(barred.shape)
    free = ~barred
    found = []
    for down, right in _LEGS:
        # Posts at which the leg begins: its end is on the lattice.
        top, left = slice(0, max(rows - down, 0)), slice(max(-right, 0), max(columns - max(right, 0), 0))
        here = number[top, left]
        there = number[top.start + down : top.stop + down, left.start + right : left.stop + right]
        if here.size == 0 or there.size == 0:
            continue
        may = free.ravel()[here] & free.ravel()[there]
        if down * right not in (0, 1, -1):
            # A knight's leg runs between two posts: neither may be barred.
            sign = 1 if right > 0 else -1
            steps = ((0, sign), (1, sign)) if down == 1 else ((1, 0), (1, sign))
            for step_down, step_right in steps:
                may &= free.ravel()[here + step_down * columns + step_right]
        legs = np.column_stack((here[may], there[may]))
        found += [legs, legs[:, ::-1]]
    return found


def _paths(
    paths: Sequence[shapely.LineString], grid: Grid, no_go: Sequence[shapely.Geometry]
) -> tuple[Floats, Integers]:
    """Places along paths, (n, 2), and the legs between them, (m, 2), with what is barred left out."""
    nothing = np.empty((0, 2)), np.empty((0, 2), np.int64)
    west, south, east, north = (grid.west_m, grid.south_m, grid.east_m, grid.north_m)
    inside = shapely.clip_by_rect(shapely.GeometryCollection(list(paths)), west, south, east, north)
    network = shapely.unary_union(inside)
    if no_go:
        network = network.difference(shapely.unary_union(list(no_go)))
    lines = [line for line in shapely.get_parts(network) if line.geom_type == "LineString"]
    if not lines:
        return nothing
    step_m = min(grid.spacing_x_m, grid.spacing_y_m)
    places, numbers = shapely.get_coordinates(shapely.segmentize(lines, step_m), return_index=True)
    _, first, same = np.unique(np.round(places / _SAME_M), axis=0, return_index=True, return_inverse=True)
    same = same.reshape(-1)
    joined = numbers[1:] == numbers[:-1]
    legs = np.column_stack((same[:-1][joined], same[1:][joined]))
    return places[first], legs[legs[:, 0] != legs[:, 1]].astype(np.int64)


def _to_lattice(grid: Grid, barred: Flags, places_m: Floats, first: int) -> Integers:
    """(m, 2) legs between places, numbered from ``first`` on, and the free posts about them.

    Those of the cell they lie in; where none of these is free, the twelve about it, so that a place on a
    shore is not cut off by the coarseness of the posts.
    """
    found = []
    rows, columns = (np.asarray(v, np.float64) for v in grid.to_array(places_m[:, 0], places_m[:, 1]))
    inside = (rows >= 0) & (rows <= grid.rows - 1) & (columns >= 0) & (columns <= grid.columns - 1)
    top = np.floor(np.where(inside, rows, 0)).astype(np.int64)
    left = np.floor(np.where(inside, columns, 0)).astype(np.int64)
    lonely = inside.copy()
    for ring in ((0, 1), (-1, 0, 1, 2)):
        wanted = lonely.copy()
        for down in ring:
            for right in ring:
                row, column = top + down, left + right
                on = wanted & (row >= 0) & (row < grid.rows) & (column >= 0) & (column < grid.columns)
                at = np.flatnonzero(on)
                at = at[~barred[row[at], column[at]]]
                lonely[at] = False
                found.append(np.column_stack((first + at, row[at] * grid.columns + column[at])))
    return np.vstack(found)


def _to_paths(grid: Grid, path_places: Floats, ends: Floats, first_path: int, first_end: int) -> Integers:
    """(m, 2) legs between ends and the places of paths within a spacing of them."""
    if len(path_places) == 0:
        return np.empty((0, 2), np.int64)
    tree = shapely.STRtree(shapely.points(path_places))
    near_m = max(grid.spacing_x_m, grid.spacing_y_m)
    end, place = tree.query(shapely.points(ends), predicate="dwithin", distance=near_m)
    return np.column_stack((first_end + end, first_path + place)).astype(np.int64)


def _crosses(nodes: Floats, legs: Integers, shapes: Sequence[shapely.Geometry]) -> Flags:
    """(m,) whether legs touch any of some shapes."""
    if not shapes or len(legs) == 0:
        return np.zeros(len(legs), np.bool_)
    barrier = shapely.unary_union(list(shapes))
    shapely.prepare(barrier)
    return np.asarray(shapely.intersects(barrier, shapely.linestrings(nodes[legs, :2])))


def _both_ways(legs: Integers) -> Integers:
    return np.vstack((legs, legs[:, ::-1]))


def _graph(nodes: Floats, legs: Integers, path_nodes: tuple[int, int]) -> csr_matrix:
    """Minutes from node to node; legs over unknown ground are left out."""
    start, end = legs.T
    length_m = np.hypot(nodes[end, 0] - nodes[start, 0], nodes[end, 1] - nodes[start, 1])
    rise_m = nodes[end, 2] - nodes[start, 2]
    on_path = (legs >= path_nodes[0]) & (legs < path_nodes[1])
    known = np.isfinite(rise_m)
    start, end, length_m, rise_m = start[known], end[known], length_m[known], rise_m[known]
    minutes = tobler_minutes(np.maximum(length_m, 1e-6), rise_m, on_path[known].all(axis=1))
    # Two places on one spot: no slope can be told, and no time passes.
    minutes = np.where(length_m < _SAME_M, 0.0, minutes)
    # By hand, because scipy would add up legs that are there twice.
    order = np.argsort(start, kind="stable")
    offsets = np.concatenate(([0], np.cumsum(np.bincount(start, minlength=len(nodes)))))
    return csr_matrix((minutes[order], end[order], offsets), shape=(len(nodes), len(nodes)))
