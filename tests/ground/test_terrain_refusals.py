"""Terrain that cannot be used: one clear message each, saying what, where and what to do."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import pytest
import rasterio
from affine import Affine

from hillsight.errors import CallError, TerrainError
from hillsight.ground import heights
from hillsight.ground.terrain import Terrain, open_terrain
from hillsight.ground.terrain_options import TerrainOptions
from terrains import fractal, plane, with_hole, write_geotiff


def on_grid(path: Path | str, **options: Any) -> Terrain:
    return open_terrain(str(path), TerrainOptions(**options)).on_metric_grid(-3.6, 56.1)


def assert_refused(path: Path | str, *words: str, **options: Any) -> str:
    with pytest.raises((TerrainError, CallError)) as caught:
        on_grid(path, **options).whole()
    text = " ".join((str(caught.value), *caught.value.parameters))
    assert "\n" not in text
    assert caught.value.exit_code == 2
    for word in words:
        assert word in text, text
    return text


def test_missing_file(tmp_path: Path) -> None:
    assert_refused(tmp_path / "none.tif", "none.tif", "no such file")


def test_missing_inside_an_archive(tmp_path: Path) -> None:
    assert_refused(f"/vsizip/{tmp_path}/none.zip/t.tif", "none.zip")


def test_folder_empty_file_and_text(tmp_path: Path) -> None:
    assert_refused(tmp_path, "folder")
    (tmp_path / "empty.tif").touch()
    assert_refused(tmp_path / "empty.tif", "empty (0 bytes)")
    (tmp_path / "notes.txt").write_text("Not a terrain model.\n")
    assert_refused(tmp_path / "notes.txt", "notes.txt", "not a raster", "GeoTIFF")


@pytest.mark.parametrize(
    "numbers", ["300000,10,1e300,700000,0,-10", "1e300,10,0,700000,0,-10", "300000,1e-9,0,700000,0,-10"]
)
def test_cells_that_no_number_tells_apart(tmp_path: Path, numbers: str) -> None:
    write_geotiff(tmp_path / "t.tif", plane(20, 20))
    (tmp_path / "t.vrt").write_text(
        '<VRTDataset rasterXSize="20" rasterYSize="20"><SRS>EPSG:27700</SRS>'
        f"<GeoTransform>{numbers}</GeoTransform>"
        '<VRTRasterBand dataType="Float32" band="1"><SimpleSource>'
        '<SourceFilename relativeToVRT="1">t.tif</SourceFilename><SourceBand>1</SourceBand>'
        "</SimpleSource></VRTRasterBand></VRTDataset>"
    )
    assert_refused(tmp_path / "t.vrt", "too small to be told apart", "t.vrt")


def test_vector_file(tmp_path: Path) -> None:
    import geopandas
    from shapely.geometry import Point

    path = tmp_path / "tops.gpkg"
    geopandas.GeoDataFrame({"name": ["a"]}, geometry=[Point(1, 2)], crs=27700).to_file(path, layer="tops")
    assert_refused(path, "tops.gpkg", "1 vector layer", "no raster")


def test_container_lists_its_rasters(tmp_path: Path) -> None:
    path = tmp_path / "two.gpkg"
    for table, height_m in (("north", 70), ("south", 50)):
        made = plane(20, 20, height_m=height_m)
        write_geotiff(
            path, made, driver="GPKG", RASTER_TABLE=table, APPEND_SUBDATASET="YES", TILE_FORMAT="TIFF"
        )
    text = assert_refused(path, "container of 2 rasters", "north", "south")
    names = text.split("rasters: ")[1].split(". Give")[0].split("; ")
    heights_m = [on_grid(name).whole().height_m[0, 0] for name in names]  # a name can be given back as it is
    assert heights_m == [70, 50]


def test_zero_size(tmp_path: Path) -> None:
    path = tmp_path / "t.vrt"
    path.write_text('<VRTDataset rasterXSize="0" rasterYSize="0"></VRTDataset>')
    assert_refused(path, "t.vrt", "0")


@pytest.mark.parametrize("nodata", [None, -9999.0])
def test_all_void(tmp_path: Path, nodata: float | None) -> None:
    nothing = np.full((10, 10), np.nan, np.float32)
    assert_refused(
        write_geotiff(tmp_path / "t.tif", nothing, nodata=nodata), "no height", "all 10 x 10 posts are void"
    )


def test_all_void_in_the_window_only(tmp_path: Path) -> None:
    holed = with_hole(plane(100, 100), 40, 40, 20, 20)
    terrain = on_grid(write_geotiff(tmp_path / "t.tif", holed, west=0, north=990))
    assert np.isfinite(terrain.whole().height_m).any()
    with pytest.raises(TerrainError, match=r"no height around E 500 N 490: all 13 x 13"):
        terrain.window(500, 490, 30)


def test_no_crs(tmp_path: Path) -> None:
    path = write_geotiff(tmp_path / "t.tif", plane(5, 5), crs=None)
    assert_refused(path, "t.tif", "coordinate reference system", "terrain_crs")
    assert_refused(path, "EPSG:999999", "terrain_crs", crs="EPSG:999999")
    assert_refused(path, "nonsense", "terrain_crs", crs="nonsense")
    assert on_grid(path, crs="EPSG:27700").crs == pyproj.CRS.from_epsg(27700)


def test_crs_overridden_is_said(tmp_path: Path) -> None:
    source = open_terrain(
        str(write_geotiff(tmp_path / "t.tif", plane(5, 5))), TerrainOptions(crs="EPSG:32630")
    )
    assert source.source_crs == pyproj.CRS.from_epsg(32630)
    assert any("overridden" in note and "British" in note for note in source.notes)


def test_crs_without_a_place_on_earth(tmp_path: Path) -> None:
    local = 'LOCAL_CS["site grid",UNIT["metre",1],AXIS["x",EAST],AXIS["y",NORTH]]'
    assert_refused(
        write_geotiff(tmp_path / "t.tif", plane(5, 5), crs=local), "no place on the Earth", "terrain_crs"
    )
    path = write_geotiff(tmp_path / "u.tif", plane(5, 5))
    assert_refused(path, "west or south", crs="EPSG:2053")  # a South African grid of westings and southings
    assert_refused(path, "downwards", crs="EPSG:27700+5715")  # EPSG:5715: depths below mean sea level


def test_no_geometry(tmp_path: Path) -> None:
    path = write_geotiff(tmp_path / "t.tif", plane(5, 5), transform=Affine.identity())
    assert_refused(path, "does not say where it lies", "no geotransform")


def test_only_control_points(tmp_path: Path) -> None:
    points = [
        rasterio.control.GroundControlPoint(r, c, 300_000 + c, 700_000 - r) for r in (0, 4) for c in (0, 4)
    ]
    path = tmp_path / "t.tif"
    with rasterio.open(path, "w", driver="GTiff", width=5, height=5, count=1, dtype="float32") as out:
        out.gcps = (points, rasterio.crs.CRS.from_epsg(27700))
        out.write(plane(5, 5), 1)
    assert_refused(path, "4 ground control points")


def test_bands(tmp_path: Path) -> None:
    path = write_geotiff(tmp_path / "t.tif", np.stack([plane(5, 5)] * 2))
    assert_refused(path, "2 bands", "band")
    assert_refused(path, "no band 3", band=3)
    assert_refused(path, "no band 0", band=0)
    with rasterio.open(path, "r+") as out:
        out.colorinterp = [rasterio.enums.ColorInterp.gray, rasterio.enums.ColorInterp.alpha]
    assert_refused(path, "transparency", band=2)


def test_pictures_and_complex_numbers(tmp_path: Path) -> None:
    colour = np.zeros((3, 5, 5), np.uint8)
    assert_refused(write_geotiff(tmp_path / "rgb.tif", colour), "picture")
    assert_refused(write_geotiff(tmp_path / "rgb.tif", colour), "picture", band=1)
    path = write_geotiff(tmp_path / "palette.tif", colour[0], photometric="palette")
    with rasterio.open(path, "r+") as out:
        out.write_colormap(1, {0: (1, 2, 3, 255)})
    assert_refused(path, "picture")
    assert_refused(
        write_geotiff(tmp_path / "c.tif", plane(5, 5).astype(np.complex64)), "complex64", "not heights"
    )


@pytest.mark.parametrize(
    ("dtype", "value", "shown"),
    [
        ("float32", 1e38, "1e+38"),
        ("float32", np.inf, "inf"),
        ("int16", -32768, "-32768"),
        ("int16", -32767, "-32767"),
        ("float32", -9999, "-9999"),
        ("int32", -9999, "-9999"),
        ("uint16", 65535, "65535"),
        ("float64", -3.4e38, "-3.4e+38"),
    ],
)
def test_undeclared_no_data(tmp_path: Path, dtype: str, value: float, shown: str) -> None:
    stored = np.round(fractal(30, 30, seed=41, lowest_m=5)).astype(dtype)
    stored[12, 17] = stored[20, 3] = stored[29, 29] = value
    path = write_geotiff(tmp_path / "t.tif", stored)
    assert_refused(path, "t.tif", "3 cells are", f"example {shown} at row 12, column 17", "nodata")
    mine = on_grid(path, nodata=float(shown)).whole().height_m
    assert np.argwhere(np.isnan(mine)).tolist() == [[12, 17], [20, 3], [29, 29]]
    terrain = on_grid(path)
    assert terrain.window(300_040, 700_000 - 40, 20).height_m.size == 10 * 10  # a window clear of it is read
    with pytest.raises(TerrainError, match=r"1 cell is .* at row 12, column 17"):
        terrain.window(300_150, 700_000 - 100, 20)


def test_undeclared_no_data_in_a_warped_file(tmp_path: Path) -> None:
    stored = np.round(fractal(60, 60, seed=42, lowest_m=5)).astype(np.int16)
    stored[12, 17] = -9999
    path = write_geotiff(tmp_path / "t.tif", stored, crs="EPSG:4326", west=-3.6, north=56.1, spacing=1 / 1200)
    assert_refused(path, "example -9999 at row 12, column 17", "If -9999 stands for no data", "nodata")


def test_ground_that_happens_to_hold_such_a_number(tmp_path: Path) -> None:
    """Centimetres in int16 end at 327.67 m: with ground of that height beside it, it is ground."""
    stored = np.linspace(20_000, 32_767, 900).reshape(30, 30).astype(np.int16)
    path = write_geotiff(tmp_path / "t.tif", stored, unit="cm")
    assert on_grid(path).whole().height_m.max() == np.float32(327.67)
    deep = (
        np.linspace(-10_500, -9_000, 1501).astype(np.float32).reshape(19, 79)
    )  # a sea bed, -9999 m among it
    assert (deep == -9999).any()
    assert np.isfinite(on_grid(write_geotiff(tmp_path / "d.tif", deep)).whole().height_m).all()


def test_units(tmp_path: Path) -> None:
    path = write_geotiff(tmp_path / "t.tif", plane(5, 5), unit="fathom")
    assert_refused(path, "'fathom'", "vertical_unit")
    assert_refused(path, "'cubit'", "vertical_unit", vertical_unit="cubit")
    assert on_grid(path, vertical_unit="ft").whole().height_m[0, 0] == pytest.approx(30.48)
    # The band says metres, the CRS (EPSG:6360) US survey feet. GDAL itself would fill in the CRS's unit.
    both = write_geotiff(tmp_path / "b.tif", plane(5, 5), crs="EPSG:26913+6360", unit="m")
    with pytest.raises(TerrainError, match=r"'m' but its vertical CRS .*State which holds"):
        open_terrain(str(both))


def test_unit_lengths_are_those_of_proj() -> None:
    """Outside: the unit table of PROJ (pyproj.get_units_map)."""
    table = pyproj.get_units_map(category="linear")
    for name, spellings in {
        "metre": ("m", "Metre", "meters"),
        "US survey foot": ("us-ft", "ftUS", "U.S. survey feet", "foot_us"),
        "foot": ("ft", "Feet", "foot"),
        "kilometre": ("km",),
        "centimetre": ("cm",),
        "millimetre": ("mm",),
    }.items():
        for spelling in (name, *spellings):
            assert heights.metres_per_unit(spelling) == pytest.approx(table[name].conv_factor, rel=1e-12), (
                spelling
            )
    assert heights.metres_per_unit("dm") == 0.1
    assert heights.metres_per_unit("degree") is None
    for name in heights.UNIT_NAMES:
        assert heights.metres_per_unit(name) is not None
