"""An exercise's file: read, written, refused; its template and its schema.

What an exercise may say is settled by the reader; the schema is held against it by jsonschema, and TOML is
written for the standard library's own reader.
"""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest

from hillsight.errors import ExerciseError
from hillsight.plan.exercise.exercise import QUESTION, Exercise, ExercisePicture, ExercisePlace
from hillsight.plan.exercise.file import read_exercise
from hillsight.plan.exercise.json_schema import json_schema
from hillsight.plan.exercise.writing import template, write_exercise

WHOLE = """format = "hillsight exercise 1"
title = "Above the tarn"
question = "Where?"
terrain = "upland.tif"
features = ["upland.gpkg"]
crs = "EPSG:27700"
seed = 5
theme = "near brow or far brow"
grade = "moderate"

[picture]
looks = "SE"
north = "magnetic"
width_deg = 50
eye_height_m = 1.7
photo = "view.jpg"
marks = "view.json"
taken = "2026-06-01"

[[place]]
name = "ridge end"
easting_m = 412300
northing_m = 5215400.5
true = true

[[place]]
name = "shelf"
easting_m = 411700
northing_m = 5215100
"""
PLACES = (ExercisePlace("a", 0.0, 0.0, True), ExercisePlace("b", 500.0, 0.0), ExercisePlace("c", 0.0, 900.0))


def written(folder: Path, text: str) -> str:
    path = folder / "exercise.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_everything_is_read(tmp_path: Path) -> None:
    one = read_exercise(written(tmp_path, WHOLE))
    assert (one.title, one.question, one.terrain, one.features) == (
        "Above the tarn",
        "Where?",
        "upland.tif",
        ("upland.gpkg",),
    )
    assert (one.crs, one.seed, one.theme, one.grade) == ("EPSG:27700", 5, "near brow or far brow", "moderate")
    assert (one.picture.looks_deg, one.picture.north, one.picture.width_deg) == (135.0, "magnetic", 50)
    assert (one.picture.eye_height_m, one.picture.photo, one.picture.marks) == (1.7, "view.jpg", "view.json")
    assert str(one.picture.taken) == "2026-06-01"
    assert one.places == (
        ExercisePlace("ridge end", 412300.0, 5215400.5, True),
        ExercisePlace("shelf", 411700.0, 5215100.0),
    )
    assert one.truth() == 0
    assert one.beside("view.jpg") == str(tmp_path / "view.jpg")


@pytest.mark.parametrize(
    "exercise",
    [
        Exercise("Plain", ExercisePicture(45.0), PLACES),
        Exercise(
            'A "quoted" \\ name\n',
            ExercisePicture(13.25, "grid", 61.5, 2.0, photo="v.jpg"),
            PLACES,
            question="Which?",
            terrain="a.tif",
            features=("b.gpkg", "c.gpkg"),
            surface="tops.tif",
            cover=("woods.gpkg", "walls.gpkg"),
            crs="EPSG:2154",
            seed=9,
            theme="spur",
            grade="hard",
        ),
    ],
)
def test_what_is_written_is_read_back(tmp_path: Path, exercise: Exercise) -> None:
    path = written(tmp_path, write_exercise(exercise))
    assert read_exercise(path) == replace(exercise, source=path)
    jsonschema.validate(tomllib.loads(Path(path).read_text(encoding="utf-8")), json_schema())


def test_the_template_is_an_exercise(tmp_path: Path) -> None:
    plain = read_exercise(written(tmp_path, template()))
    assert plain.question == QUESTION
    assert [place.is_true for place in plain.places] == [True, False]
    # And with every line that may be used.
    lines = [
        line[1:] if line.startswith("#") and line[1:2] != " " else line for line in template().splitlines()
    ]
    whole = read_exercise(written(tmp_path, "\n".join(lines)))
    assert whole.features == ("upland.gpkg",)
    assert (whole.surface, whole.cover) == ("treetops.tif", ("woods.gpkg",))
    assert whole.picture.photo == "view.jpg"
    jsonschema.validate(tomllib.loads("\n".join(lines)), json_schema())


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('looks = "SE"', 'lokks = "SE"', ("line 12", "lokks", "Did you mean looks")),
        ('looks = "SE"', 'looks = "up"', ("line 12", "'up'")),
        ('looks = "SE"\n', "", ("line 11", "'looks' is missing")),
        ("theme =", "subject =", ("line 8", "'subject'", "theme")),
        ('grade = "moderate"', "cover = 3", ("line 9", "'cover' is 3", "list of files")),
        ('grade = "moderate"', "surface = []", ("line 9", "'surface' is")),
        ('title = "Above the tarn"\n', "", ("'title' is missing",)),
        ("exercise 1", "exercise 2", ("line 1", "hillsight exercise 1")),
        ('grade = "moderate"', 'grade = "moderat"', ("line 9", "Did you mean moderate")),
        ("easting_m = 412300", 'easting_m = "412300"', ("line 22", "number")),
        ("true = true\n", "", ("no place is the one", "true = true")),
        ("northing_m = 5215100", "northing_m = 5215100\ntrue = true", ("line 30", "ridge end", "shelf")),
        ("411700\nnorthing_m = 5215100", "412300\nnorthing_m = 5215400.5", ("line 26", "one spot")),
        ('name = "shelf"', 'name = "Ridge  end"', ("line 27", "two places are called")),
        ('photo = "view.jpg"\n', "", ("marks", "photograph")),
        ('taken = "2026-06-01"\n', "", ("line 13", "magnetic", "day")),
        ("[picture]", "[pictures]", ("'pictures'", "Did you mean picture")),
    ],
)
def test_what_is_wrong_is_told_with_its_line(
    tmp_path: Path, old: str, new: str, says: tuple[str, ...]
) -> None:
    assert old in WHOLE
    with pytest.raises(ExerciseError) as error:
        read_exercise(written(tmp_path, WHOLE.replace(old, new, 1)))
    for words in says:
        assert words in str(error.value)


def test_one_place_is_no_exercise(tmp_path: Path) -> None:
    text = WHOLE[: WHOLE.index('[[place]]\nname = "shelf"')]
    with pytest.raises(ExerciseError, match="has 1 place"):
        read_exercise(written(tmp_path, text))
    with pytest.raises(ExerciseError, match="cannot be read"):
        read_exercise(str(tmp_path / "none.toml"))


def test_letters_are_drawn_and_do_not_follow_the_order() -> None:
    """Every place has a letter of its own; over many exercises the true one has each letter about as often.

    Of 300 exercises with three places 100 each are expected; the bounds are five standard deviations of the
    binomial distribution (8.2) wide.
    """
    first = dict.fromkeys("ABC", 0)
    for k in range(300):
        moved = tuple(replace(place, easting_m=place.easting_m + 7.0 * k) for place in PLACES)
        exercise = Exercise("x", ExercisePicture(0.0), moved)
        letters = exercise.letters()
        assert sorted(letters) == ["A", "B", "C"]
        assert letters == exercise.letters()
        assert [letters[k] for k in exercise.by_letter()] == ["A", "B", "C"]
        first[letters[exercise.truth()]] += 1
    assert min(first.values()) > 100 - 41
    assert max(first.values()) < 100 + 41
    one = Exercise("x", ExercisePicture(0.0), PLACES)
    assert len({replace(one, seed=seed).letters() for seed in range(40)}) == 6


@pytest.mark.parametrize(
    ("crs", "says"),
    [("EPSG:9", "no coordinate reference system"), ("EPSG:4326", "does not count in metres on a grid")],
)
def test_a_crs_that_no_place_can_have_is_told_with_its_line(tmp_path: Path, crs: str, says: str) -> None:
    path = tmp_path / "crs.toml"
    path.write_text(WHOLE.replace("EPSG:27700", crs), encoding="utf-8")
    line = path.read_text(encoding="utf-8").splitlines().index(f'crs = "{crs}"') + 1
    with pytest.raises(ExerciseError, match=says) as caught:
        read_exercise(str(path))
    assert f"line {line}" in caught.value.where
