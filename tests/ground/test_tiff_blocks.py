"""Blocks of a GeoTIFF that are packed by DEFLATE are read as they were written, or not at all."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio

import hillsight
from hillsight.errors import TerrainError
from hillsight.ground.tiff_blocks import check_blocks
from packed_grounds import blocks, packed


def seen(path: Path) -> hillsight.Raster:
    at = ["300300,699700,Eye"]
    found = hillsight.viewshed(path, at=at, reach=150.0, only_states=True, vertical_unit="dm")
    (raster,) = found.rasters.values()
    return raster


@pytest.mark.parametrize(
    "how",
    [{}, {"dtype": "float32", "predictor": 3}, {"dtype": "float32", "predictor": 1, "endianness": "big"}],
)
def test_what_gdal_reads_without_a_word_is_refused(tmp_path: Path, how: dict[str, Any]) -> None:
    """One bit of every so many bytes of the first block, each in a file of its own."""
    path = packed(tmp_path / "ground.tif", **how)
    content, (start, size) = path.read_bytes(), blocks(path)[0]
    with rasterio.open(path) as file:
        sound = file.read(1)
    unnoticed = 0
    for at in range(start + 2, start + size, size // 150):
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
        if at % 5 == 0:
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


@pytest.mark.parametrize(
    ("dtype", "predictor"),
    [
        ("uint8", 2),
        ("int16", 1),
        ("uint16", 2),
        ("int32", 2),
        ("float32", 1),
        ("float32", 2),
        ("float32", 3),
        ("float64", 2),
        ("float64", 3),
    ],
)
@pytest.mark.parametrize("endianness", ["little", "big"])
@pytest.mark.parametrize(
    "shape",
    [
        {},
        {"width": 100, "height": 90},
        {"tiled": False, "blockxsize": 128, "blockysize": 1},
        {"tiled": False, "blockxsize": 128, "blockysize": 24},
    ],
    ids=str,
)
def test_sound_blocks_are_not_unpacked_again(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    dtype: str,
    predictor: int,
    endianness: str,
    shape: dict[str, Any],
) -> None:
    """What GDAL makes of them, packed half-way again, has their checksum: libtiff's writer is the judge."""
    monkeypatch.setattr("hillsight.ground.tiff_blocks._is_whole", lambda content: pytest.fail("unpacked"))
    path = packed(tmp_path / "t.tif", dtype=dtype, predictor=predictor, endianness=endianness, **shape)
    assert path.read_bytes()[:2] == {"little": b"II", "big": b"MM"}[endianness]
    with rasterio.open(path) as file:
        check_blocks(str(path), file, 1, 70, 3, 20, 20)
        check_blocks(str(path), file, 1, 0, 0, file.height, file.width)


@pytest.mark.parametrize("how", [{}, {"tiled": False, "blockxsize": 128, "blockysize": 16}])
def test_a_file_that_has_lost_the_mark_of_its_packing(tmp_path: Path, how: dict[str, Any]) -> None:
    """Without the tag of compression (TIFF 6.0, section 8: 259) GDAL gives the packed bytes as heights."""
    path = packed(tmp_path / "ground.tif", **how)
    content = path.read_bytes()
    entry = (259).to_bytes(2, "little") + (3).to_bytes(2, "little") + (1).to_bytes(4, "little")
    assert content.count(entry) == 1
    path.write_bytes(content.replace(entry, (48_899).to_bytes(2, "little") + entry[2:]))
    with rasterio.open(path) as file:
        assert "compress" not in file.profile
        file.read(1, window=((0, 20), (0, 20)))
    with pytest.raises(TerrainError, match=r"rows 0 to (15|63).* their block has \d+ bytes of (4096|8192)"):
        hillsight.open_terrain(path, vertical_unit="dm").whole()
