"""The view from stations, drawn: lines or shaded ground, landmarks with a key, and the same as layers."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hillsight.errors import CallError
from hillsight.jobs.input_files import named_files
from hillsight.jobs.inputs import opened, settled_out_crs
from hillsight.jobs.listener import SILENT, Listener, say_if_compiling
from hillsight.jobs.outputs import check_outputs, named, output_way, provenance_of, write_style_folder
from hillsight.jobs.panorama_views import check_call, paper_of, see, settled_viewing
from hillsight.jobs.printing import printing_of
from hillsight.jobs.requests import PanoramaRequest
from hillsight.jobs.results import Result
from hillsight.jobs.sink import sink_for
from hillsight.layers.atomic import made_folder, together
from hillsight.layers.package import raster_table
from hillsight.reading.drawn.frames import Laid, panorama_frames
from hillsight.schema.frames import with_station
from hillsight.sheets.panorama.beside_sheet import MOST_BESIDE, draw_beside
from hillsight.sheets.panorama.panorama_sheet import draw_bare, draw_camera_view, draw_panorama
from hillsight.sheets.paper.saving import save_page

if TYPE_CHECKING:
    from hillsight.ground.transform import Operation
    from hillsight.jobs.inputs import Inputs
    from hillsight.jobs.panorama_views import Seen
    from hillsight.layers.provenance import Provenance
    from hillsight.sheets.panorama.panorama_sheet import Drawn

LAYERS = ("panorama_frames", "panorama_lines", "panorama_points")


def panorama(
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
    reach: float | None = None,
    refraction: float = 0.13,
    features: Any = (),
    feature_layer: Sequence[str] | str = (),
    evidence: str | Path | None = None,
    date: datetime.date | str | None = None,
    north: str = "true",
    looks: str | float | None = None,
    width: float = 60.0,
    from_bearing: float | None = None,
    to_bearing: float | None = None,
    size: str | None = None,
    tilt: float = 0.0,
    roll: float = 0.0,
    camera: str | Path | None = None,
    style: str = "lines",
    light: float | None = None,
    exaggeration: float | None = None,
    paper: str | None = None,
    bare: bool = False,
    beside: bool = False,
    drawing: str | Path | None = None,
    pictures: str | Path | None = None,
    picture_format: str = "png",
    dots_per_inch: int = 150,
    white_paper: bool = False,
    out: str | Path | None = None,
    out_crs: str | None = None,
    listener: Listener = SILENT,
) -> Result:
    """The view from each station, drawn.

    Layers: panorama_frames, panorama_lines, panorama_points.

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
    eye_height : m above the ground
    reach : how far to look, m on the grid; as far as the terrain goes, 80,000 at most, if not given
    refraction : ray curvature over earth curvature
    features : map features to draw, vector files or GeoDataFrames; ``feature_layer`` names the layers to take
    evidence : table of evidence classes (TOML), in place of the built-in one
    date : day for magnetic bearings, or "today"
    north : what the scale of bearings counts from: "true", "grid" or "magnetic"
    looks : direction of the view's middle, a point of the compass or true degrees; all round if not given
    width : of the view that looks one way, degrees
    from_bearing, to_bearing : true bearings of the left and right edge, in place of ``looks``
    size : "4000x3000": draw what a camera sees that takes pictures of so many pixels, ``width`` degrees wide
    tilt, roll : of the camera, degrees: up, and clockwise as seen from behind
    camera : GeoPackage that ``resect`` wrote: draw what each station's camera sees, in place of ``looks``
    style : "lines" or "relief"
    light : true bearing that the light of a relief comes from; over the left shoulder if not given
    exaggeration : of vertical angles; what fits, 3 at most, if not given
    paper : "A4" or "A3"; by the width of the view if not given
    bare : whether to leave out margins, scales and key
    beside : whether to draw all stations on one page, one above the other
    drawing, pictures : file for one drawing (.svg, .png or .pdf), folder for drawings of all stations
    picture_format : of pictures: "png", "svg" or "pdf"
    dots_per_inch : of pictures that are PNG
    white_paper : whether pictures are on plain white
    out : GeoPackage to write; without it the result holds everything in memory
    out_crs : CRS of what comes out; without it the working grid's
    listener : hears of progress and notes

    Raises
    ------
    HillsightError : bad input, or an output cannot be written
    """
    return run_panorama(PanoramaRequest.of(locals()), listener)


@together()
def run_panorama(request: PanoramaRequest, listener: Listener = SILENT) -> Result:
    """Do what a request asks for; see :func:`panorama`."""
    out_crs = settled_out_crs(request.out_crs)
    check_outputs(request)
    check_call(request, named_files(request))
    settled_viewing(request)
    with opened(request) as inputs:
        way, cautions = output_way(inputs, out_crs)
        _check_count(request, len(inputs.stations))
        say_if_compiling(listener)
        notes = [*inputs.notes]
        for text in inputs.notes:
            listener.note(text)
        provenance = _provenance(request, inputs)
        files: dict[str, tuple[Path, ...]] = {}
        with sink_for(
            request.out,
            LAYERS,
            provenance,
            inputs=inputs.paths,
            out_crs=out_crs,
            near=inputs.terrain.near,
            rasters_wanted=False,
        ) as sink:
            count = 1
            pages: list[tuple[str, Drawn]] = []
            operations: dict[Operation, None] = {}
            for seen, drawn in _looked(request, inputs, listener):
                station = seen.station
                for text in seen.notes:
                    notes.append(text)
                    listener.note(text)
                operations |= {seen.operation: None}
                laid = [Laid(*picture, angles=_angles(seen)) for picture in drawn.pictures]
                frames = panorama_frames(seen.view, laid, drawn.landmarks, count)
                count += len(laid)
                sink.add({name: with_station(frame, station.label) for name, frame in frames.items()})
                pages.append((station.label, drawn))
            used = [*(operation.record() for operation in operations), *way]
            for text in cautions:
                notes.append(text)
                listener.note(text)
            provenance = replace(provenance, operations=(*provenance.operations, *used), notes=tuple(notes))
            sink.close(provenance)
        if request.out is not None:
            write_style_folder(request.out)
            files["out"] = (request.out,)
        files |= _written(request, pages)
    return Result(sink.frames, sink.rasters, tuple(notes), provenance, files)


def _looked(request: PanoramaRequest, inputs: Inputs, listener: Listener) -> Iterator[tuple[Seen, Drawn]]:
    """What each station sees, drawn: each let go before the next, or all on one page."""
    together = []
    for station in inputs.stations:
        with listener.work(station.label) as advance:
            seen = see(request, inputs, station)
            advance(0.5)
            if request.beside:
                together.append(seen)
            else:
                yield seen, _drawn(request, seen)
            advance(1.0)
    if together:
        drawn = draw_beside(
            [seen.view for seen in together],
            [seen.place for seen in together],
            [seen.north for seen in together],
            ground=together[0].ground,
            paper=request.paper or "A3",
            exaggeration=request.exaggeration,
        )
        yield from zip(together, drawn, strict=True)


def _check_count(request: PanoramaRequest, stations: int) -> None:
    if request.drawing is not None and stations > 1 and not request.beside:
        raise CallError(
            f"a drawing shows the view from one station, and these are {stations}",
            remedy="Draw them beside each other, or all of them into a folder",
            parameters=("drawing", "beside", "pictures"),
        )
    if request.beside and not 2 <= stations <= MOST_BESIDE:
        raise CallError(
            f"{stations} {'view stands' if stations == 1 else 'views stand'} beside each other",
            remedy=f"Give 2 to {MOST_BESIDE} stations",
            parameters=("beside", "stations", "at"),
        )


def _drawn(request: PanoramaRequest, seen: Seen) -> Drawn:
    if request.bare:
        return draw_bare(seen.view, seen.camera, ground=seen.ground, exaggeration=request.exaggeration)
    if seen.camera is not None:
        return draw_camera_view(
            seen.view, seen.place, seen.north, seen.camera, ground=seen.ground, paper=paper_of(request)
        )
    return draw_panorama(
        seen.view,
        seen.place,
        seen.north,
        ground=seen.ground,
        paper=paper_of(request),
        exaggeration=request.exaggeration,
    )


def _angles(seen: Seen) -> dict[str, float] | None:
    camera = seen.camera
    if camera is None:
        return None
    return {
        "heading_grid_deg": camera.heading_grid_deg,
        "tilt_deg": camera.tilt_deg,
        "roll_deg": camera.roll_deg,
        "focal_px": camera.lens.focal_px,
    }


def _provenance(request: PanoramaRequest, inputs: Inputs) -> Provenance:
    """Parameters with their units."""
    with_units = {
        "width": "width_deg",
        "tilt": "tilt_deg",
        "roll": "roll_deg",
        "light": "light_true_deg",
        "looks": "looks_true",
    }
    told = {with_units.get(name, name): value for name, value in request.told().items()}
    told["camera"] = None if request.camera is None else named(request.camera)
    return provenance_of("panorama", told, inputs)


def _written(request: PanoramaRequest, pages: list[tuple[str, Drawn]]) -> dict[str, tuple[Path, ...]]:
    """The drawings asked for, by the parameter that asked for them."""
    printing = printing_of(request)
    written: dict[str, tuple[Path, ...]] = {}
    if request.drawing is not None:
        written["drawing"] = (save_page(pages[0][1].page, request.drawing, printing=printing),)
    if request.pictures is not None:
        folder, taken = made_folder(request.pictures), set[str]()
        if request.beside:
            pages = [("beside", pages[0][1])]
        written["pictures"] = tuple(
            save_page(
                drawn.page,
                printing.named(folder, raster_table("panorama", label, taken)),
                printing=printing,
            )
            for label, drawn in pages
        )
    return written
