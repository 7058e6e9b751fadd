"""Cuts a batch job: stations into parts of neighbours, the lattice into tiles, always in the same way."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from hillsight.ground.terrain import MOST_POSTS
from hillsight.reading.coverage import hull
from hillsight.sight.field import FieldOfView
from hillsight.sight.octants import Window
from hillsight.sight.viewing import Eye

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from hillsight.arrays import Integers
    from hillsight.ground.grid import Grid
    from hillsight.jobs.batch.places import BatchStation

#: Stations of a part at most: so much is lost where a run is killed.
MOST_IN_PART = 400

#: Posts whose ground is held at once; that of a larger view is read band by band, its states alone are held.
MOST_IN_MEMORY = MOST_POSTS
MOST_IN_BANDS = 4 * MOST_POSTS

#: Posts read about a part's stations beyond their reach.
_MARGIN_POSTS = 3

#: Squares along a side of the map that stations are put in order by.
_ORDER = 1 << 16


@dataclass(frozen=True)
class Part:
    """Stations that are neighbours, seen in one task.

    window : of the ground that is read, on the whole lattice
    others : stations that those may see, where that is wanted
    """

    number: int
    window: Window
    stations: tuple[BatchStation, ...]
    others: tuple[BatchStation, ...] = ()

    @property
    def name(self) -> str:
        """Its name, of files and tasks."""
        return f"{self.number:06d}"

    @property
    def is_far(self) -> bool:
        """Whether its ground is more than is held at once."""
        return self.window.rows * self.window.columns > MOST_IN_MEMORY


@dataclass(frozen=True)
class Tile:
    """A square of the lattice whose answers are put together in one task.

    parts : numbers of the parts that may tell of it, ascending
    """

    row: int
    column: int
    window: Window
    parts: tuple[int, ...]

    @property
    def name(self) -> str:
        """Its name, of files and tasks."""
        return f"r{self.row:04d}_c{self.column:04d}"


def station_window(grid: Grid, station: BatchStation) -> Window:
    """The posts within a station's reach, as a square; at least one post."""
    row, column = (float(v) for v in grid.to_array(station.easting_m, station.northing_m))
    window = FieldOfView(station.reach_m).window(grid, Eye(row, column, 0.0, 0.0))
    if window.rows * window.columns == 0:
        row, column = min(round(row), grid.rows - 1), min(round(column), grid.columns - 1)
        return Window(max(int(row), 0), max(int(column), 0), 1, 1)
    return window


def cut_parts(
    grid: Grid, stations: Sequence[BatchStation], window_posts: int, most: int = MOST_IN_PART
) -> list[Part]:
    """Parts of neighbouring stations, in an order that the stations alone decide.

    Stations are put in the order of a Hilbert curve (D. Hilbert, 1891, Math. Ann. 38) and taken together as
    long as the ground about them fits into a window, and half of it is looked at; ``most`` at most.
    """
    if not stations:
        return []
    rows, columns = grid.to_array(
        np.array([s.easting_m for s in stations]), np.array([s.northing_m for s in stations])
    )
    places = hilbert_place(
        np.clip(rows / max(grid.rows, grid.columns) * _ORDER, 0, _ORDER - 1).astype(np.int64),
        np.clip(columns / max(grid.rows, grid.columns) * _ORDER, 0, _ORDER - 1).astype(np.int64),
    )
    order = np.lexsort((np.array([s.number for s in stations]), places))
    parts: list[Part] = []
    held: list[BatchStation] = []
    together, looked_at = Window(0, 0, 0, 0), 0

    def close() -> None:
        parts.append(Part(len(parts) + 1, _widened(grid, together), tuple(held)))
        held.clear()

    for place in order:
        station = stations[place]
        own = station_window(grid, station)
        posts = own.rows * own.columns
        if held:
            wider = hull([together, own])
            size = wider.rows * wider.columns
            if len(held) >= most or size > window_posts or size > 2 * (looked_at + posts):
                close()
                together, looked_at = own, 0
            else:
                together = wider
        else:
            together, looked_at = own, 0
        held.append(station)
        looked_at += posts
    close()
    return parts


def with_others(parts: Sequence[Part], stations: Sequence[BatchStation]) -> list[Part]:
    """The parts, each with all stations that lie within the reach of one of its own."""
    from scipy.spatial import cKDTree

    tree = cKDTree([(station.easting_m, station.northing_m) for station in stations])
    found = []
    for part in parts:
        near: set[int] = set()
        for station in part.stations:
            near.update(tree.query_ball_point((station.easting_m, station.northing_m), station.reach_m))
        found.append(replace(part, others=tuple(stations[place] for place in sorted(near))))
    return found


def hilbert_place(row: Integers, column: Integers) -> Integers:
    """Places along a Hilbert curve over a map of 65,536 squares a side, (n,)."""
    x, y = column.copy(), row.copy()
    place = np.zeros_like(x)
    side = _ORDER // 2
    while side:
        right, down = ((x & side) > 0).astype(np.int64), ((y & side) > 0).astype(np.int64)
        place += side * side * ((3 * right) ^ down)
        turned = down == 0
        mirrored = turned & (right == 1)
        x, y = np.where(mirrored, _ORDER - 1 - x, x), np.where(mirrored, _ORDER - 1 - y, y)
        x, y = np.where(turned, y, x), np.where(turned, x, y)
        side //= 2
    return place


def cut_tiles(grid: Grid, parts: Iterable[Part], tile_posts: int) -> list[Tile]:
    """Tiles that any station looks at, row by row from the north-west."""
    of_tile: dict[tuple[int, int], set[int]] = {}
    for part in parts:
        for station in part.stations:
            for place in tiles_of(station_window(grid, station), tile_posts):
                of_tile.setdefault(place, set()).add(part.number)
    return [
        Tile(row, column, tile_window(grid, row, column, tile_posts), tuple(sorted(numbers)))
        for (row, column), numbers in sorted(of_tile.items())
    ]


def tiles_of(window: Window, tile_posts: int) -> list[tuple[int, int]]:
    """Rows and columns of the tiles that a window lies on."""
    rows = range(window.row // tile_posts, (window.row + window.rows - 1) // tile_posts + 1)
    columns = range(window.column // tile_posts, (window.column + window.columns - 1) // tile_posts + 1)
    return [(row, column) for row in rows for column in columns]


def tile_window(grid: Grid, row: int, column: int, tile_posts: int) -> Window:
    """The posts of a tile, cut at the terrain's edge."""
    top, left = row * tile_posts, column * tile_posts
    return Window(top, left, min(tile_posts, grid.rows - top), min(tile_posts, grid.columns - left))


def overlap(one: Window, other: Window) -> Window:
    """What two windows share; of no posts where they share nothing."""
    top, left = max(one.row, other.row), max(one.column, other.column)
    bottom = min(one.row + one.rows, other.row + other.rows)
    right = min(one.column + one.columns, other.column + other.columns)
    return Window(top, left, max(bottom - top, 0), max(right - left, 0))


def _widened(grid: Grid, window: Window) -> Window:
    top, left = max(window.row - _MARGIN_POSTS, 0), max(window.column - _MARGIN_POSTS, 0)
    bottom = min(window.row + window.rows + _MARGIN_POSTS, grid.rows)
    right = min(window.column + window.columns + _MARGIN_POSTS, grid.columns)
    return Window(top, left, bottom - top, right - left)
