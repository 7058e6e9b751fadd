"""What map sheets are of: the area, how it is divided, its ground, places and norths."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import CallError, HillsightError, OutputError
from hillsight.ground.crs import horizontal_crs, parse_crs
from hillsight.ground.geodesy import Geodesy
from hillsight.ground.magnetic import declination
from hillsight.ground.transform import operation_between
from hillsight.jobs.input_files import named_files
from hillsight.jobs.outputs import named
from hillsight.layers.atomic import check_place
from hillsight.layers.provenance import written_at
from hillsight.sheets.map import layout as paper
from hillsight.sheets.map.content import MapPlace
from hillsight.sheets.map.contour_lines import window_of
from hillsight.sheets.map.frame import grid_metres, grid_scale_factor_at
from hillsight.sheets.map.margin import North
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.saving import DRAWINGS
from hillsight.words.quantities import per_cent

if TYPE_CHECKING:
    import geopandas

    from hillsight.ground.grid import Surface
    from hillsight.ground.terrain import Terrain
    from hillsight.jobs.inputs import Inputs
    from hillsight.jobs.sheet_request import SheetRequest
    from hillsight.layers.map_layers import MapLayers

#: A map is no smaller than this, mm of paper.
_LEAST_MM = 10.0
_MOST_INTERVAL_M = 500.0
_MOST_INSET, _LEAST_INSET = 25_000.0, 1_000.0
#: Radius of the Earth, m: what its size matters to a map's scale is the same for any that is about right.
_EARTH_RADIUS_M = 6_371_000.0
_TOLD_HEIGHT_SHARE = 1e-4


@dataclass(frozen=True)
class Laid:
    """How an area is laid out on paper.

    area : metres on the grid; sheets : that cover it; factor : the grid's own scale at its middle
    """

    area: Box
    layout: paper.Layout
    sheets: tuple[paper.Sheet, ...]
    factor: float


def check_call(request: SheetRequest) -> None:
    """Refuse what no sheet can have, before anything is read.

    Raises
    ------
    HillsightError : what is wrong, and what to do
    """
    paper.check_scale(request.scale)
    paper.layout_of(request.paper, request.orientation or "portrait")
    if request.inset is not None and not _LEAST_INSET <= request.inset < request.scale:
        raise CallError(
            f"an inset at 1:{request.inset:,.10g} shows no more than a map at 1:{request.scale:,.10g}"
            if request.inset >= request.scale
            else f"an inset at 1:{request.inset:,.10g} would show but a few steps",
            remedy=f"Give a number from {_LEAST_INSET:.0f} to less than the scale's, such as 5000",
            parameters=("inset", "scale"),
        )
    if request.contour_interval is not None and not 0.5 <= request.contour_interval <= _MOST_INTERVAL_M:
        raise CallError(
            f"contours every {request.contour_interval:g} m are not drawn",
            remedy=f"Give metres from 0.5 to {_MOST_INTERVAL_M:g}",
            parameters=("contour_interval",),
        )
    if not 0 <= request.overlap <= 100:
        raise CallError(
            f"sheets cannot overlap by {request.overlap:g} mm",
            remedy="Give mm of paper from 0 to 100",
            parameters=("overlap",),
        )
    if request.extent is None and request.extent_crs is not None:
        raise CallError(
            "a CRS is given for an extent, and no extent",
            remedy='Give one as "W,S,E,N"',
            parameters=("extent_crs", "extent"),
        )
    if request.station is not None and not request.layers:
        raise CallError(
            "a station of the layers is named, and no layers are given",
            remedy="Name their file too",
            parameters=("station", "layers"),
        )
    if request.out.suffix.lower() not in DRAWINGS:
        raise OutputError(
            "a sheet's name must end in .pdf, .svg or .png",
            where=str(request.out),
            remedy=f"Name it {request.out.stem}.pdf",
            parameters=("out",),
        )
    check_place(request.out, inputs=named_files(request))


def lay_sheets(request: SheetRequest, inputs: Inputs, layers: MapLayers, places: Sequence[MapPlace]) -> Laid:
    """The area asked for, on as many sheets as it takes.

    Raises
    ------
    HillsightError : it is off the terrain, does not fit the one sheet asked for, or takes too many
    """
    area, is_cut = _area(request, inputs, layers, places)
    west, south, east, north = inputs.terrain.bounds_m
    if area.left >= east or area.right <= west or area.bottom >= north or area.top <= south:
        raise CallError(
            f"E {area.left:.0f} to {area.right:.0f}, N {area.bottom:.0f} to {area.top:.0f} is not on the "
            f"terrain, which spans E {west:.0f} to {east:.0f}, N {south:.0f} to {north:.0f} "
            f"in {inputs.terrain.crs.name}",
            where=named(request.terrain),
            remedy="Give other edges or places, or state their CRS",
            parameters=("extent", "extent_crs", "at", "at_crs"),
        )
    middle = (area.left + area.right) / 2, (area.bottom + area.top) / 2
    factor = grid_scale_factor_at(inputs.terrain.crs, *middle)
    per_mm = grid_metres(request.scale, factor)
    way = request.orientation or paper.chosen_orientation(
        area, request.paper, request.scale, factor, request.overlap
    )
    layout = paper.layout_of(request.paper, way)
    width_m, height_m = layout.room.width * per_mm, layout.room.height * per_mm
    if is_cut and min(area.width, area.height) < _LEAST_MM * per_mm:
        raise CallError(
            f"an area of {area.width:,.0f} by {area.height:,.0f} m is a speck at 1:{request.scale:,.10g}",
            remedy=f"Give one that is {ceil(_LEAST_MM * per_mm):,} m across at least, or a larger scale",
            parameters=("extent", "scale"),
        )
    size_m = width_m, height_m, request.overlap * per_mm
    if request.one_sheet and paper.count_of(area, *size_m) > 1:
        raise paper.does_not_fit(area, request.paper, request.orientation, request.scale, factor)
    sheets = paper.divide(area, *size_m)
    if len(sheets) == 1 and is_cut:
        sheets = [paper.Sheet(1, 0, 0, area)]
    return Laid(area, layout, tuple(sheets), factor)


def _area(
    request: SheetRequest, inputs: Inputs, layers: MapLayers, places: Sequence[MapPlace]
) -> tuple[Box, bool]:
    """The area on the grid, and whether a map is cut at its edges where it fits one sheet."""
    terrain = inputs.terrain
    if request.extent is not None:
        return _extent(request.extent, request.extent_crs, terrain), True
    west, south, east, north = terrain.bounds_m
    whole = Box(west, south, east, north)
    if inputs.stations:
        east_m = [station.easting_m for station in inputs.stations]
        north_m = [station.northing_m for station in inputs.stations]
        return Box(min(east_m), min(north_m), max(east_m), max(north_m)), False
    if request.station is not None and places:
        return Box(*2 * (places[0].easting_m, places[0].northing_m)), False
    drawn = [f for name, f in layers.frames.items() if len(f) and name not in request.hide]
    edges = [_bounds(frame) for frame in drawn]
    if not edges:
        return whole, True
    west, south = (min(edge[i] for edge in edges) for i in (0, 1))
    east, north = (max(edge[i] for edge in edges) for i in (2, 3))
    found = Box(
        max(west, whole.left), max(south, whole.bottom), min(east, whole.right), min(north, whole.top)
    )
    if found.left > found.right or found.bottom > found.top:  # off the terrain: to be refused with its edges
        found = Box(west, south, east, north)
    return found, False


def _bounds(frame: geopandas.GeoDataFrame) -> tuple[float, float, float, float]:
    west, south, east, north = (float(edge) for edge in frame.total_bounds)
    return west, south, east, north


def _extent(text: str, crs: str | None, terrain: Terrain) -> Box:
    """Edges in their CRS, as the box of the working grid that holds them."""
    try:
        west, south, east, north = (float(part) for part in text.split(","))
    except ValueError:
        west = south = east = north = np.nan
    if not (np.isfinite([west, south, east, north]).all() and west < east and south < north):
        raise CallError(
            f"{text!r} is no area",
            remedy='Give its edges as "west,south,east,north", the west less than the east',
            parameters=("extent",),
        )
    own = horizontal_crs(terrain.source_crs)
    given = own if crs is None else horizontal_crs(parse_crs(crs, "the CRS of the extent", ("extent_crs",)))
    if given.equals(horizontal_crs(terrain.crs), ignore_axis_order=True):
        return Box(west, south, east, north)
    share = np.linspace(0.0, 1.0, 21)
    x = np.concatenate([west + share * (east - west)] * 2 + [np.full(21, west), np.full(21, east)])
    y = np.concatenate([np.full(21, south), np.full(21, north), *[south + share * (north - south)] * 2])
    try:
        easting, northing = operation_between(given, terrain.crs, terrain.near)(x, y)
    except HillsightError as error:
        raise CallError(error.what, remedy=error.remedy, parameters=("extent", "extent_crs")) from error
    return Box(float(easting.min()), float(northing.min()), float(easting.max()), float(northing.max()))


def surface_of(terrain: Terrain, sheets: Sequence[paper.Sheet]) -> Surface:
    """The ground of all sheets and some posts round it.

    Raises
    ------
    TerrainError : there is none, or more than can be held at once
    """
    left, right = min(s.limits.left for s in sheets), max(s.limits.right for s in sheets)
    bottom, top = min(s.limits.bottom for s in sheets), max(s.limits.top for s in sheets)
    half_m = max(right - left, top - bottom) / 2
    surface = terrain.window((left + right) / 2, (bottom + top) / 2, half_m)
    return window_of(surface, Box(left, bottom, right, top), beyond=3) or surface


def on_ground(sheets: Sequence[paper.Sheet], surface: Surface) -> tuple[list[paper.Sheet], str]:
    """The sheets that have ground, numbered on; and what is to be said of ground that lacks."""
    kept: list[paper.Sheet] = []
    known = total = 0.0
    for sheet in sheets:
        window = window_of(surface, sheet.limits, beyond=0)
        whole = (sheet.limits.width / surface.grid.spacing_x_m) * (
            sheet.limits.height / surface.grid.spacing_y_m
        )
        there = 0.0 if window is None else float(np.isfinite(window.height_m).sum())
        known, total = known + min(there, whole), total + whole
        if there:
            kept.append(paper.Sheet(len(kept) + 1, sheet.row, sheet.column, sheet.limits))
    if not kept:
        raise CallError(
            "there is no height on any of the sheets",
            remedy="Give other edges, or a terrain that covers them",
            parameters=("extent",),
        )
    lacking = 1.0 - known / total
    return kept, f"{per_cent(lacking)} of the sheets has no terrain" if lacking > 0.005 else ""


def places_of(inputs: Inputs, layers: MapLayers) -> list[MapPlace]:
    """Stations given, or else those of the layers, with their names."""
    if inputs.stations:
        return [MapPlace(s.easting_m, s.northing_m, s.name or s.label) for s in inputs.stations]
    found: list[MapPlace] = []
    for name in ("stations", "candidates"):
        frame = layers.frames.get(name)
        if frame is not None and not found:
            for row in frame.itertuples(index=False):
                label = getattr(row, "name", None)
                label = label if isinstance(label, str) and label else str(row.station)
                found.append(MapPlace(row.geometry.x, row.geometry.y, label))
    return found


def north_at(
    terrain: Terrain, easting_m: float, northing_m: float, day: datetime.date | None
) -> tuple[North, str]:
    """How the norths lie at a place of the grid, and what is to be said of it.

    day : for magnetic north; None for the day of writing, which may lie outside the years of the models
    """
    convergence = float(Geodesy(terrain.crs).convergence_deg(easting_m, northing_m))
    longitude, latitude = (float(v[0]) for v in terrain.to_wgs84(easting_m, northing_m))
    asked = day or datetime.date.fromisoformat(written_at()[:10])
    try:
        found = declination(longitude, latitude, 0.0, asked)
    except HillsightError as error:
        if day is not None:
            raise
        return North(convergence), f"no magnetic north on the map: {error.what}"
    north = North(convergence, found.declination_deg, found.uncertainty_deg, str(found.date))
    return north, found.warning


def credit_words(request: SheetRequest, terrain: str) -> str:
    """Credits given, then the names of the files."""
    given = [text.strip().rstrip(".") + "." for text in request.credit]
    files = [f"Terrain {terrain}"]
    if request.layers:
        files.append(f"layers {', '.join(named(path) for path in request.layers)}")
    if request.features:
        files.append(f"features {', '.join(named(source) for source in request.features)}")
    return " ".join([*given, f"{'; '.join(files)}. Drawn by hillsight."])


def height_remark(surface: Surface) -> tuple[str, ...]:
    """By how much ground so high is larger than the ellipsoid, where that is more than 0.01 %.

    The ellipsoid's distances grow by height over the Earth's radius (surveying textbooks, from memory).
    """
    known = surface.height_m[np.isfinite(surface.height_m)]
    height_m = float(np.median(known)) if known.size else 0.0
    share = height_m / _EARTH_RADIUS_M
    if share < _TOLD_HEIGHT_SHARE:
        return ()
    return (
        f"The scale holds at the level of the sea; ground {height_m:,.0f} m up is "
        f"{per_cent(share, 2)} longer.",
    )
