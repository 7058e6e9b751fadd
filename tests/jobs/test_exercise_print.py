"""Sheets of exercises from end to end, on made ground, and what is refused."""

from __future__ import annotations

import hashlib
import re
from dataclasses import replace
from html import unescape
from pathlib import Path

import pytest
from PIL import Image

import hillsight
from hillsight.plan.exercise.exercise import Exercise, ExercisePicture, ExercisePlace
from hillsight.plan.exercise.writing import write_exercise
from jobs.worlds import NORTH, WEST, photograph, world
from terrains import plane, write_geotiff

from scripts.commands import assert_refused, contents, run  # isort: skip

BY_THE_KNOLL = ExercisePlace("by the knoll", 300_800.0, 699_200.0)
NO_KNOLL = ExercisePlace("in the west", 300_250.0, 699_350.0)
SMALL = ("--reach", "800", "--draws", "16", "--learners", "50")


def exercise(true: int, photo: str | None = None, **changes: object) -> Exercise:
    places = tuple(replace(one, is_true=k == true) for k, one in enumerate((BY_THE_KNOLL, NO_KNOLL)))
    plain = Exercise(
        "Knoll",
        ExercisePicture(0.0, photo=photo),
        places,
        terrain="../ground.tif",
        features=("../features.gpkg",),
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return world(tmp_path_factory.mktemp("exercise print"))


def test_two_of_one_title_in_a_folder_differ_by_their_numbers_alone(folder: Path, tmp_path: Path) -> None:
    """The same photograph, another true place: nothing on the question tells which."""
    place = folder / "set"
    place.mkdir()
    exif = Image.Exif()
    # Tags of Exif 2.32 (CIPA DC-008), 4.6.4: 0x010F is Make, 0x013B Artist, 0x0132 DateTime; from memory.
    exif.update({0x010F: "Maker of cameras", 0x013B: "Somebody", 0x0132: "2026:05:04 10:11:12"})
    Image.fromarray(photograph()).save(place / "seen_from_the_west.jpg", quality=92, exif=exif)
    for name, true in (("a", 0), ("b", 1)):
        text = write_exercise(exercise(true, "seen_from_the_west.jpg"))
        (place / f"{name}.toml").write_text(text, encoding="utf-8")
    (place / "notes.toml").write_text("drinks = 'tea'\n", encoding="utf-8")
    made = hillsight.exercise_print(
        place, out=tmp_path / "o", sheet_format="svg", draws=16, learners=50, reach=800.0, unsound=True
    )
    assert len(made.judged) == 2
    assert {path.name for path in made.files["out"]} == {path.name for path in (tmp_path / "o").iterdir()}
    for page in ("page-1", "page-2"):
        first, second = (
            (tmp_path / "o" / f"question-{n}-{page}.svg").read_text(encoding="utf-8") for n in (1, 2)
        )
        assert first.replace("Question 1", "Question 2") == second
        for secret in ("by the knoll", "in the west", "seen_from", "Maker of", "10:11:12", "a.toml"):
            assert secret not in first
        assert set(re.findall(r'"name": "([^"]*)",\s+"sha256"', unescape(first))) == {
            "ground.tif",
            "features.gpkg",
        }
        for file in (place / "a.toml", place / "b.toml", place / "seen_from_the_west.jpg"):
            assert hashlib.sha256(file.read_bytes()).hexdigest() not in first
        assert hashlib.sha256((folder / "ground.tif").read_bytes()).hexdigest() in first
    said = "".join(
        path.read_text(encoding="utf-8") for path in sorted((tmp_path / "o").glob("answer-2-page-*.svg"))
    )
    assert "in the west (true)" in said
    assert "exercise print" in said, "provenance"


def test_an_exercise_that_is_not_sound_is_not_printed(folder: Path, tmp_path: Path) -> None:
    even = plane(161, 161, height_m=200.0, north_slope=-0.1)
    write_geotiff(tmp_path / "ground.tif", even, west=WEST, north=NORTH, spacing=10.0, unit="m")
    near = replace(NO_KNOLL, easting_m=300_820.0, northing_m=BY_THE_KNOLL.northing_m)
    alike = exercise(0, terrain="ground.tif", features=(), places=(replace(BY_THE_KNOLL, is_true=True), near))
    path = tmp_path / "flat.toml"
    path.write_text(write_exercise(alike), encoding="utf-8")
    before = contents(tmp_path)
    ended = run("exercise", "print", path, *SMALL, "--out", tmp_path / "o.pdf")
    assert ended.code == 3, ended.err
    assert "not sound" in ended.err
    assert "nothing is printed" in ended.err
    assert contents(tmp_path) == before
    ended = run("exercise", "print", path, *SMALL, "--out", tmp_path / "o.pdf", "--unsound")
    assert ended.code == 3, ended.err
    assert (tmp_path / "o.pdf").read_bytes().startswith(b"%PDF")


def test_what_cannot_be_done_is_refused_before_the_work(folder: Path) -> None:
    given = folder / "exercise.toml"
    asked = ("exercise", "print", given, "--terrain", folder / "ground.tif")
    empty, other = folder / "empty", folder / "other"
    empty.mkdir()
    other.mkdir()
    (other / "tea.toml").write_text("a = 1\n", encoding="utf-8")
    assert_refused(folder, "exercise", "print", empty, "--out", folder / "a", says=("no .toml files",))
    assert_refused(folder, "exercise", "print", other, "--out", folder / "a", says=("no exercises",))
    assert_refused(folder, *asked, "--out", folder / "a.png", says=("several pages", "--out"))
    assert_refused(folder, *asked, "--out", folder / "a.pdf", "--format", "svg", says=("--format",))
    assert_refused(folder, *asked, "--out", folder / "a.pdf", "--pages", says=("folder",))
    assert_refused(folder, *asked, "--out", folder / "photo.jpg", says=("a folder is needed",))
    assert_refused(folder, *asked, "--out", folder / "a", "--map-scale", "500", says=("1:500", "--map-scale"))
    far = folder / "far.toml"
    far.write_text(given.read_text(encoding="utf-8").replace("300250", "900250"), encoding="utf-8")
    words = ("exercise", "print", far, "--terrain", folder / "ground.tif", "--out", folder / "a")
    assert_refused(folder, *words, says=("in the west",))
