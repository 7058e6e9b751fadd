"""Cuts the ground along sight lines: from each station to a target, or out on a true bearing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hillsight.errors import CallError, OutputError
from hillsight.jobs.input_files import named_files
from hillsight.jobs.inputs import opened, settled_out_crs
from hillsight.jobs.listener import SILENT, Listener, say_if_compiling
from hillsight.jobs.outputs import check_outputs, named, output_way, provenance_of, write_style_folder
from hillsight.jobs.printing import printing_of
from hillsight.jobs.profile_targets import check_call, settle_targets
from hillsight.jobs.requests import ProfileRequest
from hillsight.jobs.results import Result
from hillsight.jobs.sink import sink_for
from hillsight.layers.atomic import check_place, made_folder, together
from hillsight.layers.csv_table import formula_note
from hillsight.layers.package import raster_table
from hillsight.layers.profile_csv import write_profile_csv
from hillsight.reading.section.course import section_along
from hillsight.reading.section.features import features_along
from hillsight.reading.section.frames import profile_frames, sample_table
from hillsight.reading.section.section_words import title_words
from hillsight.sheets.paper.saving import DRAWINGS
from hillsight.sight.viewing import Viewing

if TYPE_CHECKING:
    from hillsight.jobs.inputs import Inputs
    from hillsight.layers.provenance import Provenance
    from hillsight.reading.section.features import Passed
    from hillsight.reading.section.profile import Section, Target

    Cut = tuple[Section, tuple[Passed, ...]]

LAYERS = ("profile_line", "profile_stretches", "profile_points")

_REACH_M = 10_000.0
_BESIDE_POSTS = 2.0


@dataclass(frozen=True, eq=False)
class ProfileResult(Result):
    """What profile found; beside the layers the sections themselves.

    sections : each with the features along it, stations in order, for each its targets or bearings
    """

    sections: tuple[Cut, ...] = ()


def profile(
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
    to: Sequence[Any] | str = (),
    to_feature: Sequence[str] | str = (),
    bearing: Sequence[float] | float = (),
    reach: float | None = None,
    eye_height: float = 1.6,
    target_height: float | None = None,
    refraction: float = 0.13,
    features: Any = (),
    feature_layer: Sequence[str] | str = (),
    evidence: str | Path | None = None,
    beside: float | None = None,
    csv: str | Path | None = None,
    drawing: str | Path | None = None,
    pictures: str | Path | None = None,
    picture_format: str = "png",
    dots_per_inch: int = 150,
    white_paper: bool = False,
    exaggeration: float | None = None,
    out: str | Path | None = None,
    out_crs: str | None = None,
    listener: Listener = SILENT,
) -> ProfileResult:
    """The ground along sight lines: what is seen of it, how deep dead ground lies, what is crossed.

    Layers: profile_line, profile_stretches, profile_points.

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
    at_crs : CRS of ``at`` and ``to``; without it the terrain's
    to : targets, each (easting, northing, "name") or a text "easting,northing,name"
    to_feature : names of map features to look at
    bearing : true bearings to look along in place of targets, 0 to 360 degrees
    reach : how far to look along a bearing, m on the grid; 10,000 if not given
    eye_height, target_height : m above the ground; the latter 0, or what a feature says of itself
    refraction : ray curvature over earth curvature
    features : map features to report along the section; ``feature_layer`` names the layers to take
    evidence : table of evidence classes (TOML), in place of the built-in one
    beside : features so near beside the section are reported too, m; two posts if not given
    csv : file to write every sample of the ground to
    drawing, pictures : file for a drawing of one section (.svg, .png or .pdf), folder for drawings of all
    picture_format : of pictures: "png", "svg" or "pdf"
    dots_per_inch : of pictures that are PNG
    white_paper : whether pictures are on plain white
    exaggeration : of the drawing's heights; what fits, 10 at most, if not given
    out : GeoPackage to write; without it the result holds everything in memory
    out_crs : CRS of what comes out; without it the working grid's
    listener : hears of progress and notes

    Raises
    ------
    HillsightError : bad input, or an output cannot be written
    """
    return run_profile(ProfileRequest.of(locals()), listener)


@together()
def run_profile(request: ProfileRequest, listener: Listener = SILENT) -> ProfileResult:
    """Do what a request asks for; see :func:`profile`."""
    check_call(request)
    out_crs = settled_out_crs(request.out_crs)
    reach_m = _REACH_M if request.reach is None else request.reach
    viewing = Viewing(request.eye_height, 0.0, reach_m, request.refraction)
    check_outputs(request)
    _check_drawing(request)
    # The CRS of places may be that of targets alone.
    stands = request if request.at or not request.to else replace(request, at_crs=None)
    with opened(stands) as inputs:
        way, cautions = output_way(inputs, out_crs)
        targets, operations = settle_targets(request, inputs)
        ways: list[Target | float] = [*targets, *request.bearing]
        if request.drawing is not None and len(inputs.stations) * len(ways) > 1:
            raise CallError(
                f"a drawing shows one section, and these are {len(inputs.stations) * len(ways)}",
                remedy="Draw all of them into a folder",
                parameters=("drawing", "pictures"),
            )
        beside_m = _BESIDE_POSTS * inputs.spacing_m if request.beside is None else request.beside
        say_if_compiling(listener)
        cuts, more = _cut(inputs, ways, viewing, beside_m, listener)
        notes = (*inputs.notes, *more, *cautions)
        for text in notes:
            listener.note(text)
        provenance = _provenance(request, inputs, beside_m, viewing)
        provenance = replace(
            provenance,
            operations=(*provenance.operations, *(operation.record() for operation in operations), *way),
            notes=notes,
        )
        with sink_for(
            request.out,
            LAYERS,
            provenance,
            inputs=inputs.paths,
            out_crs=out_crs,
            near=inputs.terrain.near,
            rasters_wanted=False,
        ) as sink:
            sections = [section for section, _ in cuts]
            sink.add(profile_frames(sections, [along for _, along in cuts], inputs.terrain.crs))
            sink.close(provenance)
        if request.csv is not None:
            formulas = write_profile_csv(request.csv, sample_table(sections), inputs=inputs.paths)
            if formulas:
                listener.note(formula_note(formulas))
    if request.out is not None:
        write_style_folder(request.out)
    written = {"out": request.out, "csv": request.csv}
    files: dict[str, tuple[Path, ...]] = {
        name: (place,) for name, place in written.items() if place is not None
    }
    files |= _draw(request, cuts)
    return ProfileResult(sink.frames, sink.rasters, notes, provenance, files, tuple(cuts))


def _check_drawing(request: ProfileRequest) -> None:
    drawing = request.drawing
    if drawing is None:
        return
    if drawing.suffix.lower() not in DRAWINGS:
        raise OutputError(
            "a drawing's name must end in .svg, .png or .pdf",
            where=str(drawing),
            remedy=f"Name it {drawing.stem}.svg",
            parameters=("drawing",),
        )
    check_place(drawing, inputs=named_files(request))


def _cut(
    inputs: Inputs, ways: list[Target | float], viewing: Viewing, beside_m: float, listener: Listener
) -> tuple[list[Cut], list[str]]:
    """Every station's sections, in their order, and what is to be said of the stations."""
    cuts: list[Cut] = []
    notes: dict[str, None] = {}
    with inputs.terrain.reading() as read:
        for station in inputs.stations:
            with listener.work(station.label) as advance:
                for done, to in enumerate(ways, 1):
                    section, said = section_along(
                        inputs.terrain, read, station, to, viewing, number=len(cuts) + 1, beside_m=beside_m
                    )
                    notes |= dict.fromkeys(said)
                    features = inputs.features
                    along = () if features is None else features_along(section, features, beside_m)
                    cuts.append((section, along))
                    if section.course.ends_at == "terrain_edge":
                        at = section.length_grid_m
                        notes[
                            f"{title_words(section)}: the terrain ends at {at:,.0f} m, before the reach"
                        ] = None
                    advance(done / len(ways))
    return cuts, list(notes)


def _provenance(request: ProfileRequest, inputs: Inputs, beside_m: float, viewing: Viewing) -> Provenance:
    """Parameters with their units; those that were settled here as they were settled."""
    told = {k: v for k, v in request.told().items() if k not in ("exaggeration", "bearing", "beside")}
    told["bearing_true_deg"] = list(request.bearing)
    told["reach"] = viewing.reach_m if request.bearing else None
    if inputs.features is not None:
        told["beside_m"] = beside_m
    return provenance_of("profile", told, inputs)


def _draw(request: ProfileRequest, cuts: Sequence[Cut]) -> dict[str, tuple[Path, ...]]:
    """The drawings asked for, one a section, by the parameter that asked for them."""
    if request.drawing is None and request.pictures is None:
        return {}
    from hillsight.sheets.section.section_sheet import draw_profile, save_profile

    printing = printing_of(request)
    places: list[dict[str, Path]] = [{} for _ in cuts]
    if request.drawing is not None:
        places[0]["drawing"] = request.drawing
    if request.pictures is not None:
        folder = made_folder(request.pictures)
        taken: set[str] = set()
        for (section, _), wanted in zip(cuts, places, strict=True):
            course = section.course
            way = f"{course.bearing_true_deg:05.1f}" if course.target is None else course.target.name
            name = raster_table("profile", f"{course.station} {way}", taken)
            wanted["pictures"] = printing.named(folder, name)
    drawn: dict[str, tuple[Path, ...]] = {}
    for (section, along), wanted in zip(cuts, places, strict=True):
        page = draw_profile(section, along, named(request.terrain), exaggeration=request.exaggeration)
        for name, place in wanted.items():
            drawn[name] = (*drawn.get(name, ()), save_profile(page, place, printing))
    return drawn
