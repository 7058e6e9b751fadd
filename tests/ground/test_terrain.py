"""Terrain taken as it is: geometry, orientation, units, voids, windows; values against readers outside."""

from __future__ import annotations

import gzip
import resource
import subprocess
import sys
import zipfile
from pathlib import Path

import numpy as np
import pyproj
import pytest
import rasterio
from affine import Affine

from hillsight.errors import TerrainError
from hillsight.ground.terrain import Terrain, open_terrain
from hillsight.ground.terrain_options import TerrainOptions
from shared_data import shared_file
from terrains import fractal, plane, with_hole, write_geotiff

# Somewhere on the British grid, where write_geotiff puts its rasters by default.
LONGITUDE, LATITUDE = -3.6, 56.1


def on_grid(
    path: Path | str, longitude: float = LONGITUDE, latitude: float = LATITUDE, **options: object
) -> Terrain:
    return open_terrain(str(path), TerrainOptions(**options)).on_metric_grid(longitude, latitude)  # type: ignore[arg-type]


def test_posts_stand_at_cell_centres(tmp_path: Path) -> None:
    made = fractal(30, 40, seed=1)
    terrain = on_grid(write_geotiff(tmp_path / "t.tif", made, west=300_005, north=700_095))
    assert terrain.bounds_m == (300_005, 700_095 - 29 * 10, 300_005 + 39 * 10, 700_095)
    assert (terrain.spacing_x_m, terrain.spacing_y_m) == (10, 10)
    assert terrain.crs == pyproj.CRS.from_epsg(27700)
    surface = terrain.whole()
    assert surface.height_m.dtype == np.float32
    np.testing.assert_array_equal(surface.height_m, made)
    assert surface.height_at_m(300_005 + 70, 700_095 - 50) == made[5, 7]


def test_window_is_the_square_and_three_posts_cut_at_the_edge(tmp_path: Path) -> None:
    made = fractal(60, 80, seed=2)
    terrain = on_grid(write_geotiff(tmp_path / "t.tif", made, west=0, north=590, spacing=10))
    window = terrain.window(402, 300, 50)  # columns 35.2 to 45.2, rows 24 to 34
    assert (window.grid.west_m, window.grid.east_m) == ((35 - 3) * 10, (46 + 3) * 10)
    assert (window.grid.north_m, window.grid.south_m) == (590 - (24 - 3) * 10, 590 - (34 + 3) * 10)
    np.testing.assert_array_equal(window.height_m, made[21:38, 32:50])
    corner = terrain.window(0, 590, 20)
    np.testing.assert_array_equal(corner.height_m, made[:6, :6])
    beside = terrain.window(-30, 590, 35)  # the place is off the terrain, part of the square is on it
    assert beside.grid.columns == 5
    with pytest.raises(TerrainError, match=r"nothing within 20 m of E -30 N 590 is on the terrain"):
        terrain.window(-30, 590, 20)


@pytest.mark.parametrize("kind", ["as it is", "south up", "in degrees", "turned"])
def test_parts_read_one_by_one_are_the_whole(tmp_path: Path, kind: str) -> None:
    made = with_hole(fractal(300, 290, seed=3), 40, 250, 9, 7)
    turned = Affine.translation(300_000, 700_000) * Affine.rotation(20) * Affine.scale(10, -10)
    where = {
        "as it is": {},
        "south up": {"transform": Affine(10, 0, 300_000, 0, 10, 697_000)},
        "in degrees": {"crs": "EPSG:4326", "west": -3.6, "north": 56.1, "spacing": 0.0001},
        "turned": {"transform": turned},
    }[kind]
    terrain = on_grid(write_geotiff(tmp_path / "t.tif", made, **where))  # type: ignore[arg-type]
    whole = terrain.whole()
    assert np.isnan(whole.height_m).any()
    rows, columns = whole.height_m.shape
    parts = [
        (0, 0, 1, 1),
        (rows - 1, columns - 1, 1, 1),
        (17, columns - 40, rows - 20, 30),
        (255, 0, 3, columns),
    ]
    with terrain.reading() as read:
        for row, column, high, wide in parts:
            expected = whole.height_m[row : row + high, column : column + wide]
            np.testing.assert_array_equal(read(row, column, high, wide), expected)
            part = terrain.grid.part(row, column, high, wide)
            assert (part.rows, part.columns) == (high, wide)
            assert np.array_equal(part.to_map(0, 0), terrain.grid.to_map(row, column))
        for beyond in ((-1, 0, 2, 2), (0, -1, 2, 2), (rows - 1, 0, 2, 2), (0, columns, 1, 1), (0, 0, 0, 1)):
            with pytest.raises(ValueError, match="not all on the grid"):
                read(*beyond)


@pytest.mark.parametrize(("flip_rows", "flip_columns"), [(True, False), (False, True), (True, True)])
def test_flipped_files_are_turned(tmp_path: Path, flip_rows: bool, flip_columns: bool) -> None:
    made = fractal(25, 35, seed=3)
    stored, place = made, Affine(10, 0, 300_000, 0, -10, 700_000)
    if flip_rows:
        stored, place = stored[::-1], Affine(10, 0, 300_000, 0, 10, 699_750)
    if flip_columns:
        stored, place = stored[:, ::-1], Affine(-10, 0, 300_350, 0, place.e, place.f)
    terrain = on_grid(write_geotiff(tmp_path / "t.tif", stored, transform=place))
    assert terrain.bounds_m == (300_005, 699_755, 300_345, 699_995)
    np.testing.assert_array_equal(terrain.whole().height_m, made)
    window = terrain.window(300_105, 699_905, 20)
    np.testing.assert_array_equal(window.height_m, made[4:15, 5:16])
    assert sum("flipped" in note for note in terrain.notes) == flip_rows + flip_columns


def test_pixel_is_point_file_puts_its_post_where_the_file_says(tmp_path: Path) -> None:
    """The tag must not move anything: GDAL keeps cell corners itself. Outside: GDAL's own Python bindings."""
    gdal = pytest.importorskip("osgeo.gdal")
    gdal.UseExceptions()
    made = fractal(20, 20, seed=4)
    path = write_geotiff(
        tmp_path / "t.tif", made, west=400_000, north=800_000, spacing=50, pixel_is_point=True
    )
    place = gdal.Open(str(path)).GetGeoTransform()
    assert gdal.Open(str(path)).GetMetadataItem("AREA_OR_POINT") == "Point"
    terrain = on_grid(path)
    assert terrain.bounds_m[0] == place[0] + place[1] / 2 == 400_000
    assert terrain.bounds_m[3] == place[3] + place[5] / 2 == 800_000
    # The tie point stored in the file is the post itself, not the corner (GeoTIFF standard, from memory).
    ties = _tie_points(path)
    assert ties == (400_000, 800_000)


def _tie_points(path: Path) -> tuple[float, float]:
    """Easting, northing of tag 33922 (ModelTiepoint) of a little-endian classic TIFF, read byte by byte."""
    data = path.read_bytes()
    assert data[:4] == b"II*\0"
    start = int.from_bytes(data[4:8], "little")
    for entry in range(int.from_bytes(data[start : start + 2], "little")):
        at = start + 2 + 12 * entry
        if int.from_bytes(data[at : at + 2], "little") == 33922:
            place = int.from_bytes(data[at + 8 : at + 12], "little")
            numbers = np.frombuffer(data[place : place + 48], "<f8")
            assert tuple(numbers[:2]) == (0, 0)
            return float(numbers[3]), float(numbers[4])
    raise AssertionError("no tie point")


@pytest.mark.parametrize(
    ("stored_dtype", "tags", "options", "metres"),
    [
        ("int16", {"scale": 0.1}, {}, 0.1),
        ("int16", {"unit": "dm"}, {}, 0.1),
        ("int16", {}, {"vertical_unit": "cm"}, 0.01),
        ("float32", {"unit": "ft"}, {}, 0.3048),
        ("float32", {"unit": "US survey foot"}, {}, 1200 / 3937),
        ("float32", {"unit": "feet"}, {"vertical_unit": "us-ft"}, 1200 / 3937),
        ("int16", {"unit": "metre"}, {}, 1.0),
        ("float64", {"unit": "m"}, {}, 1.0),
        ("int32", {"unit": "ft", "scale": 0.5, "offset": 20.0}, {}, None),
    ],
)
def test_stored_numbers_become_metres(
    tmp_path: Path,
    stored_dtype: str,
    tags: dict[str, object],
    options: dict[str, object],
    metres: float | None,
) -> None:
    stored = np.round(fractal(12, 14, seed=5, relief_m=900, lowest_m=50)).astype(stored_dtype)
    terrain = on_grid(write_geotiff(tmp_path / "t.tif", stored, **tags), **options)  # type: ignore[arg-type]
    expected = stored * metres if metres is not None else (stored * 0.5 + 20) * 0.3048
    np.testing.assert_allclose(terrain.whole().height_m, expected, rtol=2e-7)


def test_vertical_unit_of_a_compound_crs(tmp_path: Path) -> None:
    """EPSG:6360 is NAVD88 height in US survey feet, EPSG:5703 in metres (EPSG registry, by way of PROJ)."""
    made = fractal(12, 14, seed=6)
    in_feet = on_grid(write_geotiff(tmp_path / "f.tif", made, crs="EPSG:26913+6360"), -105, 40)
    np.testing.assert_allclose(in_feet.whole().height_m, made * 1200 / 3937, rtol=2e-7)
    assert in_feet.crs == pyproj.CRS.from_epsg(26913)
    assert in_feet.source_crs.is_compound
    assert any("NAVD88" in note and "kept" in note for note in in_feet.notes)
    in_metres = on_grid(write_geotiff(tmp_path / "m.tif", made, crs="EPSG:26913+5703"), -105, 40)
    np.testing.assert_array_equal(in_metres.whole().height_m, made)
    assert not any("assumed" in note for note in in_metres.notes)


def test_unit_not_stated_is_said(tmp_path: Path) -> None:
    path = write_geotiff(tmp_path / "t.tif", plane(5, 5))
    assert any("metres assumed" in note for note in open_terrain(str(path)).notes)
    assert not any("assumed" in n for n in open_terrain(str(path), TerrainOptions(vertical_unit="m")).notes)


def _hole(tmp_path: Path, case: str) -> tuple[Path, dict[str, object]]:
    made = fractal(20, 20, seed=7, lowest_m=10)
    holed = with_hole(made, 5, 6, 3, 4)
    path = tmp_path / "t.tif"
    valid = ~np.isnan(holed)
    if case == "NaN":
        return write_geotiff(path, holed), {}
    if case == "declared value":
        return write_geotiff(path, holed, nodata=-9999), {}
    if case == "declared NaN":
        return write_geotiff(path, holed, nodata=float("nan")), {}
    if case == "lowest float":
        return write_geotiff(path, holed, nodata=float(np.finfo(np.float32).min)), {}
    if case == "declared int16":
        return write_geotiff(path, np.where(valid, made, -32768).astype(np.int16), nodata=-32768), {}
    if case == "given by the user":
        return write_geotiff(path, np.where(valid, made, 1e38).astype(np.float32)), {"nodata": 1e38}
    if case == "given, beside a declared one":
        stored = np.where(valid, made, -9999).astype(np.float32)
        stored[5, 6] = -1
        return write_geotiff(path, stored, nodata=-9999), {"nodata": -1.0}
    if case == "mask inside":
        return write_geotiff(path, made, mask=valid), {}
    if case == "alpha band":
        stack = np.stack([made, np.where(valid, 255, 0)]).astype(np.float32)
        with rasterio.open(write_geotiff(path, stack), "r+") as out:
            out.colorinterp = [rasterio.enums.ColorInterp.gray, rasterio.enums.ColorInterp.alpha]
        return path, {}
    raise AssertionError(case)


@pytest.mark.parametrize(
    "case",
    [
        "NaN",
        "declared value",
        "declared NaN",
        "lowest float",
        "declared int16",
        "given by the user",
        "given, beside a declared one",
        "mask inside",
        "alpha band",
    ],
)
def test_voids_however_declared(tmp_path: Path, case: str) -> None:
    path, options = _hole(tmp_path, case)
    expected = np.zeros((20, 20), bool)
    expected[5:8, 6:10] = True
    np.testing.assert_array_equal(np.isnan(on_grid(path, **options).whole().height_m), expected)


def test_mask_and_declared_value_together(tmp_path: Path) -> None:
    """GDAL looks at the mask only and would hand out -9999 as a height."""
    made = fractal(10, 10, seed=8, lowest_m=10)
    made[2, 3] = -9999
    valid = np.ones((10, 10), bool)
    valid[7, 7] = False
    path = write_geotiff(tmp_path / "t.tif", made, nodata=-9999, mask=valid)
    voids = np.argwhere(np.isnan(on_grid(path).whole().height_m))
    assert voids.tolist() == [[2, 3], [7, 7]]


@pytest.mark.parametrize("corner", ["corner", "center"])
def test_ascii_grid(tmp_path: Path, corner: str) -> None:
    made = np.round(fractal(9, 11, seed=9), 2)
    made[4, 5] = np.nan
    x, y = (5000.0, 6000.0) if corner == "corner" else (5012.5, 6012.5)
    lines = [f"ncols 11\nnrows 9\nxll{corner} {x}\nyll{corner} {y}\ncellsize 25\nNODATA_value -9999"]
    lines += [" ".join("-9999" if np.isnan(v) else f"{v:.2f}" for v in row) for row in made]
    path = tmp_path / "t.asc"
    path.write_text("\n".join(lines) + "\n")
    terrain = on_grid(path, crs="EPSG:27700", longitude=-7.5, latitude=49.8)
    assert terrain.bounds_m == (5012.5, 6012.5, 5012.5 + 250, 6012.5 + 200)
    np.testing.assert_array_equal(terrain.whole().height_m, made)
    assert any("as told" in note for note in terrain.notes)


def _write_hgt(path: Path) -> np.ndarray:
    made = np.round(fractal(1201, 1201, seed=10, relief_m=800)).astype(">i2")
    made[600, 700] = -32768
    path.write_bytes(made.tobytes())
    return made.astype(float)


@pytest.mark.parametrize("wrap", ["plain", "zip", "gzip", "zip scheme"])
def test_hgt_and_virtual_paths(tmp_path: Path, wrap: str) -> None:
    """Rows from the north, big-endian int16, posts on the degree lines (SRTM documentation, from memory)."""
    path = tmp_path / "N56W004.hgt"
    made = _write_hgt(path)
    name = str(path)
    if wrap.startswith("zip"):
        with zipfile.ZipFile(tmp_path / "t.zip", "w", zipfile.ZIP_DEFLATED) as out:
            out.write(path, path.name)
        name = (
            f"/vsizip/{tmp_path}/t.zip/{path.name}"
            if wrap == "zip"
            else f"zip://{tmp_path}/t.zip!{path.name}"
        )
    elif wrap == "gzip":
        (tmp_path / "N56W004.hgt.gz").write_bytes(gzip.compress(path.read_bytes()))
        name = f"/vsigzip/{tmp_path}/N56W004.hgt.gz"
    terrain = on_grid(name, longitude=-3.5, latitude=56.5)
    assert terrain.crs == pyproj.CRS.from_epsg(32630)
    to_grid = pyproj.Transformer.from_crs(4326, 32630, always_xy=True)
    easting, northing = to_grid.transform(-4 + 300 / 1200, 57 - 500 / 1200)
    surface = terrain.window(easting, northing, 1000)
    # The place is a post of the file; the posts of the lattice around it are within a cell of it.
    assert abs(surface.height_at_m(easting, northing) - made[500, 300]) < 3
    easting, northing = to_grid.transform(-4 + 700 / 1200, 57 - 600 / 1200)
    assert np.isnan(terrain.window(easting, northing, 300).height_m).any()


def test_vrt_over_two_tiles(tmp_path: Path) -> None:
    gdal = pytest.importorskip("osgeo.gdal")
    gdal.UseExceptions()
    made = fractal(40, 80, seed=11)
    halves = [
        str(write_geotiff(tmp_path / f"{i}.tif", made[:, 40 * i : 40 * i + 40], west=300_000 + 400 * i))
        for i in (0, 1)
    ]
    gdal.BuildVRT(str(tmp_path / "t.vrt"), halves).FlushCache()
    np.testing.assert_array_equal(on_grid(tmp_path / "t.vrt").whole().height_m, made)


def test_one_band_of_several(tmp_path: Path) -> None:
    stack = np.stack([plane(6, 6, height_m=5), plane(6, 6, height_m=70)])
    path = write_geotiff(tmp_path / "t.tif", stack)
    assert on_grid(path, band=2).whole().height_m[0, 0] == 70


_SPARSE = """
import resource, sys
from hillsight.ground.terrain import open_terrain
import rasterio.vrt, pyproj  # not what is measured
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
terrain = open_terrain(sys.argv[1]).on_metric_grid(-2, 52)
surface = terrain.window(550_000, 450_000, 500)
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)
print(surface.height_m.shape, float(surface.height_m[503, 503]))
"""


@pytest.mark.skipif(not hasattr(resource, "RUSAGE_SELF"), reason="memory is measured by getrusage")
def test_only_the_window_is_read(tmp_path: Path) -> None:
    """100,000 x 100,000 posts would be 40 GB."""
    path = tmp_path / "t.tif"
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=100_000,
        height=100_000,
        count=1,
        dtype="float32",
        crs="EPSG:27700",
        transform=Affine(1, 0, 500_000, 0, -1, 500_000),
        nodata=-9999,
        tiled=True,
        SPARSE_OK=True,
        BIGTIFF=True,
    ) as out:
        out.write(
            np.full((2048, 2048), 123, np.float32),
            1,
            window=rasterio.windows.Window(49_000, 49_000, 2048, 2048),
        )
    done = subprocess.run(
        [sys.executable, "-c", _SPARSE, str(path)], capture_output=True, text=True, check=True, timeout=60
    )
    kilobytes, shape = done.stdout.splitlines()
    assert shape == "(1008, 1008) 123.0"
    assert float(kilobytes) < 150_000
    with pytest.raises(TerrainError, match=r"more than can be held"):
        on_grid(path, longitude=-2, latitude=52).whole()


def test_nothing_is_written_beside_the_file(tmp_path: Path) -> None:
    path = write_geotiff(tmp_path / "t.tif", fractal(30, 30, seed=12), nodata=-9999)
    (tmp_path / "t.asc").write_text("ncols 2\nnrows 2\nxllcorner 0\nyllcorner 0\ncellsize 5\n1 2\n3 4\n")
    _write_hgt(tmp_path / "N56W004.hgt")
    before = {p.name: p.stat().st_mtime_ns for p in tmp_path.iterdir()}
    on_grid(path).whole()
    on_grid(tmp_path / "t.asc", crs="EPSG:27700", longitude=-7.6, latitude=49.8).whole()
    on_grid(tmp_path / "N56W004.hgt").window(500_000, 6_230_000, 500)
    assert {p.name: p.stat().st_mtime_ns for p in tmp_path.iterdir()} == before


def test_a_unit_in_a_side_file_counts(tmp_path: Path) -> None:
    """An .aux.xml beside a file may be the only place that says the heights are feet."""
    path = tmp_path / "t.asc"
    path.write_text("ncols 2\nnrows 2\nxllcorner 0\nyllcorner 0\ncellsize 5\n100 200\n300 400\n")
    (tmp_path / "t.asc.aux.xml").write_text(
        '<PAMDataset><PAMRasterBand band="1"><UnitType>ft</UnitType></PAMRasterBand></PAMDataset>'
    )
    heights = on_grid(path, crs="EPSG:27700", longitude=-7.6, latitude=49.8).whole().height_m
    np.testing.assert_allclose(heights, np.array([[100, 200], [300, 400]]) * 0.3048, rtol=1e-6)


def test_opening_reads_no_heights(tmp_path: Path) -> None:
    """A file whose heights are damaged opens; reading them is refused."""
    path = write_geotiff(tmp_path / "t.tif", fractal(300, 300, seed=13), compress="deflate")
    data = bytearray(path.read_bytes())
    data[5000:60_000] = bytes(55_000)
    path.write_bytes(data)
    terrain = on_grid(path)
    with pytest.raises(TerrainError, match=r"cannot be read"):
        terrain.whole()


# --- real terrain ---


def test_highest_summit_of_great_britain() -> None:
    """1,345 m at E 216,671 N 771,281; the cell says 1,344.9 (OS Terrain 50; the data's README)."""
    terrain = on_grid(shared_file("osterrain50_nn.tif"), longitude=-5.0, latitude=56.8)
    whole = terrain.whole()
    assert whole.height_m.max() == np.float32(1344.9)
    row, column = np.unravel_index(whole.height_m.argmax(), whole.height_m.shape)
    easting, northing = whole.grid.to_map(float(row), float(column))
    assert abs(easting - 216_671) <= 25 and abs(northing - 771_281) <= 25  # in the very cell
    around = terrain.window(216_671, 771_281, 2000)
    assert around.height_m.max() == np.float32(1344.9)
    assert around.height_m.shape == (88, 88)


def test_tile_as_published_equals_the_joined_file() -> None:
    tile = on_grid(shared_file("osterrain50_NN17.asc"), crs="EPSG:27700", longitude=-5, latitude=56.8)
    joined = on_grid(shared_file("osterrain50_nn.tif"), longitude=-5, latitude=56.8).whole()
    surface = tile.whole()
    row, column = (int(v) for v in joined.grid.to_array(surface.grid.west_m, surface.grid.north_m))
    np.testing.assert_array_equal(surface.height_m, joined.height_m[row : row + 200, column : column + 200])


def test_values_equal_another_reader() -> None:
    """Outside: GDAL's own Python bindings (another GDAL than rasterio's), every cell."""
    gdal = pytest.importorskip("osgeo.gdal")
    gdal.UseExceptions()
    for name, place in (("osterrain50_nn.tif", (-5.0, 56.8)), ("srtm30_big_tujunga.tif", (-118.0, 34.3))):
        path = shared_file(name)
        mine = on_grid(path, *place).whole().height_m
        np.testing.assert_array_equal(mine, gdal.Open(str(path)).ReadAsArray().astype(np.float32))


@pytest.mark.parametrize(
    "name", ["a#b?c!d&.tif", "Ümläut ☃.tif", 'it\'s "q" %20;.tif', "a:b.tif", "line\nbreak.tif"]
)
def test_awkward_file_names(tmp_path: Path, name: str) -> None:
    if sys.platform == "win32" and not name.startswith("Ü"):
        pytest.skip("no such file names on this system")
    assert (
        on_grid(write_geotiff(tmp_path / "t.tif", plane(4, 4)).rename(tmp_path / name)).whole().height_m[0, 0]
        == 100
    )
