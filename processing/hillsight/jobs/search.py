"""Where on a map a photograph may have been taken, by the skyline traced on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from hillsight.errors import CallError, FeatureError, HillsightError, MarksError
from hillsight.ground.geodesy import Geodesy, drop_coefficient_per_m
from hillsight.ground.roughness import rough_scale_m
from hillsight.ground.vector import carried, read_layer
from hillsight.jobs.doubts import error_model, error_note
from hillsight.jobs.inputs import opened, settled_out_crs
from hillsight.jobs.listener import SILENT, Listener, say_if_compiling
from hillsight.jobs.marked_picture import weighed_picture
from hillsight.jobs.outputs import check_outputs, output_way, provenance_of, write_cogs, write_style_folder
from hillsight.jobs.requests import SearchRequest
from hillsight.jobs.results import Result
from hillsight.jobs.sink import MadeRaster, PackageSink, sink_for
from hillsight.layers.atomic import together
from hillsight.layers.provenance import input_file
from hillsight.layers.search_frames import possible_places_frame
from hillsight.plan.look.skies import alike_over_m
from hillsight.plan.picture.holding import held_words
from hillsight.plan.picture.measuring import picture_skyline
from hillsight.plan.relocation.decision import DECIDED
from hillsight.plan.search.close_look import Eyes
from hillsight.plan.search.lattice_places import LatticePlaces, along_lines, over_area
from hillsight.plan.search.ranking import ranked
from hillsight.plan.search.search_words import search_lines
from hillsight.plan.search.searching import first_looks, weigh_places
from hillsight.reading.far_ground import far_ground
from hillsight.sight.viewing import Viewing

if TYPE_CHECKING:
    from hillsight.jobs.inputs import Inputs
    from hillsight.layers.provenance import InputFile
    from hillsight.plan.picture.skyline_match import PictureSkyline
    from hillsight.plan.search.ranking import Ranking
    from hillsight.plan.search.searching import Places
    from hillsight.sight.far_sky import FarGround

LAYERS = ("possible_places",)

#: A trace of fewer samples or degrees fits far too many places.
_LEAST_SAMPLES, _LEAST_DEG = 10, 10.0


@dataclass(frozen=True, eq=False, kw_only=True)
class Searched(Result):
    """What a search found; its layer is ``possible_places``, its raster ``probability_of_place``.

    ranking : the places with their shares, and how decisive the best is
    lines : the same in sentences
    """

    ranking: Ranking
    lines: tuple[str, ...]

    @property
    def is_undecided(self) -> bool:
        """Whether no place is decided for."""
        return self.ranking.state != DECIDED


def search(
    terrain: Any,
    *,
    marks: Any,
    photo: str | Path | None = None,
    width: float | None = None,
    cropped: bool = False,
    most_megapixels: float = 100.0,
    area: Any = None,
    area_layer: str | None = None,
    lines: Any = None,
    line_layer: str | None = None,
    stations: Any = None,
    station_layer: str | None = None,
    at: Sequence[Any] | str = (),
    at_crs: str | None = None,
    within: float = 2_000.0,
    apart: float = 50.0,
    decide_from: float = 0.95,
    eye_height: float = 1.6,
    refraction: float = 0.13,
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
    terrain_product: str | None = None,
    terrain_error: float | None = None,
    error_correlation: float | None = None,
    between_posts: str = "unknown",
    out: str | Path | None = None,
    out_crs: str | None = None,
    rasters: str | Path | None = None,
    listener: Listener = SILENT,
) -> Searched:
    """Search an area, or lines, for where a photograph was taken, by the skyline traced on it.

    Parameters
    ----------
    terrain : a raster file, a ``Raster`` or an xarray DataArray
    marks : a file of marks (JSON) with a traced skyline, or ``Marks``
    photo : the photograph's file; its size and checksum must be those of the marks
    width : angle between the picture's sides, degrees, give or take 5 % of the focal length
    most_megapixels : larger pictures are refused
    area : polygons to search, a vector file or a GeoDataFrame
    lines : lines to search along, likewise
    stations, at : search within ``within`` m of these, as elsewhere
    apart : between places, m on the grid
    decide_from : share within 500 m of the best place from which it is decided for
    eye_height : m above the ground
    out : GeoPackage to write; rasters : folder for the raster as a GeoTIFF too
    listener : hears of progress and notes

    Without area, lines and stations the whole terrain is searched. docs/scripts/search.md tells of the rest.

    Raises
    ------
    HillsightError : bad input, or the output cannot be written
    """
    return run_search(SearchRequest.of(locals()), listener)


@together()
def run_search(request: SearchRequest, listener: Listener = SILENT) -> Searched:
    """Do what a request asks for; see :func:`search`."""
    out_crs = settled_out_crs(request.out_crs)
    _check(request)
    picture, belief = weighed_picture(request)
    with opened(request, places_needed=False) as inputs:
        way, cautions = output_way(inputs, out_crs)
        errors = error_model(request, inputs.spacing_m)
        traced = picture_skyline(picture.marks, belief, alike_over_m(inputs.spacing_m, errors))
        _check_trace(traced, picture.marks.photograph.name)
        middle_e, middle_n = _middle(inputs)
        far = far_ground(inputs.terrain, middle_e, middle_n)
        places, lattice, files = _places(request, inputs, far)
        radius_m = Geodesy(inputs.terrain.crs).gaussian_radius_m(
            float(places.easting_m.mean()), float(places.northing_m.mean())
        )
        eyes = Eyes(
            far,
            rough_scale_m(far.surface.height_m),
            errors,
            request.eye_height,
            drop_coefficient_per_m(radius_m, request.refraction),
        )
        notes = (*inputs.notes, *picture.notes, error_note(errors, covered=inputs.is_covered), *cautions)
        for text in notes:
            listener.note(text)
        say_if_compiling(listener)
        with listener.work("all places") as advance:
            look = first_looks([traced], eyes, places, advance)[0]
        with listener.work("likely places") as advance:
            found = weigh_places(traced, eyes, places, look, advance)
        ranking = ranked(found, request.decide_from)
        held = held_words(float(found.close.tilt_deg[0]), float(found.close.roll_deg[0]))
        if held:
            notes = (*notes, held)
            listener.note(held)
        numbers = [one.number for one in ranking.places]
        ground_m = far.surface.heights_at_m(places.easting_m[numbers], places.northing_m[numbers])
        provenance = provenance_of("search", request.told(), inputs)
        provenance = replace(
            provenance,
            inputs=(*provenance.inputs, *picture.files, *files),
            operations=(*provenance.operations, *way),
            notes=notes,
        )
        written: dict[str, tuple[Path, ...]] = {}
        paths = [file.path for file in provenance.inputs]
        with sink_for(
            request.out,
            LAYERS,
            provenance,
            inputs=paths,
            out_crs=out_crs,
            near=inputs.terrain.near,
            rasters_wanted=True,
        ) as sink:
            frame = possible_places_frame(ranking, found, ground_m, belief.lens, inputs.terrain.crs)
            sink.add({"possible_places": frame})
            if lattice is not None:
                raster = lattice.raster(found.share)
                sink.add_raster(MadeRaster("probability_of_place", "", raster, lattice.grid))
            sink.close(provenance)
            if request.rasters is not None and isinstance(sink, PackageSink):
                write_cogs(request.rasters, sink.file, sink.kinds, paths)
                written["rasters"] = (request.rasters,)
        if request.out is not None:
            write_style_folder(request.out)
            written = {"out": (request.out,), **written}
    return Searched(
        frames=sink.frames,
        rasters=sink.rasters,
        notes=notes,
        provenance=provenance,
        files=written,
        ranking=ranking,
        lines=tuple(search_lines(ranking, frame, found.places.easting_m.size)),
    )


def _check(request: SearchRequest) -> None:
    """Refuse what makes no sense before the work."""
    Viewing(request.eye_height, 0.0, 1.0, request.refraction)
    check_outputs(request)
    for name, least, most in (("apart", 1.0, 10_000.0), ("within", 1.0, 200_000.0)):
        if not least <= getattr(request, name) <= most:
            raise CallError(
                f"{name} is {getattr(request, name):g} m",
                remedy=f"Give metres from {least:g} to {most:,.0f}",
                parameters=(name,),
            )
    if not 0.5 < request.decide_from < 1.0:
        raise CallError(
            f"nothing is decided from a share of {request.decide_from:g}",
            remedy="Give a number above 0.5 and below 1",
            parameters=("decide_from",),
        )
    for layer, file in (("area_layer", "area"), ("line_layer", "lines")):
        if getattr(request, layer) is not None and getattr(request, file) is None:
            raise CallError(
                "a layer is named, and no file that holds it",
                remedy="Name the file",
                parameters=(layer, file),
            )
    if request.lines is not None and (request.area is not None or request.stations is not None or request.at):
        raise CallError(
            "an area and lines are searched apart",
            remedy="Search along the lines, or over the area",
            parameters=("lines", "area", "stations"),
        )
    if request.rasters is not None and request.out is None:
        raise CallError(
            "the raster is made from the GeoPackage, and none is named",
            remedy="Name the GeoPackage to write too",
            parameters=("rasters", "out"),
        )


def _check_trace(traced: PictureSkyline, where: str) -> None:
    samples = len(traced.trace)
    across = np.degrees(np.arctan(traced.trace[:, 0])) if samples else np.zeros(1)
    wide_deg = float(np.ptp(across))
    if samples < _LEAST_SAMPLES or wide_deg < _LEAST_DEG:
        what = "no skyline is traced" if not samples else f"the traced skyline spans {wide_deg:.0f} degrees"
        raise MarksError(
            f"{what}: a search needs {_LEAST_DEG:.0f} degrees or more",
            where=where,
            remedy="Trace more of the skyline; landmarks alone serve where candidates are given",
            parameters=("marks",),
        )


def _middle(inputs: Inputs) -> tuple[float, float]:
    west, south, east, north = inputs.terrain.bounds_m
    return (west + east) / 2, (south + north) / 2


def _places(
    request: SearchRequest, inputs: Inputs, far: FarGround
) -> tuple[Places, LatticePlaces | None, tuple[InputFile, ...]]:
    """The places to weigh, their lattice unless they lie along lines, and the files that say so.

    Raises
    ------
    HillsightError : a file that cannot be read or holds no such shapes; no place on known ground
    """
    if request.lines is not None:
        shapes = _shapes(request.lines, request.line_layer, inputs, 1, "lines")
        parts = [part for shape in shapes for part in shapely.get_parts(shape)]
        return along_lines(parts, far.surface, request.apart), None, _file(request.lines)
    areas = [
        shapely.Point(station.easting_m, station.northing_m).buffer(request.within, quad_segs=64)
        for station in inputs.stations
    ]
    files: tuple[InputFile, ...] = ()
    if request.area is not None:
        areas += _shapes(request.area, request.area_layer, inputs, 2, "area")
        files = _file(request.area)
    area = shapely.union_all(areas) if areas else shapely.box(*inputs.terrain.bounds_m)
    lattice = over_area(area, far.surface, request.apart)
    return lattice.places, lattice, files


def _file(source: Any) -> tuple[InputFile, ...]:
    from hillsight.jobs.memory import frame_checksum

    return (input_file(source) if isinstance(source, str) else frame_checksum(source),)


def _shapes(
    source: Any, layer: str | None, inputs: Inputs, dimension: int, parameter: str
) -> list[shapely.Geometry]:
    """Lines (1) or polygons (2) of a layer in the terrain's grid."""
    frame, _ = read_layer(source, layer, inputs.terrain.crs)
    try:
        shapes = np.asarray(carried(frame, inputs.terrain.crs, inputs.terrain.near).geometry, dtype=object)
    except HillsightError as error:
        raise FeatureError(
            error.what, where=str(source), remedy=error.remedy, parameters=(parameter,)
        ) from error
    found = [one for one in shapes if one is not None and shapely.get_dimensions(one) == dimension]
    found = [one for one in found if not shapely.is_empty(one)]
    if not found:
        kind = "lines" if dimension == 1 else "polygons"
        raise FeatureError(
            f"there are no {kind} in it",
            where=source if isinstance(source, str) else "",
            remedy=f"Give a layer of {kind}",
            parameters=(parameter,),
        )
    return [shapely.make_valid(one) if dimension == 2 else one for one in found]
