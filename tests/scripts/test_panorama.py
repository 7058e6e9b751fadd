"""hillsight panorama: files, words, and everything it refuses."""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import geopandas
import numpy as np
import pytest
import shapely
from PIL import Image

from hillsight.schema.cameras import CAMERAS
from hillsight.schema.panorama import PANORAMA_LAYERS
from shared_data import shared_file
from terrains import fractal, write_geotiff

from scripts.commands import AT, assert_refused, done, features, terrain  # isort: skip


def words(folder: Path, *more: str | Path) -> tuple[str | Path, ...]:
    return ("panorama", "--terrain", terrain(folder), "--at", AT, *more)


def layers_of(path: Path) -> dict[str, geopandas.GeoDataFrame]:
    return {layer.name: geopandas.read_file(path, layer=layer.name) for layer in PANORAMA_LAYERS}


def test_everything_is_written(tmp_path: Path) -> None:
    out, drawing = tmp_path / "out.gpkg", tmp_path / "view.svg"
    ended = done(
        *words(tmp_path, "--features", features(tmp_path), "--date", "2026-06-01", "--north", "magnetic"),
        *("--out", out, "--drawing", drawing, "--pictures", tmp_path / "drawn"),
    )
    layers = layers_of(out)
    for layer in PANORAMA_LAYERS:
        assert list(layers[layer.name].columns) == [*(c.name for c in layer.columns), "geometry"]
    pictures = layers["panorama_frames"]
    assert set(pictures["station"]) == {"Cairn"} and set(pictures["projection"]) == {"cylinder"}
    # All round, from magnetic north on: at E 300297 N 699704 it lies some degree west of true north in 2026.
    assert pictures["bearing_from_true_deg"].iloc[0] == pytest.approx(
        pictures["bearing_to_true_deg"].iloc[-1]
    )
    assert (
        357 < pictures["bearing_from_true_deg"].iloc[0] < 360 or pictures["bearing_from_true_deg"].iloc[0] < 3
    )
    points = layers["panorama_points"]
    assert set(points["name"].dropna()) <= {"High Top", "Long Beck", "Square Wood"} and len(points)
    for row in points.itertuples(index=False):
        gap = (row.bearing_true_deg - row.bearing_magnetic_deg + 180) % 360 - 180
        assert abs(gap) < 5 and gap != 0
    drawn = tmp_path / "drawn" / "panorama_cairn.png"
    assert drawn.read_bytes().startswith(b"\x89PNG\r\n\x1a\n")  # the signature of ISO/IEC 15948
    text = drawing.read_text(encoding="utf-8")
    assert "The view from Cairn" in text and ">magnetic<" in text and text.rstrip().endswith("</svg>")
    assert all(str(path) in ended.out for path in (out, drawing, drawn))
    assert ended.out.startswith("Cairn: ")


def test_the_package_is_valid_and_says_where_it_comes_from(tmp_path: Path) -> None:
    pytest.importorskip("osgeo_utils.samples.validate_gpkg", reason="gdal-wheel is not installed")
    out = tmp_path / "out.gpkg"
    done(*words(tmp_path, "--looks", "NW", "--width", "70", "--out", out))
    # Source: GDAL's validator against the GeoPackage encoding standard, OGC 12-128r18.
    verdict = subprocess.run(
        [sys.executable, "-m", "osgeo_utils.samples.validate_gpkg", "-k", str(out)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert verdict.returncode == 0, verdict.stdout + verdict.stderr
    with closing(sqlite3.connect(out)) as database:
        text = database.execute("SELECT metadata FROM gpkg_metadata ORDER BY id LIMIT 1").fetchone()[0]
    document = json.loads(text)
    assert document["script"] == "panorama"
    assert document["parameters"]["width_deg"] == 70.0
    assert str(tmp_path) not in text


def test_a_sector_has_the_edges_that_are_asked_for(tmp_path: Path) -> None:
    for way in (("--looks", "30", "--width", "50"), ("--from-bearing", "5", "--to-bearing", "55")):
        out = tmp_path / "out.gpkg"
        done(*words(tmp_path, *way, "--out", out))
        (picture,) = layers_of(out)["panorama_frames"].to_dict("records")
        assert picture["bearing_from_true_deg"] == pytest.approx(5.0)
        assert picture["bearing_to_true_deg"] == pytest.approx(55.0)
        # Convergence at E 300297 N 699704 of EPSG:27700 is about -1.3 degrees (west of the central meridian).
        assert picture["bearing_left_grid_deg"] == pytest.approx(6.3, abs=0.1)


def test_a_bare_camera_view_has_the_size_of_the_photograph(tmp_path: Path) -> None:
    picture, out = tmp_path / "view.png", tmp_path / "out.gpkg"
    camera = ("--looks", "140", "--width", "55", "--size", "640x480", "--tilt", "-4", "--roll", "2")
    done(*words(tmp_path, *camera, "--bare", "--drawing", picture, "--out", out))
    assert Image.open(picture).size == (640, 480)
    (row,) = layers_of(out)["panorama_frames"].to_dict("records")
    assert (row["projection"], row["width_px"], row["height_px"]) == ("camera", 640, 480)
    # Half of 640 pixels over the tangent of 27.5 degrees.
    assert row["focal_px"] == pytest.approx(320 / np.tan(np.radians(27.5)))
    assert (row["tilt_deg"], row["roll_deg"]) == (-4.0, 2.0)
    assert (row["sheet_x_px"], row["sheet_y_px"]) == (0.0, 0.0)
    lines = layers_of(out)["panorama_lines"]
    places = np.concatenate(
        [shapely.get_coordinates(shapely.from_wkt(text)) for text in lines["picture_wkt"]]
    )
    assert places.min() >= -0.01 and places[:, 0].max() <= 640.01 and places[:, 1].max() <= 480.01


def camera_file(folder: Path, **changes) -> Path:
    """The layer ``cameras`` with one camera, as the schema has it."""
    values = {
        "heading_true_deg": 140.0, "heading_grid_deg": 141.3, "tilt_deg": -4.0, "roll_deg": 2.0,
        "focal_px": 614.0, "width_deg": 55.0, "principal_x_px": 330.0, "principal_y_px": 235.0, "radial": 0.0,
        "easting_m": 300_300.0, "northing_m": 699_700.0, "width_px": 640, "height_px": 480,
        "station": "Cairn", **changes,
    }  # fmt: skip
    kinds = {"text": "", "real": 0.0, "integer": 0, "boolean": False}
    row = {column.name: [values.get(column.name, kinds[column.type])] for column in CAMERAS.columns}
    point = shapely.Point(300_300, 699_700, 150)
    path = folder / "cameras.gpkg"
    geopandas.GeoDataFrame(row, geometry=[point], crs="EPSG:27700").to_file(path, layer="cameras")
    return path


def test_a_camera_of_a_file_is_the_one_that_is_drawn(tmp_path: Path) -> None:
    picture, out = tmp_path / "view.png", tmp_path / "out.gpkg"
    camera = camera_file(tmp_path)
    done(*words(tmp_path, "--camera", camera, "--bare", "--drawing", picture, "--out", out))
    assert Image.open(picture).size == (640, 480)
    (row,) = layers_of(out)["panorama_frames"].to_dict("records")
    assert (row["heading_grid_deg"], row["focal_px"], row["easting_m"]) == (141.3, 614.0, 300_300.0)
    refused = ("--camera", camera_file(tmp_path, station="Elsewhere"))
    assert_refused(tmp_path, *words(tmp_path, *refused), says=("'Cairn'", "Elsewhere", "--camera"))
    assert_refused(tmp_path, *words(tmp_path, "--camera", terrain(tmp_path)), says=("cameras", "resect"))
    assert_refused(
        tmp_path, *words(tmp_path, "--camera", camera, "--looks", "N"), says=("--camera", "--looks")
    )


def test_many_stations_go_into_a_folder(tmp_path: Path) -> None:
    done(*words(tmp_path, "--at", "300400,699500,Second", "--looks", "N", "--pictures", tmp_path / "drawn"))
    assert sorted(path.name for path in (tmp_path / "drawn").iterdir()) == [
        "panorama_cairn.png", "panorama_second.png"
    ]  # fmt: skip


def test_ground_too_near_to_be_known_is_told_of(tmp_path: Path) -> None:
    ground = fractal(60, 60, seed=1, relief_m=10, lowest_m=100)
    ground[30, 30] += 40  # a spike, and an eye four metres beside it
    path = write_geotiff(tmp_path / "spike.tif", ground, west=300_000.0, north=700_000.0)
    ended = done("panorama", "--terrain", path, "--at", "300304,699700,Beside", "--quiet")
    (note,) = [note for note in ended.notes if "nearer than the posts stand apart" in note]
    assert note.startswith("Beside: over ")


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (("--looks", "uphill"), ("uphill", "--looks")),
        (("--looks", "N", "--from-bearing", "20"), ("--looks", "--from-bearing")),
        (("--to-bearing", "20"), ("--to-bearing", "--from-bearing")),
        (("--looks", "N", "--width", "400"), ("400", "--width")),
        (("--looks", "N", "--width", "180", "--size", "640x480"), ("180",)),
        (("--size", "640x480"), ("--size", "--looks")),
        (("--looks", "N", "--size", "640"), ("640", "--size")),
        (("--looks", "N", "--size", "90000x90000"), ("megapixels",)),
        (("--tilt", "5"), ("--tilt", "--size")),
        (("--looks", "N", "--size", "640x480", "--tilt", "89"), ("--tilt",)),
        (("--looks", "N", "--size", "640x480", "--exaggeration", "2"), ("--exaggeration",)),
        (("--north", "magnetic"), ("--date",)),
        (("--date", "1999-01-01", "--north", "magnetic"), ("1999",)),
        (("--light", "200"), ("--light", "--style")),
        (("--exaggeration", "0"), ("--exaggeration",)),
        (("--reach", "-5"), ("--reach",)),
        (("--eye-height", "900"), ("--eye-height",)),
        (("--bare", "--beside"), ("--bare", "--beside")),
        (("--drawing", "view.bmp"), ("view.bmp", ".svg")),
        (("--at", "300400,699500,Second", "--drawing", "view.svg"), ("--beside", "--pictures")),
        (("--at", "200000,100000,Far away"), ("Far away",)),
    ],
)
def test_what_makes_no_sense_is_refused(tmp_path: Path, more, says) -> None:
    terrain(tmp_path)
    placed = [tmp_path / word if str(word).startswith("view.") else word for word in more]
    assert_refused(tmp_path, *words(tmp_path, *placed), says=says)


def test_an_input_is_not_drawn_over(tmp_path: Path) -> None:
    path = terrain(tmp_path)
    link = tmp_path / "ground.svg"
    link.symlink_to(path)
    assert_refused(tmp_path, *words(tmp_path, "--drawing", link), says=("ground.svg",))


def test_real_ground_shows_a_far_top_where_geometry_puts_it(tmp_path: Path) -> None:
    # OS Terrain 50 (Open Government Licence v3). Two tops of 1,214 m and 1,174 m in it, from memory: from
    # E 263556 N 741414 the one at E 243280 N 724415 lies at atan2(-20276, -16999) from grid north and
    # 26.5 km off (plane trigonometry), and it is seen from there.
    frame = geopandas.GeoDataFrame(
        {"name": ["Far top"], "kind": ["summit"], "target_height_m": [10.0]},
        geometry=[shapely.Point(243_280, 724_415)],
        crs="EPSG:27700",
    )
    frame.to_file(tmp_path / "tops.gpkg")
    out = tmp_path / "out.gpkg"
    done(
        "panorama", "--terrain", shared_file("osterrain50_nn.tif"), "--at", "263556,741414,Here",
        "--features", tmp_path / "tops.gpkg", "--looks", "230", "--width", "40", "--out", out, "--quiet",
    )  # fmt: skip
    (top,) = layers_of(out)["panorama_points"].to_dict("records")
    assert top["bearing_grid_deg"] == pytest.approx(360 + np.degrees(np.arctan2(-20_276, -16_999)))
    assert top["distance_m"] == pytest.approx(np.hypot(20_276, 16_999), rel=5e-4)
    assert top["state"] == "visible"
