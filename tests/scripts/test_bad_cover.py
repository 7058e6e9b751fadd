"""Cover: what cannot be used ends in one message that names file and option, and nothing is written."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pytest
import shapely

import hillsight
from scripts.commands import (
    AT,
    NORTH,
    POSTS,
    REACH,
    SCRIPTS,
    WEST,
    assert_refused,
    command_of,
    done,
    function_name,
    terrain,
)
from terrains import fractal, write_geotiff

#: Commands that look over terrain; map sheets and landforms are of the ground itself.
LOOKING = {
    *("viewshed", "outlook", "dead-ground", "bearings", "profile", "panorama", "relocate", "compare"),
    *("describe", "search", "resect", "exercise check", "exercise find", "exercise print", "exercise page"),
}
OPTIONS = {"surface", "cover", "cover_layer", "cover_heights", "leaf"}


def call(folder: Path, *more: str | Path) -> list[str | Path]:
    if not (folder / "terrain.tif").exists():
        terrain(folder)
    ground = ("--terrain", folder / "terrain.tif", "--at", AT, "--reach", REACH)
    return ["dead-ground", *ground, "--out", folder / "out.gpkg", *more]


def ground() -> Any:
    return fractal(POSTS, POSTS, seed=1, relief_m=80, lowest_m=100)


def woods(folder: Path, kind: str = "wood", name: str = "woods.gpkg", **columns: Any) -> Path:
    shape = shapely.box(WEST + 300, NORTH - 300, WEST + 400, NORTH - 200)
    frame = geopandas.GeoDataFrame({"kind": [kind], **columns}, geometry=[shape], crs="EPSG:27700")
    frame.to_file(folder / name, layer="woods")
    return folder / name


@pytest.mark.parametrize("name", SCRIPTS)
def test_whatever_looks_over_terrain_takes_cover(name: str) -> None:
    found = {str(option.name) for option in command_of(name).params} & OPTIONS
    posts = name == "posts"  # marshal posts have a plan of their own
    assert posts or found == (OPTIONS if name in LOOKING else set())
    assert posts or name not in LOOKING or callable(getattr(hillsight, function_name(name)))


def test_surfaces_that_cannot_be_used(tmp_path: Path) -> None:
    assert_refused(tmp_path, *call(tmp_path, "--surface", tmp_path / "no.tif"), says=("no.tif", "--surface"))
    write_geotiff(tmp_path / "low.tif", ground() - 30, unit="m")
    assert_refused(
        tmp_path,
        *call(tmp_path, "--surface", tmp_path / "low.tif"),
        says=("low.tif", "more than 2 m below the terrain", "vertical datum", "--surface FILE"),
    )
    write_geotiff(tmp_path / "far.tif", ground(), unit="m", west=WEST + 9e4)
    assert_refused(
        tmp_path,
        *call(tmp_path, "--surface", tmp_path / "far.tif"),
        says=("far.tif", "no height on any post", "CRS"),
    )
    write_geotiff(tmp_path / "feet.tif", ground() / 0.3048)
    assert_refused(
        tmp_path,
        *call(tmp_path, "--surface", tmp_path / "feet.tif"),
        says=("feet.tif", "above the terrain", "unit"),
    )


def test_map_files_that_cannot_be_used(tmp_path: Path) -> None:
    assert_refused(
        tmp_path, *call(tmp_path, "--cover", tmp_path / "no.gpkg"), says=("no such file", "no.gpkg")
    )
    path = woods(tmp_path, "bamboo")
    assert_refused(
        tmp_path,
        *call(tmp_path, "--cover", path),
        says=("'bamboo' (1)", "cover_heights.toml", "--cover-layer NAME", "--cover-heights FILE.toml"),
    )
    for height, shown in ((-2.0, "-2 m"), (1e9, "1000000000 m")):
        path = woods(tmp_path, cover_height_m=[height])
        assert_refused(tmp_path, *call(tmp_path, "--cover", path), says=(shown, "row 1", "cover_height_m"))
    path = woods(tmp_path)
    assert_refused(
        tmp_path,
        *call(tmp_path, "--cover", path, "--cover-layer", "hedges"),
        says=("no layer 'hedges'", "woods"),
    )
    degrees = geopandas.GeoDataFrame({"kind": ["wood"]}, geometry=[shapely.box(-3.6, 54.4, -3.5, 54.5)])
    degrees.to_file(tmp_path / "degrees.shp")
    assert_refused(
        tmp_path, *call(tmp_path, "--cover", tmp_path / "degrees.shp"), says=("degrees", "EPSG:4326")
    )


def test_options_about_cover_without_any(tmp_path: Path) -> None:
    assert_refused(
        tmp_path, *call(tmp_path, "--cover-layer", "woods"), says=("none are given", "--cover FILE")
    )
    table = tmp_path / "t.toml"
    table.write_text("[kinds]\nwood = { height_m = 9 }\n", encoding="utf-8")
    assert_refused(tmp_path, *call(tmp_path, "--cover-heights", table), says=("none are given",))
    assert_refused(tmp_path, *call(tmp_path, "--leaf", "half"), says=("--leaf",))


def test_cover_is_told_and_in_the_provenance(tmp_path: Path) -> None:
    ended = done(*call(tmp_path))
    assert any("No cover is given" in note for note in ended.notes)
    ended = done(*call(tmp_path, "--cover", woods(tmp_path)))
    assert not any("No cover is given" in note for note in ended.notes)
    assert any("wood 15 m" in note for note in ended.notes)
    result = hillsight.dead_ground(
        tmp_path / "terrain.tif", at=AT, reach=float(REACH), cover=tmp_path / "woods.gpkg", leaf="off"
    )
    read = {item.name: item.sha256 for item in result.provenance.inputs}
    assert set(read) == {"terrain.tif", "woods.gpkg"}
    assert all(read.values())
    assert result.provenance.parameters["leaf"] == "off"


def test_a_station_inside_cover_is_told(tmp_path: Path) -> None:
    """All that it would see is uncertain, whichever the command."""
    terrain(tmp_path)
    inside = geopandas.GeoDataFrame(
        {"kind": ["wood"]}, geometry=[shapely.Point(300_297, 699_704).buffer(60)], crs="EPSG:27700"
    )
    asked = {"at": AT, "cover": inside}
    seen = hillsight.viewshed(tmp_path / "terrain.tif", **asked, reach=float(REACH), only_states=True)
    assert any("Cairn: the eye is in the wood" in note for note in seen.notes)
    row = seen.frames["stations"].iloc[0]
    assert row["visible_ha"] == 0
    assert row["reach_ha"] > row["hidden_ha"]
    along = hillsight.profile(tmp_path / "terrain.tif", **asked, bearing=(90.0,), reach=float(REACH))
    assert any("the eye is in the wood" in note for note in along.notes)


def test_cover_in_memory_is_the_same_as_from_a_file(tmp_path: Path) -> None:
    terrain(tmp_path)
    path, at = woods(tmp_path), {"at": AT, "reach": float(REACH)}
    by_file = hillsight.dead_ground(tmp_path / "terrain.tif", **at, cover=path)
    in_memory = hillsight.dead_ground(tmp_path / "terrain.tif", **at, cover=geopandas.read_file(path))
    surface = hillsight.Raster(
        ground() + 3.0 * (np.arange(POSTS) > 40),
        (10, 0, WEST - 5, 0, -10, NORTH + 5),
        "EPSG:27700",
        unit="m",
    )
    assert by_file.frames["dead_ground"].equals(in_memory.frames["dead_ground"])
    covered = hillsight.dead_ground(tmp_path / "terrain.tif", **at, surface=surface)
    assert any("in memory" in item.name for item in covered.provenance.inputs)
