"""hillsight profile: files, words, and everything it refuses."""

from __future__ import annotations

import csv
import json
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import geopandas
import numpy as np
import pandas
import pytest
import shapely

from hillsight.layers.profile_csv import write_profile_csv
from hillsight.schema.section import PROFILE_LAYERS, PROFILE_SAMPLES
from shared_data import shared_file
from terrains import fractal, with_hole, write_geotiff

from scripts.commands import AT, assert_refused, done, features, terrain  # isort: skip

TO = "300150,699600,Far end"


def words(folder: Path, *more: str | Path) -> tuple[str | Path, ...]:
    return ("profile", "--terrain", terrain(folder), "--at", AT, *more)


def layers_of(path: Path) -> dict[str, geopandas.GeoDataFrame]:
    return {layer.name: geopandas.read_file(path, layer=layer.name) for layer in PROFILE_LAYERS}


def test_everything_is_written(tmp_path: Path) -> None:
    out, table, drawing = tmp_path / "out.gpkg", tmp_path / "samples.csv", tmp_path / "section.svg"
    ended = done(
        *words(tmp_path, "--to", TO, "--features", features(tmp_path), "--beside", "60"),
        *("--out", out, "--csv", table, "--drawing", drawing, "--pictures", tmp_path / "drawn"),
    )
    layers = layers_of(out)
    (line,) = layers["profile_line"].to_dict("records")
    assert (line["station"], line["target"], line["ends_at"]) == ("Cairn", "Far end", "target")
    rows = list(csv.DictReader(table.open(encoding="utf-8", newline="")))
    assert list(rows[0]) == [column.name for column in PROFILE_SAMPLES]
    assert len(rows) == len(line["geometry"].coords)
    assert float(rows[-1]["distance_grid_m"]) == pytest.approx(np.hypot(147, 104), abs=0.01)
    assert float(rows[-1]["height_m"]) == pytest.approx(line["geometry"].coords[-1][2], abs=0.006)
    stretches = layers["profile_stretches"]
    assert stretches["length_m"].sum() == pytest.approx(line["length_m"])
    assert set(stretches["state"]) <= {"visible", "hidden"}
    points = layers["profile_points"]
    assert (points["what"] == "target").sum() == 1
    assert {"Long Beck", "Square Wood"} <= set(points.loc[points["what"] == "crossed", "name"])
    drawn = tmp_path / "drawn" / "profile_cairn_far_end.png"
    assert drawn.read_bytes().startswith(b"\x89PNG\r\n\x1a\n")  # the signature of ISO/IEC 15948
    assert drawing.read_text(encoding="utf-8").rstrip().endswith("</svg>")
    assert all(str(path) in ended.out for path in (out, table, drawing, drawn))
    assert ended.out.startswith("From Cairn to Far end: ")
    assert f"Far end is {line['state'].replace('visible', 'in view')}" in ended.out
    assert "Crosses " in ended.out and "Long Beck" in ended.out


def test_the_package_is_valid_and_says_where_it_comes_from(tmp_path: Path) -> None:
    pytest.importorskip("osgeo_utils.samples.validate_gpkg", reason="gdal-wheel is not installed")
    out = tmp_path / "out.gpkg"
    done(*words(tmp_path, "--bearing", "310", "--reach", "150", "--out", out))
    # Source: GDAL's validator against the GeoPackage encoding standard, OGC 12-128r18.
    verdict = subprocess.run(
        [sys.executable, "-m", "osgeo_utils.samples.validate_gpkg", "-k", str(out)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert verdict.returncode == 0, verdict.stdout + verdict.stderr
    with closing(sqlite3.connect(out)) as database:
        text = database.execute("SELECT metadata FROM gpkg_metadata ORDER BY id LIMIT 1").fetchone()[0]
    document = json.loads(text)
    assert document["script"] == "profile"
    assert document["parameters"]["bearing_true_deg"] == [310.0]
    assert document["parameters"]["reach_m"] == 150.0
    assert document["inputs"][0]["name"] == "terrain.tif"
    assert str(tmp_path) not in text


def test_bearings_are_true_and_end_at_the_reach_or_the_terrain(tmp_path: Path) -> None:
    out = tmp_path / "out.gpkg"
    ended = done(*words(tmp_path, "--bearing", "0", "--bearing", "225", "--reach", "310", "--out", out))
    lines = layers_of(out)["profile_line"].set_index("section")
    assert list(lines["ends_at"]) == ["terrain_edge", "reach"]
    assert list(lines["bearing_true_deg"]) == [0.0, 225.0]
    # Convergence at E 300297 N 699704 of EPSG:27700 is about -1.3 degrees (west of the central meridian).
    assert lines.loc[1, "bearing_grid_deg"] == pytest.approx(1.3, abs=0.1)
    end = lines.loc[2, "geometry"].coords[-1]
    start = lines.loc[2, "geometry"].coords[0]
    assert np.hypot(end[0] - start[0], end[1] - start[1]) == pytest.approx(310.0)
    assert any("the terrain ends at" in note for note in ended.notes)
    assert lines["target"].isna().all() and lines["clearance_m"].isna().all()


def test_every_station_looks_at_every_target(tmp_path: Path) -> None:
    out = tmp_path / "out.gpkg"
    done(
        *words(tmp_path, "--at", "300400,699500,Second", "--to", TO, "--to", "300200,699600", "--out", out),
        "--quiet",
    )
    lines = layers_of(out)["profile_line"]
    assert list(zip(lines["station"], lines["target"], lines["section"], strict=True)) == [
        ("Cairn", "Far end", 1), ("Cairn", "target 2", 2), ("Second", "Far end", 3), ("Second", "target 2", 4)
    ]  # fmt: skip


def test_a_feature_may_be_the_target(tmp_path: Path) -> None:
    frame = geopandas.GeoDataFrame(
        {"name": ["Mast"], "target_height_m": [200.0]},
        geometry=[shapely.Point(300_350, 699_800)],
        crs="EPSG:27700",
    )
    frame.to_file(tmp_path / "mast.gpkg")
    given = ("--features", tmp_path / "mast.gpkg", "--to-feature", "MAST")
    assert "Mast (200 m tall) is in view" in done(*words(tmp_path, *given)).out
    assert "(1 m tall)" in done(*words(tmp_path, *given, "--target-height", "1")).out


def test_places_may_be_in_degrees(tmp_path: Path) -> None:
    point = geopandas.GeoSeries([shapely.Point(300_100, 699_900)], crs="EPSG:27700").to_crs(4326)[0]
    stations = geopandas.GeoDataFrame(
        {"name": ["Cairn"]}, geometry=[shapely.Point(300_297, 699_704)], crs="EPSG:27700"
    )
    stations.to_file(tmp_path / "stations.gpkg")
    given = ("--stations", tmp_path / "stations.gpkg", "--at-crs", "EPSG:4326")
    ended = done("profile", "--terrain", terrain(tmp_path), *given, "--to", f"{point.x},{point.y},There")
    assert "From Cairn to There: 278 m" in ended.out


def test_voids_and_coarse_words(tmp_path: Path) -> None:
    ground = with_hole(fractal(60, 60, seed=1, relief_m=2, lowest_m=100), 5, 5, 12, 12)
    path = write_geotiff(tmp_path / "holed.tif", ground, unit="m")
    out = tmp_path / "out.gpkg"
    ended = done(
        *("profile", "--terrain", path, "--at", "300297,699704,Cairn", "--to", "300000,699990,Beyond"),
        *("--eye-height", "30", "--out", out, "--pictures", tmp_path),
    )
    assert "Whether Beyond is seen nobody can say" in ended.out
    layers = layers_of(out)
    assert layers["profile_line"]["state"].tolist() == ["unknown"]
    assert "unknown" in set(layers["profile_stretches"]["state"])
    assert (tmp_path / "profile_cairn_beyond.png").stat().st_size > 20_000


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ((), ("nothing to look at", "--bearing")),
        (("--to", TO, "--bearing", "10"), ("a bearing and a target", "--bearing")),
        (("--bearing", "361"), ("the bearing is 361", "0 to 360", "--bearing")),
        (("--bearing", "-1"), ("the bearing is -1",)),
        (("--to", "300297,699704,Cairn"), ("is where 'Cairn' stands",)),
        (("--to", "310000,699704,Off"), ("'Off'", "off the terrain", "spans")),
        (("--to", "here"), ("--to", "two numbers")),
        (("--to", TO, "--reach", "100"), ("reach is about a bearing", "--reach", "--bearing")),
        (("--bearing", "10", "--reach", "0"), ("reach is 0", "--reach")),
        (("--bearing", "10", "--target-height", "2"), ("target height is about a target", "--target-height")),
        (("--to", TO, "--target-height", "-1"), ("target height is -1", "--target-height")),
        (("--to", TO, "--eye-height", "900"), ("the eye is 900 m", "--eye-height")),
        (("--to-feature", "High Top"), ("--to-feature", "--features")),
        (("--to", TO, "--beside", "5"), ("--beside", "--features")),
        (("--to", TO, "--exaggeration", "0", "--drawing", "x.svg"), ("exaggeration is 0", "--exaggeration")),
        (("--to", TO, "--exaggeration", "-2", "--drawing", "x.svg"), ("exaggeration is -2",)),
        (("--to", TO, "--exaggeration", "2"), ("--exaggeration", "--drawing")),
        (("--to", TO, "--drawing", "x.jpg"), (".svg, .png or .pdf", "x.svg")),
        (("--to", TO, "--to", "300200,699600", "--drawing", "x.svg"), ("these are 2", "--pictures")),
        (("--to", TO, "--csv", "x.gpkg"), ("CSV is text", "--csv")),
        (("--to", TO, "--drawing", "no/x.svg"), ("folder does not exist",)),
    ],
)
def test_what_makes_no_sense_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, given: tuple[str, ...], says: tuple[str, ...]
) -> None:
    monkeypatch.chdir(tmp_path)
    call = words(tmp_path, *given, "--out", "out.gpkg")
    assert_refused(tmp_path, *call, says=says)


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("High Topp", ("no feature is called 'High Topp'", "'High Top'")),
        ("Zzz", ("no feature is called", "nearest to the stations", "Square Wood")),
        ("Twin", ("2 features are called 'Twin'", "E 300100", "--to")),
    ],
)
def test_a_name_that_is_absent_or_means_several(tmp_path: Path, name: str, says: tuple[str, ...]) -> None:
    twins = geopandas.GeoDataFrame(
        {"name": ["Twin", "Twin"]},
        geometry=[shapely.Point(300_100, 699_900), shapely.Point(300_400, 699_500)],
        crs="EPSG:27700",
    )
    twins.to_file(tmp_path / "twins.gpkg")
    files = ("--features", features(tmp_path), "--features", tmp_path / "twins.gpkg")
    call = words(tmp_path, *files, "--to-feature", name, "--out", tmp_path / "out.gpkg")
    assert_refused(tmp_path, *call, says=says)


def test_a_station_on_a_void_and_one_at_the_edge(tmp_path: Path) -> None:
    path = write_geotiff(tmp_path / "holed.tif", with_hole(fractal(60, 60, seed=1), 5, 5, 12, 12), unit="m")
    call = ("profile", "--terrain", path, "--out", tmp_path / "out.gpkg")
    assert_refused(tmp_path, *call, "--at", "300100,699900", "--to", "300400,699500", says=("void",))
    assert_refused(
        tmp_path,
        *call,
        "--at",
        "300000,700000,Corner",
        "--bearing",
        "300",
        says=("the terrain ends at the feet",),
    )


def test_an_input_is_not_written_over(tmp_path: Path) -> None:
    path = terrain(tmp_path)
    shutil.copy(path, tmp_path / "copy.png")
    call = ("profile", "--terrain", tmp_path / "copy.png", "--at", AT, "--to", TO)
    assert_refused(tmp_path, *call, "--drawing", tmp_path / "copy.png", says=("one of the inputs",))


def test_other_columns_are_no_samples(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="columns"):
        write_profile_csv(tmp_path / "x.csv", pandas.DataFrame({"station": ["A"]}))
    assert not list(tmp_path.iterdir())


def test_real_ground_between_two_tops(tmp_path: Path) -> None:
    # OS Terrain 50: from the summit of 1,345 m to one of 1,083 m in the same square (heights from memory).
    path = shared_file("osterrain50_nn.tif")
    ended = done(
        *("profile", "--terrain", path, "--at", "216671,771281,Highest", "--to", "271388,754759,Far"),
        *("--eye-height", "10", "--csv", tmp_path / "x.csv"),
    )
    rows = list(csv.DictReader((tmp_path / "x.csv").open(encoding="utf-8", newline="")))
    assert float(rows[0]["height_m"]) == pytest.approx(1345, abs=10)
    assert float(rows[-1]["height_m"]) == pytest.approx(1083, abs=10)
    # Lowered by 0.87 d^2 / 2R at 57.2 km: 223 m (R = 6,381 km, from memory for this latitude).
    fall_m = float(rows[-1]["height_m"]) - float(rows[-1]["lowered_m"])
    assert fall_m == pytest.approx(0.87 * 57_157**2 / (2 * 6_381_000), rel=0.003)
    assert "From Highest to Far" in ended.out
