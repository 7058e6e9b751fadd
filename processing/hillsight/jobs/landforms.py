"""Reads the shape of the ground once, names what a map names, and gives a layer for each kind of landform."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hillsight.errors import CallError
from hillsight.ground.geodesy import Geodesy
from hillsight.jobs.inputs import opened, settled_out_crs
from hillsight.jobs.listener import SILENT, Listener
from hillsight.jobs.outputs import check_outputs, output_way, provenance_of, write_style_folder
from hillsight.jobs.printing import printing_of
from hillsight.jobs.requests import LandformsRequest
from hillsight.jobs.results import Result
from hillsight.jobs.sink import sink_for
from hillsight.landform.map_names import named
from hillsight.landform.options import LandformOptions
from hillsight.landform.scale import settle_scales
from hillsight.landform.survey import survey
from hillsight.layers.atomic import together
from hillsight.schema.landforms import LANDFORM_LAYERS

if TYPE_CHECKING:
    from hillsight.ground.grid import Surface
    from hillsight.jobs.inputs import Inputs

#: How far about the places given, unless the reach is given too.
_REACH_M = 10_000.0


def landforms(
    terrain: Any,
    *,
    terrain_crs: str | None = None,
    band: int | None = None,
    vertical_unit: str | None = None,
    nodata: float | None = None,
    grid_crs: str | None = None,
    stations: Any = None,
    station_layer: str | None = None,
    at: Sequence[Any] | str = (),
    at_crs: str | None = None,
    reach: float | None = None,
    scales: Sequence[float] = (),
    level_below: float = 5.0,
    steep_from: Sequence[float] = (20.0, 30.0, 40.0),
    least_change: float = 8.0,
    features: Any = (),
    feature_layer: Sequence[str] | str = (),
    out: str | Path | None = None,
    out_crs: str | None = None,
    pictures: str | Path | None = None,
    picture_format: str = "png",
    dots_per_inch: int = 150,
    white_paper: bool = False,
    listener: Listener = SILENT,
) -> Result:
    """Read the shape of the ground: tops, saddles, ridges, valley lines, spurs, re-entrants and more.

    One layer for each kind, as docs/layers.md lists them.

    Parameters
    ----------
    terrain : a raster file, a ``Raster`` or an xarray DataArray
    terrain_crs : CRS of a terrain that names none
    band : band with the heights, from 1
    vertical_unit : "m", "ft", "dm" ..., where the file does not say
    nodata : a further value that marks voids
    grid_crs : metric CRS to work in where the terrain is in degrees or feet
    stations : places to read about, a vector file or a GeoDataFrame; ``station_layer`` is its layer
    at : places to look from, each (easting, northing, "name") or a text "easting,northing,name"
    at_crs : CRS of ``at``; without it the terrain's
    reach : how far about the places, m on the grid; without places the whole terrain is read
    scales : sizes of landforms to read, m; 100, 300 and 1000 as the terrain allows if not given
    level_below : ground gentler than this is level, degrees
    steep_from : where bands of steep ground begin, degrees
    least_change : least change of slope that makes a break of slope, degrees
    features : map features whose names landforms take; ``feature_layer`` names the layers to take
    out : GeoPackage to write; without it the result holds everything in memory
    out_crs : CRS of what comes out; without it the working grid's
    pictures : folder for a map of each scale
    picture_format : of pictures: "png", "svg" or "pdf"
    dots_per_inch : of pictures that are PNG
    white_paper : whether pictures are on plain white
    listener : hears of progress and notes

    Raises
    ------
    HillsightError : bad input, an incomplete installation, or the output cannot be written
    """
    return run_landforms(LandformsRequest.of(locals()), listener)


@together()
def run_landforms(request: LandformsRequest, listener: Listener = SILENT) -> Result:
    """Do what a request asks for; see :func:`landforms`."""
    thresholds = _thresholds(request)
    out_crs = settled_out_crs(request.out_crs)
    check_outputs(request)
    layers = [layer.name for layer in LANDFORM_LAYERS]
    notes: list[str] = []

    def tell(text: str) -> None:
        notes.append(text)
        listener.note(text)

    with opened(request, places_needed=False) as inputs:
        way, cautions = output_way(inputs, out_crs)
        surface = _ground(request, inputs)
        scales_m, scale_notes = settle_scales(surface, request.scales)
        for text in (*inputs.notes, *scale_notes, *cautions):
            tell(text)
        told = request.told() | {"scales": scales_m, "evidence": None}
        provenance = provenance_of("landforms", told, inputs)
        provenance = replace(
            provenance,
            operations=(*provenance.operations, *way),
            notes=(*provenance.notes, *cautions),
        )
        files: dict[str, tuple[Path, ...]] = {}
        with sink_for(
            request.out,
            layers,
            provenance,
            inputs=inputs.paths,
            out_crs=out_crs,
            near=inputs.terrain.near,
            rasters_wanted=False,
        ) as sink:
            with listener.work("landforms") as advance:
                frames = survey(surface, scales_m, thresholds, Geodesy(surface.grid.crs), advance)
            if inputs.features is not None:
                frames = named(frames, inputs.features)
            if not any(len(frame) for frame in frames.values()):
                tell("no landforms: the ground is level, or has none of this size")
            sink.add(frames)
            listener.station_read(frames)
            provenance = replace(provenance, notes=tuple(notes))
            sink.close(provenance)
            if request.pictures is not None:  # from the frames, so before the package takes its name
                from hillsight.sheets.landforms.landform_sheet import draw_landforms

                files["pictures"] = tuple(
                    draw_landforms(surface, frames, request.pictures, printing_of(request))
                )
    if request.out is not None:
        write_style_folder(request.out)
        files = {"out": (request.out,), **files}
    return Result(sink.frames, sink.rasters, tuple(notes), provenance, files)


def _thresholds(request: LandformsRequest) -> LandformOptions:
    """The thresholds of a request.

    Raises
    ------
    CallError : one out of its bounds
    """
    for name, words, value, most in (
        ("level_below", "level ground ends", request.level_below, 45.0),
        ("least_change", "a break of slope begins", request.least_change, 90.0),
    ):
        if not 0 < value <= most:
            raise CallError(
                f"{words} at {value:g} degrees",
                remedy=f"Give degrees above 0, up to {most:g}",
                parameters=(name,),
            )
    bands = tuple(sorted(set(request.steep_from)))
    for band in bands:
        if not 0 < band < 90:
            raise CallError(
                f"a band of steep ground begins at {band:g} degrees",
                remedy="Give degrees between 0 and 90",
                parameters=("steep_from",),
            )
    return LandformOptions(request.level_below, bands, request.least_change)


def _ground(request: LandformsRequest, inputs: Inputs) -> Surface:
    """All posts, or the square that holds what lies within the reach of the places given."""
    reach_m = request.reach
    if reach_m is not None and not reach_m > 0:
        raise CallError(
            f"the reach is {reach_m:g} m", remedy="Give a distance in metres above 0", parameters=("reach",)
        )
    if not inputs.stations:
        if reach_m is not None:
            raise CallError(
                "a reach is given, and no place to reach from",
                remedy="Give a place, or leave the reach out",
                parameters=("reach", "at", "stations"),
            )
        return inputs.terrain.whole()
    east = [station.easting_m for station in inputs.stations]
    north = [station.northing_m for station in inputs.stations]
    half_m = max(max(east) - min(east), max(north) - min(north)) / 2
    middle = (max(east) + min(east)) / 2, (max(north) + min(north)) / 2
    return inputs.terrain.window(*middle, half_m + (_REACH_M if reach_m is None else reach_m))
