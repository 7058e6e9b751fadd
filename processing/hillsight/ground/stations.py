"""Places somebody stands and looks from: read, brought onto the terrain's grid, and given unique labels."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.errors import Faults, FeatureError, HillsightError, StationError
from hillsight.ground.crs import horizontal_crs, own_degrees
from hillsight.ground.labels import plain_label, unlike
from hillsight.ground.transform import Operation, operation_between
from hillsight.words.angles import signed_deg

if TYPE_CHECKING:
    from pyproj import CRS

NAME_COLUMNS = ("name", "label", "title", "station")
"""Columns a station's name is looked for in, whatever their case; the first that exists is taken."""
HEIGHT_COLUMN = "ground_height_m"
_SAY_DEGREES = "give the file its reference system, or call the columns of a table longitude and latitude"
_OWN_LAYER = "stations"  # so that an output of this package can be read back

_NUMBER = r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*"
_AT = re.compile(rf"{_NUMBER},{_NUMBER}(?:,(.*))?", re.DOTALL)
_LOWEST_GROUND_M, _HIGHEST_GROUND_M = -500.0, 9_000.0


@dataclass(frozen=True)
class Place:
    """A station as it was given.

    Parameters
    ----------
    name : exactly as given; None where absent or blank
    x, y : easting or longitude, northing or latitude, in units of ``crs``
    crs : reference system of x and y
    height_m : surveyed ground height in the terrain's datum, if one was given; never a GPS height
    source : where it was given, for messages and provenance
    parameters : names of the parameters that say which ``crs`` it is in; of a file's places none
    """

    name: str | None
    x: float
    y: float
    crs: CRS
    height_m: float | None
    source: str
    parameters: tuple[str, ...] = ()


@dataclass(frozen=True)
class Station:
    """A station on the terrain's grid.

    Parameters
    ----------
    label : unique among the stations of a run, without control characters
    name : exactly as given, or None
    easting_m, northing_m : true position, metres in the working system
    ground_height_m : surveyed ground height if one was given, in the terrain's datum
    source : where it was given
    """

    label: str
    name: str | None
    easting_m: float
    northing_m: float
    ground_height_m: float | None
    source: str


def parse_at(text: str, crs: CRS, parameter: str = "at") -> Place:
    """A place from "E,N" or "E,N,name"; longitude before latitude; the name may hold commas.

    Parameters
    ----------
    parameter : name of the parameter it was given by, for messages

    Raises
    ------
    StationError : the text does not begin with two numbers
    """
    match = _AT.fullmatch(text)
    if match is None:
        raise StationError(
            f"{text!r} does not begin with two numbers and a comma between",
            where="place",
            remedy='Write "easting,northing" or "easting,northing,name" without spaces in the numbers',
            parameters=(parameter,),
        )
    x, y = float(match[1]), float(match[2])
    if not (np.isfinite(x) and np.isfinite(y)):
        raise StationError(
            f"{text!r} holds a number too large to be a coordinate",
            where="place",
            remedy="Correct it",
            parameters=(parameter,),
        )
    name = match[3] if match[3] is not None and match[3].strip() else None
    return Place(name, x, y, crs, None, f"place {match[1]},{match[2]}", ("at_crs",))


def read_places(
    path: Any, layer: str | None, default_crs: CRS | None, faults: Faults | None = None
) -> list[Place]:
    """Places from the points of a vector file or a GeoDataFrame, in its order.

    Points of a MultiPoint become places of the same name. Without ``layer`` the only layer that may hold
    points is taken, or the waypoints of a GPX file, or the layer called ``stations``. A column ``name``,
    ``label``, ``title`` or ``station`` names them; a column ``ground_height_m`` has surveyed ground heights.
    Heights in the geometry itself are not used: they are mostly GPS heights in another datum.

    faults : where rows that cannot be used go, for whoever tells them together with others

    Raises
    ------
    StationError : unreadable, empty or ambiguous file, geometry other than points, a row without a point, a
        height that no ground has
    """
    from hillsight.ground import vector

    kept = Faults("stations") if faults is None else faults
    try:
        chosen = layer if layer is not None else _choose_layer(path)
        frame, _ = vector.read_layer(path, chosen, default_crs)
        where = f"{vector.display_name(path)}, layer {chosen}"
        name_column = vector.find_column(frame, NAME_COLUMNS)
        height_column = vector.find_column(frame, (HEIGHT_COLUMN,))
        names = list(frame[name_column]) if name_column else [None] * len(frame)
        heights = list(frame[height_column]) if height_column else [None] * len(frame)
        places: list[Place] = []
        for row, (geometry, name_cell, height_cell) in enumerate(
            zip(frame.geometry, names, heights, strict=True), start=1
        ):
            place = f"{where}, row {row}"
            with kept.kept():
                name = vector.text_or_none(name_cell)
                height_m = _height_m(height_cell, f"{place}, column {height_column}")
                places += [
                    Place(name, float(point.x), float(point.y), frame.crs, height_m, place)
                    for point in _points(geometry, place)
                ]
    except FeatureError as error:
        raise StationError(error.what, where=error.where, remedy=error.remedy) from error
    if faults is None:
        kept.tell()
    if not places and not kept.found:
        raise StationError("the layer holds no stations", where=where, remedy="Give at least one point")
    return places


def _choose_layer(path: Any) -> str:
    from hillsight.ground import vector

    names = vector.list_layers(path)
    if {"waypoints", "track_points"} <= set(names):
        return "waypoints"
    with_points = vector.point_layers(path)
    if len(with_points) == 1:
        return with_points[0]
    if _OWN_LAYER in with_points:
        return _OWN_LAYER
    if not with_points:
        raise StationError(
            "no layer holds points",
            where=str(path),
            remedy="Give points" + (f"; the layers are: {', '.join(names)}" if names else ""),
        )
    raise StationError(
        "several layers may hold the stations",
        where=str(path),
        remedy=f"Name one of them: {', '.join(with_points)}",
    )


def _height_m(cell: Any, where: str) -> float | None:
    """Ground height of a station in its column, if it has one."""
    from hillsight.ground import vector

    try:
        height_m = vector.number_or_none(cell, where)
    except FeatureError as error:
        raise StationError(error.what, where=error.where, remedy=error.remedy) from error
    if height_m is not None and not _LOWEST_GROUND_M <= height_m <= _HIGHEST_GROUND_M:
        raise StationError(
            f"no ground is {height_m:.10g} m high", where=where, remedy="Give metres, or leave it blank"
        )
    return height_m


def _points(geometry: Any, where: str) -> list[Any]:
    """The points of a station's row."""
    if geometry is None or geometry.is_empty:
        raise StationError(
            "the station has no position", where=where, remedy="Give it a point or drop the row"
        )
    if geometry.geom_type not in ("Point", "MultiPoint"):
        raise StationError(
            f"a station must be a point, not a {geometry.geom_type}",
            where=where,
            remedy="Give points, or name a layer of points",
        )
    points = list(geometry.geoms) if geometry.geom_type == "MultiPoint" else [geometry]
    if not all(np.isfinite(point.x) and np.isfinite(point.y) for point in points):
        raise StationError(
            "the station's coordinates are not finite numbers",
            where=where,
            remedy="Correct them or drop the row",
        )
    return points


def middle_of(places: Sequence[Place]) -> tuple[float, float]:
    """Longitude and latitude amid places, degrees, each on its own datum: where the work is.

    Raises
    ------
    StationError : a place that is nowhere on the Earth in its system
    """
    found = [_degrees(place) for place in places]
    # Longitudes are taken as turns from the first, so that places about the 180th meridian have a middle.
    turns = signed_deg([longitude - found[0][0] for longitude, _ in found])
    middle = float(signed_deg(found[0][0] + float(np.median(turns))))
    return middle, float(np.median([latitude for _, latitude in found]))


def _degrees(place: Place) -> tuple[float, float]:
    try:
        longitude, latitude = own_degrees(horizontal_crs(place.crs), np.array([place.x]), np.array([place.y]))
    except HillsightError as error:
        raise StationError(error.what, where=place.source, remedy=error.remedy) from error
    if not (np.isfinite(longitude[0]) and abs(latitude[0]) <= 90 and abs(longitude[0]) <= 540):
        raise StationError(
            f"{place.x:g}, {place.y:g} is no place on the Earth in {place.crs.name}",
            where=place.source,
            remedy="Easting or longitude comes first; or name another system",
            parameters=place.parameters,
        )
    return float(longitude[0]), float(latitude[0])


def settle_stations(
    places: Sequence[Place],
    terrain_crs: CRS,
    bounds_m: tuple[float, float, float, float],
    near: tuple[float, float],
    faults: Faults | None = None,
) -> tuple[list[Station], list[str], list[Operation]]:
    """Stations in the working system, each within the terrain and with a label of its own.

    Labels: the name with control characters as spaces; "station 1", "station 2" (place in the list) where
    there is none; a name given again becomes "name (2)", with a note.

    Parameters
    ----------
    places : as given, in the order wanted
    terrain_crs : the working system, projected, metres
    bounds_m : west, south, east, north of the terrain's outermost posts
    near : longitude and latitude of the work, as the terrain's ``near``: the ways between systems are chosen
        there
    faults : where places that cannot be used go, for whoever tells them together with others

    Returns
    -------
    (stations in the same order, notes, the distinct operations PROJ used)

    Raises
    ------
    StationError : no places, or one that lies off the terrain or has no position in the working system
    """
    if not places:
        raise StationError(
            "no stations are given",
            remedy='Give a file of points, or places as "easting,northing"',
            parameters=("stations", "at"),
        )
    kept = Faults("stations") if faults is None else faults
    positions: list[tuple[float, float] | None] = []
    changes: dict[Operation, None] = {}
    for number, place in enumerate(places, start=1):
        position = None
        with kept.kept():
            position, change = _position(place, _who(place, number), terrain_crs, bounds_m, near)
            changes[change] = None
        positions.append(position)
    if faults is None:
        kept.tell()
    labels, notes = _labels(places)
    notes += [change.note for change in changes if change.note]
    stations = [
        Station(label, _name(place), *position, place.height_m, place.source)
        for label, place, position in zip(labels, places, positions, strict=True)
        if position is not None
    ]
    return stations, notes, list(changes)


def _position(
    place: Place,
    who: str,
    terrain_crs: CRS,
    bounds_m: tuple[float, float, float, float],
    near: tuple[float, float],
) -> tuple[tuple[float, float], Operation]:
    """Where a place lies in the working system, and the operation that brought it there."""
    try:
        change = operation_between(place.crs, terrain_crs, near)
        easting, northing = change(place.x, place.y)
    except HillsightError as error:
        raise StationError(
            f"{who}: {error.what}",
            where=place.source,
            remedy=error.remedy,
            parameters=place.parameters,
        ) from error
    position = (float(easting[0]), float(northing[0]))
    _check_on_terrain(place, who, position, terrain_crs, bounds_m, near)
    return position, change


def _name(place: Place) -> str | None:
    return place.name if place.name is not None and place.name.strip() else None


def _who(place: Place, number: int) -> str:
    name = _name(place)
    return f"station {number}" if name is None else f"station {plain_label(name)!r}"


def _labels(places: Sequence[Place]) -> tuple[list[str], list[str]]:
    """Labels that differ from one another, and a note for each that had to change."""
    wanted: list[str] = []
    for number, place in enumerate(places, start=1):
        name = _name(place)
        plain = "" if name is None else plain_label(name)
        wanted.append(plain or f"station {number}")
    labels = unlike(wanted, [bool(_name(place)) for place in places])
    notes = [
        f"{place.source}: the name {word!r} is taken; this station is called {label!r}"
        for place, word, label in zip(places, wanted, labels, strict=True)
        if label != word
    ]
    return labels, notes


def _check_on_terrain(
    place: Place,
    who: str,
    position: tuple[float, float],
    terrain_crs: CRS,
    bounds_m: tuple[float, float, float, float],
    near: tuple[float, float],
) -> None:
    west, south, east, north = bounds_m
    easting, northing = position
    if west <= easting <= east and south <= northing <= north:
        return
    given = horizontal_crs(place.crs)
    spans = f"E {west:.1f} to {east:.1f}, N {south:.1f} to {north:.1f}"
    remedy = f"Move the station or give terrain that covers it: this one spans {spans}"
    parameters: tuple[str, ...] = ()
    if given.is_projected and abs(place.x) <= 180 and abs(place.y) <= 90:
        parameters = place.parameters
        say = "state EPSG:4326 as their system" if parameters else _SAY_DEGREES
        remedy = f"The numbers look like longitude and latitude: {say}"
    elif _would_fit_swapped(place, terrain_crs, bounds_m, near):
        order = "longitude" if given.is_geographic else "easting"
        remedy = f"The two numbers fit the other way round: {order} comes first"
    raise StationError(
        f"{who} at E {easting:.1f} N {northing:.1f} lies off the terrain",
        where=place.source,
        remedy=remedy,
        parameters=parameters,
    )


def _would_fit_swapped(
    place: Place, terrain_crs: CRS, bounds_m: tuple[float, float, float, float], near: tuple[float, float]
) -> bool:
    west, south, east, north = bounds_m
    try:
        x, y = operation_between(place.crs, terrain_crs, near)(place.y, place.x)
    except HillsightError:
        return False
    return bool(west <= x[0] <= east and south <= y[0] <= north)
