"""How long batches take, and how much memory: on made terrain far larger than memory, beside GDAL's loop.

    python tests/benchmarks/batch.py --folder /somewhere/large [--side 40000] [--stations 200 2000]
        [--workers 2] [--peer 40] [--viewsheds] [--cover] [--work outlook] [--json run.json]

The terrain is written by rows (6.4 GB at 40,000 a side) and may be used again. Each batch runs as a
process of its own; its peak is that of its largest process. GDAL's viewshed is looped over some of the same
stations in as many processes, each reading its window of the file into memory, writing into memory; it
adds nothing up. Then it writes each station's raster as a packed GeoTIFF, without overviews.
Cover is a surface model as large as the terrain, and a wood to the square kilometre.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import shutil
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import rasterio
import shapely
from rasterio.transform import from_origin

sys.path.insert(0, str(Path(__file__).parents[1]))

from terrains import fractal

SPACING, WEST, NORTH = 10.0, 300_000.0, 700_000.0
CELL, BLOCK = 2_000, 512
EYE_HEIGHT_M = 1.6
PACKED = ["COMPRESS=DEFLATE", "TILED=YES"]

JOB = """\
format = "hillsight batch 1"
title = "Benchmark"
terrain = "terrain.tif"

[stations]
file = "stations_{count}.gpkg"

[looking]
reach_m = {reach}
"""
PRODUCTS = """
[products]
counts = true
viewsheds = {viewsheds}
"""
COVER = """
[cover]
surface = "surface.tif"
file = ["woods.gpkg"]
"""
WORK = """
[work]
script = "{work}"
"""


@dataclass(frozen=True)
class Asked:
    """What a batch is to make.

    work : script whose work is done in place of counts
    """

    reach_m: float
    viewsheds: bool = False
    cover: bool = False
    work: str = ""

    def job(self, count: int) -> str:
        """The job's file."""
        text = JOB.format(count=count, reach=self.reach_m)
        text += COVER if self.cover else ""
        if self.work:
            return text + WORK.format(work=self.work)
        return text + PRODUCTS.format(viewsheds=str(self.viewsheds).lower())


def make_terrain(path: Path, side: int, *, blocks: bool = False) -> None:
    """Made relief: one square mirrored all over, on long waves, so that no two places are alike.

    blocks : with what stands on it, 4 to 15 m tall, on a twentieth of the posts
    """
    rng = np.random.default_rng(3)
    tall_m = np.kron(rng.uniform(4, 15, (100, 100)) * (rng.random((100, 100)) < 0.05), np.ones((5, 5)))
    base = fractal(CELL, CELL, seed=7, relief_m=500.0)
    profile = {
        "driver": "GTiff",
        "width": side,
        "height": side,
        "count": 1,
        "dtype": "float32",
        "crs": "EPSG:27700",
        "transform": from_origin(WEST, NORTH, SPACING, SPACING),
        "tiled": True,
        "blockxsize": BLOCK,
        "blockysize": BLOCK,
        "BIGTIFF": "IF_SAFER",
    }
    with rasterio.open(path, "w", **profile) as file:
        across = np.arange(side)
        for top in range(0, side, BLOCK):
            rows = np.arange(top, min(top + BLOCK, side))
            mirrored = [_mirrored(places) for places in (rows, across)]
            wave = 150 * np.sin(rows[:, None] / 1_700.0) + 150 * np.cos(across[None] / 2_300.0)
            height_m = base[np.ix_(*mirrored)] + wave.astype(np.float32)
            if blocks:
                height_m += tall_m[np.ix_(rows % 500, across % 500)].astype(np.float32)
            window = rasterio.windows.Window(0, top, side, len(rows))
            file.write(height_m.astype(np.float32), 1, window=window)


def _mirrored(places: np.ndarray) -> np.ndarray:
    """Places of the base square: there and back again."""
    within = places % (2 * CELL)
    return np.where(within < CELL, within, 2 * CELL - 1 - within)


def places(side: int, count: int) -> np.ndarray:
    """(count, 2) east and north, always the same."""
    rng = np.random.default_rng(9)
    return rng.uniform(50, side * SPACING - 50, (count, 2)) * (1, -1) + (WEST, NORTH)


def make_woods(path: Path, side: int) -> None:
    """A round wood to the square kilometre, 100 to 300 m wide."""
    count = max(1, round((side * SPACING / 1000) ** 2))
    rng = np.random.default_rng(4)
    xy = rng.uniform(0, side * SPACING, (count, 2)) * (1, -1) + (WEST, NORTH)
    woods = shapely.buffer(shapely.points(xy), rng.uniform(50, 150, count), quad_segs=4)
    geopandas.GeoDataFrame({"kind": ["wood"] * count}, geometry=woods, crs=27700).to_file(path, layer="woods")


def batch(folder: Path, side: int, count: int, workers: int, asked: Asked) -> dict[str, Any]:
    """One batch as a process of its own: seconds, peak of the largest process, bytes left."""
    xy = places(side, count)
    frame = geopandas.GeoDataFrame(geometry=shapely.points(xy), crs=27700)
    frame.to_file(folder / f"stations_{count}.gpkg", layer="stations")
    job = folder / f"job_{count}.toml"
    job.write_text(asked.job(count), encoding="utf-8")
    out = folder / f"out_{count}"
    shutil.rmtree(out, ignore_errors=True)
    script = (
        "import sys, json, time, resource, hillsight\n"
        "class Times(hillsight.Listener):\n"
        "    told = {}\n"
        "    def progress(self, what, share):\n"
        "        self.told.setdefault(what, [time.time(), 0])[1] = time.time()\n"
        "if __name__ == '__main__':\n"
        "    heard, start = Times(), time.time()\n"
        "    r = hillsight.batch(sys.argv[1], out=sys.argv[2], workers=int(sys.argv[3]), listener=heard)\n"
        "    use = [resource.getrusage(w) for w in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]\n"
        # What getrusage tells of this process itself counts what the starting program held before.
        "    own = int(open('/proc/self/status').read().split('VmHWM:')[1].split()[0]) / 1024\n"
        "    print(json.dumps({'wall_s': time.time() - start, 'stations': r.stations, 'parts': r.parts,\n"
        "        'tiles': r.tiles, 'cpu_s': sum(u.ru_utime + u.ru_stime for u in use),\n"
        "        'peak_mib': [own, use[1].ru_maxrss / 1024],\n"
        "        'phases_s': {k: b - a for k, (a, b) in heard.told.items()}}))\n"
    )
    file = folder / "run_batch.py"
    file.write_text(script, encoding="utf-8")
    told = subprocess.run(
        [sys.executable, file, job, out, str(workers)], check=True, capture_output=True, text=True
    )
    found: dict[str, Any] = json.loads(told.stdout.splitlines()[-1])
    found["bytes"] = {
        name: sum(f.stat().st_size for f in (out / name).rglob("*") if f.is_file())
        for name in ("parts", "visible_count", "viewsheds", "work")
    }
    shutil.rmtree(out)
    return found


def _peer_some(asked: tuple[str, list[tuple[float, float]], float, str]) -> float:
    """GDAL's viewshed from some places, one after another; CPU seconds."""
    from osgeo import gdal

    gdal.UseExceptions()
    gdal.SetConfigOption("GDAL_NUM_THREADS", "1")
    path, some, reach_m, written = asked
    start = time.process_time()
    with gdal.Open(path) as whole:
        for number, (x, y) in enumerate(some):
            out = ("GTiff", f"{written}/{os.getpid()}_{number}.tif", PACKED) if written else ("MEM", "", [])
            edges = [x - reach_m - 20, y + reach_m + 20, x + reach_m + 20, y - reach_m - 20]
            near = gdal.Translate("", whole, format="MEM", projWin=edges)
            gdal.ViewshedGenerate(
                near.GetRasterBand(1),
                *out,
                x,
                y,
                EYE_HEIGHT_M,
                0.0,
                255,
                0,
                0,
                0,
                0.87,
                gdal.GVM_Edge,
                reach_m,
            )
    return time.process_time() - start


def peer(folder: Path, side: int, count: int, reach_m: float, workers: int, on_disk: bool) -> dict[str, Any]:
    """GDAL's loop over some stations, in as many processes; each one's raster in memory or as a file."""
    written = folder / "peer_viewsheds"
    shutil.rmtree(written, ignore_errors=True)
    written.mkdir()
    some = [(float(x), float(y)) for x, y in places(side, count)]
    inside = [
        (x, y)
        for x, y in some
        if reach_m + 50 < x - WEST < side * SPACING - reach_m - 50
        and reach_m + 50 < NORTH - y < side * SPACING - reach_m - 50
    ]
    shares = [inside[k::workers] for k in range(workers)]
    start = time.time()
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        to = str(written) if on_disk else ""
        asked = [(str(folder / "terrain.tif"), share, reach_m, to) for share in shares]
        cpu_s = sum(pool.map(_peer_some, asked))
    found = {"stations": len(inside), "wall_s": time.time() - start, "cpu_s": cpu_s}
    found["bytes"] = sum(file.stat().st_size for file in written.iterdir())
    shutil.rmtree(written)
    return found


def run(folder: Path, side: int, counts: list[int], workers: int, peers: int, asked: Asked) -> dict[str, Any]:
    """All that is asked; figures by name."""
    folder.mkdir(parents=True, exist_ok=True)
    terrain = folder / "terrain.tif"
    if not terrain.exists():
        make_terrain(terrain, side)
    if asked.cover and not (folder / "surface.tif").exists():
        make_terrain(folder / "surface.tif", side, blocks=True)
        make_woods(folder / "woods.gpkg", side)
    found: dict[str, Any] = {"side": side, **vars(asked), "workers": workers, "cores": os.cpu_count()}
    for count in counts:
        found[f"batch of {count}"] = batch(folder, side, count, workers, asked)
        print(json.dumps(found[f"batch of {count}"]), flush=True)
    if peers:
        for name, on_disk in (("gdal", False), ("gdal, viewsheds written", True)):
            found[name] = peer(folder, side, peers, asked.reach_m, workers, on_disk)
            print(json.dumps(found[name]), flush=True)
    return found


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", type=Path, required=True)
    parser.add_argument("--side", type=int, default=40_000)
    parser.add_argument("--stations", type=int, nargs="+", default=[200, 2_000])
    parser.add_argument("--reach", type=float, default=5_000.0)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--peer", type=int, default=40)
    parser.add_argument("--viewsheds", action="store_true")
    parser.add_argument("--cover", action="store_true")
    parser.add_argument("--work", default="")
    parser.add_argument("--json", type=Path)
    given = parser.parse_args()
    asked = Asked(given.reach, given.viewsheds, given.cover, given.work)
    figures = run(given.folder, given.side, given.stations, given.workers, given.peer, asked)
    if given.json is not None:
        given.json.write_text(json.dumps(figures, indent=1), encoding="utf-8")
