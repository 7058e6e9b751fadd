"""hillsight resect from end to end: right answers, clear refusals, and nothing private in what it writes."""

from __future__ import annotations

import json
import math
import sqlite3
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pytest
from jsonschema import Draft202012Validator
from PIL import Image

from hillsight.ground.geodesy import Geodesy
from hillsight.plan.picture.camera import Camera, Lens
from jobs.worlds import world

from scripts.commands import Ended, run  # isort: skip

STATION = (300_800.0, 699_200.0)
AT = "300800,699200,By the knoll"
LENS = Lens(1600, 1200, 1700.0)
CAMERA = Camera(LENS, 20.0, 3.0, -2.0)
#: Directions and distances of landmarks in that picture: grid bearing, vertical angle, metres.
SEEN = [(2, 9, 450), (11, -4, 200), (20, 6, 380), (31, 1, 610), (40, 8, 300), (25, -6, 150), (8, 3, 520)]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = world(tmp_path_factory.mktemp("resect"))
    exif = Image.Exif()
    # Where it was taken: 51 degrees 7' 33", 22 degrees 41' 19", looking to 123.45.
    exif.get_ifd(0x8825).update({1: "N", 2: (51.0, 7.0, 33.0), 3: "E", 4: (22.0, 41.0, 19.0), 17: 123.45})
    exif[0x013B] = "Somebody Private"
    pixels = np.random.default_rng(1).integers(0, 255, (1200, 1600, 3), np.uint8)
    Image.fromarray(pixels).save(place / "knoll.jpg", exif=exif)
    return place


def landmark(bearing: float, angle: float, far_m: float, eye_level_m: float, name: str) -> dict[str, Any]:
    x_px, y_px = CAMERA.pixels(bearing, angle)
    turn = math.radians(bearing)
    drop_m = (1 - 0.13) / (2 * 6.39e6) * far_m**2
    return {
        "feature": name,
        "easting_m": STATION[0] + far_m * math.sin(turn),
        "northing_m": STATION[1] + far_m * math.cos(turn),
        "height_m": eye_level_m + far_m * math.tan(math.radians(angle)) + drop_m,
        "x_px": float(x_px),
        "y_px": float(y_px),
    }


def marks_file(folder: Path, chosen: Any = slice(None), **changes: Any) -> Path:
    import hashlib

    import rasterio

    with rasterio.open(folder / "ground.tif") as ground:
        level_m = float(next(ground.sample([STATION]))[0]) + 1.6
    landmarks = [landmark(*seen, level_m, f"mark {k}") for k, seen in enumerate(SEEN, 1)][chosen]
    content = {
        "format": "hillsight marks",
        "version": 1,
        "photograph": {
            "name": "knoll.jpg",
            "width_px": 1600,
            "height_px": 1200,
            "sha256": hashlib.sha256((folder / "knoll.jpg").read_bytes()).hexdigest(),
        },
        "landmarks": landmarks,
        **changes,
    }
    path = folder / "told.json"
    path.write_text(json.dumps(content), encoding="utf-8")
    return path


def resect(folder: Path, marks: Path, *more: str | Path, at: str = AT) -> Ended:
    words = ["resect", "--terrain", folder / "ground.tif", "--at", at, "--marks", marks]
    errors = ["--feature-error", "1", "--station-error", "1", "--terrain-error", "0.5"]
    return run(*words, *errors, *more)


def test_the_camera_comes_out_and_is_written(folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "camera.gpkg"
    ended = resect(folder, marks_file(folder), "--photo", folder / "knoll.jpg", "--out", out)
    assert ended.code == 0, ended.err
    assert "heading" in ended.out and "±" in ended.out
    row = geopandas.read_file(out, layer="cameras").iloc[0]
    assert row["state"] == "fits" and row["marks_used"] == 7
    convergence = float(Geodesy(geopandas.read_file(out, layer="cameras").crs).convergence_deg(*STATION))
    assert row["heading_grid_deg"] == pytest.approx(20.0, abs=0.2)
    assert row["heading_true_deg"] - row["heading_grid_deg"] == pytest.approx(convergence, abs=1e-6)
    assert (row["tilt_deg"], row["roll_deg"]) == pytest.approx((3.0, -2.0), abs=0.2)
    assert row["focal_px"] == pytest.approx(1700.0, rel=0.01)
    assert 0 < row["heading_plus_minus_deg"] < 1
    marks = geopandas.read_file(out, layer="camera_marks")
    assert list(marks["feature"]) == [f"mark {k}" for k in range(1, 8)]
    assert (marks["residual_px"] < 3.0).all()
    assert (tmp_path / "camera_styles" / "cameras.sld").is_file()


def test_nothing_private_is_in_what_is_written(folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "camera.gpkg"
    ended = resect(folder, marks_file(folder), "--photo", folder / "knoll.jpg", "--out", out)
    assert ended.code == 0
    with sqlite3.connect(out) as database:
        text = "\n".join(database.iterdump())
    for private in ("Somebody Private", "GPS", "123.45", "51.1258", "22.6886", str(folder)):
        assert private not in text + ended.out + ended.err


def test_it_tells_which_station_the_marks_fit(folder: Path) -> None:
    ended = resect(folder, marks_file(folder), "--at", "300950,698900,Elsewhere")
    assert ended.code == 0
    assert "The marks fit By the knoll" in ended.out
    assert "Elsewhere" in ended.out


def test_the_place_can_be_solved(folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "camera.gpkg"
    near = "300815,699185,Nearby"
    ended = resect(folder, marks_file(folder), "--solve-place", "--out", out, at=near)
    assert ended.code in (0, 3), ended.err
    row = geopandas.read_file(out, layer="cameras").iloc[0]
    assert math.hypot(row["easting_m"] - STATION[0], row["northing_m"] - STATION[1]) < 4.0
    assert row["place_solved"] and row["from_station_m"] == pytest.approx(21.2, abs=4.0)


def test_a_wrong_mark_is_named(folder: Path) -> None:
    marks = marks_file(folder)
    content = json.loads(marks.read_text("utf-8"))
    content["landmarks"][2]["x_px"] += 300.0
    marks.write_text(json.dumps(content), encoding="utf-8")
    ended = resect(folder, marks)
    assert ended.code == 0
    assert any("left out" in note and "mark 3" in note for note in ended.notes)


def test_landmarks_all_round_fit_no_flat_picture(folder: Path) -> None:
    marks = marks_file(folder)
    content = json.loads(marks.read_text("utf-8"))
    for k, one in enumerate(content["landmarks"]):
        one["easting_m"] = STATION[0] + 400 * math.sin(2 * math.pi * k / 7)
        one["northing_m"] = STATION[1] + 400 * math.cos(2 * math.pi * k / 7)
    marks.write_text(json.dumps(content), encoding="utf-8")
    ended = resect(folder, marks)
    assert ended.code == 3
    assert "do not fit" in ended.err or "no camera there" in ended.err


def test_marks_close_together_do_not_fix_the_camera(folder: Path) -> None:
    marks = marks_file(folder, slice(0, 4))
    content = json.loads(marks.read_text("utf-8"))
    first = content["landmarks"][0]
    for k, one in enumerate(content["landmarks"]):
        turn = math.radians(2.0 + 0.3 * k)
        one |= {
            "easting_m": STATION[0] + 450 * math.sin(turn),
            "northing_m": STATION[1] + 450 * math.cos(turn),
        }
        one |= {"height_m": first["height_m"]}
        x_px, y_px = CAMERA.pixels(2.0 + 0.3 * k, 9.0)
        one |= {"x_px": float(x_px), "y_px": float(y_px)}
    marks.write_text(json.dumps(content), encoding="utf-8")
    ended = resect(folder, marks)
    assert ended.code == 3
    assert "do not fix" in ended.err and "within" in ended.err


def refused(folder: Path, marks: Path, *more: str | Path) -> str:
    """The one message of a run that must end with exit code 2 and write nothing."""
    out = folder / "refused.gpkg"
    ended = resect(folder, marks, *more, "--out", out)
    assert ended.code == 2, ended.err
    assert "Traceback" not in ended.err
    assert not out.exists()
    return ended.err


def test_too_few_marks_are_refused(folder: Path) -> None:
    assert "1 landmark is marked, and 2 are needed" in refused(folder, marks_file(folder, slice(0, 1)))
    assert "3 are needed" in refused(folder, marks_file(folder, slice(0, 2)), "--solve-place")
    assert "3 are needed" in refused(folder, marks_file(folder, slice(0, 2)), "--cropped")
    assert "no landmark is marked" in refused(folder, marks_file(folder, slice(0, 0)))


def test_one_landmark_marked_twice_is_refused(folder: Path) -> None:
    marks = marks_file(folder)
    content = json.loads(marks.read_text("utf-8"))
    again = {**content["landmarks"][1], "x_px": 1200.0}
    marks.write_text(json.dumps({**content, "landmarks": [*content["landmarks"], again]}), encoding="utf-8")
    assert "mark 2 is marked twice, at two places" in refused(folder, marks)


def test_names_that_no_feature_has_are_refused(folder: Path) -> None:
    one = {"x_px": 10, "y_px": 10}
    marks = marks_file(folder, landmarks=[{"feature": "Lone Knol", **one}, {"feature": "Long Beck", **one}])
    message = refused(folder, marks, "--features", folder / "features.gpkg")
    assert "landmark 1 (Lone Knol)" in message and "'Lone Knoll'" in message
    assert "no map features are given" in refused(folder, marks)


def test_another_photograph_and_no_photograph_are_refused(folder: Path, tmp_path: Path) -> None:
    marks = marks_file(folder)
    other = tmp_path / "other.png"
    Image.fromarray(np.zeros((1200, 1600, 3), np.uint8)).save(other)
    assert "of another photograph" in refused(folder, marks, "--photo", other)
    assert "no picture" in refused(folder, marks, "--photo", marks)
    (tmp_path / "cut.jpg").write_bytes((folder / "knoll.jpg").read_bytes()[:50_000])
    assert "damaged or cut short" in refused(folder, marks, "--photo", tmp_path / "cut.jpg")


def test_a_panorama_is_refused(folder: Path, tmp_path: Path) -> None:
    path = tmp_path / "knoll.jpg"
    block = b'<x xmlns:GPano="http://ns.google.com/photos/1.0/panorama/" GPano:ProjectionType="cylindrical"/>'
    Image.fromarray(np.zeros((1200, 1600, 3), np.uint8)).save(path, xmp=block)
    import hashlib

    photograph = {"name": "knoll.jpg", "width_px": 1600, "height_px": 1200}
    photograph["sha256"] = hashlib.sha256(path.read_bytes()).hexdigest()
    marks = marks_file(folder, photograph=photograph)
    assert "put together as a panorama" in refused(folder, marks, "--photo", path)


@pytest.mark.parametrize("width", ["0", "180", "-5"])
def test_a_width_that_no_picture_has_is_refused(folder: Path, width: str) -> None:
    message = refused(folder, marks_file(folder), "--width", width)
    assert "no flat picture" in message and "--width" in message


def test_the_schema_is_printed(folder: Path) -> None:
    ended = run("resect", "--schema")
    assert ended.code == 0
    schema = json.loads(ended.out)
    Draft202012Validator.check_schema(schema)
    content = json.loads(marks_file(folder).read_text("utf-8"))
    assert Draft202012Validator(schema).is_valid(content)
