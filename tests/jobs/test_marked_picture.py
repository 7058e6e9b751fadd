"""What is noted of a photograph's lens before anything is worked out."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image

from hillsight.jobs.marked_picture import settled_picture
from hillsight.jobs.requests import MarkedPicture
from hillsight.plan.picture.marks import MarkedPhotograph, Marks
from hillsight.plan.picture.photograph import Photograph


def notes_of(folder: Path, width_deg: float | None, wrote: tuple[int, int], *, solved: bool = False) -> str:
    """Of a picture of 400 x 300 whose focal length is as 26 mm are to 36 x 24 mm.

    By the diagonals it is 2 atan(0.8 x 43.27 / 2 / 26) = 67.3 degrees wide.
    """
    exif = Image.Exif()
    exif.get_ifd(0x8769).update({0xA405: 26, 0xA002: wrote[0], 0xA003: wrote[1]})
    path = folder / "a.jpg"
    Image.fromarray(np.zeros((300, 400, 3), np.uint8)).save(path, exif=exif)
    opened = Photograph.open(path)
    marks = folder / "a.json"
    Marks(MarkedPhotograph("a.jpg", 400, 300, opened.sha256)).write(marks)
    request = MarkedPicture(marks=str(marks), photo=str(path), width=width_deg, cropped=False)
    return "; ".join(settled_picture(request, axis_is_solved=solved).notes)


def test_a_told_width_far_from_that_of_the_file_is_noted(tmp_path: Path) -> None:
    assert "by its file the picture is 67.3 degrees wide" in notes_of(tmp_path, 30.0, (400, 300))
    assert "by its file" not in notes_of(tmp_path, 64.0, (400, 300))
    assert "by its file" not in notes_of(tmp_path, None, (400, 300))


def test_what_becomes_of_a_cropped_picture_s_axis_is_told_as_it_is(tmp_path: Path) -> None:
    assert "solved from the marks" in notes_of(tmp_path, 60.0, (800, 300), solved=True)
    said = notes_of(tmp_path, 60.0, (800, 300))
    assert "axis is taken to lie in its middle" in said
    assert "solved" not in said
