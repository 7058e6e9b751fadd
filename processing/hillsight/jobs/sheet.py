"""Map sheets of a terrain and of layers, to exact scale: one, or several that are numbered, with an index."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hillsight.errors import CallError
from hillsight.jobs.inputs import opened
from hillsight.jobs.listener import SILENT, Listener
from hillsight.jobs.outputs import named, provenance_of
from hillsight.jobs.results import Result
from hillsight.jobs.sheet_area import (
    Laid,
    check_call,
    credit_words,
    height_remark,
    lay_sheets,
    north_at,
    on_ground,
    places_of,
    surface_of,
)
from hillsight.jobs.sheet_request import SheetRequest
from hillsight.layers.atomic import together
from hillsight.layers.map_layers import read_map_layers
from hillsight.layers.provenance import input_file
from hillsight.schema.layers import LAYERS
from hillsight.sheets.map.content import MapContent
from hillsight.sheets.map.contour_lines import chosen_interval_m, window_of
from hillsight.sheets.map.drawing import PARTS, grid_step_m, unknown_letters
from hillsight.sheets.map.sheet_page import SheetStyle, draw_index, draw_sheet
from hillsight.sheets.paper.marks import left_off_words, name_of
from hillsight.sheets.paper.saving import About, Printing, save_page, save_pages, true_letters

if TYPE_CHECKING:
    from hillsight.ground.grid import Surface
    from hillsight.jobs.inputs import Inputs
    from hillsight.sheets.map.content import MapPlace
    from hillsight.sheets.map.layout import Sheet
    from hillsight.sheets.paper.page import Page


#: White, as paper is that comes out of a printer.
_PRINTED = Printing(dots_per_inch=300, white_paper=True)


#: Most letters of a title and of the credits: more than a sheet has room for.
_TITLE_LETTERS, _CREDIT_LETTERS = 110, 900


#: Layers that would crowd a map: drawn where they are asked for by name.
_WHEN_ASKED = (
    *("skyline_bearings", "first_ground", "relations", "seen_areas", "dead_ground_by_crest"),
    *("panorama_frames", "panorama_lines", "panorama_points"),
)


@dataclass(frozen=True, eq=False)
class SheetResult(Result):
    """What was drawn.

    sheets : edges of each map, west, south, east, north in metres on the working grid
    scale : the denominator; grid_scale_factor : that was taken out of the grid's distances
    interval_m : of the contours, None on level ground
    """

    sheets: tuple[tuple[float, float, float, float], ...] = ()
    scale: float = 0.0
    grid_scale_factor: float = 1.0
    interval_m: float | None = None


def sheet(
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
    layers: Sequence[str] | str = (),
    station: str | None = None,
    features: Any = (),
    feature_layer: Sequence[str] | str = (),
    evidence: str | Path | None = None,
    extent: Sequence[float] | str | None = None,
    extent_crs: str | None = None,
    scale: float = 25_000.0,
    paper: str = "A4",
    orientation: str | None = None,
    one_sheet: bool = False,
    overlap: float = 20.0,
    contour_interval: float | None = None,
    show: Sequence[str] | str = (),
    hide: Sequence[str] | str = (),
    inset: float | None = None,
    date: Any = None,
    title: str | None = None,
    credit: Sequence[str] | str = (),
    out: str | Path,
    listener: Listener = SILENT,
) -> SheetResult:
    """Draw map sheets that print to an exact scale.

    The area is ``extent``; or what lies about the places; or that of the layers; or the whole terrain. What
    is too large for the paper becomes numbered sheets with an index.

    Parameters
    ----------
    terrain : a raster file, a ``Raster`` or an xarray DataArray
    terrain_crs : CRS of a terrain that names none
    band : band with the heights, from 1
    vertical_unit : "m", "ft", "dm" ..., where the file does not say
    nodata : a further value that marks voids
    grid_crs : metric CRS to work in where the terrain is in degrees or feet
    stations : places to mark and to lay the map about, a vector file or a GeoDataFrame; ``station_layer`` is
        its layer
    at : such places, each (easting, northing, "name") or a text "easting,northing,name"
    at_crs : CRS of ``at``; without it the terrain's
    layers : GeoPackages that hillsight wrote, or other files of vector layers
    station : label of the station whose rows of the layers are drawn; those of all if not given
    features : map features; ``feature_layer`` names the layers to take
    evidence : table of evidence classes (TOML), in place of the built-in one
    extent : west, south, east, north of the area; ``extent_crs`` is their CRS, without it the terrain's
    scale : denominator, 10,000 to 50,000
    paper : "A4" or "A3"
    orientation : "portrait" or "landscape"; what takes fewer sheets if not given
    one_sheet : refuse an area that does not fit one sheet
    overlap : of neighbouring sheets, mm of paper
    contour_interval : metres; chosen by relief and scale if not given
    show : names of the layers, and of hillshade, contours, grid, features, places, names, to draw alone
    hide : such names to leave out
    inset : denominator of the scale of an inset about the first place, none if not given
    date : day for magnetic north; the day of writing if not given
    title : above the map
    credit : credits of the data, a sentence each
    out : .pdf, .svg or .png to write; of several sheets, a PDF has one page each, others are numbered files
    listener : hears of progress and notes

    Raises
    ------
    HillsightError : bad input, a scale that does not fit the paper, or the output cannot be written
    """
    return run_sheet(SheetRequest.of(locals()), listener)


@together()
def run_sheet(request: SheetRequest, listener: Listener = SILENT) -> SheetResult:
    """Do what a request asks for; see :func:`sheet`."""
    check_call(request)
    notes: list[str] = []

    def tell(text: str) -> None:
        if text not in notes:
            notes.append(text)
            listener.note(text)

    with opened(request, places_needed=False) as inputs:
        for text in inputs.notes:
            tell(text)
        leave = [name for name in _WHEN_ASKED if name not in request.show]
        read = read_map_layers(
            request.layers, inputs.terrain.crs, inputs.terrain.near, request.station, leave=leave
        )
        # Of our own layers many are rightly empty: without cover, no ground is uncertain.
        if empty := [name for name, frame in read.frames.items() if not len(frame) and name not in LAYERS]:
            tell(f"there is nothing in {'the layer' if len(empty) == 1 else 'the layers'} {', '.join(empty)}")
        if len(read.stations) > 1 and {"dead_ground", "visible_ground"} & set(read.frames):
            tell(
                f"the ground of {len(read.stations)} stations is drawn together: "
                "name one station to draw its own"
            )
        places = places_of(inputs, read)
        if request.inset is not None and not places:
            raise CallError(
                "there is no place to draw an inset about",
                remedy="Give one, or leave the inset out",
                parameters=("inset", "at", "stations"),
            )
        laid = lay_sheets(request, inputs, read, places)
        surface = surface_of(inputs.terrain, laid.sheets)
        sheets, blank = on_ground(laid.sheets, surface)
        laid = replace(laid, sheets=tuple(sheets))
        if blank:
            tell(blank)
        content = MapContent(
            surface,
            inputs.features,
            read.frames,
            {
                kind: raster
                for kind, raster in (("viewshed", read.viewshed), ("depth", read.depth))
                if raster is not None
            },
            tuple(places),
        )
        for name, letters in unknown_letters(content, (request.title, *request.credit)).items():
            tell(f"the font lacks {letters!r} of {name!r}: □ stands for them")
        shown = _shown(request, (*PARTS, *content.layers, *read.left))
        style = _style(request, inputs, places, laid, surface, shown, tell)
        told = {k: v for k, v in request.told().items() if k not in ("overlap", "contour_interval", "inset")}
        told |= {"overlap_mm": request.overlap, "contour_interval_m": style.interval_m}
        told |= {"inset_scale": request.inset, "grid_scale_factor": laid.factor}
        told["layers"] = [named(path) for path in request.layers]
        provenance = provenance_of("sheet", told, inputs)
        more = tuple(input_file(path) for path in request.layers)
        provenance = replace(provenance, inputs=(*provenance.inputs, *more), notes=tuple(notes))
        left_off: list[int] = []

        def pages() -> Iterator[Page]:
            for done, one in enumerate(sheets, 1):
                page, drawn = draw_sheet(content, style, one, sheets)
                left_off.append(drawn.names_left_off)
                listener.progress("sheets", done / len(sheets))
                yield page

        about = About(style.title, provenance.as_json())
        with true_letters():
            files = _write(request.out, content, style, sheets, pages(), about)
        if sum(left_off):
            tell(left_off_words(sum(left_off)))
    edges = tuple((s.limits.left, s.limits.bottom, s.limits.right, s.limits.top) for s in sheets)
    provenance = replace(provenance, notes=tuple(notes))
    return SheetResult(
        {}, {}, tuple(notes), provenance, {"out": files}, edges, request.scale, laid.factor, style.interval_m
    )


def _shown(request: SheetRequest, names: Sequence[str]) -> tuple[str, ...]:
    """What is drawn of layers and parts.

    Raises
    ------
    CallError : a name that is neither, or nothing is left
    """
    for parameter, wanted in (("show", request.show), ("hide", request.hide)):
        for name in wanted:
            if name not in names:
                raise CallError(
                    f"there is no {name!r} to {parameter}",
                    remedy=f"There is {', '.join(names)}",
                    parameters=(parameter,),
                )
    usual = tuple(name for name in names if name not in _WHEN_ASKED)
    shown = tuple(name for name in request.show or usual if name not in request.hide)
    if not shown:
        raise CallError("nothing is left to draw", remedy="Hide less", parameters=("show", "hide"))
    return shown


def _usual_title(places: Sequence[MapPlace], terrain: str) -> str:
    if len(places) == 1 and places[0].label:
        return f"Map about {places[0].label}"
    return f"Map of {Path(terrain).stem}"


def _style(
    request: SheetRequest,
    inputs: Inputs,
    places: Sequence[MapPlace],
    laid: Laid,
    surface: Surface,
    shown: tuple[str, ...],
    tell: Callable[[str], None],
) -> SheetStyle:
    interval_m, why = _interval(request, laid, surface)
    if why:
        tell(why)
    middle = (laid.area.left + laid.area.right) / 2, (laid.area.bottom + laid.area.top) / 2
    north, warning = north_at(inputs.terrain, *middle, request.date)
    if warning:
        tell(warning)
    name = named(request.terrain)
    return SheetStyle(
        title=name_of(request.title, _TITLE_LETTERS) or name_of(_usual_title(places, name), _TITLE_LETTERS),
        layout=laid.layout,
        scale=request.scale,
        grid_scale_factor=laid.factor,
        interval_m=interval_m,
        grid_m=grid_step_m(request.scale),
        show=shown,
        north=north,
        grid_name=inputs.terrain.crs.name,
        credits=name_of(credit_words(request, name), _CREDIT_LETTERS),
        inset_scale=request.inset,
        remarks=(*((f"{why[0].upper()}{why[1:]}.",) if why else ()), *height_remark(surface)),
    )


def _interval(request: SheetRequest, laid: Laid, surface: Surface) -> tuple[float | None, str]:
    """The contours' interval, one for the set, so that lines run on; and what is to be said of it.

    The steepest sheet chooses it, so that it can be read.
    """
    if request.contour_interval is not None:
        return request.contour_interval, ""
    chosen: dict[int, float] = {}
    for sheet in laid.sheets:
        ground = window_of(surface, sheet.limits)
        interval_m = None if ground is None else chosen_interval_m(ground, request.scale)
        if interval_m is not None:
            chosen[sheet.number] = interval_m
    if not chosen:
        return None, ""
    most, least = max(chosen.values()), min(chosen.values())
    if most == least:
        return most, ""
    steepest = ", ".join(str(number) for number, each in chosen.items() if each == most)
    few = steepest.count(",") < 3
    return most, (
        f"all sheets have contours every {most:g} m, as the steepest "
        f"{f'({steepest}) ' if few else ''}{'need' if ',' in steepest else 'needs'}; "
        f"the gentlest alone would have had {least:g} m"
    )


def _write(
    out: Path,
    content: MapContent,
    style: SheetStyle,
    sheets: Sequence[Sheet],
    pages: Iterator[Page],
    about: About,
) -> tuple[Path, ...]:
    """One file of pages, or a file for each page: the index first."""
    if len(sheets) == 1 and out.suffix.lower() != ".pdf":
        return (save_page(next(pages), out, printing=_PRINTED, about=about),)
    if out.suffix.lower() == ".pdf":
        index = iter(()) if len(sheets) == 1 else iter([draw_index(content, style, sheets, ())])
        return (save_pages(chain(index, pages), out, printing=_PRINTED, about=about),)
    names = [out.with_name(f"{out.stem}_{one.number}{out.suffix}") for one in sheets]
    index_page = draw_index(content, style, sheets, [name.name for name in names])
    written = [
        save_page(index_page, out.with_name(f"{out.stem}_index{out.suffix}"), printing=_PRINTED, about=about)
    ]
    return (
        *written,
        *(
            save_page(page, name, printing=_PRINTED, about=about)
            for page, name in zip(pages, names, strict=True)
        ),
    )
