"""Sees the posts around station after station: from memory, or band by band where they do not fit in it.

All views are worked on the terrain's one lattice, each eye at its place there, so that a post gets the same
answer whichever way its station was seen.
"""

from __future__ import annotations

import math
from contextlib import ExitStack, closing
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from hillsight.errors import CallError, TerrainError
from hillsight.ground.geodesy import Geodesy, drop_coefficient_per_m
from hillsight.ground.grid import Surface
from hillsight.ground.standing import ground_height_m
from hillsight.ground.terrain import MOST_POSTS
from hillsight.layers.package import raster_table
from hillsight.reading.doubt.ground_doubt import doubt_of_ground
from hillsight.schema.frames import frame_of_rows
from hillsight.schema.rasters import NOT_COUNTED, RASTERS
from hillsight.scripts.read_stations import Readings
from hillsight.scripts.report import note
from hillsight.sight.bands import see_in_bands
from hillsight.sight.many import see_many
from hillsight.sight.maxima import Maxima
from hillsight.sight.octants import Window
from hillsight.sight.posts import see_posts, see_states
from hillsight.sight.viewing import Eye
from hillsight.words.quantities import per_cent
from hillsight.words.states import GroundState

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Iterator

    from numpy.typing import NDArray

    from hillsight.arrays import Bytes, Floats32
    from hillsight.ground.accuracy import ErrorModel
    from hillsight.ground.stations import Station
    from hillsight.ground.transform import Operation
    from hillsight.layers.package import Package
    from hillsight.reading.doubt.ground_doubt import GroundDoubt
    from hillsight.scripts.asked import Asked
    from hillsight.scripts.inputs import Inputs
    from hillsight.scripts.report import Progress
    from hillsight.sight.field import FieldOfView

    Read = Callable[[int, int, int, int], Floats32]

#: Posts to hold at a time of views that go band by band.
_BAND_POSTS = 16_000_000

#: Larger views are seen one by one, each on all cores: side by side they would need too much memory.
_MOST_POSTS_SIDE_BY_SIDE = 6_000_000

#: Posts of a raster that counts stations, two bytes each.
_MOST_COUNTED_POSTS = 1_000_000_000

_NO_VALUES = np.empty((0, 0), np.float32)


@dataclass(frozen=True)
class _Stand:
    """A station on the terrain's lattice.

    eye, window : on the whole lattice; the window holds every post within the reach, and at least one
    """

    station: Station
    ground_m: float
    eye: Eye
    field: FieldOfView
    window: Window
    row: dict[str, Any]


@dataclass(frozen=True)
class _Seen:
    """What a station sees of its window: (targets, rows, columns) states; (rows, columns) depth or empty."""

    states: Bytes
    depth_m: Floats32
    doubt: GroundDoubt | None = None


def see_stations(
    inputs: Inputs, progress: Progress, file: Package, *, asked: Asked, errors: ErrorModel | None = None
) -> Readings:
    """See the posts around every station, in their order, and write the rasters.

    errors : what errs, and how much, where probabilities are asked for

    Raises
    ------
    HillsightError : a station stands on a void, a view with depths is larger than memory, or a file can be
        neither read nor written
    """
    if asked.count and len(inputs.stations) >= NOT_COUNTED:
        raise CallError(f"{len(inputs.stations):,} stations are more than a raster of 16 bits counts")
    notes: list[str] = []
    with ExitStack() as stack:
        read = stack.enter_context(inputs.terrain.reading())
        geodesy, to_wgs84 = Geodesy(inputs.terrain.crs), inputs.terrain.to_wgs84
        stands = [
            _stand(inputs, read, station, asked, geodesy, to_wgs84, notes) for station in inputs.stations
        ]
        hull = _hull([stand.window for stand in stands])
        counts = _no_counts(inputs, asked, hull)
        rasters: dict[str, str] = {}
        rows = []
        views = stack.enter_context(closing(_views(inputs, read, stands, asked, progress, errors)))
        for stand, seen in zip(stands, views, strict=True):
            areas = _areas(inputs, stand, seen.states[0], notes)
            rows.append(stand.row | areas | _expected(seen.doubt))
            if seen.doubt is not None:
                seen = replace(seen, states=seen.doubt.states[np.newaxis])
            if asked.count:
                top, left = stand.window.row - hull.row, stand.window.column - hull.column
                there = counts[:, top : top + stand.window.rows, left : left + stand.window.columns]
                told = (seen.states != GroundState.BEYOND) & (seen.states != GroundState.UNKNOWN)
                there[told & (there == NOT_COUNTED)] = 0
                there += seen.states == GroundState.VISIBLE
            else:
                _write(file, inputs, asked, stand, seen, rasters)
    if asked.count:
        grid = inputs.terrain.grid.part(*hull)
        for height_m, count in zip(asked.target_heights_m, counts, strict=True):
            ending = _ending(asked, height_m)
            table = f"visible_count{ending and '_'}{ending.replace('.', '_')}"
            file.write_raster(table, count, grid, RASTERS["visible_count"].meaning + _of_target(height_m))
            rasters[table] = "visible_count"
    for text in notes:
        note(text)
    places = [shapely.Point(row["easting_m"], row["northing_m"]) for row in rows]
    frame = frame_of_rows("stations", rows, places, inputs.terrain.crs)
    return Readings({"stations": frame}, notes, [to_wgs84], rasters)


def _expected(doubt: GroundDoubt | None) -> dict[str, float]:
    """Columns of the ground that is likely seen."""
    if doubt is None:
        return {}
    return {
        "expected_visible_ha": doubt.expected_ha,
        "expected_visible_low_ha": doubt.low_ha,
        "expected_visible_high_ha": doubt.high_ha,
    }


def _stand(
    inputs: Inputs,
    read: Read,
    station: Station,
    asked: Asked,
    geodesy: Geodesy,
    to_wgs84: Operation,
    notes: list[str],
) -> _Stand:
    terrain, viewing = inputs.terrain, asked.viewing
    grid = terrain.grid
    place = (station.easting_m, station.northing_m)
    row, column = (min(int(v), size - 1) for v, size in zip(grid.to_array(*place), _size(grid), strict=True))
    row, column = max(row - 1, 0), max(column - 1, 0)
    around = Window(row, column, min(4, grid.rows - row), min(4, grid.columns - column))
    surface = Surface(grid.part(*around), read(*around))
    ground_m, found = ground_height_m(station, surface.height_at_m(*place), viewing.eye_height_m)
    notes += found
    convergence_deg = float(geodesy.convergence_deg(*place))
    field = asked.field(convergence_deg)
    drop = drop_coefficient_per_m(geodesy.gaussian_radius_m(*place), viewing.refraction)
    eye = Eye.on(grid, *place, ground_m + viewing.eye_height_m, drop)
    window = field.window(grid, eye)
    if window.rows * window.columns == 0:  # the reach comes to no post: a raster needs one
        nearest = (
            min(max(round(v), 0), n - 1) for v, n in zip((eye.row, eye.column), _size(grid), strict=True)
        )
        window = Window(next(nearest), next(nearest), 1, 1)
    widest_m = max(terrain.spacing_x_m, terrain.spacing_y_m)
    if viewing.reach_m < widest_m:
        notes.append(
            f"{station.label}: the reach of {viewing.reach_m:g} m (metres, not kilometres) is less than the "
            f"terrain's post spacing of {widest_m:g} m"
        )
    longitude, latitude = (float(v[0]) for v in to_wgs84(*place))
    about = {
        "station": station.label,
        "name": station.name,
        "easting_m": station.easting_m,
        "northing_m": station.northing_m,
        "longitude": longitude,
        "latitude": latitude,
        "ground_height_m": ground_m,
        "eye_level_m": eye.level_m,
        "convergence_deg": convergence_deg,
        "reach_m": viewing.reach_m,
        "unlisted_hidden_ha": 0.0,
    }
    return _Stand(station, ground_m, eye, field, window, about)


def _size(grid: Any) -> tuple[int, int]:
    return grid.rows, grid.columns


def _hull(windows: list[Window]) -> Window:
    """The smallest window that holds several."""
    top, left = min(w.row for w in windows), min(w.column for w in windows)
    bottom, right = max(w.row + w.rows for w in windows), max(w.column + w.columns for w in windows)
    return Window(top, left, bottom - top, right - left)


def _no_counts(inputs: Inputs, asked: Asked, hull: Window) -> NDArray[np.uint16]:
    if not asked.count:
        return np.empty((0, 0, 0), np.uint16)
    if hull.rows * hull.columns * len(asked.target_heights_m) > _MOST_COUNTED_POSTS:
        raise TerrainError(
            f"the stations together look at {hull.rows:,} x {hull.columns:,} posts, more than one raster "
            f"can count ({_MOST_COUNTED_POSTS:,})",
            where=inputs.terrain.path,
            remedy="Give a shorter --reach, or stations nearer to each other",
        )
    return np.full((len(asked.target_heights_m), hull.rows, hull.columns), NOT_COUNTED, np.uint16)


def _views(
    inputs: Inputs,
    read: Read,
    stands: list[_Stand],
    asked: Asked,
    progress: Progress,
    errors: ErrorModel | None,
) -> Generator[_Seen]:
    """Views of all stations, in their order; few are held at a time."""
    grid = inputs.terrain.grid
    posts = [stand.window.rows * stand.window.columns for stand in stands]
    if (asked.depth or errors is not None) and max(posts) > MOST_POSTS:
        largest = stands[posts.index(max(posts))]
        raise TerrainError(
            f"{largest.window.rows:,} x {largest.window.columns:,} posts around {largest.station.label} are "
            f"more than can be held at once with depths or probabilities ({MOST_POSTS:,})",
            where=inputs.terrain.path,
            remedy="Ask for less with --reach METRES, or for states alone with --only-states",
        )
    hull = _hull([stand.window for stand in stands])
    together = hull.rows * hull.columns <= min(MOST_POSTS, 2 * sum(posts))
    one_field = len({stand.field for stand in stands}) == 1  # not if each has a sector from its grid north
    if (
        len(stands) > 1
        and errors is None
        and together
        and one_field
        and max(posts) <= _MOST_POSTS_SIDE_BY_SIDE
    ):
        yield from _side_by_side(Surface(grid.part(*hull), read(*hull)), hull, stands, asked, progress)
        return
    for stand, count in zip(stands, posts, strict=True):
        with progress.station(stand.station.label) as advance:
            if count > MOST_POSTS:
                yield _in_bands(inputs, read, stand, asked, advance)
            else:
                surface = Surface(grid.part(*stand.window), read(*stand.window))
                yield _in_memory(surface, stand, asked, advance, errors)


def _side_by_side(
    surface: Surface, hull: Window, stands: list[_Stand], asked: Asked, progress: Progress
) -> Iterator[_Seen]:
    heights = list(asked.target_heights_m)
    eyes = [_moved(stand.eye, hull) for stand in stands]
    with progress.station(f"{len(stands)} stations") as advance:
        views = see_many(surface, eyes, stands[0].field, heights, clearance=asked.depth)
        for done, (stand, view) in enumerate(zip(stands, views, strict=True), 1):
            if view.states.size:
                yield _Seen(view.states, _depth_m(view.clearance_m))
            else:
                yield _nothing(stand, asked)
            if advance is not None:
                advance(done / len(stands))


def _in_memory(
    surface: Surface,
    stand: _Stand,
    asked: Asked,
    advance: Callable[[float], None] | None,
    errors: ErrorModel | None,
) -> _Seen:
    eye, heights_m, maxima = (
        _moved(stand.eye, stand.window),
        list(asked.target_heights_m),
        Maxima.of(surface.height_m),
    )
    depth_m = _NO_VALUES
    if asked.depth:
        first_m = heights_m[0]
        posts = see_posts(surface, eye, stand.field, first_m, advance, maxima=maxima, crests=False)
        depth_m, advance = _depth_m(posts.clearance_m), None
    told = None if errors is not None else advance
    states = see_states(surface, eye, stand.field, heights_m, told, maxima=maxima)
    if errors is None or asked.limits is None:
        return _Seen(states, depth_m)
    doubt = doubt_of_ground(surface, eye, stand.field, heights_m[0], errors, asked.limits, states[0], advance)
    return _Seen(states, depth_m, doubt)


def _in_bands(
    inputs: Inputs, read: Read, stand: _Stand, asked: Asked, advance: Callable[[float], None] | None
) -> _Seen:
    states = see_in_bands(
        lambda window: read(*window),
        inputs.terrain.grid,
        stand.eye,
        stand.field,
        list(asked.target_heights_m),
        advance,
        band_posts=_BAND_POSTS,
    )
    return _Seen(states, _NO_VALUES)


def _nothing(stand: _Stand, asked: Asked) -> _Seen:
    """The view of a station whose reach comes to no post."""
    shape = (stand.window.rows, stand.window.columns)
    depth_m = np.full(shape if asked.depth else (0, 0), np.nan, np.float32)
    return _Seen(np.zeros((len(asked.target_heights_m), *shape), np.uint8), depth_m)


def _moved(eye: Eye, window: Window) -> Eye:
    """The eye on a part of the lattice; taking whole numbers away loses no bit."""
    return Eye(eye.row - window.row, eye.column - window.column, eye.level_m, eye.drop_per_m)


def _depth_m(clearance_m: Floats32) -> Floats32:
    """How tall a thing must stand to show; 0 where visible, NaN where unknown or outside the field."""
    return np.maximum(-clearance_m, np.float32(0))


def _areas(inputs: Inputs, stand: _Stand, states: Bytes, notes: list[str]) -> dict[str, float]:
    """Areas by counting posts; what of the field lies off the terrain is unknown."""
    grid, field, eye = inputs.terrain.grid, stand.field, stand.eye
    post_ha = grid.spacing_x_m * grid.spacing_y_m / 10_000
    visible, hidden, unknown = (
        post_ha * np.count_nonzero(states == state)
        for state in (GroundState.VISIBLE, GroundState.HIDDEN, GroundState.UNKNOWN)
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
        unknown = max(unknown, whole_ha - visible - hidden)
    reach = visible + hidden + unknown
    if reach > 0 and unknown / reach > 0.0005:
        notes.append(
            f"{stand.station.label}: {per_cent(unknown / reach, 1)} of the reach is unknown: off the "
            "terrain, on a void or seen only across one"
        )
    return {"reach_ha": reach, "visible_ha": visible, "hidden_ha": hidden, "unknown_ha": unknown}


def _write(
    file: Package, inputs: Inputs, asked: Asked, stand: _Stand, seen: _Seen, rasters: dict[str, str]
) -> None:
    """The rasters of one station; ``rasters`` gets their kinds by name."""
    label, grid = stand.station.label, inputs.terrain.grid.part(*stand.window)
    taken = set(rasters)
    arrays = [
        ("viewshed", height_m, _ending(asked, height_m), states)
        for height_m, states in zip(asked.target_heights_m, seen.states, strict=True)
    ]
    if asked.depth:
        arrays.append(("depth", asked.target_heights_m[0], "", seen.depth_m))
    if seen.doubt is not None:
        arrays.append(("probability", asked.target_heights_m[0], "", seen.doubt.probability))
    for kind, height_m, ending, array in arrays:
        table = raster_table(kind, label, taken, ending)
        meaning = f"{label}: {RASTERS[kind].meaning}{_of_target(height_m)}"
        file.write_raster(table, array, grid, meaning, kind, station=label)
        rasters[table] = kind


def _ending(asked: Asked, height_m: float) -> str:
    """What tells the rasters of several target heights apart: 2m, 1.6m."""
    return f"{height_m:g}m" if len(asked.target_heights_m) > 1 else ""


def _of_target(height_m: float) -> str:
    return f"; of targets {height_m:g} m above the ground" if height_m else ""
