"""Small batch jobs: ground, stations, and results put together again from their tiles."""

from __future__ import annotations

import hashlib
from pathlib import Path

import geopandas
import numpy as np
import rasterio
import shapely
from scipy import ndimage

from terrains import fractal, write_geotiff

WEST, NORTH, SPACING, POSTS = 300_000.0, 700_000.0, 10.0, 230
REACH_M = 450.0

JOB = """\
format = "hillsight batch 1"
title = "Small"
terrain = "ground.tif"

[stations]
file = "stations.gpkg"

[looking]
reach_m = 450
target_height_m = 0.5

[products]
first = true
nearest = true
weights = true
least_depth = true

[output]
tile_posts = 64
window_posts = 20000
"""


def ground() -> np.ndarray:
    """(POSTS, POSTS) float32 of gentle hills with a void."""
    height_m = ndimage.gaussian_filter(fractal(POSTS, POSTS, seed=11, relief_m=300.0), 2.0)
    height_m[100:106, 40:44] = np.nan
    return height_m.astype(np.float32)


def stations() -> geopandas.GeoDataFrame:
    """Fourteen stations in the west and middle; the east beyond x = 301,900 is out of every reach."""
    rng = np.random.default_rng(3)
    x, y = WEST + rng.uniform(100, 1_400, 14), NORTH - rng.uniform(100, 2_100, 14)
    return geopandas.GeoDataFrame(
        {
            "name": [f"Place {n}" for n in range(1, 15)],
            "weight": rng.integers(1, 6, 14) / 2,
            "eye_height_m": [1.6] * 13 + [20.0],
            "reach_m": [REACH_M] * 12 + [200.0, 300.0],
        },
        geometry=shapely.points(x, y),
        crs=27700,
    )


def made(folder: Path, job: str = JOB, frame: geopandas.GeoDataFrame | None = None) -> Path:
    """A folder with ground, stations and job; returns the job's file."""
    folder.mkdir(parents=True, exist_ok=True)
    write_geotiff(folder / "ground.tif", ground(), west=WEST, north=NORTH, spacing=SPACING)
    (stations() if frame is None else frame).to_file(folder / "stations.gpkg", layer="stations")
    file = folder / "job.toml"
    file.write_text(job, encoding="utf-8")
    return file


def whole(folder: Path, kind: str, nothing: float) -> np.ndarray:
    """All tiles of a kind put together on the whole lattice; ``nothing`` where there is no tile."""
    out = np.full((POSTS, POSTS), nothing, np.float64)
    for tile in sorted((folder / kind).glob("*.tif")):
        with rasterio.open(tile) as file:
            row = round((NORTH + SPACING / 2 - file.transform.f) / SPACING)
            column = round((file.transform.c - WEST + SPACING / 2) / SPACING)
            out[row : row + file.height, column : column + file.width] = file.read(1)
    return out


def digests(folder: Path) -> dict[str, str]:
    """Every file but the work in progress, with the checksum of what it holds."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }
