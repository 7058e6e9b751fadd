"""Finds the sky's edge in a photograph and writes it as marks."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from hillsight.jobs.listener import SILENT, Listener
from hillsight.jobs.marked_picture import open_photograph
from hillsight.jobs.outputs import write_text
from hillsight.jobs.requests import FindSkylineRequest
from hillsight.jobs.results import Result
from hillsight.layers.atomic import check_place
from hillsight.layers.journal import settle_beside
from hillsight.layers.provenance import Provenance, input_file
from hillsight.plan.picture.found_skyline import find_skyline as find_in
from hillsight.plan.picture.marks import MarkedPhotograph, Marks
from hillsight.plan.picture.photograph import long_picture_notes, refuse_panorama

if TYPE_CHECKING:
    from hillsight.plan.picture.found_skyline import FoundSkyline


@dataclass(frozen=True, eq=False, kw_only=True)
class SkylineFound(Result):
    """What was found in a photograph; there are no layers and no rasters.

    skyline : column by column, with how sure it is
    marks : the trusted part of it as marks; without any where the skyline has failed
    """

    skyline: FoundSkyline
    marks: Marks


def find_skyline(
    photo: str | Path,
    *,
    most_megapixels: float = 100.0,
    out: str | Path | None = None,
    listener: Listener = SILENT,
) -> SkylineFound:
    """The sky's edge in a photograph, where it is sure, as marks.

    Parameters
    ----------
    photo : JPEG, PNG, TIFF, WebP or HEIC
    most_megapixels : larger pictures are refused
    out : file of marks to write (JSON); not written where no skyline is found
    listener : hears of progress and notes

    Raises
    ------
    HillsightError : the photograph cannot be read, is too small or a panorama by its own word, or the file
        cannot be written
    """
    return run_find_skyline(FindSkylineRequest.of(locals()), listener)


def run_find_skyline(request: FindSkylineRequest, listener: Listener = SILENT) -> SkylineFound:
    """Do what a request asks for; see :func:`find_skyline`."""
    settle_beside([str(request.photo)])
    if request.out is not None:
        check_place(request.out, inputs=[request.photo])
    photograph = open_photograph(request.photo, request.most_megapixels)
    refuse_panorama(photograph)
    notes = tuple(long_picture_notes(photograph.width_px, photograph.height_px))
    for note in notes:
        listener.note(note)
    listener.progress("skyline", 0.0)
    found = find_in(photograph.array())
    listener.progress("skyline", 1.0)
    marked = MarkedPhotograph(photograph.name, photograph.width_px, photograph.height_px, photograph.sha256)
    marks = Marks(marked, skyline=found.pieces())
    files: dict[str, tuple[Path, ...]] = {}
    if request.out is not None and not found.failed:
        write_text(request.out, marks.to_json(), [request.photo])
        files["out"] = (request.out,)
    provenance = Provenance("find-skyline", {}, (input_file(request.photo),), notes=notes)
    return SkylineFound(
        frames={}, rasters={}, notes=notes, provenance=provenance, files=files, skyline=found, marks=marks
    )
