"""The landforms script: what it writes, what it refuses, and that a refusal leaves nothing behind."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

import geopandas
import numpy as np
import pyogrio
import pytest

from hillsight.errors import OutputError
from hillsight.ground.geodesy import Geodesy
from hillsight.ground.grid import Grid, Surface
from hillsight.landform.options import LandformOptions
from hillsight.landform.survey import survey
from hillsight.layers.styles import style_names, style_text, write_styles
from hillsight.schema.landforms import LANDFORM_LAYERS
from hillsight.schema.layers import LAYERS
from scripts.commands import AT, NORTH, POSTS, SPACING, WEST, Ended, done, features, run, terrain
from scripts.commands import assert_refused as refused
from terrains import fractal, plane, with_hole, write_geotiff

SCALES = ("--scale", "100", "--scale", "60")
NAMES = [layer.name for layer in LANDFORM_LAYERS]
_OGR_TYPES = {
    "text": {"String"},
    "real": {"Real"},
    "integer": {"Integer", "Integer64"},
    "boolean": {"Integer"},
}


def words(folder: Path, *more: str | Path, ground: str = "terrain.tif") -> list[str | Path]:
    return ["landforms", "--terrain", folder / ground, "--out", folder / "out.gpkg", *more]


def layer(folder: Path, name: str) -> geopandas.GeoDataFrame:
    return geopandas.read_file(folder / "out.gpkg", layer=name)


def assert_refused(
    folder: Path, *more: str | Path, says: tuple[str, ...], ground: str = "terrain.tif"
) -> None:
    """Refused with one message, exit code 2, and the folder as it was."""
    if not (folder / "terrain.tif").exists():
        terrain(folder)
    refused(folder, *words(folder, *more, ground=ground), says=says)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Ended]:
    folder = tmp_path_factory.mktemp("landforms")
    terrain(folder)
    features(folder)
    return folder, done(*words(folder, *SCALES, "--features", folder / "features.gpkg"))


def test_layers_and_columns_are_those_of_the_schema(made: tuple[Path, Ended]) -> None:
    folder, _ = made
    written = [name for name, kind in pyogrio.list_layers(folder / "out.gpkg") if kind is not None]
    assert written == NAMES
    for name in NAMES:
        told = pyogrio.read_info(folder / "out.gpkg", layer=name)
        assert told["fields"].tolist() == [column.name for column in LAYERS[name].columns]
        assert told["geometry_type"] == LAYERS[name].geometry
        assert "27700" in told["crs"]
        for column, kind in zip(LAYERS[name].columns, told["ogr_types"], strict=True):
            assert kind.removeprefix("OFT") in _OGR_TYPES[column.type], column.name


def test_values_are_finite_where_the_schema_wants_a_value(made: tuple[Path, Ended]) -> None:
    folder, _ = made
    for name in NAMES:
        frame = layer(folder, name)
        assert frame.geometry.is_valid.all()
        for column in LAYERS[name].columns:
            if not column.optional:
                assert frame[column.name].notna().all(), (name, column.name)


def test_the_file_holds_what_the_survey_finds(made: tuple[Path, Ended]) -> None:
    folder, _ = made
    crs = layer(folder, "tops").crs
    grid = Grid(crs, WEST, NORTH, SPACING, SPACING, POSTS, POSTS)
    surface = Surface(grid, fractal(POSTS, POSTS, seed=1, relief_m=80, lowest_m=100))
    frames = survey(surface, (100.0, 60.0), LandformOptions(), Geodesy(crs))
    assert sum(len(frame) for frame in frames.values()) > 10
    for name, frame in frames.items():
        found = layer(folder, name)
        assert found["landform"].tolist() == frame["landform"].tolist()
        figures = [column for column in frame.columns if column.endswith(("_m", "_deg", "_ha"))]
        assert found[figures].to_numpy(float) == pytest.approx(frame[figures].to_numpy(float), nan_ok=True)


def test_what_is_told_at_the_terminal_and_in_the_metadata(made: tuple[Path, Ended]) -> None:
    folder, ended = made
    counts = ended.out.splitlines()[0]
    for name in NAMES:
        if len(layer(folder, name)):
            assert f"{len(layer(folder, name))} {name.replace('_', ' ')}" in counts
    assert f"wrote {folder / 'out.gpkg'}" in ended.out
    assert (folder / "out_styles" / "tops.sld").is_file()
    with sqlite3.connect(folder / "out.gpkg") as database:
        texts = [row[0] for row in database.execute("SELECT metadata FROM gpkg_metadata")]
    parameters = next(json.loads(text) for text in texts if '"parameters"' in text)["parameters"]
    assert parameters["scales"] == [100.0, 60.0]


def test_a_stream_names_a_valley_or_re_entrant_and_a_wood_names_nothing(made: tuple[Path, Ended]) -> None:
    folder, _ = made
    names = {name for layer_name in NAMES for name in layer(folder, layer_name)["name"].dropna()}
    assert names <= {"High Top", "Long Beck"}


def test_a_second_run_writes_the_same(made: tuple[Path, Ended], tmp_path: Path) -> None:
    folder, _ = made
    again = ["landforms", "--terrain", folder / "terrain.tif", "--out", tmp_path / "out.gpkg", *SCALES]
    done(*again, "--features", folder / "features.gpkg")
    for name in NAMES:
        assert layer(tmp_path, name).equals(layer(folder, name)), name


def test_within_a_reach_only_that_part_is_read(tmp_path: Path) -> None:
    # The window is up to four posts wider than the reach.
    terrain(tmp_path)
    done(*words(tmp_path, "--scale", "60", "--at", AT, "--reach", "150"))
    easting, northing = (float(v) for v in AT.split(",")[:2])
    count = 0
    for name in NAMES:
        frame = layer(tmp_path, name)
        count += len(frame)
        if len(frame):
            west, south, east, north = frame.total_bounds
            assert west >= easting - 191.0
            assert south >= northing - 191.0
            assert east <= easting + 191.0
            assert north <= northing + 191.0
    assert count > 0


def test_voids_are_told_and_break_nothing(tmp_path: Path) -> None:
    ground = with_hole(fractal(POSTS, POSTS, seed=1, relief_m=80, lowest_m=100), 20, 25, 12, 14)
    write_geotiff(tmp_path / "terrain.tif", ground, unit="m", nodata=-9999.0)
    done(*words(tmp_path, *SCALES))
    found = {name: layer(tmp_path, name) for name in NAMES}
    assert sum((frame["cut_by"] == "void").sum() for frame in found.values()) > 0
    hole = (WEST + 25 * SPACING, NORTH - 31 * SPACING, WEST + 38 * SPACING, NORTH - 20 * SPACING)
    for name in ("tops", "saddles"):
        assert len(found[name].cx[hole[0] : hole[2], hole[1] : hole[3]]) == 0


@pytest.mark.parametrize("ground", [plane(60, 60), np.full((60, 60), -3.5, np.float32)])
def test_level_terrain_has_none_and_says_so(tmp_path: Path, ground: np.ndarray) -> None:
    write_geotiff(tmp_path / "terrain.tif", ground, unit="m")
    ended = done(*words(tmp_path))
    assert any("no landforms: the ground is level" in text for text in ended.notes)
    assert "Found no landforms." in ended.out
    assert [len(layer(tmp_path, name)) for name in NAMES] == [0] * len(NAMES)


def test_usual_scales_that_do_not_suit_are_told(tmp_path: Path) -> None:
    terrain(tmp_path)
    ended = done(*words(tmp_path))
    assert any("300 m and 1000 m" in text for text in ended.notes)
    assert set(layer(tmp_path, "spurs")["scale_m"]) == {100.0}


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (("--scale", "19"), ("the scale is 19 m", "from 20 m", "two spacings", "150 m")),
        (("--scale", "100", "--scale", "151"), ("the scale is 151 m", "150 m", "quarter")),
        (("--scale", "0"), ("the scale is 0 m",)),
        (("--scale", "nan"), ("--scale", "finite")),
        (("--scale", "wide"), ("--scale", "wide")),
        (("--reach", "200"), ("no place to reach from", "--reach", "--at", "--stations")),
        (("--at", AT, "--reach", "0"), ("reach is 0 m", "above 0", "--reach")),
        (("--at", AT, "--reach", "-5"), ("reach is -5 m", "above 0")),
        (("--at", AT, "--reach", "60"), ("none of the usual scales", "(--scale METRES)")),
        (("--at", AT, "--reach", "100", "--scale", "120"), ("the scale is 120 m", "quarter")),
        (("--at", "310000,699704,Far", "--reach", "100"), ("Far", "off the terrain")),
        (("--steep-from", "0"), ("begins at 0 degrees", "between 0 and 90", "--steep-from")),
        (("--steep-from", "30", "--steep-from", "90"), ("begins at 90 degrees", "--steep-from")),
        (("--level-below", "0"), ("ends at 0 degrees", "--level-below")),
        (("--level-below", "46"), ("ends at 46 degrees", "45")),
        (("--least-change", "-1"), ("begins at -1 degrees", "--least-change")),
        (("--least-change", "91"), ("begins at 91 degrees", "90")),
        (("--features", "none.gpkg"), ("none.gpkg",)),
    ],
)
def test_calls_that_make_no_sense(tmp_path: Path, more: tuple[str, ...], says: tuple[str, ...]) -> None:
    assert_refused(tmp_path, *more, says=says)


def test_a_refusal_leaves_the_older_file_as_it_was(tmp_path: Path) -> None:
    terrain(tmp_path)
    done(*words(tmp_path))
    assert_refused(tmp_path, "--scale", "19", says=("the scale is 19 m",))
    assert len(layer(tmp_path, "spurs")) > 0


def test_a_style_missing_from_the_installation_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lacking = tmp_path / "installed"
    lacking.mkdir()
    write_styles(lacking, {name: style_text(name) for name in style_names() if name != "spurs"})
    folder = tmp_path / "work"
    folder.mkdir()
    monkeypatch.setattr("hillsight.layers.styles._folder", lambda: lacking)
    assert_refused(folder, *SCALES, says=("style of spurs is missing", "Install hillsight again"))


def test_pictures_that_cannot_be_drawn_leave_no_package(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OutputError("the disk is full", where="pictures")

    monkeypatch.setattr("hillsight.sheets.landforms.landform_sheet.draw_landforms", full)
    assert_refused(tmp_path, *SCALES, "--pictures", tmp_path / "pictures", says=("the disk is full",))


def test_a_terrain_too_narrow_for_any_scale(tmp_path: Path) -> None:
    write_geotiff(tmp_path / "strip.tif", fractal(60, 60, seed=1)[:3], unit="m")
    assert_refused(tmp_path, says=("3 rows by 60 columns", "too narrow"), ground="strip.tif")
    assert_refused(tmp_path, "--scale", "20", says=("too narrow", "80 m at least"), ground="strip.tif")


def test_writing_over_the_terrain_is_refused(tmp_path: Path) -> None:
    terrain(tmp_path)
    ended = run("landforms", "--terrain", tmp_path / "terrain.tif", "--out", tmp_path / "terrain.tif")
    assert ended.code == 2
    assert (tmp_path / "terrain.tif").stat().st_size > 1000
