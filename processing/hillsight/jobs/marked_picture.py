"""What a request says of a photograph: its marks, its file, and what is believed of its lens."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from hillsight.errors import CallError
from hillsight.layers.provenance import InputFile, input_file
from hillsight.plan.picture.camera import Lens
from hillsight.plan.picture.exif import focal_length_px, is_cut
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
    from hillsight.jobs.requests import MarkedPicture
    from hillsight.plan.picture.photograph import LensBelief

#: Standard deviations between two focal lengths from which they do not agree. Common practice, no source.
_APART = 3.0


@dataclass(frozen=True, eq=False)
class SettledPicture:
    """Marks that belong to their photograph.

    photograph : None where only the marks are given
    belief : what is known of the lens beforehand; None for nothing
    is_cropped : whether the axis may lie anywhere
    files : what was read; notes : what the user should know
    """

    marks: Marks
    photograph: Photograph | None
    belief: LensBelief | None
    is_cropped: bool
    files: tuple[InputFile, ...]
    notes: tuple[str, ...]


def settled_picture(request: MarkedPicture, *, axis_is_solved: bool = False) -> SettledPicture:
    """Read marks and photograph.

    axis_is_solved : whether the optical axis of a cropped picture is solved for; else it lies in the middle

    Raises
    ------
    HillsightError : either cannot be read, they do not belong together, or the picture is a panorama
    """
    marks, files = _marks(request)
    width_deg = request.width
    if width_deg is not None and not 0.05 <= width_deg <= 170:
        raise CallError(
            f"no flat picture is {width_deg:g} degrees wide",
            remedy="Give degrees between its left and right sides, 0.05 to 170",
            parameters=("width",),
        )
    own = marks.photograph
    notes = [] if request.cropped else long_picture_notes(own.width_px, own.height_px)
    if request.photo is None:
        if width_deg is None:
            notes.append("the focal length is solved from the marks: no photograph and no width are given")
            return SettledPicture(marks, None, None, request.cropped, files, tuple(notes))
        told = told_lens(own.width_px, own.height_px, width_deg)
        cut = [_cut(axis_is_solved)] if request.cropped else []
        return SettledPicture(marks, None, told, request.cropped, files, (*notes, _told(told), *cut))
    photograph = Photograph.open(request.photo)
    marks.check(photograph)
    refuse_panorama(photograph)
    cropped = request.cropped or is_cut(photograph.exif, photograph.width_px, photograph.height_px)
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
    return SettledPicture(marks, photograph, belief, cropped, files, tuple(notes))


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
        "the picture is cropped, and its axis is taken to lie in its middle: if more was cut off one side "
        "than off the other, direction, tilt and fit are out. Mark the whole photograph where you have it"
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
