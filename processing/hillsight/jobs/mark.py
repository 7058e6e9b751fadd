"""The page on which landmarks, the skyline and the near brow of a photograph are marked."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hillsight.errors import CallError, OutputError
from hillsight.ground.features import named_kinds
from hillsight.jobs.inputs import described
from hillsight.jobs.listener import SILENT, Listener
from hillsight.jobs.marked_picture import check_megapixels, open_photograph
from hillsight.jobs.outputs import named, write_text
from hillsight.jobs.requests import WRITTEN, MarkRequest
from hillsight.jobs.results import Result
from hillsight.layers.atomic import check_place
from hillsight.layers.journal import settle_beside
from hillsight.layers.provenance import Provenance, input_file
from hillsight.plan.picture.marks import Marks
from hillsight.plan.picture.marks_schema import PIXEL_FRAME
from hillsight.plan.picture.photograph import long_picture_notes, refuse_panorama

if TYPE_CHECKING:
    from hillsight.layers.provenance import InputFile
    from hillsight.sheets.picture.mark_page import OfferedName, PagePicture

_PAGES = (".html", ".htm")

#: Kinds of file that drawings are kept in; of them the page keeps every pixel.
_DRAWINGS = (".png", ".tif", ".tiff")

_MOST_PAGE_MEGAPIXELS = 50.0


@dataclass(frozen=True, eq=False, kw_only=True)
class MarkingPage(Result):
    """A page to mark a photograph on; there are no layers and no rasters.

    html : the page
    names : how many names of the map it offers
    """

    html: str
    names: int


def mark(
    photo: str | Path,
    *,
    features: Any = (),
    feature_layer: Sequence[str] | str = (),
    panoramas: Sequence[str | Path] | str | Path = (),
    marks: str | Path | None = None,
    most_megapixels: float = 100.0,
    page_megapixels: float = 12.0,
    out: str | Path | None = None,
    listener: Listener = SILENT,
) -> MarkingPage:
    """One page that holds a photograph and all that is needed to mark it; it asks nothing of the network.

    Parameters
    ----------
    photo : JPEG, PNG, TIFF, WebP or HEIC
    features : vector files or GeoDataFrames whose names the page offers for landmarks
    panoramas : pictures to show below the photograph
    marks : a marks file of the photograph to begin with
    most_megapixels : larger pictures are refused
    page_megapixels : a larger photograph is shrunk in the page; marks stay in the pixels of its file
    out : page to write
    listener : hears of notes

    docs/scripts/mark.md tells of the rest.

    Raises
    ------
    HillsightError : bad input, a panorama, marks of another photograph, or the file cannot be written
    """
    return run_mark(MarkRequest.of(locals()), listener)


def run_mark(request: MarkRequest, listener: Listener = SILENT) -> MarkingPage:
    """Do what a request asks for; see :func:`mark`."""
    from hillsight.sheets.picture.mark_page import PagePicture, mark_html

    _check(request)
    photograph = open_photograph(request.photo, request.most_megapixels)
    refuse_panorama(photograph)
    begun = None
    if request.marks is not None:
        begun = Marks.read(request.marks)
        begun.check(photograph)
    names, notes = _names(request)
    notes = [*long_picture_notes(photograph.width_px, photograph.height_px), *notes]
    for note in notes:
        listener.note(note)
    provenance = Provenance("mark", _told(request), _files(request), notes=tuple(notes))
    html = mark_html(
        PagePicture(photograph.name, photograph.array()),
        photograph.sha256,
        features=names,
        pictures=[_panorama(file, request.most_megapixels) for file in request.panoramas],
        marks=None if begun is None else json.loads(begun.to_json()),
        pixel_frame=PIXEL_FRAME,
        file_name=f"{Path(photograph.name).stem}.marks.json",
        most_pixels=request.page_megapixels * 1e6,
        provenance_words=f"Made by hillsight mark from {', '.join(one.name for one in provenance.inputs)}.",
        provenance=provenance.as_json(),
    )
    if request.out is not None:
        write_text(request.out, html, [one.path for one in provenance.inputs])
    return MarkingPage(
        frames={},
        rasters={},
        notes=tuple(notes),
        provenance=provenance,
        files={} if request.out is None else {"out": (request.out,)},
        html=html,
        names=len(names),
    )


def _check(request: MarkRequest) -> None:
    everything = (request.photo, request.marks, *request.features, *request.panoramas)
    given = [one for one in everything if isinstance(one, str)]
    settle_beside(given)
    if request.out is not None:
        check_place(request.out, inputs=given)
        if request.out.suffix.lower() not in _PAGES:
            raise OutputError(
                "the page is HTML",
                where=str(request.out),
                remedy="End the name in .html",
                parameters=("out",),
            )
    if request.feature_layer and not request.features:
        raise CallError(
            "a layer of map features is named, and no file of them",
            remedy="Name the file too",
            parameters=("feature_layer", "features"),
        )
    check_megapixels(request.most_megapixels, "most_megapixels")
    check_megapixels(request.page_megapixels, "page_megapixels", _MOST_PAGE_MEGAPIXELS)


def _names(request: MarkRequest) -> tuple[list[OfferedName], list[str]]:
    """Names that may be marked, each once, with what it is; notes."""
    from hillsight.sheets.picture.mark_page import OfferedName

    if not request.features:
        return [], []
    kinds = named_kinds(request.features, request.feature_layer)
    notes = [] if kinds else ["none of the map features has a name; the page offers none"]
    listed = []
    for name in sorted(kinds, key=lambda name: (name.casefold(), name)):
        kind = ", ".join(dict.fromkeys(kind for kind, _ in kinds[name]))
        count, height_m = len(kinds[name]), kinds[name][0][1]
        if count > 1:
            kind = f"{kind}; {count} have this name: give coordinates"
        elif height_m > 0:
            kind = f"{kind}; mark its top, {height_m:g} m up"
        listed.append(OfferedName(name, kind, is_one=count == 1))
    return listed, notes


def _panorama(file: str, most_megapixels: float) -> PagePicture:
    from hillsight.sheets.picture.mark_page import PagePicture

    picture = open_photograph(file, most_megapixels)
    drawing = Path(file).suffix.lower() in _DRAWINGS
    return PagePicture(Path(picture.name).stem, picture.array(), is_drawing=drawing)


def _files(request: MarkRequest) -> tuple[InputFile, ...]:
    marks = [] if request.marks is None else [request.marks]
    return (
        input_file(request.photo),
        *(described(source) for source in request.features),
        *(input_file(file) for file in (*request.panoramas, *marks)),
    )


def _told(request: MarkRequest) -> dict[str, Any]:
    told = {f.name: getattr(request, f.name) for f in fields(request) if f.name not in WRITTEN}
    told["photo"] = named(request.photo)
    told["features"] = [named(source) for source in request.features]
    told["panoramas"] = [named(file) for file in request.panoramas]
    told["marks"] = None if request.marks is None else named(request.marks)
    return told
