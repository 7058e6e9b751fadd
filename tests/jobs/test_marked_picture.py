"""What is noted of a photograph's lens before anything is worked out."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from hillsight.errors import CallError, MarksError, PhotographError
from hillsight.jobs.marked_picture import settled_picture, weighed_picture
from hillsight.jobs.requests import MarkedPicture
from hillsight.plan.picture.marks import MarkedPhotograph, Marks, Trace
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
    return "; ".join(settled_picture(requested(folder, width_deg), axis_is_solved=solved).notes)


def requested(folder: Path, width_deg: float | None) -> MarkedPicture:
    return MarkedPicture(
        marks=str(folder / "a.json"),
        photo=str(folder / "a.jpg"),
        width=width_deg,
        cropped=False,
        most_megapixels=100.0,
    )


def test_a_told_width_far_from_that_of_the_file_is_noted(tmp_path: Path) -> None:
    assert "by its file the picture is 67.3 degrees wide" in notes_of(tmp_path, 30.0, (400, 300))
    assert "by its file" not in notes_of(tmp_path, 64.0, (400, 300))
    assert "by its file" not in notes_of(tmp_path, None, (400, 300))


def test_what_becomes_of_a_cropped_picture_s_axis_is_told_as_it_is(tmp_path: Path) -> None:
    assert "solved from the marks" in notes_of(tmp_path, 60.0, (800, 300), solved=True)
    said = notes_of(tmp_path, 60.0, (400, 500))
    assert "axis is taken to lie in its middle" in said
    assert "solved" not in said


@pytest.mark.parametrize(
    ("wrote", "refused"), [((400, 380), False), ((404, 400), False), ((500, 300), True), ((300, 800), True)]
)
def test_a_picture_cut_at_its_sides_is_not_weighed(
    tmp_path: Path, wrote: tuple[int, int], refused: bool
) -> None:
    """Cut above and below the axis still lies in the middle across; stored on its side it may be either."""
    notes_of(tmp_path, 60.0, wrote)
    if refused:
        with pytest.raises(PhotographError, match=r"axis may lie left or right.*whole photograph"):
            weighed_picture(requested(tmp_path, 60.0))
    else:
        assert weighed_picture(requested(tmp_path, 60.0))[1].lens.width_deg == pytest.approx(60.0)


def test_without_a_width_it_is_said_what_to_do(tmp_path: Path) -> None:
    notes_of(tmp_path, None, (400, 300))
    Image.fromarray(np.zeros((300, 400, 3), np.uint8)).save(tmp_path / "a.jpg")
    own = Photograph.open(tmp_path / "a.jpg")
    Marks(MarkedPhotograph("a.jpg", 400, 300, own.sha256)).write(tmp_path / "a.json")
    with pytest.raises(CallError, match=r"how wide the photograph is.*resect.*28 mm"):
        weighed_picture(requested(tmp_path, None))


@pytest.mark.parametrize(("slope_deg", "says"), [(85.0, None), (40.0, "aslant"), (10.0, "")])
def test_a_trace_from_top_to_bottom_is_refused(tmp_path: Path, slope_deg: float, says: str | None) -> None:
    """The edge of the sky in a photograph that is stored on its side."""
    notes_of(tmp_path, 60.0, (400, 300))
    along = np.linspace(-140.0, 140.0, 80)
    jagged = 12.0 * np.sin(along / 7.0)
    turn = np.radians(slope_deg)
    x = 200 + along * np.cos(turn) - jagged * np.sin(turn)
    y = 150 + along * np.sin(turn) + jagged * np.cos(turn)
    own = Photograph.open(tmp_path / "a.jpg")
    Marks(MarkedPhotograph("a.jpg", 400, 300, own.sha256), skyline=(Trace(x, y),)).write(tmp_path / "a.json")
    if says is None:
        with pytest.raises(MarksError, match=r"lie on its side.*upright"):
            weighed_picture(requested(tmp_path, 60.0))
    else:
        assert ("aslant" in " ".join(weighed_picture(requested(tmp_path, 60.0))[0].notes)) == bool(says)


def test_no_flat_picture_is_as_wide_as_that(tmp_path: Path) -> None:
    notes_of(tmp_path, 60.0, (400, 300))
    with pytest.raises(CallError, match=r"0\.05 to 140"):
        settled_picture(requested(tmp_path, 170.0))
