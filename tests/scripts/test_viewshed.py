"""Each option of the viewshed script against its plain run, and by bands against memory."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pyproj
import pytest
import rasterio

from hillsight.arrays import AnyArray
from hillsight.reading import coverage
from hillsight.words.states import GroundState

from scripts.commands import AT, REACH, Ended, done, assert_refused, terrain  # isort: skip
from terrains import fractal, with_voids, write_geotiff

CAIRN = (300_297.0, 699_704.0)
FOLD = "300180,699620,Fold"
TARN = "300421.5,699433.25,Tarn"


@pytest.fixture(scope="module")
def ground(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return terrain(tmp_path_factory.mktemp("ground"))


def viewshed(folder: Path, ground: Path, *more: str | Path, name: str = "out", reach: str = REACH) -> Ended:
    given = more if "--at" in more else ("--at", AT, *more)
    return done("viewshed", "--terrain", ground, "--reach", reach, "--out", folder / f"{name}.gpkg", *given)


def raster(folder: Path, table: str, name: str = "out") -> AnyArray:
    with rasterio.open(f"GPKG:{folder / f'{name}.gpkg'}:{table}") as file:
        found: AnyArray = file.read(1)
    return found


def posts(folder: Path, table: str, name: str = "out") -> tuple[AnyArray, AnyArray]:
    """Eastings and northings of a raster's posts."""
    with rasterio.open(f"GPKG:{folder / f'{name}.gpkg'}:{table}") as file:
        row, column = np.mgrid[: file.height, : file.width]
        place = file.transform
    return place.c + place.a * (column + 0.5), place.f + place.e * (row + 0.5)


def tables(folder: Path, name: str = "out") -> list[str]:
    with sqlite3.connect(folder / f"{name}.gpkg") as database:
        rows = database.execute("SELECT table_name FROM gpkg_contents ORDER BY rowid").fetchall()
    return [row[0] for row in rows]


def parameters(folder: Path, name: str = "out") -> dict[str, Any]:
    with sqlite3.connect(folder / f"{name}.gpkg") as database:
        texts = [row[0] for row in database.execute("SELECT metadata FROM gpkg_metadata")]
    found: dict[str, Any] = next(json.loads(t) for t in texts if '"parameters"' in t)["parameters"]
    return found


def convergence_deg() -> float:
    """Of the British grid at the station, by PROJ's own factors; true = grid + convergence."""
    crs = pyproj.CRS("EPSG:27700")
    longitude, latitude = pyproj.Transformer.from_crs(crs, crs.geodetic_crs, always_xy=True).transform(*CAIRN)
    return float(pyproj.Proj(crs).get_factors(longitude, latitude).meridian_convergence)


@pytest.mark.parametrize(("first", "last"), [(300.0, 60.0), (60.0, 300.0), (100.0, 135.0), (-20.0, 5.5)])
def test_a_sector_answers_as_the_whole_round(ground: Path, tmp_path: Path, first: float, last: float) -> None:
    viewshed(tmp_path, ground)
    viewshed(tmp_path, ground, "--from-bearing", str(first), "--to-bearing", str(last), name="sector")
    whole, part = (raster(tmp_path, "viewshed_cairn", name) for name in ("out", "sector"))
    east, north = posts(tmp_path, "viewshed_cairn")
    true_deg = np.degrees(np.arctan2(east - CAIRN[0], north - CAIRN[1])) + convergence_deg()
    turn = (true_deg - first) % 360
    width = (last - first) % 360
    # Posts within a hundredth of a degree of a side may go either way here: this reckons in the plane.
    near = (np.minimum(turn, 360 - turn) < 0.01) | (abs(turn - width) < 0.01)
    inside = (turn < width) & ~near
    outside = (turn > width) & ~near
    assert inside.sum() > 20 and outside.sum() > 20
    assert (abs(convergence_deg()) > 0.5) and near.sum() < 10
    np.testing.assert_array_equal(part[inside], whole[inside])
    assert set(np.unique(part[outside])) == {GroundState.BEYOND}
    whole_m, part_m = (raster(tmp_path, "depth_cairn", name) for name in ("out", "sector"))
    np.testing.assert_array_equal(part_m[inside], whole_m[inside])
    assert np.isnan(part_m[outside]).all()
    told = parameters(tmp_path, "sector")
    assert (told["from_bearing_true_deg"], told["to_bearing_true_deg"]) == (first, last)


def test_a_full_turn_is_the_whole_round(ground: Path, tmp_path: Path) -> None:
    viewshed(tmp_path, ground)
    viewshed(tmp_path, ground, "--from-bearing", "0", "--to-bearing", "360", name="turn")
    np.testing.assert_array_equal(*(raster(tmp_path, "viewshed_cairn", name) for name in ("out", "turn")))


def test_nearer_ground_is_not_answered_for_but_hides(ground: Path, tmp_path: Path) -> None:
    viewshed(tmp_path, ground)
    ended = viewshed(tmp_path, ground, "--inner-distance", "80", name="inner")
    whole, part = (raster(tmp_path, "viewshed_cairn", name) for name in ("out", "inner"))
    east, north = posts(tmp_path, "viewshed_cairn")
    near = np.hypot(east - CAIRN[0], north - CAIRN[1]) < 80
    assert near.sum() > 100
    assert (part[near] == GroundState.BEYOND).all()
    np.testing.assert_array_equal(part[~near], whole[~near])
    assert {GroundState.HIDDEN, GroundState.VISIBLE} <= set(np.unique(part))
    assert np.isnan(raster(tmp_path, "depth_cairn", "inner")[near]).all()
    assert parameters(tmp_path, "inner")["inner_distance_m"] == 80
    assert "From 80 to 200 m: visible" in ended.out


def test_areas_count_the_posts_of_the_raster(ground: Path, tmp_path: Path) -> None:
    viewshed(tmp_path, ground, "--from-bearing", "10", "--to-bearing", "100", "--inner-distance", "40")
    states = raster(tmp_path, "viewshed_cairn")
    (row,) = geopandas.read_file(tmp_path / "out.gpkg", layer="stations").to_dict("records")
    for column, state in (("visible_ha", 3), ("hidden_ha", 1), ("unknown_ha", 4)):
        assert row[column] == pytest.approx((states == state).sum() * 100 / 10_000), column
    # A quarter of the ring; at 10 m a post stands for an area to a few per cent (common sense, no source).
    assert row["reach_ha"] == pytest.approx(np.pi * (200**2 - 40**2) / 4 / 10_000, rel=0.05)


def test_ground_off_the_terrain_is_unknown(ground: Path, tmp_path: Path) -> None:
    ended = viewshed(tmp_path, ground, "--at", "300005,699704,Edge")
    (row,) = geopandas.read_file(tmp_path / "out.gpkg", layer="stations").to_dict("records")
    assert row["reach_ha"] == pytest.approx(np.pi * 4, rel=1e-9)
    assert row["unknown_ha"] / row["reach_ha"] == pytest.approx(0.5, abs=0.05)
    assert "of the reach is unknown" in ended.notes[-1]


def test_several_target_heights(ground: Path, tmp_path: Path) -> None:
    heights = ("--target-height", "0", "--target-height", "1.6", "--target-height", "20")
    viewshed(tmp_path, ground, *heights, name="several")
    named = ["viewshed_cairn_0m", "viewshed_cairn_1_6m", "viewshed_cairn_20m"]
    assert tables(tmp_path, "several") == ["stations", *named, "depth_cairn"]
    seen = []
    for height, table in zip(("0", "1.6", "20"), named, strict=True):
        viewshed(tmp_path, ground, "--target-height", height, name="one")
        assert tables(tmp_path, "one") == ["stations", "viewshed_cairn", "depth_cairn"]
        states = raster(tmp_path, table, "several")
        np.testing.assert_array_equal(states, raster(tmp_path, "viewshed_cairn", "one"))
        seen.append((states == GroundState.VISIBLE).sum())
        if height == "0":
            depths = [raster(tmp_path, "depth_cairn", name) for name in ("one", "several")]
            np.testing.assert_array_equal(*depths)
    assert seen[0] < seen[1] < seen[2]
    assert parameters(tmp_path, "several")["target_height_m"] == [0, 1.6, 20]


@pytest.mark.parametrize("places", [("--at", AT), ("--at", AT, "--at", FOLD, "--at", TARN)])
def test_only_states_are_those_of_the_plain_run(
    ground: Path, tmp_path: Path, places: tuple[str, ...]
) -> None:
    viewshed(tmp_path, ground, *places)
    viewshed(tmp_path, ground, *places, "--only-states", "--rasters", tmp_path / "cogs", name="states")
    of_states = [table for table in tables(tmp_path) if table.startswith("viewshed_")]
    assert tables(tmp_path, "states") == ["stations", *of_states]
    assert len(of_states) == len(places) / 2
    for table in of_states:
        plain = raster(tmp_path, table)
        np.testing.assert_array_equal(raster(tmp_path, table, "states"), plain)
        with rasterio.open(tmp_path / "cogs" / f"{table}.tif") as cog:
            np.testing.assert_array_equal(cog.read(1), plain)
        assert {GroundState.HIDDEN, GroundState.VISIBLE} <= set(np.unique(plain))
    stations = [geopandas.read_file(tmp_path / f"{n}.gpkg", layer="stations") for n in ("out", "states")]
    assert stations[0].equals(stations[1])


def test_states_agree_with_the_depths(ground: Path, tmp_path: Path) -> None:
    viewshed(tmp_path, ground)
    states, depth_m = raster(tmp_path, "viewshed_cairn"), raster(tmp_path, "depth_cairn")
    assert (depth_m[states == GroundState.VISIBLE] == 0).all()
    assert (depth_m[states == GroundState.HIDDEN] > 0).all()
    assert np.isnan(depth_m[states == GroundState.BEYOND]).all()


def test_each_station_alone_and_together(ground: Path, tmp_path: Path) -> None:
    """Side by side on one surface, or by itself on its own part of it: the same bits."""
    viewshed(tmp_path, ground, "--at", AT, "--at", FOLD, "--at", TARN)
    for place in (AT, FOLD, TARN):
        viewshed(tmp_path, ground, "--at", place, name="alone")
        for kind in ("viewshed", "depth"):
            table = f"{kind}_{place.rpartition(',')[2].lower()}"
            np.testing.assert_array_equal(raster(tmp_path, table), raster(tmp_path, table, "alone"))


def sum_over_stations(folder: Path, name: str, ending: str = "") -> dict[tuple[int, int], int]:
    """How many of the stations' own rasters show a place as visible, of those that any of them tells of."""
    counted: dict[tuple[int, int], int] = {}
    for table in tables(folder, name):
        if table.startswith("viewshed_") and table.endswith(ending):
            east, north = posts(folder, table, name)
            state = raster(folder, table, name)
            told = np.isin(state, (GroundState.VISIBLE, GroundState.HIDDEN))
            for e, n, seen in zip(east[told], north[told], state[told] == GroundState.VISIBLE, strict=True):
                key = (round(e), round(n))
                counted[key] = counted.get(key, 0) + int(seen)
    return counted


@pytest.mark.parametrize(
    "more",
    [(), ("--from-bearing", "200", "--to-bearing", "20"), ("--target-height", "0", "--target-height", "5")],
)
def test_count_is_the_sum_over_the_stations(ground: Path, tmp_path: Path, more: tuple[str, ...]) -> None:
    places = ("--at", AT, "--at", FOLD, "--at", TARN)
    viewshed(tmp_path, ground, *places, *more, "--only-states", name="each")
    viewshed(tmp_path, ground, *places, *more, "--count", "--rasters", tmp_path / "cogs", name="count")
    endings = ("_0m", "_5m") if "--target-height" in more else ("",)
    assert tables(tmp_path, "count") == ["stations", *(f"visible_count{ending}" for ending in endings)]
    for ending in endings:
        table = f"visible_count{ending}"
        count = raster(tmp_path, table, "count")
        assert count.dtype == np.uint16
        assert {0, 1, 2, 65535} <= set(np.unique(count))
        east, north = posts(tmp_path, table, "count")
        told = count != 65535
        found = {
            (round(e), round(n)): int(c) for e, n, c in zip(east[told], north[told], count[told], strict=True)
        }
        assert found == sum_over_stations(tmp_path, "each", ending)
        with rasterio.open(tmp_path / "cogs" / f"{table}.tif") as cog:
            np.testing.assert_array_equal(cog.read(1), count)
            assert cog.nodata == 65535
            assert "how many stations see each post" in cog.descriptions[0]
    with sqlite3.connect(tmp_path / "count.gpkg") as database:
        told = database.execute(
            "SELECT datatype, uom, field_name FROM gpkg_2d_gridded_coverage_ancillary"
        ).fetchall()
    assert set(told) == {("integer", "1", "visible_count")}


@pytest.mark.parametrize(
    "more", [(), ("--inner-distance", "55", "--from-bearing", "40", "--to-bearing", "310")]
)
@pytest.mark.parametrize("warped", [False, True])
def test_by_bands_as_in_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, more: tuple[str, ...], warped: bool
) -> None:
    """Also on a terrain in degrees, which is warped to a metric grid as it is read, and with voids."""
    heights_m = with_voids(fractal(150, 150, seed=4, relief_m=90, lowest_m=50), share=0.002, seed=2)
    where: dict[str, Any] = (
        {"crs": "EPSG:4326", "west": -3.5, "north": 56.1, "spacing": 0.00012} if warped else {}
    )
    path = write_geotiff(tmp_path / "wide.tif", heights_m, unit="m", **where)
    at = ("--at", "-3.4911,56.0912,Cairn") if warped else ("--at", "300743.3,699311.2,Cairn")
    given = (*at, "--only-states", "--target-height", "0", "--target-height", "3", *more)
    ended = viewshed(tmp_path, path, *given, reach="550")
    assert warped == any("Warped" in text for text in ended.notes)
    monkeypatch.setattr(coverage, "MOST_POSTS", 500)
    monkeypatch.setattr(coverage, "_BAND_POSTS", 3000)
    read_at_once = []
    bands = coverage.see_in_bands

    def watched(read: Any, *rest: Any, **options: Any) -> Any:
        def reading(window: Any) -> Any:
            read_at_once.append(window.rows * window.columns)
            return read(window)

        return bands(reading, *rest, **options)

    monkeypatch.setattr(coverage, "see_in_bands", watched)
    viewshed(tmp_path, path, *given, name="bands", reach="550")
    assert len(read_at_once) > 8 and max(read_at_once) < raster(tmp_path, "viewshed_cairn_0m").size
    for table in ("viewshed_cairn_0m", "viewshed_cairn_3m"):
        memory = raster(tmp_path, table)
        assert {0, 1, 3, 4} <= set(np.unique(memory))
        np.testing.assert_array_equal(raster(tmp_path, table, "bands"), memory)


def test_depths_of_a_view_larger_than_memory_are_refused(
    ground: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(coverage, "MOST_POSTS", 500)
    words = ("viewshed", "--terrain", ground, "--at", AT, "--reach", REACH, "--out", tmp_path / "out.gpkg")
    assert_refused(tmp_path, *words, says=("Cairn", "--only-states", "--reach"))


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--inner-distance", "200"), ("--inner-distance", "--reach", "the reach of 200 m")),
        (("--inner-distance", "-1"), ("--inner-distance", "-1 m")),
        (("--inner-distance", "nan"), ("--inner-distance", "finite")),
        (("--from-bearing", "361", "--to-bearing", "10"), ("--from-bearing", "361")),
        (("--to-bearing", "-400"), ("--to-bearing", "-400")),
        (("--from-bearing", "90"), ("--from-bearing", "the bearing 90", "--to-bearing")),
        (("--from-bearing", "90", "--to-bearing", "90"), ("from bearing 90 to 90",)),
        (("--target-height", "2", "--target-height", "-2"), ("--target-height", "-2 m")),
        (("--count", "--only-states"), ("--count", "--only-states")),
    ],
)
def test_nonsense_is_refused(
    ground: Path, tmp_path: Path, words: tuple[str, ...], says: tuple[str, ...]
) -> None:
    given = ("viewshed", "--terrain", ground, "--at", AT, "--reach", REACH, "--out", tmp_path / "out.gpkg")
    assert_refused(tmp_path, *given, *words, says=says)


def test_stations_too_far_apart_to_count(
    ground: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(coverage, "_MOST_COUNTED_POSTS", 500)
    given = ("viewshed", "--terrain", ground, "--at", AT, "--at", TARN, "--reach", "100", "--count")
    assert_refused(tmp_path, *given, "--out", tmp_path / "out.gpkg", says=("nearer to each other", "(500)"))


def test_a_reach_without_a_post(ground: Path, tmp_path: Path) -> None:
    for name, more in (("plain", ()), ("states", ("--only-states",)), ("count", ("--count",))):
        ended = viewshed(tmp_path, ground, "--at", "300004,699996", *more, reach="1", name=name)
        assert "less than the terrain's post spacing" in " ".join(ended.notes)
        table = tables(tmp_path, name)[1]
        assert (raster(tmp_path, table, name) == (65535 if name == "count" else 0)).all()
