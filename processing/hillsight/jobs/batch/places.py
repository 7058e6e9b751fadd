"""Stations of a batch job, from points, lines, areas or edges; those that cannot be used, with the reason."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from hillsight.errors import BatchError, FeatureError
from hillsight.ground import vector
from hillsight.ground.crs import own_degrees
from hillsight.ground.labels import plain_label
from hillsight.ground.stations import HEIGHT_COLUMN, NAME_COLUMNS
from hillsight.ground.transform import operation_between

if TYPE_CHECKING:
    from pyproj import CRS

    from hillsight.arrays import Floats
    from hillsight.ground.terrain import Terrain
    from hillsight.ground.transform import Operation
    from hillsight.jobs.batch.job_file import BatchJob, Looking

#: More stations than these are taken for a mistake.
MOST_STATIONS = 5_000_000

#: What a column may tell of a single station, with the least and the most that it may say.
_COLUMNS = {
    "eye_height_m": (0.0, 500.0),
    "target_height_m": (0.0, 500.0),
    "reach_m": (1e-3, 1e6),
    "from_bearing_deg": (0.0, 360.0),
    "to_bearing_deg": (0.0, 360.0),
    "weight": (0.0, 1000.0),
}


@dataclass(frozen=True)
class BatchStation:
    """A station on the working grid, with how it looks.

    number : place in the order given, from 1
    ground_height_m : surveyed, in the terrain's datum; None where the terrain tells it
    from_bearing_deg, to_bearing_deg : sector, degrees from true north; None for all round
    name : as given, None where it has none
    told : what of how it looks its own columns tell
    """

    number: int
    label: str
    easting_m: float
    northing_m: float
    eye_height_m: float
    target_height_m: float
    reach_m: float
    from_bearing_deg: float | None
    to_bearing_deg: float | None
    weight: float
    ground_height_m: float | None = None
    name: str | None = None
    told: tuple[str, ...] = ()


@dataclass(frozen=True)
class Refused:
    """A station that cannot be used; its place is NaN where it has none."""

    number: int
    label: str
    reason: str
    easting_m: float = float("nan")
    northing_m: float = float("nan")


@dataclass(frozen=True)
class GivenPlaces:
    """Shapes that stations come from, as given; ``frame`` is None where edges are given."""

    frame: Any
    notes: tuple[str, ...]

    def near(self) -> tuple[float, float] | None:
        """Longitude and latitude amid the shapes, degrees; None where the terrain's middle must do."""
        if self.frame is None:
            return None
        shapes = np.asarray(self.frame.geometry.array, dtype=object)
        points = shapely.get_coordinates(shapely.centroid(shapes[~shapely.is_missing(shapes)]))
        points = points[np.isfinite(points).all(axis=1)]
        if not len(points):
            return None
        longitude, latitude = own_degrees(self.frame.crs, points[:, 0], points[:, 1])
        good = np.isfinite(longitude) & (np.abs(latitude) <= 90)
        if not good.any():
            return None
        return float(np.median(longitude[good])), float(np.median(latitude[good]))


def given_places(job: BatchJob, default_crs: CRS) -> GivenPlaces:
    """Read the shapes that stations come from.

    Raises
    ------
    FeatureError : the file cannot be read, or has no rows
    """
    source = job.stations
    if source.file is None:
        return GivenPlaces(None, ())
    path = job.beside(source.file)
    frame, notes = vector.read_layer(path, source.layer, default_crs)
    if not len(frame):
        raise FeatureError("the layer holds no stations", where=path, remedy="Give at least one")
    return GivenPlaces(frame, tuple(notes))


@dataclass
class _Listed:
    stations: list[BatchStation] = field(default_factory=list)
    refused: list[Refused] = field(default_factory=list)

    @property
    def count(self) -> int:
        return len(self.stations) + len(self.refused)


def settled_places(
    job: BatchJob, given: GivenPlaces, terrain: Terrain
) -> tuple[list[BatchStation], list[Refused], Operation | None]:
    """Stations on the working grid, those that cannot be used, and the operation that brought them there.

    Raises
    ------
    BatchError : edges that are none, more stations than a job may have, or none that can be used
    """
    listed = _Listed()
    operation = None
    if given.frame is None:
        _over_extent(job, terrain, listed)
    else:
        operation = operation_between(given.frame.crs, terrain.crs, terrain.near)
        _of_rows(job, given.frame, terrain, operation, listed)
    if not listed.stations:
        first = f"; the first: {listed.refused[0].reason}" if listed.refused else ""
        raise BatchError(
            f"none of {listed.count:,} stations can be used{first}",
            where=job.source,
            remedy="Give stations on the terrain",
        )
    return listed.stations, listed.refused, operation


def _over_extent(job: BatchJob, terrain: Terrain, listed: _Listed) -> None:
    assert job.stations.extent is not None and job.stations.every_m is not None
    try:
        west, south, east, north = (float(edge) for edge in job.stations.extent.split(","))
    except ValueError:
        west, south, east, north = 1.0, 1.0, 0.0, 0.0
    if not (west < east and south < north and np.isfinite([west, south, east, north]).all()):
        raise BatchError(
            f"the extent {job.stations.extent!r} holds no ground",
            where=job.source,
            remedy='Write "west,south,east,north" in the metres of the terrain\'s grid',
        )
    x, y = _lattice((west, south, east, north), job.stations.every_m)
    for easting_m, northing_m in zip(x.tolist(), y.tolist(), strict=True):
        _add(listed, None, easting_m, northing_m, job.looking, {}, terrain)


def _of_rows(job: BatchJob, frame: Any, terrain: Terrain, operation: Operation, listed: _Listed) -> None:
    """Stations of every row of a layer, in its order."""
    columns = {name: vector.find_column(frame, (name,)) for name in (*_COLUMNS, HEIGHT_COLUMN)}
    cells = {name: list(frame[column]) for name, column in columns.items() if column}
    name_column = vector.find_column(frame, NAME_COLUMNS)
    names = list(frame[name_column]) if name_column else [None] * len(frame)
    for row, shape in enumerate(frame.geometry):
        name = vector.text_or_none(names[row])
        own: dict[str, float] = {}
        trouble = ""
        for column, values in cells.items():
            try:
                value = vector.number_or_none(values[row], f"column {column}")
            except FeatureError as error:
                trouble = f"column {column}: {error.what}"
                continue
            if value is not None:
                own[column] = value
        places, fault = _places_of(shape, operation, job.stations.every_m)
        trouble = trouble or fault
        if trouble:
            label = plain_label(name or "") or f"station {listed.count + 1}"
            x, y = places[0].tolist() if len(places) else (float("nan"), float("nan"))
            listed.refused.append(Refused(listed.count + 1, label, trouble, x, y))
            continue
        for easting_m, northing_m in places.tolist():
            _add(listed, name, easting_m, northing_m, job.looking, own, terrain)


def _places_of(shape: Any, operation: Operation, every_m: float | None) -> tuple[Floats, str]:
    """Places (n, 2) on the working grid of a shape, and what is wrong with it."""
    nothing = np.empty((0, 2))
    if shape is None or shape.is_empty:
        return nothing, "it has no position"
    kind = shape.geom_type.removeprefix("Multi")
    if kind not in ("Point", "LineString", "Polygon"):
        return nothing, f"it is a {shape.geom_type}, and stations come from points, lines or areas"
    if kind != "Point" and every_m is None:
        return nothing, f"it is a {shape.geom_type}, and the job does not say every_m"
    points = shapely.get_coordinates(shape)
    if not np.isfinite(points).all() or (np.abs(points) > 1e12).any():
        return nothing, "its coordinates are no places"
    on_grid = shapely.transform(shape, lambda xy: np.column_stack(operation.forward(xy[:, 0], xy[:, 1])))
    if not np.isfinite(shapely.get_coordinates(on_grid)).all():
        return nothing, f"it has no place in {operation.to_crs.name}"
    if kind == "Point":
        return shapely.get_coordinates(on_grid), ""
    assert every_m is not None
    if kind == "LineString":
        lines = shapely.get_parts(on_grid)
        found = [
            shapely.get_coordinates(line.interpolate(np.arange(0.0, line.length, every_m)))
            for line in lines
            if line.length > 0
        ]
        return np.concatenate(found) if found else nothing, "" if found else "its line has no length"
    west, south, east, north = on_grid.bounds
    x, y = _lattice((west, south, east, north), every_m)
    inside = shapely.contains_xy(on_grid, x, y)
    places = np.column_stack([x[inside], y[inside]])
    return places, "" if len(places) else f"no place of a lattice of {every_m:g} m lies in it"


def _lattice(edges: tuple[float, float, float, float], every_m: float) -> tuple[Floats, Floats]:
    """Places whose coordinates are multiples of a spacing, row by row from the north-west, (n,) each."""
    west, south, east, north = edges
    columns = np.arange(np.ceil(west / every_m), np.floor(east / every_m) + 1) * every_m
    rows = np.arange(np.floor(north / every_m), np.ceil(south / every_m) - 1, -1) * every_m
    if columns.size * rows.size > MOST_STATIONS:
        raise BatchError(
            f"a lattice of {every_m:g} m has {columns.size * rows.size:,} stations, more than a job may have "
            f"({MOST_STATIONS:,})",
            remedy="Give a wider every_m",
        )
    x, y = np.meshgrid(columns, rows)
    return x.ravel(), y.ravel()


def _add(
    listed: _Listed,
    name: str | None,
    easting_m: float,
    northing_m: float,
    looking: Looking,
    own: dict[str, float],
    terrain: Terrain,
) -> None:
    """Add one station to those listed, or to those refused."""
    number = listed.count + 1
    if number > MOST_STATIONS:
        raise BatchError(
            f"there are more stations than a job may have ({MOST_STATIONS:,})", remedy="Split the job"
        )
    label = plain_label(name or "") or f"station {number}"
    how = {name: own.get(name, getattr(looking, name)) for name in _COLUMNS}
    reason = _fault(how, own)
    if not reason and not terrain.grid.holds(easting_m, northing_m):
        reason = f"it lies off the terrain, at E {easting_m:.0f} N {northing_m:.0f}"
    if reason:
        listed.refused.append(Refused(number, label, reason, easting_m, northing_m))
        return
    told = tuple(name for name in _COLUMNS if name in own)
    listed.stations.append(
        BatchStation(
            *(number, label, easting_m, northing_m),
            **how,
            ground_height_m=own.get(HEIGHT_COLUMN),
            name=name,
            told=told,
        )
    )


def _fault(how: dict[str, Any], own: dict[str, float]) -> str:
    """What is wrong with how a station looks; empty if nothing is."""
    for name, (least, most) in _COLUMNS.items():
        value = how[name]
        if value is not None and not least <= value <= most:
            return f"{name} is {value:g}, and {least:g} to {most:g} is allowed"
    if not -500.0 <= own.get(HEIGHT_COLUMN, 0.0) <= 9000.0:
        return f"{HEIGHT_COLUMN} is {own[HEIGHT_COLUMN]:g}, and no ground is that high"
    sides = how["from_bearing_deg"], how["to_bearing_deg"]
    if (sides[0] is None) != (sides[1] is None):
        return "one side of its sector is missing"
    if sides[0] is not None and sides[0] == sides[1]:
        return f"its sector from {sides[0]:g} to {sides[1]:g} degrees holds no ground"
    return ""
