"""Stations that cannot be used end the command with one message; odd but usable ones work, with a note."""

from __future__ import annotations

import json
from pathlib import Path

import geopandas
import numpy as np
import pytest
import rasterio
import shapely

from scripts.commands import AT, REACH, done, assert_refused, terrain  # isort: skip

HOSTILE = (
    "O'Brien's \"Seat\"",
    "two\nlines\tand a tab",
    "⛰️ Cîme Ωδός",
    "'; DROP TABLE stations; --",
    "../../etc/passwd",
    "C:\\hill\\top?*|<>.",
    "a" * 300,
    "%s {0} $HOME `id`",
    "[bold]name[/bold]",
    "name, with, commas",
)


def looking(folder: Path, *more: str | Path) -> list[str | Path]:
    ground = folder / "terrain.tif"
    if not ground.exists():
        terrain(folder)
    return ["outlook", "--terrain", ground, "--reach", REACH, "--out", folder / "out.gpkg", *more]


def points(
    folder: Path, *places: tuple[float, float], crs: str = "EPSG:27700", name: str = "places.gpkg"
) -> Path:
    path = folder / name
    geopandas.GeoDataFrame(
        {"name": [f"P{i}" for i in range(len(places))]}, geometry=[shapely.Point(p) for p in places], crs=crs
    ).to_file(path, layer="places", geometry_type="Point")
    return path


def test_no_station(tmp_path: Path) -> None:
    assert_refused(tmp_path, *looking(tmp_path), says=("no place to look from", "--stations", "--at"))


def test_off_the_terrain(tmp_path: Path) -> None:
    words = looking(tmp_path, "--at", "310000,699704,Far")
    assert_refused(
        tmp_path,
        *words,
        says=("place 310000,699704", "'Far'", "off the terrain", "E 300000.0 to 300590.0", "Move"),
    )


@pytest.mark.parametrize("at", ["-3.6,56.1", "-3.6,56.1,Degrees"])
def test_degrees_by_mistake(tmp_path: Path, at: str) -> None:
    assert_refused(
        tmp_path, *looking(tmp_path, "--at", at), says=("longitude and latitude", "EPSG:4326", "--at-crs")
    )


def test_degrees_by_mistake_in_a_file(tmp_path: Path) -> None:
    words = looking(tmp_path)
    path = points(tmp_path, (-3.6, 56.1))
    assert_refused(
        tmp_path,
        *words,
        "--stations",
        path,
        says=("places.gpkg", "longitude and latitude", "reference system"),
    )


def test_metres_taken_for_degrees(tmp_path: Path) -> None:
    words = looking(tmp_path, "--at", AT, "--at-crs", "EPSG:4326")
    assert_refused(tmp_path, *words, says=("place 300297,699704", "WGS 84", "longitude comes first"))


def test_north_before_east(tmp_path: Path) -> None:
    words = looking(tmp_path, "--at", "699704,300297,Turned")
    assert_refused(tmp_path, *words, says=("'Turned'", "other way round", "easting comes first"))


@pytest.mark.parametrize("at", ["", "here", "300297", "300297 699704", "1e999,0", "300297,699704N"])
def test_text_that_is_no_place(tmp_path: Path, at: str) -> None:
    assert_refused(tmp_path, *looking(tmp_path, "--at", at), says=("--at", "number"))


def test_same_name_twice(tmp_path: Path) -> None:
    ended = done(*looking(tmp_path, "--at", AT, "--at", "300200,699700,Cairn"))
    assert any("'Cairn' is taken" in note and "'Cairn (2)'" in note for note in ended.notes), ended.notes
    stations = geopandas.read_file(tmp_path / "out.gpkg", layer="stations")
    assert list(stations["station"]) == ["Cairn", "Cairn (2)"]
    assert list(stations["name"]) == ["Cairn", "Cairn"]
    assert list(stations.geometry.x) == [300_297.0, 300_200.0]


def test_an_empty_layer(tmp_path: Path) -> None:
    words = looking(tmp_path)
    assert_refused(
        tmp_path,
        *words,
        "--stations",
        points(tmp_path),
        says=("places.gpkg", "no stations", "at least one point"),
    )


def test_a_layer_that_is_not_there(tmp_path: Path) -> None:
    words = looking(tmp_path, "--stations", points(tmp_path, (300_297, 699_704)), "--station-layer", "tops")
    assert_refused(tmp_path, *words, says=("places.gpkg", "'tops'", "The layers are: places"))


def test_a_layer_without_a_file(tmp_path: Path) -> None:
    assert_refused(
        tmp_path,
        *looking(tmp_path, "--at", AT, "--station-layer", "tops"),
        says=("--station-layer", "--stations"),
    )


def test_a_crs_without_a_place(tmp_path: Path) -> None:
    path = points(tmp_path, (300_297, 699_704))
    assert_refused(
        tmp_path, *looking(tmp_path, "--stations", path, "--at-crs", "EPSG:4326"), says=("--at-crs", "--at")
    )


def test_a_missing_file(tmp_path: Path) -> None:
    assert_refused(
        tmp_path, *looking(tmp_path, "--stations", tmp_path / "none.gpkg"), says=("none.gpkg", "no such file")
    )


def test_a_line_as_station(tmp_path: Path) -> None:
    words = looking(tmp_path)
    path = tmp_path / "lines.geojson"
    path.write_text(
        json.dumps(
            {
                "type": "Feature",
                "properties": {},
                "geometry": {"type": "LineString", "coordinates": [[0, 0], [1, 1]]},
            }
        )
    )
    assert_refused(tmp_path, *words, "--stations", path, says=("lines.geojson", "point"))


def test_a_row_without_a_point(tmp_path: Path) -> None:
    words = looking(tmp_path)
    path = tmp_path / "places.csv"
    path.write_text("name,E,N\nA,300297,699704\nB,,\n")
    assert_refused(
        tmp_path, *words, "--stations", path, says=("places.csv", "row 2", "no position", "drop the row")
    )


def test_an_eye_under_the_ground(tmp_path: Path) -> None:
    words = looking(tmp_path)
    path = tmp_path / "places.csv"
    path.write_text("name,E,N,ground_height_m\nA,300297,699704,12\n")
    assert_refused(
        tmp_path, *words, "--stations", path, says=("'A'", "below the terrain", "Correct the height")
    )


def test_hostile_names_survive(tmp_path: Path) -> None:
    words = looking(tmp_path, "--rasters", tmp_path / "rasters")
    for number, name in enumerate(HOSTILE):
        words += ["--at", f"{300_200 + 20 * number},699700,{name}"]
    ended = done(*words)
    stations = geopandas.read_file(tmp_path / "out.gpkg", layer="stations")
    assert list(stations["name"]) == list(HOSTILE)
    assert stations["station"].is_unique
    assert stations["station"].map(str.isprintable).all() or "️" in "".join(stations["station"])
    cogs = sorted(path.name for path in (tmp_path / "rasters").iterdir())
    assert len(cogs) == 2 * len(HOSTILE)
    for name in cogs:
        assert set(name.removesuffix(".tif")) <= set("abcdefghijklmnopqrstuvwxyz0123456789_"), name
        assert len(name) < 80
    with rasterio.open(tmp_path / "out.gpkg") as file:
        tables = {name.rsplit(":", 1)[-1] for name in file.subdatasets}
    assert tables == {name.removesuffix(".tif") for name in cogs}
    # Nothing was written anywhere but in the output's folder, and each station has its line in the report.
    assert {p.name for p in tmp_path.iterdir()} == {"terrain.tif", "out.gpkg", "out_styles", "rasters"}
    assert sum("visible" in line for line in ended.out.splitlines()) == len(HOSTILE)
    assert np.all(stations["reach_ha"] > 0)


def _damaged_package(folder: Path, change: str) -> Path:
    import sqlite3

    path = points(folder, (300_297.0, 699_704.0))
    with sqlite3.connect(path) as database:
        database.execute(change)
    return path


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE gpkg_spatial_ref_sys SET definition = 'PROJCS[\"half' , organization = 'NONE' "
        "WHERE srs_id = 27700",
        "UPDATE gpkg_spatial_ref_sys SET definition = x'00ff00ff', organization = x'fe' WHERE srs_id = 27700",
        "UPDATE gpkg_geometry_columns SET srs_id = 424242",
        "UPDATE gpkg_geometry_columns SET srs_id = 'abc'",
    ],
    ids=["cut", "bytes", "unknown", "text"],
)
def test_a_package_whose_crs_is_damaged(tmp_path: Path, change: str) -> None:
    words = looking(tmp_path)
    path = _damaged_package(tmp_path, change)
    says = ("places.gpkg", "reference system is damaged") if "'abc'" not in change else ("places.gpkg",)
    assert_refused(tmp_path, *words, "--stations", path, says=says)


@pytest.mark.parametrize("named", ['"urn:ogc:def:crs:EPSG::999999"', '"half[', "27700", "null"])
def test_geojson_whose_crs_is_damaged(tmp_path: Path, named: str) -> None:
    """The member that GeoJSON 2008 had, and RFC 7946 took out."""
    words = looking(tmp_path)
    path = tmp_path / "places.geojson"
    path.write_text(
        f'{{"type": "FeatureCollection", "crs": {{"type": "name", "properties": {{"name": {named}}}}},'
        '"features": [{"type": "Feature", "properties": {"name": "A"},'
        '"geometry": {"type": "Point", "coordinates": [300297, 699704]}}]}'
    )
    assert_refused(tmp_path, *words, "--stations", path, says=("places.geojson",))


@pytest.mark.parametrize(
    "at", ['lat="abc" lon="-3.6"', 'lat="95" lon="-3.6"', 'lat="699704" lon="300297"', 'lon="-3.6"', 'lat="5']
)
def test_gpx_whose_places_are_damaged(tmp_path: Path, at: str) -> None:
    """GPX has no CRS but WGS 84 (topografix.com, GPX 1.1 schema): what is none of it is refused."""
    words = looking(tmp_path)
    path = tmp_path / "places.gpx"
    path.write_text(
        '<?xml version="1.0"?><gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">'
        f"<wpt {at}><name>A</name></wpt></gpx>"
    )
    assert_refused(tmp_path, *words, "--stations", path, says=("places.gpx",))
