"""A script's work by batch is what the script finds of all stations at once, whoever did it and how often."""

from __future__ import annotations

import json
import os
import shutil
import signal
import sqlite3
import subprocess
import time
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas
import jsonschema
import numpy as np
import pandas as pd
import pyogrio
import pytest
import rasterio
import shapely

import hillsight
from hillsight.errors import BatchError, HillsightError, TerrainError
from hillsight.jobs.batch import job_file, work_merge
from hillsight.jobs.batch.work_script import station_scripts
from hillsight.layers.contents import written_rasters
from hillsight.schema.layers import LAYERS
from jobs.batch.batch_jobs import JOB, NORTH, WEST, WORK, digests, features, ground, made, thirty
from scripts.commands import process
from scripts.test_third_party_script import package

if TYPE_CHECKING:
    from collections.abc import Iterator


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The job done by one worker, its results in ``out``."""
    folder = tmp_path_factory.mktemp("work")
    job = made(folder, WORK, thirty())
    features(folder)
    result = hillsight.batch(job, out=folder / "out", workers=1)
    assert (result.stations, result.refused, result.parts) == (30, 0, 0)
    assert result.work_parts > 2
    return folder


def assert_same(one: Path, other: Path) -> None:
    """Two GeoPackages hold the same layers with the same rows in the same order, and the same rasters."""
    names = [list(map(str, pyogrio.list_layers(path)[:, 0])) for path in (one, other)]
    assert names[0] == names[1]
    assert len(names[0]) > 0
    for name in names[0]:
        left, right = (pyogrio.read_dataframe(path, layer=name) for path in (one, other))
        pd.testing.assert_frame_equal(pd.DataFrame(left), pd.DataFrame(right), obj=name)
        assert left.crs == right.crs
    rasters = [{(r.station, r.kind): r for r in written_rasters(path)} for path in (one, other)]
    assert rasters[0].keys() == rasters[1].keys()
    for key, raster in rasters[0].items():
        assert raster == rasters[1][key]
        options = {"BAND_COUNT": 1} if raster.kind == "viewshed" else {}
        arrays = []
        for path in (one, other):
            with rasterio.open(path, driver="GPKG", TABLE=raster.table, **options) as file:
                arrays.append((file.read(1), file.transform, file.crs))
        assert np.array_equal(arrays[0][0], arrays[1][0], equal_nan=raster.kind != "viewshed")
        assert arrays[0][1:] == arrays[1][1:]


@pytest.mark.slow
def test_outlooks_by_batch_are_those_of_all_stations_at_once(done: Path, tmp_path: Path) -> None:
    hillsight.outlook(
        str(done / "ground.tif"),
        stations=str(done / "stations.gpkg"),
        features=str(done / "features.gpkg"),
        reach=400,
        least_pocket=0.05,
        out=tmp_path / "direct.gpkg",
    )
    assert_same(done / "out" / "work.gpkg", tmp_path / "direct.gpkg")
    styles = {path.name for path in (tmp_path / "direct_styles").iterdir()}
    assert {path.name for path in (done / "out" / "work_styles").iterdir()} == styles


@pytest.mark.slow
@pytest.mark.parametrize(
    ("script", "option", "given"),
    [
        ("profile", "bearing = [10, 200]", {"bearing": [10.0, 200.0]}),
        ("panorama", 'looks = "NE"', {"looks": "NE"}),
        ("viewshed", "probability = true", {"probability": True}),
    ],
)
def test_so_are_other_scripts(tmp_path: Path, script: str, option: str, given: dict[str, object]) -> None:
    work = WORK.replace('"outlook"', f'"{script}"').replace('features = ["features.gpkg"]\n', "")
    job = made(tmp_path, work.replace("least_pocket = 0.05", option), thirty().iloc[:5])
    hillsight.batch(job, out=tmp_path / "out", workers=1)
    ground, stations = str(tmp_path / "ground.tif"), str(tmp_path / "stations.gpkg")
    out = tmp_path / "direct.gpkg"
    getattr(hillsight, script)(ground, stations=stations, reach=400, out=out, **given)
    assert_same(tmp_path / "out" / "work.gpkg", out)


def test_tables_beside_are_those_of_the_script(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("pyarrow", reason="pyarrow is not installed")
    monkeypatch.setattr(work_merge, "_AT_ONCE", 4)
    text = WORK.replace('"outlook"', '"bearings"').replace("least_pocket = 0.05\n", "")
    job = made(tmp_path, text + "csv = true\nparquet = true\n", thirty().iloc[:9])
    features(tmp_path)
    hillsight.batch(job, out=tmp_path / "out", workers=1)
    hillsight.bearings(
        str(tmp_path / "ground.tif"),
        stations=str(tmp_path / "stations.gpkg"),
        features=str(tmp_path / "features.gpkg"),
        reach=400,
        out=tmp_path / "direct.gpkg",
        csv=tmp_path / "direct.csv",
    )
    tables = tmp_path / "out" / "tables"
    assert (tables / "bearing_list.csv").read_bytes() == (tmp_path / "direct.csv").read_bytes()
    names = [name for name, _ in pyogrio.list_layers(tmp_path / "direct.gpkg") if name in LAYERS]
    assert {"stations", "bearing_list"} <= set(names)
    for name in names:
        told = geopandas.read_parquet(tables / f"{name}.parquet")
        direct = pyogrio.read_dataframe(tmp_path / "direct.gpkg", layer=name)
        assert list(told.geometry.to_wkb()) == list(direct.geometry.to_wkb())
        tables_of = [one.drop(columns=one.geometry.name) for one in (told, direct)]
        left, right = (one.astype(object).where(one.notna(), None) for one in tables_of)
        pd.testing.assert_frame_equal(pd.DataFrame(left), pd.DataFrame(right))


def test_a_csv_without_work_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "job.toml"
    file.write_text(f"{JOB}csv = true\n", encoding="utf-8")
    with pytest.raises(BatchError, match="no script makes one"):
        job_file.read_job(str(file))


@pytest.mark.slow
def test_two_workers_leave_the_same_bytes(done: Path) -> None:
    hillsight.batch(done / "job.toml", out=done / "two", workers=2)
    assert digests(done / "two") == digests(done / "out")


@pytest.mark.slow
def test_what_is_damaged_is_done_anew_and_the_rest_is_kept(done: Path, tmp_path: Path) -> None:
    folder = tmp_path / "again"
    shutil.copytree(done / "out", folder)
    before = digests(folder)
    part = sorted((folder / "work").glob("*.gpkg"))[1]
    part.write_bytes(part.read_bytes()[:-4096])
    sorted((folder / "work").glob("*.json"))[0].unlink()
    (folder / "work.gpkg").unlink()
    result = hillsight.batch(done / "job.toml", out=folder, workers=1)
    assert result.work_parts_kept == result.work_parts - 2
    assert digests(folder) == before


@pytest.mark.slow
def test_a_run_that_is_killed_and_run_again_leaves_the_same_bytes(done: Path, tmp_path: Path) -> None:
    command = process("batch", done / "job.toml", "--out", tmp_path / "out", "--workers", "1", "--quiet")
    run = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    until = time.monotonic() + 300
    while run.poll() is None and time.monotonic() < until:
        if len(list((tmp_path / "out" / "work").glob("*.json"))) >= 2:
            os.kill(run.pid, signal.SIGKILL)
            break
        time.sleep(0.01)
    assert run.wait() != 0, "it was to be killed in the middle"
    assert not (tmp_path / "out" / "work.gpkg").exists()
    again = subprocess.run(command, capture_output=True, text=True, timeout=600)
    assert again.returncode == 0, again.stderr
    assert digests(tmp_path / "out") == digests(done / "out")


def test_the_provenance_tells_of_job_inputs_and_operations(done: Path) -> None:
    with closing(sqlite3.connect(done / "out" / "work.gpkg")) as database:
        (text,) = database.execute("SELECT metadata FROM gpkg_metadata ORDER BY id").fetchone()
    document = json.loads(text)
    assert document["script"] == "batch"
    assert document["parameters"]["job"]["work"]["script"] == "outlook"
    assert {one["name"] for one in document["inputs"]} == {"ground.tif", "stations.gpkg", "features.gpkg"}
    assert all(len(one["sha256"]) == 64 for one in document["inputs"])
    assert document["operations"]


@pytest.mark.slow
def test_a_station_that_cannot_be_used_is_listed_and_the_rest_is_done(tmp_path: Path) -> None:
    frame = thirty().iloc[:6].copy()
    void = shapely.Point(WEST + 420, NORTH - 1_030)  # the void of the ground
    frame.loc[6] = {"name": "On the void", "geometry": void}
    frame.loc[7] = {"name": "Away", "geometry": shapely.Point(WEST - 5_000, NORTH)}
    job = made(tmp_path, WORK.replace('features = ["features.gpkg"]\n', ""), frame)
    result = hillsight.batch(job, out=tmp_path / "out", workers=1)
    assert (result.stations, result.refused) == (6, 2)
    refused = pyogrio.read_dataframe(tmp_path / "out" / "batch.gpkg", layer="refused_stations")
    assert list(refused["number"]) == [7, 8]
    assert list(refused["station"]) == ["On the void", "Away"]
    assert "void" in refused["reason"][0]
    assert "off the terrain" in refused["reason"][1]
    stations = pyogrio.read_dataframe(tmp_path / "out" / "work.gpkg", layer="stations")
    assert list(stations["station"]) == ["Place 1", "Place 2", "Place 3", "Place 4", "Place 3 (2)", "Place 6"]
    before = digests(tmp_path / "out")
    hillsight.batch(job, out=tmp_path / "two", workers=2)
    assert digests(tmp_path / "two") == before


def test_ground_that_cannot_be_read_ends_the_run_and_refuses_no_station(tmp_path: Path) -> None:
    frame = thirty().iloc[:6]
    job = made(tmp_path, WORK.replace('features = ["features.gpkg"]\n', ""), frame)
    whole = (tmp_path / "ground.tif").read_bytes()
    (tmp_path / "ground.tif").write_bytes(whole[: len(whole) // 4])
    with pytest.raises(TerrainError):
        hillsight.batch(job, out=tmp_path / "out", workers=1)
    assert not list((tmp_path / "out" / "work").glob("*.json"))


def test_columns_tell_how_single_stations_look(tmp_path: Path) -> None:
    frame = thirty().iloc[:4].copy()
    frame["eye_height_m"] = [1.6, 30.0, np.nan, 30.0]
    frame["reach_m"] = [400.0, 400.0, 200.0, np.nan]
    job = WORK.replace("outlook", "dead-ground").replace('features = ["features.gpkg"]\n', "")
    hillsight.batch(made(tmp_path, job, frame), out=tmp_path / "out", workers=1)
    found = pyogrio.read_dataframe(tmp_path / "out" / "work.gpkg", layer="stations")
    for row, eye_m, reach_m in ((0, 1.6, 400.0), (1, 30.0, 400.0), (2, 1.6, 200.0), (3, 30.0, 400.0)):
        alone = hillsight.dead_ground(
            str(tmp_path / "ground.tif"),
            stations=frame.iloc[[row]],
            eye_height=eye_m,
            reach=reach_m,
            least_pocket=0.05,
        ).frames["stations"]
        for column in ("eye_level_m", "visible_ha", "hidden_ha", "reach_ha"):
            assert found[column][row] == alone[column][0]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("least_pocket", "least_pockets", "Did you mean least_pocket?"),
        ("least_pocket = 0.05", 'least_pocket = "much"', "a number is wanted"),
        ("least_pocket = 0.05", "cells = 1", "true or false is wanted"),
        ("least_pocket = 0.05", "least_pocket = [0.1, 0.2]", "one value is wanted"),
        ("least_pocket = 0.05", "uncertain_between = 0.1", "a list of 2 values is wanted"),
        ("least_pocket = 0.05", 'date = "soon"', "a day is wanted"),
        ("least_pocket = 0.05", "eye_height = 2", "[looking] says it"),
        ("least_pocket = 0.05", 'surface = "top.tif"', "[cover] says it, as surface"),
        ("least_pocket = 0.05", 'csv = "list.csv"', "one GeoPackage, work.gpkg"),
        ("least_pocket = 0.05", "show_hidden = true", "has no option 'show_hidden'"),
        ('"outlook"', '"outlok"', "Did you mean outlook?"),
        ('"outlook"', '"landforms"', "does not work station by station"),
        ("script =", "scripts =", "has no field 'scripts'"),
    ],
)
def test_what_a_job_cannot_say_of_the_work_is_refused_with_its_line(
    tmp_path: Path, old: str, new: str, words: str
) -> None:
    file = tmp_path / "job.toml"
    text = WORK.replace(old, new, 1)
    file.write_text(text, encoding="utf-8")
    line = 1 + next(n for n, one in enumerate(text.splitlines()) if new.split(" =")[0] in one)
    with pytest.raises(BatchError) as refused:
        job_file.read_job(str(file))
    assert words in str(refused.value)
    assert f"line {line}" in str(refused.value)


def test_an_option_that_makes_no_sense_ends_the_run(tmp_path: Path) -> None:
    job = made(tmp_path, WORK.replace("least_pocket = 0.05", "sector_width = 7"), thirty())
    features(tmp_path)
    with pytest.raises(HillsightError, match="sector"):
        hillsight.batch(job, out=tmp_path / "out", workers=1)
    assert not (tmp_path / "out" / "work.gpkg").exists()


def test_stations_put_together_by_the_script_are_refused(tmp_path: Path) -> None:
    text = WORK.replace("outlook", "viewshed").replace("least_pocket = 0.05", "count = true")
    job = made(tmp_path, text.replace('features = ["features.gpkg"]\n', ""), thirty())
    with pytest.raises(BatchError, match="puts stations together into visible_count"):
        hillsight.batch(job, out=tmp_path / "out", workers=1)


def test_the_schema_takes_what_the_reader_takes() -> None:
    schema = job_file.json_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    work = {"script": "outlook", "options": {"features": ["a.gpkg"], "least_pocket": 0.5}}
    job = {"format": "hillsight batch 1", "title": "x", "terrain": "g.tif", "stations": {}, "work": work}
    assert validator.is_valid(job)
    for options in ({"least_pocket": "x"}, {"reach": 5}, {"nothing": 1}, {"uncertain_between": 0.1}):
        assert not validator.is_valid(job | {"work": {"script": "outlook", "options": options}})
    assert not validator.is_valid(job | {"work": {"script": "landforms"}})


PLUGIN = '''
"""A script of another package whose work is done station by station."""

import hillsight
from hillsight.scripts import options
from hillsight.scripts.running import script


def near_ground(terrain, *, stations=None, reach=100.0, cells=False, out=None, **_):
    return hillsight.dead_ground(terrain, stations=stations, reach=reach, cells=cells, out=out)


@script(
    "near-ground",
    title="Dead ground near stations",
    outputs={"out": "application/geopackage+sqlite3; GeoPackage: pockets"},
    by_station="near_ground:near_ground",
)
@options.terrain
@options.stations
@options.viewing
@options.pockets
@options.output()
def command(**given):
    """Write dead ground near stations."""
'''


@pytest.fixture
def plugin(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A package with a script of its own is installed."""
    (tmp_path / "site").mkdir()
    package(tmp_path / "site", "near_ground", PLUGIN, "near-ground = near_ground:command")
    monkeypatch.syspath_prepend(str(tmp_path / "site"))
    station_scripts.cache_clear()
    yield
    station_scripts.cache_clear()


@pytest.mark.usefixtures("plugin")
def test_a_script_of_another_package_may_be_the_work(tmp_path: Path) -> None:
    work = WORK.replace('"outlook"', '"near-ground"').replace('features = ["features.gpkg"]\n', "")
    job = made(tmp_path, work.replace("least_pocket = 0.05", "cells = true"), thirty().iloc[:3])
    hillsight.batch(job, out=tmp_path / "out", workers=1)
    ground, stations = str(tmp_path / "ground.tif"), str(tmp_path / "stations.gpkg")
    out = tmp_path / "direct.gpkg"
    hillsight.dead_ground(ground, stations=stations, reach=400, cells=True, out=out)
    assert_same(tmp_path / "out" / "work.gpkg", out)
    told = json.loads((tmp_path / "out" / "manifest.json").read_text())["versions"]
    assert told["script near-ground"] == "near_ground 1.0"


@pytest.mark.slow
def test_a_folder_of_tiles_is_worked_on_as_one_terrain(tmp_path: Path) -> None:
    work = WORK.replace('features = ["features.gpkg"]\n', "").replace('"ground.tif"', '"tiles"')
    job = made(tmp_path, work, thirty().iloc[:5])
    (tmp_path / "tiles").mkdir()
    with rasterio.open(tmp_path / "ground.tif") as file:
        for left in range(0, 230, 115):
            window = rasterio.windows.Window(left, 0, 115, 230)
            profile = file.profile | {"width": 115, "transform": file.window_transform(window)}
            with rasterio.open(tmp_path / "tiles" / f"{left}.tif", "w", **profile) as tile:
                tile.write(file.read(1, window=window), 1)
    hillsight.batch(job, out=tmp_path / "out", workers=2)
    ground, stations = str(tmp_path / "ground.tif"), str(tmp_path / "stations.gpkg")
    out = tmp_path / "direct.gpkg"
    hillsight.outlook(ground, stations=stations, reach=400, least_pocket=0.05, out=out)
    assert_same(tmp_path / "out" / "work.gpkg", out)


@pytest.mark.slow
def test_all_parts_share_the_working_grid_of_a_terrain_in_degrees(tmp_path: Path) -> None:
    work = WORK.replace('features = ["features.gpkg"]\n', "").replace("20000", "10000")
    frame = thirty().iloc[:8].to_crs(4326)
    job = made(tmp_path, work, frame)
    west, south, east, north = thirty().to_crs(4326).total_bounds
    height_m = np.nan_to_num(ground()[:200, :200], nan=100.0)
    transform = rasterio.transform.from_bounds(west - 0.01, south - 0.01, east + 0.01, north + 0.01, 200, 200)
    profile = {"driver": "GTiff", "width": 200, "height": 200, "count": 1, "dtype": "float32"}
    with rasterio.open(tmp_path / "ground.tif", "w", **profile, crs="EPSG:4326", transform=transform) as file:
        file.write(height_m, 1)
    result = hillsight.batch(job, out=tmp_path / "out", workers=1)
    assert result.work_parts > 1
    path, stations = str(tmp_path / "ground.tif"), str(tmp_path / "stations.gpkg")
    out = tmp_path / "direct.gpkg"
    hillsight.outlook(path, stations=stations, reach=400, least_pocket=0.05, out=out)
    assert_same(tmp_path / "out" / "work.gpkg", out)
