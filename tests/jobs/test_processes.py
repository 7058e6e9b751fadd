"""Requests, results and what a job is given in memory: they cross processes, and are as good as files."""

from __future__ import annotations

import multiprocessing
import pickle
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import geopandas
import numpy as np
import pytest
import rasterio
import shapely
from geopandas.testing import assert_geodataframe_equal

from hillsight.errors import CallError, TerrainError
from hillsight.jobs.dead_ground import dead_ground, run_dead_ground
from hillsight.jobs.listener import Listener
from hillsight.jobs.memory import Raster
from hillsight.jobs.requests import DeadGroundRequest
from hillsight.jobs.viewshed import viewshed

from scripts.commands import terrain  # isort: skip

AT = (300_297.0, 699_704.0, "Cairn")
TERRAIN = {"terrain_crs": None, "band": None, "vertical_unit": None, "nodata": None, "grid_crs": None}
PLACES = {"stations": None, "station_layer": None, "at_crs": None}
COVER = {"surface": None, "cover": (), "cover_layer": (), "cover_heights": None, "leaf": "on"}
GROUND = {"eye_height": 1.6, "target_height": 0.0, "refraction": 0.13, "least_pocket": 0.0, "cells": False}


@pytest.fixture(scope="module")
def ground(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return terrain(tmp_path_factory.mktemp("ground"))


def request_of(ground: Path, out: Path | None) -> DeadGroundRequest:
    rest = {"out": out, "out_crs": None}
    return DeadGroundRequest(terrain=ground, at=AT, reach=100, **TERRAIN, **PLACES, **GROUND, **COVER, **rest)


def test_a_request_and_its_result_cross_to_a_process_of_its_own(ground: Path, tmp_path: Path) -> None:
    """The process is started anew (spawn), as on every system that cannot fork."""
    here = run_dead_ground(request_of(ground, None))
    wanted = [request_of(ground, None), request_of(ground, tmp_path / "out.gpkg")]
    with ProcessPoolExecutor(1, multiprocessing.get_context("spawn")) as pool:
        kept, written = pool.map(run_dead_ground, wanted, timeout=300)
    assert written.files["out"] == (tmp_path / "out.gpkg",)
    for there in (kept, written):
        assert there.notes == here.notes
        assert list(there.frames) == list(here.frames)
        for layer, frame in here.frames.items():
            assert_geodataframe_equal(there.frames[layer], frame)


def test_a_request_says_what_it_was_asked_in_one_way(ground: Path) -> None:
    request = request_of(ground, None)
    assert pickle.loads(pickle.dumps(request)) == request
    assert request.reach == 100.0 and isinstance(request.reach, float)
    assert request.at == ("300297.0,699704.0,Cairn",)
    assert request.terrain == str(ground)
    with pytest.raises(CallError, match="reach is 'far', which is not a number") as error:
        dead_ground(ground, at=AT, reach="far")  # type: ignore[arg-type]
    assert error.value.parameters == ("reach",)
    with pytest.raises(CallError, match="not a finite number"):
        dead_ground(ground, at=AT, reach=float("inf"))


def test_what_is_in_memory_is_as_good_as_a_file(ground: Path) -> None:
    with rasterio.open(ground) as file:
        raster = Raster(file.read(1), file.transform, file.crs.to_wkt(), file.nodata)
    stations = geopandas.GeoDataFrame({"name": [AT[2]]}, geometry=[shapely.Point(AT[:2])], crs=raster.crs)
    by_file = viewshed(ground, at=[AT], reach=150)
    in_memory = viewshed(raster, stations=stations, reach=150)
    assert list(by_file.rasters) == list(in_memory.rasters) == ["viewshed_cairn", "depth_cairn"]
    for name, one in by_file.rasters.items():
        np.testing.assert_array_equal(in_memory.rasters[name].array, one.array)
        assert in_memory.rasters[name].transform == one.transform
    assert_geodataframe_equal(in_memory.frames["stations"], by_file.frames["stations"])
    assert [item.name for item in in_memory.provenance.inputs] == ["in memory", "in memory"]
    assert all(item.sha256 for item in in_memory.provenance.inputs)
    assert in_memory.provenance.parameters["terrain"] == "in memory"


def test_an_array_without_a_place_is_refused(ground: Path) -> None:
    with pytest.raises(TerrainError, match="a ndarray is not a terrain"):
        viewshed(np.zeros((3, 3)), at=[AT])
    nowhere = Raster(np.zeros((9, 9), np.float32), (10, 0, 300_000, 0, -10, 700_000), None)
    with pytest.raises(TerrainError, match="in memory") as error:
        viewshed(nowhere, at=[AT])
    assert "vsimem" not in str(error.value)


def test_a_listener_hears_of_each_station_as_it_is_read(ground: Path) -> None:
    class Heard(Listener):
        def __init__(self) -> None:
            self.stations: list[str] = []
            self.shares: list[float] = []

        def station_read(self, frames):  # type: ignore[no-untyped-def]
            self.stations += list(frames["stations"]["station"])

        def progress(self, what: str, share: float) -> None:
            self.shares.append(share)

    heard = Heard()
    places = [AT, (300_200.0, 699_800.0, "Tarn")]
    dead_ground(ground, at=places, reach=100, listener=heard)
    assert heard.stations == ["Cairn", "Tarn"]
    assert heard.shares.count(0.0) >= 2 and max(heard.shares) == 1.0


def test_rows_written_in_parts_are_those_written_at_once(
    ground: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from hillsight.jobs import sink

    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1700000000")
    places = [(300_150.0 + 20 * i, 699_700.0, f"p{i}") for i in range(6)]
    at_once = dead_ground(ground, at=places, reach=100, out=tmp_path / "at_once.gpkg")
    monkeypatch.setattr(sink, "_GATHERED_BYTES", 20_000)
    for name in ("parts.gpkg", "again.gpkg"):
        parts = dead_ground(ground, at=places, reach=100, out=tmp_path / name)
        for layer, frame in at_once.frames.items():
            assert_geodataframe_equal(parts.frames[layer], frame)
    assert (tmp_path / "parts.gpkg").read_bytes() == (tmp_path / "again.gpkg").read_bytes()
