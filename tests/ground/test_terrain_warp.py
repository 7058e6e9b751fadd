"""Terrain on other axes: degrees, feet, turned cells, world-wide Mercator, poles, the date line."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import pytest
import rasterio
from affine import Affine

from hillsight.arrays import AnyArray, Floats
from hillsight.errors import CallError, TerrainError
from hillsight.ground import warp
from hillsight.ground.grid import Surface
from hillsight.ground.terrain import Terrain, open_terrain
from hillsight.ground.terrain_options import TerrainOptions
from shared_data import shared_file
from terrains import fractal, with_hole, with_voids, write_geotiff


def on_grid(path: Path | str, longitude: float, latitude: float, **options: Any) -> Terrain:
    return open_terrain(str(path), TerrainOptions(**options)).on_metric_grid(longitude, latitude)


def in_degrees(tmp_path: Path, stored: AnyArray, west: float, north: float, step: float, **more: Any) -> Path:
    return write_geotiff(
        tmp_path / "degrees.tif",
        stored,
        crs=more.pop("crs", "EPSG:4326"),
        west=west,
        north=north,
        spacing=step,
        **more,
    )


def independent(surface: Surface, stored: AnyArray, place: Affine, crs: object) -> Floats:
    """Post by post: pyproj to the file's CRS, the inverse of its transform, four cells, plain bilinear."""
    rows, columns = surface.height_m.shape
    row, column = np.mgrid[:rows, :columns]
    x, y = surface.grid.to_map(row, column)
    x, y = pyproj.Transformer.from_crs(surface.grid.crs, crs, always_xy=True).transform(x, y)
    turn = np.array([[place.a, place.b], [place.d, place.e]])
    c, r = np.tensordot(np.linalg.inv(turn), [x - place.c, y - place.f], axes=1) - 0.5
    top, left = np.floor(r).astype(int), np.floor(c).astype(int)
    height = np.full(r.shape, np.nan)
    ok = (top >= 0) & (left >= 0) & (top < stored.shape[0] - 1) & (left < stored.shape[1] - 1)
    t, w, d, a = top[ok], left[ok], (r - top)[ok], (c - left)[ok]
    height[ok] = (
        stored[t, w] * (1 - d) * (1 - a)
        + stored[t, w + 1] * (1 - d) * a
        + stored[t + 1, w] * d * (1 - a)
        + stored[t + 1, w + 1] * d * a
    )
    return height


def same(mine: AnyArray, theirs: AnyArray, tolerance: float) -> None:
    np.testing.assert_array_equal(np.isnan(mine), np.isnan(theirs))
    assert np.isfinite(mine).sum() > 1000
    assert np.nanmax(np.abs(mine - theirs)) < tolerance


def test_degrees_against_an_independent_bilinear(tmp_path: Path) -> None:
    stored = with_voids(fractal(300, 400, seed=21, relief_m=3000), seed=1, share=0.01).astype(np.float64)
    path = in_degrees(tmp_path, stored, -3.2, 56.3, 1 / 3600)
    terrain = on_grid(path, -3.15, 56.25)
    assert terrain.crs == pyproj.CRS.from_epsg(32630)
    # 1 second is 30.9 m northwards and 17.2 m eastwards here: a square as large is 23.1 m (by hand).
    assert terrain.spacing_x_m == terrain.spacing_y_m == pytest.approx(23.1, abs=0.1)
    assert any(
        "EPSG" not in n and "Warped (in degrees) from WGS 84 to WGS 84 / UTM zone 30N" in n
        for n in terrain.notes
    )
    assert terrain.operation is not None
    assert terrain.operation.name == "UTM zone 30N"
    assert terrain.operation.accuracy_m == 0
    with rasterio.open(path) as dataset:
        theirs = independent(terrain.whole(), stored, dataset.transform, 4326)
    mine = terrain.whole().height_m
    same(mine[2:-2, 2:-2], theirs[2:-2, 2:-2], 0.002)


def test_against_gdal_warper() -> None:
    """Outside: gdal.Warp of GDAL's own bindings, exact transformer, on real SRTM."""
    gdal = pytest.importorskip("osgeo.gdal")
    gdal.UseExceptions()
    path = shared_file("srtm90_n49w123.tif")
    terrain = on_grid(path, -122.5, 49.5)
    surface = terrain.window(530_000, 5_480_000, 15_000)
    west, south, east, north = surface.grid.cell_edges_m
    warped = gdal.Warp(
        "",
        str(path),
        format="MEM",
        dstSRS="EPSG:32610",
        outputBounds=(west, south, east, north),
        xRes=terrain.spacing_x_m,
        yRes=terrain.spacing_y_m,
        resampleAlg="bilinear",
        errorThreshold=0,
        outputType=gdal.GDT_Float64,
        dstNodata=-99999,
        warpOptions=["XSCALE=1", "YSCALE=1"],
    ).ReadAsArray()
    both = ~np.isnan(surface.height_m) & (warped != -99999)
    assert warped.shape == surface.height_m.shape
    assert both.sum() > 100_000
    difference = np.abs(surface.height_m - warped)[both]
    # Where a cell is void GDAL averages the others, here the post is void: nothing else may differ.
    assert difference.max() < 0.01
    assert not (np.isnan(surface.height_m) & (warped == -99999)).all()


def test_real_voids_stay_voids_and_do_not_leak() -> None:
    """34,926 cells of -32767 (the data's README); a post is void if and only if it rests on one."""
    path = shared_file("srtm90_n49w123.tif")
    with rasterio.open(path) as dataset:
        stored = dataset.read(1).astype(float)
        place = dataset.transform
    assert (stored == -32767).sum() == 34_926
    stored[stored == -32767] = np.nan
    surface = on_grid(path, -122.5, 49.5).whole()
    assert np.nanmin(surface.height_m) >= np.nanmin(stored)
    assert np.nanmax(surface.height_m) <= np.nanmax(stored)
    theirs = independent(surface, stored, place, 4326)
    same(surface.height_m[1:-1, 1:-1], theirs[1:-1, 1:-1], 0.01)


def test_point_file_lands_on_the_degree_lines() -> None:
    """srtm90 is pixel-is-point: posts on whole 3 seconds, the first on 123 W 50 N (the data's README)."""
    source = open_terrain(str(shared_file("srtm90_n49w123.tif")))
    x, y = warp.to_places(source.band, np.array([0.0, 1200.0]), np.array([0.0, 1200.0]))
    np.testing.assert_allclose(x, (-123, -122), atol=1e-9)
    np.testing.assert_allclose(y, (50, 49), atol=1e-9)


def test_windows_give_the_same_posts_to_the_last_bit(tmp_path: Path) -> None:
    stored = with_voids(fractal(700, 700, seed=22, relief_m=3000), seed=2, share=0.001)
    path = in_degrees(tmp_path, stored, -3.2, 56.3, 1 / 3600)
    terrain = on_grid(path, -3.1, 56.2)
    whole = terrain.whole()
    middle_e, middle_n = (
        (terrain.bounds_m[0] + terrain.bounds_m[2]) / 2,
        (terrain.bounds_m[1] + terrain.bounds_m[3]) / 2,
    )
    for shift_e, shift_n, reach in ((0, 0, 3000), (1234.5, -777.7, 2000), (-3000, 2500, 900), (50, 60, 100)):
        part = terrain.window(middle_e + shift_e, middle_n + shift_n, reach)
        row, column = (round(float(v)) for v in whole.grid.to_array(part.grid.west_m, part.grid.north_m))
        rows, columns = part.height_m.shape
        assert part.grid.west_m == pytest.approx(
            whole.grid.west_m + column * whole.grid.spacing_x_m, abs=1e-6
        )
        np.testing.assert_array_equal(
            part.height_m, whole.height_m[row : row + rows, column : column + columns]
        )
    again = on_grid(path, -3.05, 56.15).window(middle_e, middle_n, 1000)  # another station, another run
    row, column = (round(float(v)) for v in whole.grid.to_array(again.grid.west_m, again.grid.north_m))
    np.testing.assert_array_equal(
        again.height_m, whole.height_m[row : row + again.grid.rows, column : column + again.grid.columns]
    )


def test_lattice_stands_on_multiples_of_the_spacing(tmp_path: Path) -> None:
    terrain = on_grid(in_degrees(tmp_path, fractal(200, 200, seed=23), 8.0, 47.0, 1 / 3600), 8.02, 46.98)
    for value in terrain.bounds_m:
        assert value / terrain.spacing_x_m == pytest.approx(round(value / terrain.spacing_x_m), abs=1e-6)


def test_interpolated_coordinates_are_as_good_as_exact_ones(tmp_path: Path) -> None:
    terrain = on_grid(in_degrees(tmp_path, fractal(700, 700, seed=24), -3.2, 56.3, 1 / 1200), -3.0, 56.0)
    lattice = terrain.posts
    assert isinstance(lattice, warp.Lattice)
    first = (lattice.first_row // 256 + 1) * 256, (lattice.first_column // 256 + 1) * 256
    row, column = np.meshgrid(first[0] + np.arange(256.0), first[1] + np.arange(256.0), indexing="ij")
    for quick, exact in zip(lattice._tile_cells(*first), lattice.cells(row, column), strict=True):
        assert np.abs(quick - exact).max() < 1e-6  # cells


def test_grid_in_feet(tmp_path: Path) -> None:
    """EPSG:2231 is a United States grid in US survey feet (EPSG registry, by way of PROJ)."""
    stored = fractal(150, 150, seed=25).astype(np.float64)
    path = write_geotiff(
        tmp_path / "t.tif", stored, crs="EPSG:2231", west=3_000_000, north=1_400_000, spacing=30
    )
    terrain = on_grid(path, -105, 40.5)
    assert terrain.crs == pyproj.CRS.from_epsg(26913)  # UTM on the file's own datum, NAD83
    assert terrain.operation is not None and terrain.operation.accuracy_m == 0
    assert terrain.spacing_x_m == pytest.approx(30 * 1200 / 3937, abs=0.02)
    assert any("US survey foot" in note for note in terrain.notes)
    assert any("if its heights are too" in note for note in terrain.notes)
    with rasterio.open(path) as dataset:
        theirs = independent(terrain.whole(), stored, dataset.transform, 2231)
    mine = terrain.whole().height_m
    ok = np.isfinite(theirs)
    assert ok.sum() > 15_000
    assert np.abs(mine - theirs)[ok].max() < 0.002


@pytest.mark.parametrize("angle", [17.0, 90.0, -135.0])
def test_turned_cells_stay_in_their_crs(tmp_path: Path, angle: float) -> None:
    stored = with_hole(fractal(120, 160, seed=26), 40, 50, 4, 4).astype(np.float64)
    cosine, sine = 12.5 * np.cos(np.radians(angle)), 12.5 * np.sin(np.radians(angle))
    place = Affine(cosine, sine, 400_000, sine, -cosine, 300_000)
    path = write_geotiff(tmp_path / "t.tif", stored, transform=place)
    terrain = on_grid(path, -2, 52.6)
    assert terrain.crs == pyproj.CRS.from_epsg(27700)
    assert terrain.spacing_x_m == 12.5
    assert terrain.operation is None
    assert any("turned" in note for note in terrain.notes)
    surface = terrain.whole()
    theirs = independent(surface, stored, place, 27700)
    ok = np.isfinite(theirs)
    assert ok.sum() > 10_000
    assert np.nanmax(np.abs(surface.height_m - theirs)[ok]) < 0.002
    assert np.isnan(surface.height_m).sum() > 0


@pytest.mark.parametrize("spacing", [10.0, 12.3])
def test_a_post_on_a_row_of_cells_does_not_rest_on_the_next(tmp_path: Path, spacing: float) -> None:
    """Quarter turns put the lattice on the cells themselves: voids must not grow, edges not be lost.

    12.3 m has no exact binary form: positions miss the cells by rounding only.
    """
    stored = with_hole(fractal(40, 50, seed=27), 10, 20, 3, 5)
    west, south = 33_000 * spacing, 25_000 * spacing  # of the first post
    place = Affine(
        0, spacing, west - spacing / 2, spacing, 0, south - spacing / 2
    )  # rows run east, columns north
    terrain = on_grid(write_geotiff(tmp_path / "t.tif", stored, transform=place), -2, 52.6)
    surface = terrain.whole()
    assert terrain.bounds_m == pytest.approx(
        (west, south, west + 39 * spacing, south + 49 * spacing), abs=1e-6
    )
    np.testing.assert_array_equal(surface.height_m, stored.T[::-1])


def test_world_wide_mercator_is_no_metric_grid(tmp_path: Path) -> None:
    """Its metres are 1 / cos(latitude) too long (closed form): 1.80 at 56.3 N."""
    x, y = pyproj.Transformer.from_crs(4326, 3857, always_xy=True).transform(-3.2, 56.3)
    path = write_geotiff(
        tmp_path / "t.tif", fractal(100, 100, seed=28), crs="EPSG:3857", west=x, north=y, spacing=40
    )
    terrain = on_grid(path, -3.19, 56.29)
    assert terrain.crs == pyproj.CRS.from_epsg(32630)
    assert terrain.spacing_x_m == pytest.approx(40 * np.cos(np.radians(56.28)), rel=0.005)
    assert any("off by 80 %" in note for note in terrain.notes)


def test_grid_asked_for(tmp_path: Path) -> None:
    path = in_degrees(tmp_path, fractal(100, 100, seed=29), -3.2, 56.3, 1 / 1200)
    terrain = on_grid(path, -3.18, 56.28, grid_crs="EPSG:27700")
    assert terrain.crs == pyproj.CRS.from_epsg(27700)
    assert terrain.operation is not None  # a datum shift, so its accuracy is not nought
    assert terrain.operation.accuracy_m is not None and terrain.operation.accuracy_m > 0
    for bad in ("EPSG:4326", "EPSG:2231", "no such thing"):
        with pytest.raises(CallError, match="the working grid") as caught:
            open_terrain(str(path), TerrainOptions(grid_crs=bad))
        assert caught.value.parameters == ("grid_crs",)


@pytest.mark.parametrize(
    ("crs", "longitude", "latitude", "expected"),
    [
        ("EPSG:4326", 170.5, -43.5, 32759),
        ("EPSG:4326", -179.9, 10.0, 32601),
        ("EPSG:4326", 0.0, 0.0, 32631),
        ("EPSG:4326", 15.0, 85.0, 5041),
        ("EPSG:4326", 160.0, -82.0, 5042),
        ("EPSG:4258", 7.0, 46.0, 25832),
        ("EPSG:4269", -118.0, 34.0, 26911),
        ("EPSG:4283", 147.0, -42.0, 28355),
    ],
)
def test_local_grid(tmp_path: Path, crs: str, longitude: float, latitude: float, expected: int) -> None:
    """Codes of the EPSG registry, from memory: UTM on WGS 84, ETRS89, NAD83, GDA94, and the polar grids."""
    step = 1 / 1200
    path = in_degrees(
        tmp_path, fractal(60, 600, seed=30), longitude - 300 * step, latitude + 30 * step, step, crs=crs
    )
    terrain = on_grid(path, longitude, latitude)
    if expected == 28355:  # registered as "GDA94 / MGA zone 55", so named here by its zone on the same datum
        assert terrain.crs.geodetic_crs.name == "GDA94"
        assert terrain.crs.utm_zone == "55S"
    else:
        assert terrain.crs == pyproj.CRS.from_epsg(expected)
    place = pyproj.Transformer.from_crs(crs, terrain.crs, always_xy=True).transform(longitude, latitude)
    surface = terrain.window(*place, 500)
    assert np.isfinite(surface.height_m).mean() > 0.9
    assert any(terrain.crs.name in note for note in terrain.notes)


@pytest.mark.parametrize("longitude", [179.99, -179.99])
@pytest.mark.parametrize("first", [-180.0, 0.0])
def test_date_line_and_a_raster_round_the_earth(tmp_path: Path, longitude: float, first: float) -> None:
    step = 0.1
    longitudes = first + step / 2 + step * np.arange(3600)
    latitudes = 20 - step / 2 - step * np.arange(400)
    lon, lat = np.meshgrid(np.radians(longitudes), np.radians(latitudes))
    stored = (1000 + 500 * np.sin(lon) * np.cos(lat)).astype(np.float32)
    path = in_degrees(tmp_path, stored, longitudes[0], latitudes[0], step)
    terrain = on_grid(path, longitude, -17.0)
    assert terrain.crs == pyproj.CRS.from_epsg(32760 if longitude > 0 else 32701)
    place = pyproj.Transformer.from_crs(4326, terrain.crs, always_xy=True).transform(longitude, -17.0)
    surface = terrain.window(*place, 60_000)
    assert np.isfinite(surface.height_m).all()
    x, y = surface.grid.to_map(*np.mgrid[: surface.grid.rows, : surface.grid.columns])
    at_lon, at_lat = pyproj.Transformer.from_crs(terrain.crs, 4326, always_xy=True).transform(x, y)
    assert np.ptp(at_lon) > 350  # the window lies across the line
    expected = 1000 + 500 * np.sin(np.radians(at_lon)) * np.cos(np.radians(at_lat))
    assert np.abs(surface.height_m - expected).max() < 0.01
    assert any("within 500 km" in note for note in terrain.notes)


def test_a_whole_earth_raster_is_not_read_whole(tmp_path: Path) -> None:
    path = tmp_path / "earth.tif"
    step = 1 / 1200
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=432_000,
        height=216_000,
        count=1,
        dtype="int16",
        crs="EPSG:4326",
        transform=Affine(step, 0, -180, 0, -step, 90),
        tiled=True,
        SPARSE_OK=True,
        BIGTIFF=True,
        compress="deflate",
    ) as out:
        column, row = round((180 - 3.6) / step), round((90 - 56.1) / step)
        out.write(
            np.full((1024, 1024), 77, np.int16),
            1,
            window=rasterio.windows.Window(column - 512, row - 512, 1024, 1024),
        )
    terrain = on_grid(path, -3.6, 56.1)
    place = pyproj.Transformer.from_crs(4326, terrain.crs, always_xy=True).transform(-3.6, 56.1)
    assert (terrain.window(*place, 5000).height_m == 77).all()
    west, south, east, north = terrain.bounds_m
    assert west < place[0] - 450_000 and east > place[0] + 450_000 and south < place[1] - 450_000
    assert north > place[1] + 450_000


def test_the_pole_itself(tmp_path: Path) -> None:
    """All longitudes meet in one lattice tile there; only what lies poleward of the last row is void."""
    to_grid = pyproj.Transformer.from_crs(4326, 5041, always_xy=True)
    longitude, latitude = np.meshgrid(-179.95 + 0.1 * np.arange(3600), 89.995 - 0.01 * np.arange(300))
    x, y = to_grid.transform(longitude, latitude)
    stored = (1000 + (x - 2e6) / 100 + (y - 2e6) / 150).astype(np.float32)  # a plane on the polar grid
    path = in_degrees(tmp_path, stored, -179.95, 89.995, 0.1, spacing_y=0.01)
    surface = on_grid(path, 20.0, 89.9).window(2e6, 2e6, 40_000)
    x, y = surface.grid.to_map(*np.mgrid[: surface.grid.rows, : surface.grid.columns])
    beyond = np.hypot(x - 2e6, y - 2e6) < to_grid.transform(90, 89.995)[0] - 2e6
    np.testing.assert_array_equal(np.isnan(surface.height_m), beyond)
    difference = surface.height_m - (1000 + (x - 2e6) / 100 + (y - 2e6) / 150)
    assert np.abs(difference[~beyond]).max() < 0.01


def test_terrain_elsewhere_is_refused(tmp_path: Path) -> None:
    path = in_degrees(tmp_path, fractal(50, 50, seed=31), -3.2, 56.3, 1 / 1200)
    with pytest.raises(TerrainError, match="nowhere within 500 km"):
        on_grid(path, 12.0, 42.0)


def test_feet_and_scale_on_the_way(tmp_path: Path) -> None:
    stored = np.round(fractal(80, 80, seed=32, relief_m=3000)).astype(np.int16)
    plain = on_grid(in_degrees(tmp_path, stored, -3.2, 56.3, 1 / 1200), -3.18, 56.28).whole().height_m
    feet = on_grid(
        in_degrees(tmp_path, stored, -3.2, 56.3, 1 / 1200, unit="ft", scale=0.1), -3.18, 56.28
    ).whole()
    np.testing.assert_allclose(feet.height_m, plain * 0.03048, rtol=1e-5, atol=1e-4)


def test_datum_known_only_by_its_shift_goes_to_wgs84(tmp_path: Path) -> None:
    """On its own datum no station could be brought to it but by a ballpark."""
    datum = (
        'GEOGCS["old",DATUM["old",SPHEROID["Clarke 1880",6378249.2,293.466],TOWGS84[-168,-60,320,0,0,0,0]],'
        'PRIMEM["Greenwich",0],UNIT["degree",0.0174532925199433]]'
    )
    stored = fractal(150, 150, seed=33)
    path = in_degrees(tmp_path, stored, 3.0, 45.0, 1 / 1200, crs=datum)
    terrain = on_grid(path, 3.05, 44.95)
    assert terrain.crs == pyproj.CRS.from_epsg(32631)
    # The same shift as a PROJ pipeline written out by hand, for the cell in the middle.
    pipeline = (
        "+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad +step +proj=push +v_3 "
        "+step +proj=cart +a=6378249.2 +rf=293.466 +step +proj=helmert +x=-168 +y=-60 +z=320 "
        "+step +inv +proj=cart +ellps=WGS84 +step +proj=pop +v_3 +step +proj=utm +zone=31 +ellps=WGS84"
    )
    easting, northing = pyproj.Transformer.from_pipeline(pipeline).transform(3 + 75 / 1200, 45 - 75 / 1200)
    assert terrain.window(easting, northing, 500).height_at_m(easting, northing) == pytest.approx(
        stored[75, 75], abs=2
    )


def test_grads_from_another_meridian(tmp_path: Path) -> None:
    """EPSG:4807 counts grads from Paris: 0.5 grad there is 2.787 degrees from Greenwich."""
    path = in_degrees(tmp_path, fractal(150, 150, seed=34), 0.5, 50.0, 1 / 1000, crs="EPSG:4807")
    terrain = on_grid(path, 2.85, 44.94)
    assert terrain.crs == pyproj.CRS.from_epsg(32631)
    assert terrain.operation is not None and (terrain.operation.accuracy_m or 0) > 0
    assert any("in grads" in note for note in terrain.notes)
    middle = pyproj.Transformer.from_crs(4807, 32631, always_xy=True).transform(0.575, 49.925)
    assert np.isfinite(terrain.window(*middle, 1000).height_m).all()
