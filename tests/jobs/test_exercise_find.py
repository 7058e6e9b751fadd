"""exercise find: look-alikes of a true place, whole exercises on a piece of ground, and what is refused."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pytest
import shapely
from osgeo import gdal
from PIL import Image
from pyproj import Transformer
from scipy import ndimage

import hillsight
from hillsight.errors import HillsightError
from hillsight.plan.exercise.exercise import Exercise, ExercisePicture, ExercisePlace
from hillsight.plan.exercise.file import read_exercise
from hillsight.plan.exercise.writing import write_exercise
from terrains import fractal, write_geotiff

SPACING, POSTS = 25.0, 161
WEST, NORTH = 300_000.0, 700_000.0
MIDDLE_E, MIDDLE_N = WEST + 2_000.0, NORTH - 2_000.0
HEIGHT = ndimage.gaussian_filter(fractal(POSTS, POSTS, seed=5, relief_m=500.0), 3.0).astype(np.float32)
ASKED: dict[str, Any] = {
    "reach": 1_500.0,
    "terrain_error": 0.5,
    "error_correlation": 500.0,
    "between_posts": "straight",
    "wrong": 1,
}
TRUE = {"true": f"{MIDDLE_E},{MIDDLE_N}", "looks": "E", "within": 1_000.0}


@pytest.fixture(scope="module")
def ground(tmp_path_factory: pytest.TempPathFactory) -> str:
    file = tmp_path_factory.mktemp("ground") / "ground.tif"
    write_geotiff(file, HEIGHT, spacing=SPACING)
    return str(file)


def points(*places: tuple[float, float], **columns: list[str]) -> geopandas.GeoDataFrame:
    return geopandas.GeoDataFrame(columns, geometry=[shapely.Point(one) for one in places], crs=27700)


@pytest.mark.slow
def test_look_alikes_of_a_true_place(ground: str, tmp_path: Path) -> None:
    found = hillsight.exercise_find(ground, **TRUE, **ASKED, out=tmp_path / "out")
    read = read_exercise(str(tmp_path / "out" / "exercise_01.toml"))
    assert read.places == found.exercises[0].places
    assert (read.places[0].easting_m, read.places[0].northing_m) == (MIDDLE_E, MIDDLE_N)
    assert [place.is_true for place in read.places] == [True, False]
    # What stands on a question sheet says nothing of the place.
    assert f"{MIDDLE_E:.0f}" not in read.title
    wrong = read.places[1]
    assert 300 <= np.hypot(wrong.easting_m - MIDDLE_E, wrong.northing_m - MIDDLE_N) <= 1_000
    rows = found.frames["exercise_places"]
    assert rows["role"].tolist() == ["true", "wrong"]
    assert sorted(rows["letter"]) == ["A", "B"]
    assert rows["matters"][1] >= 2
    assert rows["unlike"][1] <= 1.5
    told = {name: value for name, value in ASKED.items() if name != "wrong"}
    assert hillsight.exercise_check(str(tmp_path / "out" / "exercise_01.toml"), **told, draws=32).is_sound
    report = (tmp_path / "out" / "report.txt").read_text(encoding="utf-8")
    assert "a person must check" in report
    # The setter reads there which letter is the true place, and what tells the other from it.
    assert f"the picture is from {rows['letter'][0]}, {rows['name'][0]}" in report
    assert f"- {rows['letter'][1]}, {rows['name'][1]}: " in report and rows["told_by"][1] in report


@pytest.mark.slow
def test_an_exercise_is_taken_as_its_file_tells_it(ground: str, tmp_path: Path) -> None:
    # The place in another CRS than the terrain's, as PROJ has it; a photograph that lies beside the file.
    east_m, north_m = Transformer.from_crs(27700, 32630, always_xy=True).transform(MIDDLE_E, MIDDLE_N)
    (tmp_path / "told").mkdir()
    Image.new("RGB", (60, 40)).save(tmp_path / "told" / "view.jpg")
    told = Exercise(
        "Told",
        ExercisePicture(90.0, eye_height_m=1.7, photo="view.jpg"),
        (ExercisePlace("here, or there", east_m, north_m, True), ExercisePlace("b", east_m + 900, north_m)),
        question="Whence?",
        crs="EPSG:32630",
    )
    (tmp_path / "told" / "told.toml").write_text(write_exercise(told), encoding="utf-8")
    file = tmp_path / "told" / "told.toml"
    hillsight.exercise_find(ground, exercise=file, within=1_500.0, **ASKED, out=tmp_path / "out")
    read = read_exercise(str(tmp_path / "out" / "exercise_01.toml"))
    true = read.places[read.truth()]
    assert (true.easting_m, true.northing_m) == pytest.approx((MIDDLE_E, MIDDLE_N), abs=1.0)
    assert (true.name, read.question, read.picture.eye_height_m) == ("here, or there", "Whence?", 1.7)
    assert Path(read.beside(str(read.picture.photo))).is_file()
    # On terrain in degrees places are on a metric grid, which the file names: they stay where they are.
    gdal.Warp(str(tmp_path / "degrees.tif"), ground, dstSRS="EPSG:4326", resampleAlg="bilinear")
    hillsight.exercise_find(
        str(tmp_path / "degrees.tif"), exercise=file, within=1_500.0, **ASKED, out=tmp_path / "out"
    )
    read = read_exercise(str(tmp_path / "out" / "exercise_01.toml"))
    true = read.places[read.truth()]
    assert read.crs == "EPSG:32630"
    assert (true.easting_m, true.northing_m) == pytest.approx((east_m, north_m), abs=1.0)


def test_cover_of_an_exercise_holds_and_stands_in_what_is_written(ground: str, tmp_path: Path) -> None:
    barn = shapely.box(MIDDLE_E - 600, MIDDLE_N + 500, MIDDLE_E - 550, MIDDLE_N + 550)
    frame = geopandas.GeoDataFrame({"kind": ["building"]}, geometry=[barn], crs=27700)
    frame.to_file(tmp_path / "barn.gpkg", layer="barn")
    places = ExercisePlace("here", MIDDLE_E, MIDDLE_N, True), ExercisePlace("b", MIDDLE_E + 900, MIDDLE_N)
    told = Exercise("Told", ExercisePicture(90.0), places, cover=("barn.gpkg",))
    file = tmp_path / "told.toml"
    file.write_text(write_exercise(told), encoding="utf-8")
    found = hillsight.exercise_find(ground, exercise=file, within=1_000.0, **ASKED, out=tmp_path / "out")
    assert "barn.gpkg" in {item.name for item in found.provenance.inputs}
    read = read_exercise(str(tmp_path / "out" / "exercise_01.toml"))
    assert read.cover == ("../barn.gpkg",)
    assert Path(read.beside(read.cover[0])).is_file()


@pytest.mark.slow
def test_exercises_proposed_on_a_piece_of_ground(ground: str) -> None:
    theme = "rising or falling ground before us"
    asked = {**ASKED, "theme": theme, "area": f"{WEST + 800},{NORTH - 3_200},{WEST + 3_200},{NORTH - 800}"}
    found = hillsight.exercise_find(ground, **asked, count=2)
    assert {one.theme for one in found.exercises} == {theme}
    true = np.array([(one.places[0].easting_m, one.places[0].northing_m) for one in found.exercises])
    assert np.hypot(*(true[0] - true[1])) >= 500
    other = hillsight.exercise_find(ground, **asked, count=1, seed=2)
    assert {one.places for one in other.exercises}.isdisjoint(one.places for one in found.exercises)


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ({}, "neither a true place nor an area"),
        ({**TRUE, "area": "1,2,3,4"}, "at once"),
        ({**TRUE, "looks": None}, "where the picture looks"),
        ({**TRUE, "pool": points()}, "there is no place in it"),
        ({**TRUE, "pool": points((0.0, 0.0))}, "none of 1 places lies within"),
        ({**TRUE, "pool": points((MIDDLE_E + 100, MIDDLE_N))}, "none lies 300 m from the true place"),
        ({**TRUE, "pool": "tops"}, "none are given"),
        ({**TRUE, "true": f"{WEST - 900},{NORTH}"}, "not on the terrain|off the terrain|outside"),
        ({"area": "0,0,2000,2000"}, "lies off the terrain"),
        ({"area": "west"}, "is no area"),
        ({"area": f"{WEST},{NORTH - 100},{WEST + 2_000},{NORTH}"}, "2,000 m by"),
        (
            {"area": f"{WEST},{NORTH - 2_000},{WEST + 2_000},{NORTH}", "theme": "the weather"},
            "no theme is called",
        ),
        ({**TRUE, "grade": "cruel"}, "no exercise is graded"),
        ({**TRUE, "wrong": 0}, "wrong is 0"),
    ],
)
def test_what_makes_no_sense_is_refused(
    ground: str, asked: dict[str, Any], says: str, tmp_path: Path
) -> None:
    with pytest.raises(HillsightError, match=says):
        hillsight.exercise_find(ground, **{**ASKED, **asked}, out=tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_ground_without_a_theme_says_what_was_found(tmp_path: Path) -> None:
    level = write_geotiff(tmp_path / "level.tif", np.full((121, 121), 100.0, np.float32), spacing=25.0)
    with pytest.raises(HillsightError, match=r"nowhere to stand.*in water"):
        hillsight.exercise_find(str(level), area=f"{WEST},{NORTH - 2_000},{WEST + 2_000},{NORTH}", **ASKED)
    tilted = np.add.outer(np.arange(121) * 0.5, np.zeros(121)) + 100.0
    file = write_geotiff(tmp_path / "tilted.tif", tilted.astype(np.float32), spacing=25.0)
    with pytest.raises(HillsightError, match=r"no theme is found|no exercise is sound"):
        hillsight.exercise_find(str(file), area=f"{WEST},{NORTH - 2_000},{WEST + 2_000},{NORTH}", **ASKED)
