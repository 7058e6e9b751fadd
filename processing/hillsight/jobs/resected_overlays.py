"""Overlays of a photograph for stations whose cameras were solved from marks: which, and where they go."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hillsight.errors import CallError, OutputError
from hillsight.ground.geodesy import Geodesy
from hillsight.jobs.input_files import named_files
from hillsight.jobs.outputs import named
from hillsight.jobs.overlays import overlay_page, resected_things
from hillsight.layers.atomic import check_place, made_folder
from hillsight.layers.package import raster_table
from hillsight.plan.picture.resection_words import camera_lines
from hillsight.sheets.paper.saving import DRAWINGS, save_page
from hillsight.sight.viewing import Viewing

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from hillsight.jobs.inputs import Inputs
    from hillsight.jobs.marked_picture import SettledPicture
    from hillsight.jobs.picked import Picked
    from hillsight.jobs.requests import ResectRequest
    from hillsight.plan.picture.station_cameras import StationCamera
    from hillsight.sheets.paper.page import Page

    #: Pages by station label, and the one that a single file is to show.
    type Pages = tuple[dict[str, Page], str]


def check_overlays(request: ResectRequest) -> None:
    """Refuse what cannot be drawn before the work.

    Raises
    ------
    CallError : no photograph is given
    OutputError : the file's name says nothing of its kind, or it cannot be written
    """
    if request.overlay is None and request.pictures is None:
        return
    if request.photo is None:
        raise CallError(
            "an overlay needs the photograph, and none is given",
            remedy="Name its file too",
            parameters=("photo", "overlay" if request.overlay is not None else "pictures"),
        )
    if request.overlay is None:
        return
    if request.overlay.suffix.lower() not in DRAWINGS:
        raise OutputError(
            f"an overlay's name must end in {', '.join(DRAWINGS[:-1])} or {DRAWINGS[-1]}",
            where=str(request.overlay),
            remedy=f"Name it {request.overlay.stem}.png",
            parameters=("overlay",),
        )
    check_place(request.overlay, inputs=named_files(request))


def overlay_pages(
    request: ResectRequest,
    inputs: Inputs,
    picture: SettledPicture,
    found: Sequence[StationCamera],
    chosen: StationCamera,
    picked: Picked | None,
) -> Pages:
    """The pages asked for; a station where no camera shows the marks has none.

    Raises
    ------
    CallError : a page is asked for of a station without a camera
    """
    wanted = list(found) if request.pictures is not None else []
    if request.overlay is not None:
        if chosen.resection is None:
            raise CallError(
                f"no camera at {chosen.station.label} shows the marks, so there is nothing to lay over",
                remedy="Check the marks, or draw another station's",
                parameters=("overlay", "camera_of"),
            )
        wanted = [one for one in wanted if one is not chosen] + [chosen]
    pages, geodesy = {}, Geodesy(inputs.terrain.crs)
    viewing = Viewing(request.eye_height, 0.0, 1.0, request.refraction)
    for one in wanted:
        if one.resection is None or picture.photograph is None:
            continue
        own = picked if one is chosen else None
        convergence = float(geodesy.convergence_deg(*one.eye[:2]))
        pages[one.station.label] = overlay_page(
            picture.photograph.array(),
            one.resection.camera,
            one.eye,
            one.station,
            inputs.terrain,
            inputs.features,
            viewing,
            named(request.terrain),
            [" ".join(camera_lines(one, convergence))],
            resected_things(one, picture.marks, own),
            () if own is None else own.picks,
        )
    return pages, chosen.station.label


def save_overlays(request: ResectRequest, pages: Pages) -> dict[str, tuple[Path, ...]]:
    """Write them; the files by the parameter that asked for them."""
    drawn, chosen = pages
    written: dict[str, tuple[Path, ...]] = {}
    if request.overlay is not None:
        written["overlay"] = (save_page(drawn[chosen], request.overlay),)
    if request.pictures is not None:
        folder, taken = made_folder(request.pictures), set[str]()
        written["pictures"] = tuple(
            save_page(page, folder / f"{raster_table('overlay', label, taken)}.png")
            for label, page in drawn.items()
        )
    return written
