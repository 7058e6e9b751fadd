"""Blocks of a GeoTIFF that are packed by DEFLATE are read as they were written, or not at all."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio

import hillsight
from hillsight.errors import TerrainError
from hillsight.ground.tiff_blocks import check_blocks
from terrains import fractal


def packed(path: Path, **how: object) -> Path:
    """Ground of 128 x 128 posts 10 m apart in whole decimetres, in four blocks."""
    heights = np.round(np.asarray(fractal(128, 128, seed=1, relief_m=80, lowest_m=100)) * 10).astype(np.int16)
    profile: dict[str, object] = {
        "driver": "GTiff",
        "width": 128,
        "height": 128,
        "count": 1,
        "dtype": "int16",
        "tiled": True,
        "blockxsize": 64,
        "blockysize": 64,
        "compress": "deflate",
        "predictor": 2,
        "crs": "EPSG:27700",
        "transform": rasterio.transform.from_origin(300_000, 700_000, 10, 10),
        **how,
    }
    with rasterio.open(path, "w", **profile) as file:
        file.write(heights, 1)
    return path


def blocks(path: Path) -> list[tuple[int, int]]:
    """Place and size of each block, from the left to the right and down."""
    with rasterio.open(path) as file:
        return [
            tuple(
                int(file.get_tag_item(f"BLOCK_{what}_{x}_{y}", "TIFF", bidx=1)) for what in ("OFFSET", "SIZE")
            )
            for y in range(2)
            for x in range(2)
        ]


def seen(path: Path) -> hillsight.Raster:
    at = ["300300,699700,Eye"]
    found = hillsight.viewshed(path, at=at, reach=150.0, only_states=True, vertical_unit="dm")
    (raster,) = found.rasters.values()
    return raster


def test_what_gdal_reads_without_a_word_is_refused(tmp_path: Path) -> None:
    """One bit of every seventh byte of the first block, each in a file of its own."""
    path = packed(tmp_path / "ground.tif")
    content, (start, size) = path.read_bytes(), blocks(path)[0]
    with rasterio.open(path) as file:
        sound = file.read(1)
    unnoticed = 0
    for at in range(start + 2, start + size, 7):
        data = bytearray(content)
        data[at] ^= 16
        path = tmp_path / f"{at}.tif"
        path.write_bytes(data)
        with rasterio.open(path) as file:
            try:
                unnoticed += not np.array_equal(file.read(1), sound)
            except rasterio.errors.RasterioError:
                continue
            with pytest.raises(TerrainError) as refused:
                check_blocks(str(path), file, 1, 10, 10, 20, 20)
            assert "rows 0 to 63, columns 0 to 63 cannot be read" in str(refused.value)
            check_blocks(str(path), file, 1, 70, 70, 20, 20)  # another block is whole
        with pytest.raises(TerrainError):
            seen(path)
    assert unnoticed > 0


@pytest.mark.parametrize(
    "how",
    [
        {"tiled": False, "blockxsize": 128, "blockysize": 16},
        {"compress": "lzw"},
        {"compress": "none", "predictor": 1},
        {"count": 2, "interleave": "pixel"},
        {"nodata": -1, "sparse_ok": True},
    ],
)
def test_other_ways_to_write_are_read(tmp_path: Path, how: dict[str, object]) -> None:
    path, plain = (
        packed(tmp_path / "ground.tif", **how),
        packed(tmp_path / "plain.tif", compress="none", predictor=1),
    )
    band = {"band": 1} if how.get("count") == 2 else {}
    found = hillsight.open_terrain(path, vertical_unit="dm", **band).whole()
    assert np.array_equal(found.height_m, hillsight.open_terrain(plain, vertical_unit="dm").whole().height_m)
