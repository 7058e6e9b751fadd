"""Small batch jobs: ground, stations, cover, a script's work; results put together; a cluster of two."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
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


#: Small pieces of work, so that a kill finds some done, some in hand and some to do.
MANY = JOB.replace("window_posts = 20000", "window_posts = 10000")

COVER = """
[cover]
surface = "tops.tif"
file = ["cover.gpkg"]
layer = ["woods", "walls", "trees"]
leaf = "off"
"""
COVERED = JOB.replace("[products]", f"{COVER}\n[products]\nchances = true\nmatrix = true").replace(
    "20000", "10000"
)

WORK = """\
format = "hillsight batch 1"
title = "Outlooks"
terrain = "ground.tif"

[stations]
file = "stations.gpkg"

[looking]
reach_m = 400

[work]
script = "outlook"
[work.options]
features = ["features.gpkg"]
least_pocket = 0.05

[output]
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


def cover_files(folder: Path) -> None:
    """Leafy woods, walls and a tree by a station; a surface model with blocks on the ground."""
    rng = np.random.default_rng(5)
    x, y = WEST + rng.uniform(100, 1_500, 12), NORTH - rng.uniform(100, 2_100, 12)
    woods = geopandas.GeoDataFrame(
        {"kind": ["broadleaved wood", "conifer wood"] * 6},
        geometry=shapely.buffer(shapely.points(x, y), rng.uniform(25, 60, 12)),
        crs=27700,
    )
    ends = rng.uniform(-90, 90, (40, 2))
    starts = np.column_stack([WEST + rng.uniform(100, 1_500, 40), NORTH - rng.uniform(100, 2_100, 40)])
    walls = geopandas.GeoDataFrame(
        {"kind": ["wall"] * 40, "height_m": [3.0] * 40},
        geometry=[shapely.LineString([a, a + b]) for a, b in zip(starts, ends, strict=True)],
        crs=27700,
    )
    # A crown 40 m wide, given by its middle, near a station: of the seventh what is beside it.
    at = stations().geometry.iloc[6]
    trees = geopandas.GeoDataFrame(
        {"kind": ["tree"], "width_m": [40.0]}, geometry=[shapely.Point(at.x + 60, at.y)], crs=27700
    )
    for name, frame in (("woods", woods), ("walls", walls), ("trees", trees)):
        frame.to_file(folder / "cover.gpkg", layer=name)
    tops = ground()
    for row, column in rng.integers(5, 200, (25, 2)):
        tops[row : row + 4, column : column + 4] += np.float32(rng.uniform(3, 12))
    write_geotiff(folder / "tops.tif", tops, west=WEST, north=NORTH, spacing=SPACING)


def thirty() -> geopandas.GeoDataFrame:
    """Thirty stations; two share a name, one has none, two are called alike but for a sign."""
    rng = np.random.default_rng(8)
    x, y = WEST + rng.uniform(100, 1_500, 30), NORTH - rng.uniform(100, 2_100, 30)
    names: list[str | None] = [f"Place {n}" for n in range(1, 31)]
    names[4], names[20], names[11] = "Place 3", "PLACE 9!", None
    names[7] = "O'Hara's"
    return geopandas.GeoDataFrame({"name": names}, geometry=shapely.points(x, y), crs=27700)


def features(folder: Path) -> None:
    rng = np.random.default_rng(9)
    x, y = WEST + rng.uniform(100, 1_900, 25), NORTH - rng.uniform(100, 2_100, 25)
    geopandas.GeoDataFrame(
        {"name": [f"Thing {n}" for n in range(25)], "kind": ["cairn", "house", "tree", "rock", "mast"] * 5},
        geometry=shapely.points(x, y),
        crs=27700,
    ).to_file(folder / "features.gpkg", layer="features")


_CLUSTER = """\
import sys, hillsight
from distributed import LocalCluster

if __name__ == "__main__":
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster:
        hillsight.batch(sys.argv[1], out=sys.argv[2], scheduler=cluster.scheduler_address)
"""


def by_cluster_of_two(job: Path, out: Path) -> None:
    """Do a job by a dask.distributed cluster of two workers, in processes of their own."""
    environment = {**os.environ, "HILLSIGHT_THREADS": "1"}
    subprocess.run([sys.executable, "-c", _CLUSTER, job, out], env=environment, check=True, timeout=500)
