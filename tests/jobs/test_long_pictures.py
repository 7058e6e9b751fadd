"""A panorama is no flat picture: refused where its file says so, warned of where only its shape does.

The shape at which a warning is due is common practice, no source: sensors go to 16 to 9, panoramic cameras
from 2 to 1 on.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from PIL import Image

from hillsight.errors import PhotographError
from hillsight.jobs.find_skyline import find_skyline
from hillsight.jobs.listener import Listener
from hillsight.jobs.mark import mark
from hillsight.jobs.marked_picture import settled_picture
from hillsight.jobs.requests import MarkedPicture
from hillsight.plan.picture.marks import MarkedPhotograph, Marks
from hillsight.plan.picture.photograph import Photograph

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

#: As phones and stitching programs write it (the open GPano vocabulary of XMP).
SWEPT = b'<x xmlns:GPano="http://ns.google.com/photos/1.0/panorama/" GPano:ProjectionType="cylindrical"/>'


class Heard(Listener):
    """What a job notes."""

    def __init__(self) -> None:
        self.texts: list[str] = []

    def note(self, text: str) -> None:
        self.texts.append(text)


def marking(path: Path) -> list[str]:
    heard = Heard()
    result = mark(path, listener=heard)
    assert set(heard.texts) <= set(result.notes)
    return heard.texts


def finding(path: Path) -> list[str]:
    heard = Heard()
    result = find_skyline(path, listener=heard)
    assert tuple(heard.texts) == result.notes == result.provenance.notes
    return heard.texts


def settling(path: Path, *, cropped: bool = False) -> list[str]:
    """As resect, search and relocate read their photograph."""
    return list(settled_picture(request_of(path, cropped=cropped)).notes)


def request_of(path: Path, *, cropped: bool = False) -> MarkedPicture:
    with Image.open(path) as image:
        size = image.size
    marks = path.with_suffix(".json")
    Marks(MarkedPhotograph(path.name, *size, Photograph.open(path).sha256)).write(marks)
    return MarkedPicture(
        marks=str(marks), photo=str(path), width=60.0, cropped=cropped, most_megapixels=100.0
    )


def photograph(folder: Path, width_px: int, height_px: int, xmp: bytes = b"") -> Path:
    path = folder / "a.jpg"
    rows = np.full((height_px, width_px, 3), 200, np.uint8)
    rows[height_px // 2 :] = 40
    Image.fromarray(rows).save(path, xmp=xmp)
    return path


READERS = pytest.mark.parametrize("read", [marking, finding, settling])


@READERS
@pytest.mark.parametrize("size", [(900, 300), (300, 900)])
def test_a_long_picture_is_warned_of_by_all_that_read_it(
    tmp_path: Path, read: Callable[[Path], list[str]], size: tuple[int, int]
) -> None:
    (warning,) = [text for text in read(photograph(tmp_path, *size)) if "panorama" in text]
    assert warning.startswith(f"the picture is {size[0]} x {size[1]} pixels, 3.0 times as long")
    assert "wrong" in warning and "cropped" in warning


@READERS
def test_a_picture_of_a_sensor_s_shape_is_not(tmp_path: Path, read: Callable[[Path], list[str]]) -> None:
    assert not [text for text in read(photograph(tmp_path, 640, 360)) if "panorama" in text]


def test_nor_is_one_that_is_said_to_be_cropped(tmp_path: Path) -> None:
    assert not [text for text in settling(photograph(tmp_path, 900, 300), cropped=True) if "panorama" in text]


@READERS
def test_a_panorama_by_its_own_word_is_refused(tmp_path: Path, read: Callable[[Path], list[str]]) -> None:
    with pytest.raises(PhotographError, match="put together as a panorama"):
        read(photograph(tmp_path, 640, 360, SWEPT))
