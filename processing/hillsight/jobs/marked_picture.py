"""What a request says of a photograph: its marks, its file, and what is believed of its lens."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from hillsight.errors import CallError, PhotographError
from hillsight.layers.provenance import InputFile, input_file
from hillsight.plan.picture.camera import Lens
from hillsight.plan.picture.exif import cut_across_px, focal_length_px, is_cut
from hillsight.plan.picture.holding import check_trace
from hillsight.plan.picture.marks import Marks
from hillsight.plan.picture.photograph import (
    FILE_SHARE,
    TOLD_SHARE,
    Photograph,
    lens_belief,
    long_picture_notes,
    refuse_panorama,
    told_lens,
)

if TYPE_CHECKING:
    from pathlib import Path

    from hillsight.jobs.requests import MarkedPicture
    from hillsight.plan.picture.photograph import LensBelief

#: How far the axis may lie beside the middle of a cropped picture, as a share of its width, before direction
#: and fit are out by more than a trace is.
_BESIDE_SHARE = 0.02

#: Lenses that draw flat pictures are no wider, degrees (common practice, no source: the shortest are of 9 or
#: 10 mm on film of 36 x 24 mm).
_WIDEST_DEG = 140.0

#: Largest limit that may be set, millions of pixels.
_MOST_MEGAPIXELS = 1e4

#: Standard deviations between two focal lengths from which they do not agree. Common practice, no source.
_APART = 3.0


@dataclass(frozen=True, eq=False)
class SettledPicture:
    """Marks that belong to their photograph.

    photograph : None where only the marks are given
    belief : what is known of the lens beforehand; None for nothing
    is_cropped : whether the axis may lie anywhere; beside_px : how far across from the middle at most
    files : what was read; notes : what the user should know
    """

    marks: Marks
    photograph: Photograph | None
    belief: LensBelief | None
    is_cropped: bool
    beside_px: float
    files: tuple[InputFile, ...]
    notes: tuple[str, ...]


def open_photograph(file: str | Path, most_megapixels: float) -> Photograph:
    """A photograph no larger than is allowed.

    Raises
    ------
    HillsightError : the limit makes no sense, the file cannot be read, or the picture is larger
    """
    check_megapixels(most_megapixels, "most_megapixels")
    return Photograph.open(file, most_megapixels=most_megapixels)


def check_megapixels(megapixels: float, parameter: str, most: float = _MOST_MEGAPIXELS) -> None:
    """Refuse a size in millions of pixels that makes no sense.

    Raises
    ------
    CallError : it is below 0.01 or above the most
    """
    if not 0.01 <= megapixels <= most:
        raise CallError(
            f"{megapixels:g} megapixels make no sense here",
            remedy=f"Give a number from 0.01 to {most:g}",
            parameters=(parameter,),
        )


def weighed_picture(request: MarkedPicture) -> tuple[SettledPicture, LensBelief]:
    """Marks and photograph for a verdict or a search, which need to know what is solved for elsewhere.

    Raises
    ------
    HillsightError : as ``settled_picture``; nothing tells how wide the picture is, it lies on its side, or it
        was cropped so that its axis may lie well beside its middle
    """
    picture = settled_picture(request)
    own = picture.marks.photograph
    beside_share = picture.beside_px / own.width_px
    if picture.is_cropped and beside_share > _BESIDE_SHARE:
        how_far = f" by up to {picture.beside_px:,.0f} pixels" if math.isfinite(picture.beside_px) else ""
        raise PhotographError(
            f"the picture is cropped, and its axis may lie left or right of its middle{how_far}: direction "
            "and fit would be out",
            where=own.name,
            remedy="Mark the whole photograph as the camera wrote it. Where as much was cut off either side, "
            "save the picture without what its file says of the camera, mark it so, and tell its width. With "
            "landmarks, resect solves for the axis",
            parameters=("cropped",) if request.cropped else ("photo",),
        )
    if picture.belief is None:
        raise CallError(
            "nothing tells how wide the photograph is, and a skyline alone does not solve it",
            where=own.name,
            remedy="Give the angle between its sides in degrees: the width that resect prints from "
            "landmarks; or, held level, 65 degrees for a lens of 28 mm on 35 mm film and 40 for 50 mm",
            parameters=("width",),
        )
    aslant = check_trace(picture.marks)
    notes = (*picture.notes, aslant) if aslant else picture.notes
    return replace(picture, notes=notes), picture.belief


def settled_picture(request: MarkedPicture, *, axis_is_solved: bool = False) -> SettledPicture:
    """Read marks and photograph.

    axis_is_solved : whether the optical axis of a cropped picture is solved for; else it lies in the middle

    Raises
    ------
    HillsightError : either cannot be read, they do not belong together, or the picture is a panorama
    """
    marks, files = _marks(request)
    width_deg = request.width
    if width_deg is not None and not 0.05 <= width_deg <= _WIDEST_DEG:
        raise CallError(
            f"no flat picture is {width_deg:g} degrees wide",
            remedy=f"Give degrees between its left and right sides, 0.05 to {_WIDEST_DEG:g}",
            parameters=("width",),
        )
    own = marks.photograph
    notes = [] if request.cropped else long_picture_notes(own.width_px, own.height_px)
    if request.photo is None:
        if width_deg is None:
            notes.append("the focal length is solved from the marks: no photograph and no width are given")
            return SettledPicture(marks, None, None, request.cropped, math.inf, files, tuple(notes))
        told = told_lens(own.width_px, own.height_px, width_deg)
        cut = [_cut(axis_is_solved)] if request.cropped else []
        all_notes = (*notes, _told(told), *cut)
        return SettledPicture(marks, None, told, request.cropped, math.inf, files, all_notes)
    photograph = open_photograph(request.photo, request.most_megapixels)
    marks.check(photograph)
    refuse_panorama(photograph)
    size = photograph.width_px, photograph.height_px
    cropped = request.cropped or is_cut(photograph.exif, *size)
    beside_px = cut_across_px(photograph.exif, *size) if cropped else 0.0
    belief = None if cropped and width_deg is None else lens_belief(photograph, width_deg)
    focal_px, why = focal_length_px(photograph.exif, photograph.width_px, photograph.height_px)
    if belief is not None:
        notes.append(_told(belief))
        notes += _disagreement(photograph, width_deg, None if cropped else focal_px)
    else:
        notes.append(f"the focal length is solved from the marks: {why or 'the picture is cropped'}")
    if cropped:
        notes.append(_cut(axis_is_solved))
    files = (*files, input_file(request.photo))
    return SettledPicture(marks, photograph, belief, cropped, beside_px, files, tuple(notes))


def _marks(request: MarkedPicture) -> tuple[Marks, tuple[InputFile, ...]]:
    if isinstance(request.marks, Marks):
        return request.marks, ()
    if isinstance(request.marks, str):
        return Marks.read(request.marks), (input_file(request.marks),)
    raise CallError(
        f"a {type(request.marks).__name__} holds no marks",
        remedy="Give the name of a file of marks",
        parameters=("marks",),
    )


def _cut(axis_is_solved: bool) -> str:
    if axis_is_solved:
        return "the picture is cropped: where its axis lies is solved from the marks too"
    return (
        "the picture is cropped above or below, and its axis is taken to lie in its middle: if more was cut "
        "off one side than off the other, its tilt is out. Mark the whole photograph where you have it"
    )


def _disagreement(photograph: Photograph, width_deg: float | None, focal_px: float | None) -> list[str]:
    """That a told width and the file's own are far apart."""
    if width_deg is None or focal_px is None:
        return []
    own_deg = Lens(photograph.width_px, photograph.height_px, focal_px).width_deg
    told_px = Lens.of_width(photograph.width_px, photograph.height_px, width_deg).focal_px
    if abs(told_px / focal_px - 1.0) <= _APART * math.hypot(TOLD_SHARE, FILE_SHARE):
        return []
    return [
        f"by its file the picture is {own_deg:.1f} degrees wide, and the {width_deg:g} degrees that are told "
        "go before that: check them"
    ]


def _told(belief: LensBelief) -> str:
    return (
        f"the focal length is first taken from {belief.source}: the picture "
        f"{belief.lens.width_deg:.1f} degrees wide, its focal length give or take "
        f"{100 * belief.focal_share:.0f} %"
    )
