"""Everything that one `outlook` writes, read back by other readers and compared with what was computed."""

from __future__ import annotations

import csv
import hashlib
import json
import os
import re
import sqlite3
from math import pi
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pytest
import rasterio
import shapely

from hillsight.jobs.outlook import LAYERS as OUTLOOK_LAYERS
from hillsight.reading.outlook import Outlook, Request, look_out
from hillsight.schema.layers import LAYERS
from hillsight.sight.viewing import Viewing

from scripts.commands import Ended, done, features, terrain  # isort: skip

#: The layers of a run with map features and without landforms.
WRITTEN = {name: LAYERS[name] for name in OUTLOOK_LAYERS if name != "relations"}
PLACES = (("300297", "699704", "Cairn"), ("300180", "699620", "Fold"))
REACH_M = 200.0
OUT_CRS = {"own": None, "degrees": "EPSG:4326", "web": "EPSG:3857"}
_OGR_TYPES = {
    "text": {"String"},
    "real": {"Real"},
    "integer": {"Integer", "Integer64"},
    "boolean": {"Integer"},
}


def call(folder: Path, out_crs: str | None = None, out: Path | None = None) -> list[str | Path]:
    words: list[str | Path] = [
        "outlook",
        "--terrain",
        folder / "terrain.tif",
        "--features",
        folder / "features.gpkg",
    ]
    for place in PLACES:
        words += ["--at", ",".join(place)]
    words += ["--reach", f"{REACH_M:g}", "--date", "2026-06-01", "--out", out or folder / "out.gpkg"]
    return [*words, *(["--out-crs", out_crs] if out_crs else [])]


@pytest.fixture(scope="module", params=list(OUT_CRS))
def made(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Path, str | None, Ended]:
    folder: Path = tmp_path_factory.mktemp(request.param)
    terrain(folder)
    features(folder)
    out_crs = OUT_CRS[request.param]
    extra = ("--rasters", folder / "rasters", "--csv", folder / "list.csv", "--show-hidden")
    ended = done(*call(folder, out_crs), *extra)
    return folder, out_crs, ended


@pytest.fixture(scope="module")
def computed(tmp_path_factory: pytest.TempPathFactory) -> list[Outlook]:
    """The same reading, inside this process and without files."""
    from hillsight.ground.accuracy import ErrorModel
    from hillsight.ground.evidence import EvidenceTable
    from hillsight.ground.features import read_features
    from hillsight.ground.stations import parse_at, settle_stations
    from hillsight.ground.terrain import open_terrain
    from hillsight.ground.terrain_options import TerrainOptions

    folder = tmp_path_factory.mktemp("computed")
    ground = open_terrain(str(terrain(folder)), TerrainOptions()).on_metric_grid(-3.6, 56.1)
    places = [parse_at(",".join(place), ground.crs) for place in PLACES]
    stations, _, _ = settle_stations(places, ground.crs, ground.bounds_m, ground.near)
    listed, _, _ = read_features(
        [str(features(folder))],
        [],
        ground.crs,
        default_crs=None,
        table=EvidenceTable.load(None),
        near=ground.near,
    )
    errors = ErrorModel.guessed_from_spacing(max(ground.spacing_x_m, ground.spacing_y_m))
    request = Request(Viewing(reach_m=REACH_M), features=listed, errors=errors, doubt_ground=True)
    return [look_out(ground, station, request) for station in stations]


def test_every_layer_is_there_with_its_columns(made: tuple[Path, str | None, Ended]) -> None:
    folder, out_crs, _ = made
    with sqlite3.connect(folder / "out.gpkg") as database:
        tables = [
            row[0]
            for row in database.execute("SELECT table_name FROM gpkg_contents WHERE data_type='features'")
        ]
        assert set(tables) == set(WRITTEN)
        styled = {row[0] for row in database.execute("SELECT table_name FROM gpkgext_sa_reference")}
    assert styled >= set(WRITTEN)
    for name, layer in WRITTEN.items():
        frame = geopandas.read_file(folder / "out.gpkg", layer=name)
        assert [c for c in frame.columns if c != "geometry"] == [c.name for c in layer.columns], name
        assert frame.crs == (out_crs or "EPSG:27700"), name
        assert frame.geometry.is_valid.all(), name
        assert not frame.geometry.is_empty.any(), name
        kinds = {
            f"{kind} Z" if shape.has_z else kind
            for kind, shape in zip(frame.geom_type, frame.geometry, strict=True)
        }
        assert kinds <= {layer.geometry}, name
    assert len(geopandas.read_file(folder / "out.gpkg", layer="stations")) == len(PLACES)
    assert len(geopandas.read_file(folder / "out.gpkg", layer="bearing_list")) == 3 * len(PLACES)


def test_gdal_itself_agrees(made: tuple[Path, str | None, Ended]) -> None:
    """Another GDAL than the two that write: the bindings and utilities of the osgeo package."""
    ogr = pytest.importorskip("osgeo.ogr", reason="the peer gdal-wheel is not installed")
    ogr.UseExceptions()
    folder, out_crs, _ = made
    source = ogr.Open(str(folder / "out.gpkg"))
    for name, layer in WRITTEN.items():
        frame = geopandas.read_file(folder / "out.gpkg", layer=name)
        other = source.GetLayerByName(name)
        assert other.GetFeatureCount() == len(frame), name
        assert ogr.GeometryTypeToName(other.GetGeomType()) in (
            layer.geometry,
            f"3D {layer.geometry.removesuffix(' Z').replace('LineString', 'Line String')}",
            layer.geometry.replace("MultiPolygon", "Multi Polygon"),
            layer.geometry.replace("MultiLineString", "Multi Line String"),
        ), name
        authority = (out_crs or "EPSG:27700").removeprefix("EPSG:")
        assert other.GetSpatialRef().GetAuthorityCode(None) == authority, name
        definition = other.GetLayerDefn()
        fields = [definition.GetFieldDefn(i) for i in range(definition.GetFieldCount())]
        assert [field.GetName() for field in fields] == [column.name for column in layer.columns], name
        for field, column in zip(fields, layer.columns, strict=True):
            assert field.GetTypeName() in _OGR_TYPES[column.type], f"{name}.{column.name}"
        for row, feature in zip(frame.itertuples(), other, strict=True):
            shape = shapely.from_wkb(bytes(feature.GetGeometryRef().ExportToWkb()))
            assert feature.GetGeometryRef().IsValid(), name
            assert shapely.equals_identical(shape, row.geometry), name


def test_rasters_hold_what_was_computed(
    made: tuple[Path, str | None, Ended], computed: list[Outlook]
) -> None:
    folder, out_crs, _ = made
    for place, outlook in zip(PLACES, computed, strict=True):
        for kind, array in (("viewshed", outlook.states), ("depth", outlook.depth_m)):
            table = f"{kind}_{place[2].lower()}"
            with rasterio.open(f"GPKG:{folder / 'out.gpkg'}:{table}") as inside:
                stored, crs = inside.read(1), inside.crs
            with rasterio.open(folder / "rasters" / f"{table}.tif") as cog:
                assert cog.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
                np.testing.assert_array_equal(cog.read(1), stored)
                assert cog.crs == crs == rasterio.CRS.from_string(out_crs or "EPSG:27700")
            if out_crs is None:
                np.testing.assert_array_equal(stored, array)
                assert stored.dtype == array.dtype
            else:  # by the nearest post: no new value, and about the same shares of them
                known = set(np.unique(array[~np.isnan(array)])) | {0}
                assert set(np.unique(stored[~np.isnan(stored)])) <= known
                if kind == "viewshed":
                    # Common sense, no source: a tilted copy differs by posts at edges only.
                    assert (stored == 3).sum() / (stored > 0).sum() == pytest.approx(
                        (array == 3).sum() / (array > 0).sum(), abs=0.02
                    )


def test_gdal_reads_the_same_rasters(made: tuple[Path, str | None, Ended]) -> None:
    gdal = pytest.importorskip("osgeo.gdal", reason="the peer gdal-wheel is not installed")
    gdal.UseExceptions()
    folder, _, _ = made
    for path in sorted((folder / "rasters").iterdir()):
        with rasterio.open(path) as file:
            expected = file.read(1)
        inside = gdal.OpenEx(f"GPKG:{folder / 'out.gpkg'}:{path.stem}")
        band = inside.GetRasterBand(1)
        # GDAL shows byte tiles as colours with a transparency: the codes are the first band.
        np.testing.assert_array_equal(band.ReadAsArray(), expected)
        np.testing.assert_array_equal(gdal.Open(str(path)).ReadAsArray(), expected)


def test_areas_add_up(made: tuple[Path, str | None, Ended]) -> None:
    folder, out_crs, _ = made
    stations = geopandas.read_file(folder / "out.gpkg", layer="stations")
    parts = stations["visible_ha"] + stations["hidden_ha"] + stations["unknown_ha"]
    np.testing.assert_allclose(parts, stations["reach_ha"], rtol=1e-9, atol=0)
    # The reach is a polygon with the area of the circle.
    np.testing.assert_allclose(stations["reach_ha"], pi * REACH_M**2 / 10_000, rtol=1e-9, atol=0)
    if out_crs is None:
        for station in stations.itertuples():
            for layer, total in (
                ("visible_ground", station.visible_ha),
                ("dead_ground", station.hidden_ha),
                ("dead_ground_by_crest", station.hidden_ha),
                ("unknown_ground", station.unknown_ha),
            ):
                frame = geopandas.read_file(folder / "out.gpkg", layer=layer)
                mine = frame[frame["station"] == station.station]
                assert mine.area.sum() / 10_000 == pytest.approx(total, rel=1e-6, abs=1e-9), layer
                assert mine["area_ha"].sum() == pytest.approx(total, rel=1e-9, abs=1e-12), layer


def test_columns_hold_what_was_computed(
    made: tuple[Path, str | None, Ended], computed: list[Outlook]
) -> None:
    folder, _, _ = made
    for name in WRITTEN:
        back = geopandas.read_file(folder / "out.gpkg", layer=name)
        for outlook in computed:
            mine = back[back["station"] == outlook.label].reset_index(drop=True)
            frame = outlook.frames[name].reset_index(drop=True)
            assert len(mine) == len(frame), name
            for column in WRITTEN[name].columns:
                if "magnetic" in column.name or "declination" in column.name:
                    continue  # asked for on the command line only
                there, here = frame[column.name], mine[column.name]
                if column.type == "text":
                    assert list(here.astype(object).where(here.notna(), None)) == list(
                        there.astype(object).where(there.notna(), None)
                    ), f"{name}.{column.name}"
                else:
                    np.testing.assert_array_equal(
                        here.astype(float), there.astype(float), f"{name}.{column.name}"
                    )


def test_csv_holds_the_layer(made: tuple[Path, str | None, Ended]) -> None:
    folder, _, _ = made
    layer = geopandas.read_file(folder / "out.gpkg", layer="bearing_list")
    with (folder / "list.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == len(layer)
    assert set(rows[0]) == {*(c.name for c in WRITTEN["bearing_list"].columns), "easting_m", "northing_m"}
    for text, row in zip(rows, layer.to_dict("records"), strict=True):
        for column in WRITTEN["bearing_list"].columns:
            value: Any = row[column.name]
            if value is None or value != value:  # null
                assert text[column.name] == "", column.name
            elif column.type == "real":
                # Two decimals for angles, one for metres, three for shares: half a step at most.
                step = (
                    0.005 if column.name.endswith("_deg") else 0.05 if column.name.endswith("_m") else 0.0005
                )
                assert float(text[column.name]) == pytest.approx(value, abs=step * 1.001), column.name
            else:
                assert text[column.name].removesuffix(".0") == str(value).removesuffix(".0"), column.name
        # The CSV's place is in the working grid, whatever the CRS of the layer.
        assert 300_000 < float(text["easting_m"]) < 300_600
        assert 699_400 < float(text["northing_m"]) < 700_010


def test_table_on_the_terminal_has_every_feature(made: tuple[Path, str | None, Ended]) -> None:
    _, _, ended = made
    for place in PLACES:
        start = ended.out.index(f"From {place[2]}, left to right")
        section = ended.out[start:].split("Bearings in degrees")[0]
        for feature in ("High Top", "Long Beck", "Square Wood"):
            assert section.count(feature) == 1
    assert f"wrote {made[0] / 'out.gpkg'}" in ended.out


def test_provenance_says_where_it_comes_from(made: tuple[Path, str | None, Ended]) -> None:
    folder, out_crs, _ = made
    with sqlite3.connect(folder / "out.gpkg") as database:
        texts = [row[0] for row in database.execute("SELECT metadata FROM gpkg_metadata")]
    told = [json.loads(text) for text in texts if text.lstrip().startswith("{") and '"inputs"' in text]
    assert told
    for document in told:
        assert document["script"] == "outlook"
        sums = {item["name"]: item["sha256"] for item in document["inputs"]}
        for name in ("terrain.tif", "features.gpkg"):
            assert sums[name] == hashlib.sha256((folder / name).read_bytes()).hexdigest()
        parameters = document["parameters"]
        assert parameters["reach_m"] == REACH_M
        assert parameters["eye_height_m"] == 1.6
        assert parameters["target_height_m"] == 0
        assert parameters["refraction"] == 0.13
        assert parameters["out_crs"] == out_crs
        assert parameters["date"] == "2026-06-01"
        assert parameters["at"] == [",".join(place) for place in PLACES]
        assert str(folder) not in json.dumps(document)
        assert {"rasterio", "pyproj", "numpy"} <= set(document["versions"])
        assert all({"name", "accuracy_m"} <= set(operation) for operation in document["operations"])
        assert sum(item.get("of") == "output" for item in document["operations"]) == (out_crs is not None)
    with rasterio.open(folder / "rasters" / "viewshed_cairn.tif") as file:
        assert json.loads(file.tags()["HILLSIGHT_PROVENANCE"])["inputs"] == told[0]["inputs"]


@pytest.mark.parametrize("name", ["../a place/terrain.tif", "GTIFF_DIR:1:{}/a place/terrain.tif"])
def test_no_folder_of_a_name_given_in_any_way(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    folder = tmp_path / "a place"
    folder.mkdir()
    terrain(folder)
    monkeypatch.chdir(folder)
    done(
        "viewshed",
        "--terrain",
        name.format(tmp_path),
        "--at",
        "300297,699704",
        "--reach",
        "50",
        "--out",
        "o.gpkg",
    )
    assert b"a place" not in (folder / "o.gpkg").read_bytes()
    assert b"terrain.tif" in (folder / "o.gpkg").read_bytes()


def test_all_parameters_are_recorded(made: tuple[Path, str | None, Ended]) -> None:
    """Every option of the command but those that only say where to write, or how pictures are printed."""
    import click

    from hillsight.scripts.main import main

    folder, _, _ = made
    command = main.get_command(click.Context(main), "outlook")
    assert command is not None
    names = {option.name for option in command.params if option.expose_value} - {
        "out",
        "csv",
        "rasters",
        "quiet",
        "pictures",
        "picture_format",
        "dots_per_inch",
        "white_paper",
        "show_hidden",
        "help",
    }
    with sqlite3.connect(folder / "out.gpkg") as database:
        text = next(
            r[0] for r in database.execute("SELECT metadata FROM gpkg_metadata") if '"parameters"' in r[0]
        )
    recorded = {re.sub(r"_(m|ha|true_deg|deg)$", "", name) for name in json.loads(text)["parameters"]}
    assert recorded == names


def test_styles_lie_beside_the_file(made: tuple[Path, str | None, Ended]) -> None:
    folder, _, _ = made
    beside = {path.stem for path in (folder / "out_styles").iterdir()}
    assert beside == {*WRITTEN, "viewshed", "depth"}


def test_a_second_run_is_the_same_byte_for_byte(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1780000000")
    terrain(tmp_path)
    features(tmp_path)
    digests = []
    for name in ("first", "second"):
        folder = tmp_path / name
        folder.mkdir()
        extra = ("--rasters", folder / "rasters", "--csv", folder / "list.csv", "--show-hidden")
        done(*call(tmp_path, out=folder / "out.gpkg"), *extra)
        digests.append(
            {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}
        )
    assert set(digests[0]) == set(digests[1])
    assert len(digests[0]) == 1 + 1 + 2 * len(PLACES) + len(WRITTEN) + 2
    for name in digests[0]:
        assert digests[0][name] == digests[1][name], name
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1780000001")
    done(*call(tmp_path, out=tmp_path / "first" / "out.gpkg"))
    assert (tmp_path / "first" / "out.gpkg").read_bytes() != digests[0]["out.gpkg"]


def test_nonsense_in_source_date_epoch(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from scripts.commands import assert_refused

    monkeypatch.setenv("SOURCE_DATE_EPOCH", "yesterday")
    terrain(tmp_path)
    features(tmp_path)
    assert_refused(tmp_path, *call(tmp_path), says=("SOURCE_DATE_EPOCH", "'yesterday'", "Unset it"))
    assert os.environ["SOURCE_DATE_EPOCH"] == "yesterday"
