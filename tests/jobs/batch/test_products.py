"""Shares, stretches, sight between stations, chances, and the files about tiles."""

from __future__ import annotations

import json
import socket
import subprocess
import sys
from pathlib import Path

import geopandas
import numpy as np
import pyogrio
import pytest
import rasterio
import shapely

import hillsight
from hillsight.jobs.batch.job_file import json_schema, read_job, template
from jobs.batch.batch_jobs import JOB, NORTH, POSTS, SPACING, WEST, made, stations, whole

ASKED = (
    JOB.replace("least_depth = true\n", "")
    .replace(
        "nearest = true\n",
        "matrix = true\nchances = true\nviewsheds = true\n"
        'share = "areas.gpkg"\npaths = "paths.gpkg"\nstretch_m = 250\n',
    )
    .replace("tile_posts = 64", "tile_posts = 64\nparquet = true\nstac = true")
)


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job with all that can be made beside counts."""
    pytest.importorskip("pyarrow", reason="pyarrow is not installed")
    pytest.importorskip("pystac", reason="pystac is not installed")
    folder = tmp_path_factory.mktemp("products")
    job = made(folder, ASKED)
    areas = [
        shapely.Point(WEST + 603, NORTH - 904).buffer(433),
        shapely.box(WEST + 2_100, NORTH - 300, WEST + 2_250, NORTH - 100),
    ]
    geopandas.GeoDataFrame({"name": ["moor", "far wood"]}, geometry=areas, crs=27700).to_file(
        folder / "areas.gpkg"
    )
    path = shapely.LineString([(WEST + 103, NORTH - 204), (WEST + 1_003, NORTH - 1_404)])
    geopandas.GeoDataFrame({"name": ["ridge"]}, geometry=[path], crs=27700).to_file(folder / "paths.gpkg")
    hillsight.batch(job, out=folder / "out", workers=1)
    return folder


def test_shares_are_cells_counted_one_by_one(done: Path) -> None:
    told = geopandas.read_file(done / "out" / "batch.gpkg", layer="area_shares")
    counted = whole(done / "out", "visible_count", 65535)
    row, column = np.indices((POSTS, POSTS))
    areas = geopandas.read_file(done / "areas.gpkg").geometry
    for area, line in zip(areas, told.itertuples(), strict=True):
        # A post on an edge belongs to the area in its north and east.
        inside = shapely.contains_xy(area, WEST + SPACING * column + 1e-4, NORTH - SPACING * row + 1e-4)
        asked = inside & (counted != 65535)
        assert line.area_ha == pytest.approx(inside.sum() * 0.01)
        assert line.asked_ha == pytest.approx(asked.sum() * 0.01)
        assert line.seen_ha == pytest.approx((asked & (counted > 0)).sum() * 0.01)
    assert 0 < told.seen_share[0] < 1
    assert told.area_ha[1] == 150 * 200 / 10_000  # its corners are posts
    assert told.asked_ha[1] == 0
    assert np.isnan(told.seen_share[1])


def test_stretches_cover_the_path_and_tell_its_cells(done: Path) -> None:
    told = geopandas.read_file(done / "out" / "batch.gpkg", layer="path_stretches")
    assert told.from_m.tolist() == [0, 250, 500, 750, 1000, 1250]  # of 1,500 m, a triangle of 3, 4 and 5
    counted = whole(done / "out", "visible_count", 65535)
    for line in told.itertuples():
        along = line.from_m + (np.arange(25) + 0.5) * 10.0
        x, y = 103 + along * 0.6, 204 + along * 0.8
        counts = counted[np.floor(y / SPACING + 0.5).astype(int), np.floor(x / SPACING + 0.5).astype(int)]
        asked = counts != 65535
        assert line.asked_share == pytest.approx(asked.mean())
        if asked.any():
            assert line.seen_share == pytest.approx((counts[asked] > 0).mean())
            assert line.most_stations == counts[asked].max()


def test_stations_that_see_each_other_do_so_both_ways(done: Path) -> None:
    """A straight line between two eyes is one line, whoever looks; each pair within the reach stands once."""
    told = geopandas.read_file(done / "out" / "batch.gpkg", layer="station_sight")
    states = {(a, b): s for a, b, s in zip(told.from_number, told.to_number, told.state, strict=True)}
    assert len(states) == len(told)
    frame = stations()
    x, y = frame.geometry.x.to_numpy(), frame.geometry.y.to_numpy()
    away = np.hypot(x[:, None] - x, y[:, None] - y)
    within = (away <= frame["reach_m"].to_numpy()[:, None]) & ~np.eye(len(frame), dtype=bool)
    assert set(states) == {(a + 1, b + 1) for a, b in np.argwhere(within)}
    both = [(states[a, b], states[b, a]) for a, b in states if a < b and (b, a) in states]
    assert len(both) >= 5
    assert all(one == other for one, other in both)
    assert {"visible", "hidden"} <= set(states.values())


def test_chances_are_those_of_the_viewsheds_added_up(done: Path) -> None:
    total, best = np.zeros((POSTS, POSTS)), np.full((POSTS, POSTS), np.nan)
    for place in stations().itertuples():
        alone = hillsight.viewshed(
            done / "ground.tif",
            at=[(place.geometry.x, place.geometry.y)],
            at_crs="EPSG:27700",
            reach=place.reach_m,
            eye_height=place.eye_height_m,
            target_height=0.5,
            probability=True,
        )
        (raster,) = (r for name, r in alone.rasters.items() if name.startswith("probability"))
        row = round((NORTH + SPACING / 2 - raster.transform[5]) / SPACING)
        column = round((raster.transform[2] - WEST + SPACING / 2) / SPACING)
        at = np.s_[row : row + raster.array.shape[0], column : column + raster.array.shape[1]]
        total[at] += np.nan_to_num(raster.array)
        best[at] = np.fmax(best[at], raster.array)
    told = whole(done / "out", "expected_count", np.nan)
    assert np.array_equal(np.isnan(told), np.isnan(best))
    known = ~np.isnan(best)
    # Each of at most 14 chances is rounded to a thousandth.
    assert np.abs(told[known] - total[known]).max() < 14 * 0.0005 + 1e-6
    highest = whole(done / "out", "best_chance", np.nan)
    assert np.abs(highest[known] - best[known]).max() < 0.0005 + 1e-6


def test_each_station_has_its_layer(done: Path) -> None:
    told = geopandas.read_file(done / "out" / "batch.gpkg", layer="batch_stations")
    for line in told.itertuples():
        with rasterio.open(done / "out" / line.viewshed) as file:
            assert (file.read(1) == 3).sum() == line.visible_cells


def test_the_mosaic_is_the_tiles(done: Path) -> None:
    counted = whole(done / "out", "visible_count", 65535)
    with rasterio.open(done / "out" / "visible_count.vrt") as file:
        row = round((NORTH + SPACING / 2 - file.transform.f) / SPACING)
        column = round((file.transform.c - WEST + SPACING / 2) / SPACING)
        held = counted[row : row + file.height, column : column + file.width]
        assert np.array_equal(file.read(1), held)
        assert (counted != 65535).sum() == (held != 65535).sum()
        assert json.loads(file.tags()["HILLSIGHT_PROVENANCE"])["script"] == "batch"


def test_tables_are_geoparquet(done: Path) -> None:
    import pyarrow.parquet

    for layer in ("batch_stations", "station_sight", "area_shares", "path_stretches"):
        path = done / "out" / "tables" / f"{layer}.parquet"
        told, there = (
            geopandas.read_parquet(path),
            geopandas.read_file(done / "out" / "batch.gpkg", layer=layer),
        )
        assert told.crs == there.crs
        assert len(told) == len(there)
        metadata = pyarrow.parquet.read_schema(path).metadata
        assert json.loads(metadata[b"HILLSIGHT_PROVENANCE"])["script"] == "batch"


def test_stac_holds_before_pystac(done: Path) -> None:
    import pystac

    collection = pystac.Collection.from_file(str(done / "out" / "stac" / "collection.json"))
    items = list(collection.get_items())
    assert len(items) == sum(1 for _ in (done / "out" / "visible_count").glob("*.tif"))
    for item in items:
        again = pystac.Item.from_dict(item.to_dict(include_self_link=False), preserve_dict=False)
        assert again.bbox == item.bbox
        for asset in item.assets.values():
            assert Path(asset.get_absolute_href()).is_file()
        left, low, right, high = item.bbox
        assert (
            collection.extent.spatial.bboxes[0][0] <= left < right <= collection.extent.spatial.bboxes[0][2]
        )
        assert -8 < left < 2
        assert 49 < low < high < 61


def stac_faults(document: dict) -> list[str]:
    """What the JSON schemas of STAC 1.1 and of GeoJSON, which pystac brings, say against a document."""
    jsonschema = pytest.importorskip("jsonschema", reason="jsonschema is not installed")
    from pystac.validation.local_validator import get_local_schema_cache
    from referencing import Registry, Resource

    schemas = get_local_schema_cache()
    kind = "collection" if document["type"] == "Collection" else "item"
    uri = f"https://schemas.stacspec.org/v{document['stac_version']}/{kind}-spec/json-schema/{kind}.json"
    registry = Registry().with_resources([(k, Resource.from_contents(v)) for k, v in schemas.items()])
    judge = jsonschema.Draft7Validator(
        schemas[uri], registry=registry, format_checker=jsonschema.Draft7Validator.FORMAT_CHECKER
    )
    return [error.message for error in judge.iter_errors(document)]


def test_stac_holds_before_its_json_schemas(done: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A schema that is not at hand is an error here: none is fetched."""

    def connect(*_: object) -> None:
        raise AssertionError("a test asked the network")

    monkeypatch.setattr(socket.socket, "connect", connect)
    documents = [json.loads(p.read_text("utf-8")) for p in sorted((done / "out" / "stac").glob("*.json"))]
    assert [d["type"] for d in documents].count("Collection") == 1
    assert len(documents) > 5
    for document in documents:
        assert stac_faults(document) == []
    item = next(d for d in documents if d["type"] == "Feature")
    for damage in ({"bbox": [1, 2, 3]}, {"properties": {}}, {"stac_version": "1.1.0", "links": None}):
        assert stac_faults({**item, **damage})
    collection = next(d for d in documents if d["type"] == "Collection")
    assert stac_faults({**collection, "license": None})


def test_where_stac_says_the_tiles_lie_is_where_gdal_finds_them(done: Path) -> None:
    """The projection extension as pystac reads it, and the outline as pyproj carries the corners."""
    import pyproj
    import pystac
    from pystac.extensions.projection import ProjectionExtension

    to_degrees = pyproj.Transformer.from_crs(27700, 4326, always_xy=True)
    collection = pystac.Collection.from_file(str(done / "out" / "stac" / "collection.json"))
    for item in collection.get_items():
        told = ProjectionExtension.ext(item)
        for asset in item.assets.values():
            with rasterio.open(asset.get_absolute_href()) as file:
                assert told.code == f"EPSG:{file.crs.to_epsg()}"
                assert tuple(told.shape) == file.shape
                assert told.transform == pytest.approx(list(file.transform)[:6])
                corners = to_degrees.transform(
                    [file.bounds.left, file.bounds.right], [file.bounds.bottom, file.bounds.top]
                )
        # The ways between the two systems differ by metres, which is 1e-4 degrees.
        ring = shapely.geometry.shape(item.geometry)
        for x, y in zip(*corners, strict=True):
            assert ring.exterior.distance(shapely.Point(x, y)) < 1e-4
        assert ring.bounds == pytest.approx(tuple(item.bbox))


def test_the_index_is_a_geopackage_and_its_layers_open(done: Path) -> None:
    """By GDAL's validator (OGC 12-128r18), by its vector driver and by geopandas."""
    gpkg = done / "out" / "batch.gpkg"
    pytest.importorskip("osgeo_utils.samples.validate_gpkg", reason="gdal-wheel is not installed")
    from osgeo import ogr

    judged = subprocess.run(
        [sys.executable, "-m", "osgeo_utils.samples.validate_gpkg", "-k", str(gpkg)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert judged.returncode == 0, judged.stdout + judged.stderr
    layers = [str(name) for name, _ in pyogrio.list_layers(gpkg)]
    assert {"batch_stations", "batch_tiles", "batch_parts", "area_shares", "path_stretches"} <= set(layers)
    with ogr.ExceptionMgr():
        source = ogr.Open(str(gpkg))
        for name in layers:
            frame, layer = geopandas.read_file(gpkg, layer=name), source.GetLayerByName(name)
            assert len(frame) == layer.GetFeatureCount()
            fields = [
                layer.GetLayerDefn().GetFieldDefn(k).GetName()
                for k in range(layer.GetLayerDefn().GetFieldCount())
            ]
            assert [c for c in frame.columns if c != "geometry"] == fields
            assert frame.crs.to_epsg() == 27700


def test_every_raster_is_cloud_optimised(done: Path, tmp_path: Path) -> None:
    """By GDAL's validator, which finds fault with the same raster written in strips."""
    cog = pytest.importorskip(
        "osgeo_utils.samples.validate_cloud_optimized_geotiff", reason="gdal-wheel is not installed"
    )
    rasters = sorted((done / "out").rglob("*.tif"))
    kinds = {path.parent.name for path in rasters}
    assert {"visible_count", "first_station", "visible_weight", "expected_count", "best_chance"} <= kinds
    for raster in rasters:
        warnings, errors, _ = cog.validate(str(raster), full_check=True)
        assert (warnings, errors) == ([], []), raster
        with rasterio.open(raster) as file:
            assert max(file.shape) <= 512 or file.overviews(1)
    big = np.arange(600 * 600, dtype=np.uint16).reshape(600, 600)
    profile = {"driver": "GTiff", "width": 600, "height": 600, "count": 1, "dtype": "uint16"}
    with rasterio.open(tmp_path / "strips.tif", "w", **profile) as file:
        file.write(big, 1)
    warnings, errors, _ = cog.validate(str(tmp_path / "strips.tif"), full_check=True)
    assert warnings + errors


def test_the_template_is_a_job_and_so_says_the_schema(tmp_path: Path) -> None:
    jsonschema = pytest.importorskip("jsonschema", reason="jsonschema is not installed")
    import tomllib

    full = "\n".join(line.removeprefix("#") if line[1:2] != " " else line for line in template().splitlines())
    for number, text in enumerate((template(), full)):
        path = tmp_path / f"{number}.toml"
        path.write_text(text, encoding="utf-8")
        read_job(str(path))
        jsonschema.Draft202012Validator(json_schema()).validate(tomllib.loads(text))


def test_lines_and_areas_have_stations_along_and_in_them(tmp_path: Path) -> None:
    shapes = [
        shapely.LineString([(WEST + 500, NORTH - 500), (WEST + 500, NORTH - 1_000)]),
        shapely.box(WEST + 790, NORTH - 1_510, WEST + 1_010, NORTH - 1_390),
    ]
    frame = geopandas.GeoDataFrame({"name": ["path", "field"]}, geometry=shapes, crs=27700)
    job = made(tmp_path, JOB.replace("[looking]", "every_m = 100\n[looking]"), frame)
    result = hillsight.batch(job, out=tmp_path / "out", workers=1)
    told = result.frames["batch_stations"]
    assert list(told.station) == ["path"] * 5 + ["field"] * 6
    assert set(told.northing_m[:5]) == {NORTH - 500 - 100 * k for k in range(5)}
    assert set(told.easting_m[5:]) == {WEST + 800, WEST + 900, WEST + 1_000}
