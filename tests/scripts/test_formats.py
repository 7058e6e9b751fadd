"""The same ground and the same places in many formats: the same answer, exactly where nothing is warped."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pytest
import rasterio
import rasterio.shutil
import shapely
from affine import Affine
from pyproj import CRS, Transformer

from hillsight.ground.grid import Grid

from scripts.commands import AT, NORTH, POSTS, REACH, SPACING, WEST, done, assert_refused, terrain  # isort: skip
from terrains import fractal, write_geotiff

US_FOOT_M = 1200 / 3937
PLACES = ((300_297.0, 699_704.0, "Cairn"), (300_180.0, 699_620.0, "Fold"))

# A resampled ground is another ground by a little: bilinear posts smooth it, edges move by part of a
# cell. Common sense, no source: shares of the visible area.
WARPED_SHARE = 0.05


def ground_dm() -> np.ndarray[Any, np.dtype[np.int16]]:
    """Heights in whole decimetres, so that every format can hold them without loss."""
    return np.round(10 * fractal(POSTS, POSTS, seed=1, relief_m=80, lowest_m=100)).astype(np.int16)


def ground_m() -> np.ndarray[Any, np.dtype[np.float32]]:
    return (ground_dm().astype(np.float64) / 10).astype(np.float32)


def seen(folder: Path, ground: str | Path, *more: str | Path) -> geopandas.GeoDataFrame:
    given = list(more) if any(word in ("--at", "--stations") for word in more) else ["--at", AT, *more]
    done("dead-ground", "--terrain", ground, "--reach", REACH, "--out", folder / "seen.gpkg", *given)
    return geopandas.read_file(folder / "seen.gpkg", layer="stations")


COLUMNS = [
    "easting_m",
    "northing_m",
    "ground_height_m",
    "eye_level_m",
    "visible_ha",
    "hidden_ha",
    "unknown_ha",
]


def test_each_raster_format_without_a_warp(tmp_path: Path) -> None:
    plain = write_geotiff(tmp_path / "plain.tif", ground_m())
    expected = seen(tmp_path, plain)
    assert expected["visible_ha"][0] > 1
    assert expected["hidden_ha"][0] > 1

    same: dict[str, tuple[str | Path, ...]] = {}
    same["cog"] = (write_geotiff(tmp_path / "cog.tif", ground_m(), driver="COG"),)
    with rasterio.open(plain) as file:
        vrt = tmp_path / "plain.vrt"
        rasterio.shutil.copy(file, vrt, driver="VRT")
        rasterio.shutil.copy(file, tmp_path / "plain.asc", driver="AAIGrid", DECIMAL_PRECISION="1")
    same["vrt"] = (vrt,)
    for side in tmp_path.glob("plain.*"):
        if side.suffix in (".prj", ".xml"):
            side.unlink()
    same["asc"] = (tmp_path / "plain.asc", "--terrain-crs", "EPSG:27700")
    south_up = Affine(SPACING, 0, WEST - 5, 0, SPACING, NORTH + 5 - SPACING * POSTS)
    same["south-up"] = (write_geotiff(tmp_path / "south.tif", ground_m()[::-1], transform=south_up),)
    decimetres = write_geotiff(tmp_path / "dm.tif", ground_dm(), scale=0.1, nodata=-32768)
    same["decimetres by scale"] = (decimetres,)
    same["decimetres by unit"] = (write_geotiff(tmp_path / "unit.tif", ground_dm(), unit="dm"),)
    same["decimetres as told"] = (write_geotiff(tmp_path / "told.tif", ground_dm()), "--vertical-unit", "dm")
    with zipfile.ZipFile(tmp_path / "packed.zip", "w") as archive:
        archive.write(plain, "inner/plain.tif")
    same["zip"] = (f"/vsizip/{tmp_path / 'packed.zip'}/inner/plain.tif",)
    same["zip by address"] = (f"zip://{tmp_path / 'packed.zip'}!inner/plain.tif",)
    for name, words in same.items():
        result = seen(tmp_path, *words)
        assert list(result[COLUMNS].iloc[0]) == list(expected[COLUMNS].iloc[0]), name


def test_asc_without_a_crs_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "bare.asc"
    path.write_text("ncols 2\nnrows 2\nxllcorner 0\nyllcorner 0\ncellsize 10\n1 2\n3 4\n")
    words = ("viewshed", "--terrain", path, "--at", "10,10", "--out", tmp_path / "out.gpkg")
    assert_refused(tmp_path, *words, says=("bare.asc", "--terrain-crs"))


def resampled(grid: Affine, size: int, to_british: Any) -> np.ndarray[Any, np.dtype[np.float32]]:
    """The ground at the cell centres of another grid; void outside."""
    base = Grid(british_grid(), WEST, NORTH, SPACING, SPACING, POSTS, POSTS)
    column, row = np.meshgrid(np.arange(size) + 0.5, np.arange(size) + 0.5)
    x, y = grid * (column, row)
    easting, northing = to_british(x, y)
    r, c = base.to_array(easting, northing)
    inside = (r >= 0) & (r <= POSTS - 1) & (c >= 0) & (c <= POSTS - 1)
    r0, c0 = (np.clip(np.floor(v).astype(int), 0, POSTS - 2) for v in (r, c))
    fr, fc = r - r0, c - c0
    z = ground_m().astype(np.float64)
    height = (
        z[r0, c0] * (1 - fr) * (1 - fc)
        + z[r0, c0 + 1] * (1 - fr) * fc
        + z[r0 + 1, c0] * fr * (1 - fc)
        + z[r0 + 1, c0 + 1] * fr * fc
    )
    return np.where(inside, height, np.nan).astype(np.float32)


def british_grid() -> Any:
    return CRS("EPSG:27700")


def assert_about(result: geopandas.GeoDataFrame, expected: geopandas.GeoDataFrame) -> None:
    assert result["visible_ha"][0] == pytest.approx(expected["visible_ha"][0], rel=WARPED_SHARE)
    assert result["hidden_ha"][0] == pytest.approx(expected["hidden_ha"][0], rel=WARPED_SHARE)
    assert result["ground_height_m"][0] == pytest.approx(expected["ground_height_m"][0], abs=0.5)


def test_a_rotated_grid(tmp_path: Path) -> None:
    expected = seen(tmp_path, write_geotiff(tmp_path / "plain.tif", ground_m()))
    middle = WEST + 295, NORTH - 295
    turned = (
        Affine.translation(*middle) * Affine.rotation(30) * Affine.scale(5, -5) * Affine.translation(-90, -90)
    )
    heights = resampled(turned, 180, lambda x, y: (x, y))
    path = write_geotiff(tmp_path / "turned.tif", heights, transform=turned, nodata=-9999.0)
    assert_about(seen(tmp_path, path), expected)


def test_degrees(tmp_path: Path) -> None:
    expected = seen(tmp_path, write_geotiff(tmp_path / "plain.tif", ground_m()))
    change = Transformer.from_crs(4326, 27700, always_xy=True)
    longitude, latitude = change.transform(WEST + 295, NORTH - 295, direction="INVERSE")
    cell = 0.00005
    grid = Affine(1.6 * cell, 0, longitude - 80 * cell * 1.6, 0, -cell, latitude + 80 * cell)
    path = write_geotiff(
        tmp_path / "degrees.tif",
        resampled(grid, 160, change.transform),
        crs="EPSG:4326",
        transform=grid,
        nodata=-9999.0,
    )
    assert_about(seen(tmp_path, path, "--at", AT, "--at-crs", "EPSG:27700"), expected)
    assert_about(
        seen(tmp_path, path, "--at", AT, "--at-crs", "EPSG:27700", "--grid-crs", "EPSG:27700"), expected
    )


def test_hgt(tmp_path: Path) -> None:
    """A tile of 1201 x 1201 whole metres, one degree square, named by its south-west corner."""
    row, column = np.mgrid[:1201, :1201]
    heights = (300 + 0.3 * column + 40 * np.sin(row / 9) * np.cos(column / 7)).astype(">i2")
    path = tmp_path / "N56W004.hgt"
    path.write_bytes(heights.tobytes())
    grid = Affine(1 / 1200, 0, -4 - 1 / 2400, 0, -1 / 1200, 57 + 1 / 2400)
    copy = write_geotiff(
        tmp_path / "copy.tif", heights.astype(np.int16), crs="EPSG:4326", transform=grid, unit="m"
    )
    place = ("--at", "-3.5,56.5,Cairn", "--at-crs", "EPSG:4326", "--reach", "2000")
    results = [seen(tmp_path, file, *place) for file in (path, copy)]
    assert list(results[0][COLUMNS].iloc[0]) == list(results[1][COLUMNS].iloc[0])
    assert results[0]["reach_m"][0] == 2000
    assert results[0]["ground_height_m"][0] == pytest.approx(float(heights[600, 600]), abs=1.0)


def test_feet(tmp_path: Path) -> None:
    """Plan and heights in US survey feet (EPSG:2225) against the metric copy (EPSG:26941)."""
    west_m, north_m = 2_000_000.0, 600_000.0
    metres = write_geotiff(tmp_path / "metres.tif", ground_m(), crs="EPSG:26941", west=west_m, north=north_m)
    feet = write_geotiff(
        tmp_path / "feet.tif",
        (ground_m() / US_FOOT_M).astype(np.float32),
        crs="EPSG:2225",
        west=west_m / US_FOOT_M,
        north=north_m / US_FOOT_M,
        spacing=SPACING / US_FOOT_M,
    )
    x, y = west_m + 297, north_m - 296
    expected = seen(tmp_path, metres, "--at", f"{x},{y}")
    given = ("--at", f"{x / US_FOOT_M!r},{y / US_FOOT_M!r}", "--vertical-unit", "us-ft")
    assert_about(seen(tmp_path, feet, *given), expected)
    assert_about(seen(tmp_path, feet, *given, "--grid-crs", "EPSG:26941"), expected)


@pytest.fixture(scope="module")
def places(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[str]]:
    """The two stations in every form they may come in."""
    folder = tmp_path_factory.mktemp("places")
    change = Transformer.from_crs(27700, 4326, always_xy=True)
    degrees = [(*change.transform(x, y), name) for x, y, name in PLACES]
    frame = geopandas.GeoDataFrame(
        {"name": [p[2] for p in PLACES]}, geometry=[shapely.Point(p[:2]) for p in PLACES], crs="EPSG:27700"
    )
    forms: dict[str, list[str]] = {}
    frame.to_file(folder / "p.gpkg", layer="p")
    forms["gpkg"] = ["--stations", str(folder / "p.gpkg")]
    (folder / "p.geojson").write_text(
        json.dumps(
            {
                "type": "FeatureCollection",
                "features": [
                    {
                        "type": "Feature",
                        "properties": {"name": name},
                        "geometry": {"type": "Point", "coordinates": [x, y]},
                    }
                    for x, y, name in degrees
                ],
            }
        )
    )
    forms["geojson"] = ["--stations", str(folder / "p.geojson")]
    points = "".join(f'<wpt lat="{y!r}" lon="{x!r}"><name>{name}</name></wpt>' for x, y, name in degrees)
    (folder / "p.gpx").write_text(
        f'<?xml version="1.0"?><gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">{points}</gpx>'
    )
    forms["gpx"] = ["--stations", str(folder / "p.gpx")]
    marks = "".join(
        f"<Placemark><name>{name}</name><Point><coordinates>{x!r},{y!r},0</coordinates></Point></Placemark>"
        for x, y, name in degrees
    )
    (folder / "p.kml").write_text(
        f'<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document>{marks}</Document></kml>'
    )
    forms["kml"] = ["--stations", str(folder / "p.kml")]
    (folder / "grid.csv").write_text("name,E,N\n" + "".join(f"{n},{x},{y}\n" for x, y, n in PLACES))
    forms["csv grid"] = ["--stations", str(folder / "grid.csv")]
    (folder / "degrees.csv").write_text(
        "name,lon,lat\n" + "".join(f"{n},{x!r},{y!r}\n" for x, y, n in degrees)
    )
    forms["csv degrees"] = ["--stations", str(folder / "degrees.csv")]
    forms["at"] = [word for x, y, n in PLACES for word in ("--at", f"{x},{y},{n}")]
    forms["at degrees"] = [word for x, y, n in degrees for word in ("--at", f"{x!r},{y!r},{n}")]
    forms["at degrees"] += ["--at-crs", "EPSG:4326"]
    return forms


@pytest.mark.parametrize("form", ["gpkg", "geojson", "gpx", "kml", "csv grid", "csv degrees", "at degrees"])
def test_each_form_of_station(tmp_path: Path, places: dict[str, list[str]], form: str) -> None:
    ground = terrain(tmp_path)
    expected = seen(tmp_path, ground, *places["at"])
    result = seen(tmp_path, ground, *places[form])
    assert list(result["station"]) == list(result["name"]) == ["Cairn", "Fold"]
    if form in ("gpkg", "csv grid"):  # numbers in the terrain's own system
        assert result[COLUMNS].equals(expected[COLUMNS])
    else:
        # Out and back through PROJ: a tenth of a millimetre, which may tip a post or two on an edge.
        np.testing.assert_allclose(
            result[["easting_m", "northing_m"]], expected[["easting_m", "northing_m"]], rtol=0, atol=0.001
        )
        np.testing.assert_allclose(result["visible_ha"], expected["visible_ha"], rtol=0, atol=0.01)


def test_an_output_is_read_back_as_stations(tmp_path: Path) -> None:
    ground = terrain(tmp_path)
    expected = seen(tmp_path, ground)
    (tmp_path / "seen.gpkg").rename(tmp_path / "first.gpkg")
    result = seen(tmp_path, ground, "--stations", tmp_path / "first.gpkg")
    assert result[COLUMNS].equals(expected[COLUMNS])
    assert list(result["station"]) == ["Cairn"]
