"""What stations see of the posts around them: states, depths, chances and areas, station after station.

All views are worked on the terrain's one lattice, each eye at its place there, so that a post gets the same
answer whichever way its station was seen: side by side on one surface, alone, or band by band where a view
does not fit into memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import TerrainError
from hillsight.ground.geodesy import drop_coefficient_per_m
from hillsight.ground.standing import ground_height_m
from hillsight.ground.terrain import MOST_POSTS
from hillsight.reading.doubt.ground_doubt import doubt_of_ground
from hillsight.reading.station_row import areas_of_states
from hillsight.schema.rasters import NOT_COUNTED
from hillsight.sight.bands import see_in_bands
from hillsight.sight.field import FieldOfView
from hillsight.sight.gathering import count_states
from hillsight.sight.many import see_many
from hillsight.sight.maxima import Maxima
from hillsight.sight.octants import Window
from hillsight.sight.posts import see_posts, see_states
from hillsight.sight.viewing import Eye
from hillsight.words.states import GroundState

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Iterator, Sequence
    from contextlib import AbstractContextManager

    from hillsight.arrays import AnyArray, Bytes, Floats32
    from hillsight.ground.accuracy import ErrorModel
    from hillsight.ground.cover import Cover
    from hillsight.ground.geodesy import Geodesy
    from hillsight.ground.grid import Grid, Surface
    from hillsight.ground.stations import Station
    from hillsight.ground.terrain import Terrain
    from hillsight.reading.doubt.ground_doubt import GroundDoubt
    from hillsight.reading.doubt.trust import Limits
    from hillsight.sight.viewing import Viewing

    Read = Callable[[int, int, int, int], Floats32]
    Progress = Callable[[float], None]
    #: Begins a piece of work of a name; what it yields is called with the share done.
    Work = Callable[[str], AbstractContextManager[Progress]]

#: Posts to hold at a time of views that go band by band.
_BAND_POSTS = 16_000_000

#: Larger views are seen one by one, each on all cores: side by side they would need too much memory.
_MOST_POSTS_SIDE_BY_SIDE = 6_000_000

#: Posts of a raster that counts stations, two bytes each.
_MOST_COUNTED_POSTS = 1_000_000_000

_NO_VALUES = np.empty((0, 0), np.float32)


@dataclass(frozen=True)
class Question:
    """What is asked of each station.

    Parameters
    ----------
    viewing : heights, reach, refraction; its target height is the first
    target_heights_m : metres above the ground, none twice
    inner_m : metres on the grid, ground nearer is not answered for
    from_bearing_deg, to_bearing_deg : sector, degrees from true north, clockwise; None for all round
    depth : whether to tell how deep hidden ground lies
    doubts : what errs, and how much, and the probabilities between which a post is uncertain; None for none
    """

    viewing: Viewing
    target_heights_m: tuple[float, ...]
    inner_m: float = 0.0
    from_bearing_deg: float = 0.0
    to_bearing_deg: float | None = None
    depth: bool = True
    doubts: tuple[ErrorModel, Limits] | None = None

    def field(self, convergence_deg: float) -> FieldOfView:
        """The field of view of a station, its bearings counted from grid north there.

        convergence_deg : true bearing of grid north at the station
        """
        reach_m, to_deg = self.viewing.reach_m, self.to_bearing_deg
        if to_deg is None or (to_deg - self.from_bearing_deg) % 360.0 == 0.0:
            return FieldOfView(reach_m, self.inner_m)
        sides = (self.from_bearing_deg - convergence_deg, to_deg - convergence_deg)
        return FieldOfView(reach_m, self.inner_m, *sides)


@dataclass(frozen=True)
class Stand:
    """A station on the terrain's lattice.

    eye, window : on the whole lattice; the window holds every post within the reach, and at least one
    """

    station: Station
    ground_m: float
    eye: Eye
    field: FieldOfView
    window: Window


@dataclass(frozen=True)
class Seen:
    """What a station sees of its window.

    states : (targets, rows, columns) uint8 of GroundState, without doubt
    depth_m : (rows, columns) float32, how tall a thing must stand to show, 0 where visible, NaN where
        unknown or outside the field; empty where it was not asked for
    """

    states: Bytes
    depth_m: Floats32
    doubt: GroundDoubt | None = None


def stand(
    terrain: Terrain, read: Read, station: Station, question: Question, geodesy: Geodesy
) -> tuple[Stand, list[str]]:
    """Put a station on the terrain's lattice; with notes on its height.

    Raises
    ------
    StationError : it stands on a void, or its surveyed height puts the eye underground
    """
    grid, viewing = terrain.grid, question.viewing
    place = (station.easting_m, station.northing_m)
    row, column = (min(int(v), size - 1) for v, size in zip(grid.to_array(*place), _size(grid), strict=True))
    row, column = max(row - 1, 0), max(column - 1, 0)
    around = Window(row, column, min(4, grid.rows - row), min(4, grid.columns - column))
    surface = terrain.surface(around.row, around.column, read(*around))
    ground_m, notes = ground_height_m(station, surface.height_at_m(*place), viewing.eye_height_m)
    field = question.field(float(geodesy.convergence_deg(*place)))
    drop = drop_coefficient_per_m(geodesy.gaussian_radius_m(*place), viewing.refraction)
    eye = Eye.on(grid, *place, ground_m + viewing.eye_height_m, drop)
    window = field.window(grid, eye)
    if window.rows * window.columns == 0:  # the reach comes to no post: a raster needs one
        nearest = (
            min(max(round(v), 0), n - 1) for v, n in zip((eye.row, eye.column), _size(grid), strict=True)
        )
        window = Window(next(nearest), next(nearest), 1, 1)
    return Stand(station, ground_m, eye, field, window), notes


def _size(grid: Grid) -> tuple[int, int]:
    return grid.rows, grid.columns


def hull(windows: Sequence[Window]) -> Window:
    """The smallest window that holds several."""
    top, left = min(w.row for w in windows), min(w.column for w in windows)
    bottom, right = max(w.row + w.rows for w in windows), max(w.column + w.columns for w in windows)
    return Window(top, left, bottom - top, right - left)


def no_counts(terrain: Terrain, together: Window, targets: int) -> AnyArray:
    """Counts of stations of the posts of a window, (targets, rows, columns) uint16, all of them NOT_COUNTED.

    Raises
    ------
    TerrainError : the window is too large
    """
    if together.rows * together.columns * targets > _MOST_COUNTED_POSTS:
        raise TerrainError(
            f"the stations together look at {together.rows:,} x {together.columns:,} posts, more than one "
            f"raster can count ({_MOST_COUNTED_POSTS:,})",
            where=terrain.path,
            remedy="Give a shorter reach, or stations nearer to each other",
            parameters=("reach",),
        )
    return np.full((targets, together.rows, together.columns), NOT_COUNTED, np.uint16)


def add_to_counts(counts: AnyArray, together: Window, at: Window, states: Bytes) -> None:
    """Add a station to the counts of the posts that it sees.

    counts : (targets, rows, columns) of ``together``, changed here
    states : (targets, rows, columns) of ``at``, which lies within ``together``
    """
    top, left = at.row - together.row, at.column - together.column
    there = counts[:, top : top + at.rows, left : left + at.columns]
    asked = (states != GroundState.BEYOND) & (states != GroundState.UNKNOWN)
    there[asked & (there == NOT_COUNTED)] = 0
    there += states == GroundState.VISIBLE


def views(
    terrain: Terrain, read: Read, stands: Sequence[Stand], question: Question, work: Work
) -> Generator[Seen]:
    """Views of all stations, in their order; few are held at a time.

    Raises
    ------
    TerrainError : a view with depths or probabilities is larger than memory
    """
    posts = [each.window.rows * each.window.columns for each in stands]
    if (question.depth or question.doubts is not None) and max(posts) > MOST_POSTS:
        largest = stands[posts.index(max(posts))]
        raise TerrainError(
            f"{largest.window.rows:,} x {largest.window.columns:,} posts around {largest.station.label} are "
            f"more than can be held at once with depths or probabilities ({MOST_POSTS:,})",
            where=terrain.path,
            remedy="Give a shorter reach, or ask for the states alone",
            parameters=("reach", "only_states"),
        )
    together = hull([each.window for each in stands])
    fits = together.rows * together.columns <= min(MOST_POSTS, 2 * sum(posts))
    one_field = len({each.field for each in stands}) == 1  # not if each has a sector from its grid north
    small = max(posts) <= _MOST_POSTS_SIDE_BY_SIDE
    if len(stands) > 1 and question.doubts is None and fits and one_field and small:
        surface = terrain.surface(together.row, together.column, read(*together))
        yield from _side_by_side(surface, together, stands, question, work)
        return
    for each, number in zip(stands, posts, strict=True):
        with work(each.station.label) as advance:
            if number > MOST_POSTS:
                yield _in_bands(terrain, read, each, question, advance)
            else:
                surface = terrain.surface(each.window.row, each.window.column, read(*each.window))
                yield _in_memory(surface, each, question, advance)


def _side_by_side(
    surface: Surface, together: Window, stands: Sequence[Stand], question: Question, work: Work
) -> Iterator[Seen]:
    heights = list(question.target_heights_m)
    eyes = [_moved(each.eye, together) for each in stands]
    with work(f"{len(stands)} stations") as advance:
        seen = see_many(surface, eyes, stands[0].field, heights, clearance=question.depth)
        for done, (each, view) in enumerate(zip(stands, seen, strict=True), 1):
            if view.states.size:
                yield Seen(view.states, _depth_m(view.clearance_m))
            else:
                yield _nothing(each, question)
            advance(done / len(stands))


def _in_memory(surface: Surface, at: Stand, question: Question, advance: Progress) -> Seen:
    eye, heights_m = _moved(at.eye, at.window), list(question.target_heights_m)
    maxima = Maxima.over(surface)
    depth_m, told = _NO_VALUES, None if question.doubts is not None else advance
    if question.depth:
        posts = see_posts(surface, eye, at.field, heights_m[0], advance, maxima=maxima, crests=False)
        depth_m, told = _depth_m(posts.clearance_m), None
    states = see_states(surface, eye, at.field, heights_m, told, maxima=maxima)
    if question.doubts is None:
        return Seen(states, depth_m)
    errors, limits = question.doubts
    told = None if question.depth else advance
    doubt = doubt_of_ground(surface, eye, at.field, heights_m[0], errors, limits, states[0], told)
    return Seen(states, depth_m, doubt)


def _in_bands(terrain: Terrain, read: Read, at: Stand, question: Question, advance: Progress) -> Seen:
    def cover_on(window: Window, height_m: Floats32) -> Cover:
        assert terrain.cover is not None
        return terrain.cover.on(terrain.grid.part(*window), height_m)

    states = see_in_bands(
        lambda window: read(*window),
        terrain.grid,
        at.eye,
        at.field,
        list(question.target_heights_m),
        advance,
        band_posts=_BAND_POSTS,
        cover_on=None if terrain.cover is None else cover_on,
    )
    return Seen(states, _NO_VALUES)


def _nothing(at: Stand, question: Question) -> Seen:
    """The view of a station whose reach comes to no post."""
    shape = (at.window.rows, at.window.columns)
    depth_m = np.full(shape if question.depth else (0, 0), np.nan, np.float32)
    return Seen(np.zeros((len(question.target_heights_m), *shape), np.uint8), depth_m)


def _moved(eye: Eye, window: Window) -> Eye:
    """The eye on a part of the lattice; taking whole numbers away loses no bit."""
    return Eye(eye.row - window.row, eye.column - window.column, eye.level_m, eye.drop_per_m)


def _depth_m(clearance_m: Floats32) -> Floats32:
    return np.maximum(-clearance_m, np.float32(0))


def areas_ha(grid: Grid, at: Stand, states: Bytes) -> dict[str, float]:
    """Areas by counting posts; what of the field lies off the terrain is unknown.

    states : (rows, columns) of the station's window

    Returns
    -------
    as ``areas_of_states``
    """
    field, eye = at.field, at.eye
    post_ha = grid.spacing_x_m * grid.spacing_y_m / 10_000
    posts = count_states(states)
    visible, hidden, unknown, uncertain = (
        post_ha * int(posts[state])
        for state in (GroundState.VISIBLE, GroundState.HIDDEN, GroundState.UNKNOWN, GroundState.UNCERTAIN)
    )
    across, down = field.reach_m / grid.spacing_x_m, field.reach_m / grid.spacing_y_m
    on_terrain = (
        eye.row >= down
        and eye.row + down <= grid.rows - 1
        and eye.column >= across
        and eye.column + across <= grid.columns - 1
    )
    if not on_terrain:
        whole_ha = math.pi * (field.reach_m**2 - field.inner_m**2) * field.width_deg / 360.0 / 10_000
        unknown = max(unknown, whole_ha - visible - hidden - uncertain)
    return areas_of_states(visible, hidden, unknown, uncertain)
