"""Files of marks: what is read comes back, what is wrong is told, with its place."""

from __future__ import annotations

import copy
import json

import numpy as np
import pytest
from jsonschema import Draft202012Validator
from PIL import Image

from hillsight.errors import MarksError
from hillsight.plan.picture.marks import Landmark, MarkedPhotograph, Marks, Trace
from hillsight.plan.picture.marks_schema import marks_schema
from hillsight.plan.picture.photograph import Photograph

GOOD = {
    "format": "hillsight marks",
    "version": 1,
    "photograph": {"name": "ridge.jpg", "width_px": 4000, "height_px": 3000, "sha256": "0f" * 32},
    "pixel_frame": "x right, y down, pixels; 0,0 is the upper left corner of the picture as shown",
    "landmarks": [
        {"feature": "Stone Man", "x_px": 1200.5, "y_px": 801.0, "give_or_take_px": 2.0},
        {"easting_m": 1.0, "northing_m": 2.0, "height_m": 3.0, "crs": "EPSG:27700", "x_px": 10, "y_px": 20},
    ],
    "skyline": [{"points_px": [[0, 10], [20.5, 30]], "how": "traced", "give_or_take_px": 3.0}],
    "brow": [{"points_px": [[1, 2], [3, 4]]}],
}
VALIDATOR = Draft202012Validator(marks_schema())


def read(content, tmp_path):
    path = tmp_path / "marks.json"
    path.write_text(json.dumps(content), encoding="utf-8")
    return Marks.read(path)


def test_everything_in_the_file_is_read(tmp_path):
    marks = read(GOOD, tmp_path)
    assert marks.photograph == MarkedPhotograph("ridge.jpg", 4000, 3000, "0f" * 32)
    assert marks.landmarks == (
        Landmark(1200.5, 801.0, feature="Stone Man", give_or_take_px=2.0),
        Landmark(10.0, 20.0, easting_m=1.0, northing_m=2.0, height_m=3.0, crs="EPSG:27700"),
    )
    assert marks.skyline == (Trace(np.array([0.0, 20.5]), np.array([10.0, 30.0]), "traced", 3.0),)
    assert marks.brow[0].how == "traced"
    assert VALIDATOR.is_valid(GOOD)


def test_what_is_written_is_read_again(tmp_path):
    marks = read(GOOD, tmp_path)
    path = tmp_path / "again.json"
    marks.write(path)
    again = Marks.read(path)
    assert again == marks and hash(again) == hash(marks)
    assert VALIDATOR.is_valid(json.loads(path.read_text("utf-8")))


def changed(*path_and_value):
    content = copy.deepcopy(GOOD)
    *path, last, value = path_and_value
    place = content
    for step in path:
        place = place[step]
    if value is None:
        del place[last]
    else:
        place[last] = value
    return content


BAD = [
    (changed("format", "something else"), "no file of marks", True),
    (changed("version", 2), "version 2", True),
    (changed("photograph", None), "photograph", True),
    (changed("photograph", "sha256", "abc"), "64 hexadecimal", True),
    (changed("photograph", "width_px", 0), "width_px is 0", True),
    (changed("photograph", "width_px", 10.5), "whole number", True),
    (changed("photograph", "latitude", 50.0), "no field 'latitude'", True),
    (changed("pixel_frame", "y up"), "pixel_frame", True),
    (changed("landmarks", 0, "x_px", None), "landmark 1: x_px is missing", True),
    (changed("landmarks", 0, "x_px", "12"), "landmark 1: x_px is '12'", True),
    (changed("landmarks", 0, "x_px", True), "landmark 1: x_px is True", True),
    (changed("landmarks", 0, "x_px", 10**400), "landmark 1: x_px is", False),
    (changed("landmarks", 0, "x_px", float("nan")), "landmark 1: x_px is nan", False),
    (changed("landmarks", 0, "x_px", 4001), "from 0 to 4000", False),
    (changed("landmarks", 0, "feature", None), "landmark 1: the landmark has neither", True),
    (changed("landmarks", 0, "feature", " "), "feature is no text", True),
    (changed("landmarks", 1, "northing_m", None), "landmark 2", True),
    (changed("landmarks", 0, "height_m", 4.0), "without coordinates", True),
    (changed("landmarks", 0, "give_or_take_px", 0), "give_or_take_px is 0", True),
    (changed("landmarks", {"a": 1}), "no list", True),
    (changed("landmarks", 0, 5), "object with fields", True),
    (changed("skyline", 0, "points_px", [[1, 2]]), "fewer than two", True),
    (changed("skyline", 0, "points_px", 1, [1, 2, 3]), "point 2 is no pair", True),
    (changed("skyline", 0, "points_px", 1, [1, 3001]), "point 2: y is 3001", False),
    (changed("skyline", 0, "how", "guessed"), "how is 'guessed'", True),
    (changed("extra", 1), "no field 'extra'", True),
    ([1], "no file of marks", True),
]


@pytest.mark.parametrize(("content", "message", "by_schema"), BAD, ids=[m for _, m, _ in BAD])
def test_what_is_wrong_is_told_with_its_place(content, message, by_schema, tmp_path):
    with pytest.raises(MarksError) as told:
        read(content, tmp_path)
    assert message in str(told.value)
    assert "marks.json" in str(told.value)
    assert len(str(told.value)) < 400
    assert VALIDATOR.is_valid(content) != by_schema


@pytest.mark.parametrize("content", [b"{", b"\xff\xfe", b"[" * 100_000])
def test_what_is_no_json_is_refused(content, tmp_path):
    path = tmp_path / "marks.json"
    path.write_bytes(content)
    with pytest.raises(MarksError, match="no JSON"):
        Marks.read(path)
    with pytest.raises(MarksError, match="cannot be read"):
        Marks.read(tmp_path / "missing.json")


def test_another_photograph_is_refused(tmp_path):
    path = tmp_path / "ridge.png"
    pixels = np.zeros((30, 40, 3), np.uint8)
    Image.fromarray(pixels).save(path)
    photograph = Photograph.open(path)
    own = Marks(MarkedPhotograph("ridge.png", 40, 30, photograph.sha256))
    own.check(photograph)
    pixels[0, 0] = 1
    Image.fromarray(pixels).save(path)
    with pytest.raises(MarksError, match=r"another photograph.*differ though their sizes agree"):
        own.check(Photograph.open(path))
    with pytest.raises(MarksError, match="41 x 30 and 40 x 30"):
        Marks(MarkedPhotograph("ridge.png", 41, 30, photograph.sha256)).check(photograph)
