"""The state of every post about each station as a raster, or how many stations see each."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.errors import CallError
from hillsight.ground.geodesy import Geodesy
from hillsight.jobs.doubts import error_model, error_note, uncertain_limits
from hillsight.jobs.listener import SILENT, Listener
from hillsight.jobs.requests import ViewshedRequest
from hillsight.jobs.sink import MadeRaster
from hillsight.jobs.stations import Reading, run_stations
from hillsight.jobs.wanted import check_bearing, viewing_of
from hillsight.reading.coverage import Question, add_to_counts, areas_ha, hull, no_counts, stand, views
from hillsight.reading.station_row import reach_notes, station_frame
from hillsight.schema.rasters import NOT_COUNTED

if TYPE_CHECKING:
    from collections.abc import Generator

    import geopandas

    from hillsight.ground.grid import Grid
    from hillsight.ground.transform import Operation
    from hillsight.jobs.inputs import Inputs
    from hillsight.jobs.results import Result
    from hillsight.reading.coverage import Seen, Stand

LAYERS = ("stations",)

#: One number of 16 bits says that nothing was counted.
_MOST_COUNTED = NOT_COUNTED - 1


def viewshed(
    terrain: Any,
    *,
    terrain_crs: str | None = None,
    band: int | None = None,
    vertical_unit: str | None = None,
    nodata: float | None = None,
    grid_crs: str | None = None,
    surface: Any = None,
    cover: Any = (),
    cover_layer: Sequence[str] | str = (),
    cover_heights: str | Path | None = None,
    leaf: str = "on",
    stations: Any = None,
    station_layer: str | None = None,
    at: Sequence[Any] | str = (),
    at_crs: str | None = None,
    eye_height: float = 1.6,
    target_height: float | Sequence[float] = (0.0,),
    reach: float = 10_000.0,
    inner_distance: float = 0.0,
    from_bearing: float = 0.0,
    to_bearing: float | None = None,
    refraction: float = 0.13,
    only_states: bool = False,
    count: bool = False,
    probability: bool = False,
    terrain_product: str | None = None,
    terrain_error: float | None = None,
    error_correlation: float | None = None,
    between_posts: str = "unknown",
    station_error: float = 5.0,
    eye_height_error: float = 0.1,
    refraction_error: float = 0.05,
    uncertain_between: tuple[float, float] = (0.1, 0.9),
    out: str | Path | None = None,
    out_crs: str | None = None,
    rasters: str | Path | None = None,
    listener: Listener = SILENT,
) -> Result:
    """Which posts each station sees, and how deep the hidden ones lie.

    Layer: stations. Rasters: viewshed (0 beyond the reach, 1 hidden, 2 uncertain, 3 visible, 4 unknown) and
    depth of each station; probability where it is asked for; or visible_count of all stations together.

    Parameters
    ----------
    terrain : a raster file, a ``Raster`` or an xarray DataArray
    terrain_crs : CRS of a terrain that names none
    band : band with the heights, from 1
    vertical_unit : "m", "ft", "dm" ..., where the file does not say
    nodata : a further value that marks voids
    grid_crs : metric CRS to work in where the terrain is in degrees or feet
    surface : a surface model beside the terrain, as ``terrain``: what stands on the ground hides too
    cover : files or GeoDataFrames of woods, buildings, walls and hedges; ``cover_layer`` names their layers
    cover_heights : a table of heights by kind, instead of the built-in one
    leaf : "on" or "off", whether leafy woods are in leaf
    stations : points to look from, a vector file or a GeoDataFrame; ``station_layer`` is its layer
    at : places to look from, each (easting, northing, "name") or a text "easting,northing,name"
    at_crs : CRS of ``at``; without it the terrain's
    eye_height, target_height : m above the ground
    reach : how far to look, m on the grid
    refraction : ray curvature over earth curvature
    inner_distance : ground nearer than this (m on the grid) is not answered for
    from_bearing, to_bearing : true bearings of a sector, degrees, clockwise; without the latter all round
    only_states : no depths; several times quicker, and for terrain of any size
    count : one raster for all stations, of how many see each post, in place of theirs
    probability : how likely each post is seen, by the error model
    terrain_product, terrain_error, error_correlation : the terrain's errors: its product by name, or the
        RMSE (m) of its heights and how far errors are alike (m); guessed from the post spacing if not given
    between_posts : what the terrain's posts are: "points", "means", "unknown", or "straight" for nothing
        between them
    station_error, eye_height_error, refraction_error : standard deviations, m, m and 1
    uncertain_between : probabilities of being seen between which the answer is "uncertain"
    out : GeoPackage to write; without it the result holds everything in memory
    out_crs : CRS of what comes out; without it the working grid's
    rasters : folder for the rasters as GeoTIFFs; it needs ``out``
    listener : hears of progress, notes and each station's rows

    Raises
    ------
    HillsightError : bad input, or the output cannot be written; nothing is left behind
    """
    return run_viewshed(ViewshedRequest.of(locals()), listener)


def run_viewshed(request: ViewshedRequest, listener: Listener = SILENT) -> Result:
    """Do what a request asks for; see :func:`viewshed`."""
    _check(request)
    question = _question(request)
    limits = uncertain_limits(request) if request.probability else None

    def read(inputs: Inputs, listener: Listener) -> Generator[Reading]:
        asked = question
        if limits is not None:
            asked = replace(question, doubts=(error_model(request, inputs.spacing_m), limits))
        return _readings(inputs, asked, listener, counted=request.count)

    def doubts(inputs: Inputs) -> str:
        return error_note(error_model(request, inputs.spacing_m), covered=inputs.is_covered)

    return run_stations(
        "viewshed",
        request,
        read,
        listener,
        layers=LAYERS,
        rasters_wanted=True,
        note=doubts if request.probability else None,
    )


def _check(request: ViewshedRequest) -> None:
    """Refuse what is out of its bounds, or does not go together."""
    inner_m, reach_m = request.inner_distance, request.reach
    from_deg, to_deg = request.from_bearing, request.to_bearing
    for height_m in request.target_height:
        viewing_of(request, height_m)
    if not request.target_height:
        raise CallError("no target height is given", remedy="Give metres", parameters=("target_height",))
    if inner_m < 0:
        raise CallError(
            f"the inner distance is {inner_m:g} m",
            remedy="Give a distance of 0 or more",
            parameters=("inner_distance",),
        )
    if inner_m >= reach_m:
        raise CallError(
            f"an inner distance of {inner_m:g} m leaves no ground within the reach of {reach_m:g} m",
            remedy="Give an inner distance below the reach",
            parameters=("inner_distance", "reach"),
        )
    check_bearing("from_bearing", from_deg)
    check_bearing("to_bearing", to_deg)
    if to_deg is None and from_deg != 0.0:
        raise CallError(
            f"the bearing {from_deg:g} begins a sector that has no end",
            remedy="Say where it ends too",
            parameters=("from_bearing", "to_bearing"),
        )
    if to_deg is not None and from_deg == to_deg:
        raise CallError(
            f"the sector from bearing {from_deg:g} to {to_deg:g} holds no ground",
            remedy="Give two bearings, or none to look all round",
            parameters=("from_bearing", "to_bearing"),
        )
    if request.count and request.only_states:
        raise CallError(
            "a count is one raster in place of each station's, and states alone are asked of each",
            remedy="Leave one of them out",
            parameters=("count", "only_states"),
        )
    if request.probability and (request.count or len(set(request.target_height)) > 1):
        raise CallError(
            "the probability is worked out for each station and one target height",
            remedy="Ask for no count, and give one target height",
            parameters=("probability", "count", "target_height"),
        )


def _question(request: ViewshedRequest) -> Question:
    heights_m = tuple(dict.fromkeys(request.target_height))
    return Question(
        viewing_of(request, heights_m[0]),
        heights_m,
        request.inner_distance,
        request.from_bearing,
        request.to_bearing,
        depth=not (request.only_states or request.count),
    )


def _readings(inputs: Inputs, question: Question, listener: Listener, *, counted: bool) -> Generator[Reading]:
    """See the posts around every station, in their order; last the counts, if they are counted."""
    terrain = inputs.terrain
    if counted and len(inputs.stations) > _MOST_COUNTED:
        raise CallError(f"{len(inputs.stations):,} stations are more than a raster of 16 bits counts")
    geodesy, to_wgs84 = Geodesy(terrain.crs), terrain.to_wgs84
    with terrain.reading() as read:
        stands = []
        for station in inputs.stations:
            at, notes = stand(terrain, read, station, question, geodesy)
            stands.append(at)
            yield Reading(
                notes=(*notes, *reach_notes(station.label, question.viewing, inputs.spacing_m, 0.0))
            )
        together = hull([at.window for at in stands])
        targets = len(question.target_heights_m)
        counts = no_counts(terrain, together, targets) if counted else None
        with closing(views(terrain, read, stands, question, listener.work)) as seen_by_all:
            for at, seen in zip(stands, seen_by_all, strict=True):
                if counts is not None:
                    add_to_counts(counts, together, at.window, seen.states)
                areas = areas_ha(terrain.grid, at, seen.states[0])
                unknown_share = areas["unknown_ha"] / areas["reach_ha"] if areas["reach_ha"] > 0 else 0.0
                yield Reading(
                    {"stations": _row(at, seen, areas, question, geodesy, to_wgs84)},
                    () if counted else tuple(_rasters(at, seen, question, terrain.grid)),
                    tuple(reach_notes(at.station.label, question.viewing, 0.0, unknown_share)),
                )
        if counts is not None:
            grid = terrain.grid.part(*together)
            yield Reading(
                rasters=tuple(
                    MadeRaster("visible_count", "", one, grid, _ending(question, height_m), _remark(height_m))
                    for height_m, one in zip(question.target_heights_m, counts, strict=True)
                )
            )
    yield Reading(operations=(to_wgs84,))


def _row(
    at: Stand,
    seen: Seen,
    areas: dict[str, float],
    question: Question,
    geodesy: Geodesy,
    to_wgs84: Operation,
) -> geopandas.GeoDataFrame:
    station, doubt = at.station, seen.doubt
    longitude, latitude = (float(v[0]) for v in to_wgs84(station.easting_m, station.northing_m))
    if doubt is not None:
        areas = areas | {
            "expected_visible_ha": doubt.expected_ha,
            "expected_visible_low_ha": doubt.low_ha,
            "expected_visible_high_ha": doubt.high_ha,
        }
    return station_frame(
        station,
        geodesy,
        question.viewing,
        ground_height_m=at.ground_m,
        eye_level_m=at.eye.level_m,
        longitude=longitude,
        latitude=latitude,
        areas_ha=areas,
    )


def _rasters(at: Stand, seen: Seen, question: Question, grid: Grid) -> Generator[MadeRaster]:
    """A viewshed for each target height; the depth and the probability for the first."""
    label, part = at.station.label, grid.part(*at.window)
    first_m = question.target_heights_m[0]
    states = seen.states if seen.doubt is None else seen.doubt.states[np.newaxis]
    for height_m, one in zip(question.target_heights_m, states, strict=True):
        yield MadeRaster("viewshed", label, one, part, _ending(question, height_m), _remark(height_m))
    if question.depth:
        yield MadeRaster("depth", label, seen.depth_m, part, remark=_remark(first_m))
    if seen.doubt is not None:
        yield MadeRaster("probability", label, seen.doubt.probability, part, remark=_remark(first_m))


def _ending(question: Question, height_m: float) -> str:
    """What tells the rasters of several target heights apart: 2m, 1.6m."""
    return f"{height_m:g}m" if len(question.target_heights_m) > 1 else ""


def _remark(height_m: float) -> str:
    return f"; of targets {height_m:g} m above the ground" if height_m else ""
