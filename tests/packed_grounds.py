"""GeoTIFF files in packed blocks, sound and damaged so that GDAL does not notice."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import rasterio

from terrains import fractal

SIDE = 128


def packed(path: Path, **how: Any) -> Path:
    """Ground of 128 x 128 posts 10 m apart in whole decimetres, in four blocks."""
    made = np.asarray(fractal(SIDE, SIDE, seed=1, relief_m=80, lowest_m=100))
    heights = np.round(made[: how.get("height"), : how.get("width")] * 10).astype(how.get("dtype", "int16"))
    profile: dict[str, object] = {
        "driver": "GTiff",
        "width": SIDE,
        "height": SIDE,
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


def quietly_damaged(path: Path, block: int = 0) -> None:
    """Flip a bit of a block so that GDAL reads other heights without a word."""
    content, (start, size) = path.read_bytes(), blocks(path)[block]
    with rasterio.open(path) as file:
        sound = file.read(1)
    for at in range(start + 2, start + size):
        data = bytearray(content)
        data[at] ^= 16
        trial = path.with_suffix(f".{at}.tif")
        trial.write_bytes(data)
        with rasterio.open(trial) as file:
            try:
                differs = not np.array_equal(file.read(1), sound)
            except rasterio.errors.RasterioError:
                differs = False
        trial.unlink()
        if differs:
            path.write_bytes(data)
            return
    raise AssertionError("GDAL notices each")
