"""How quickly the sky's edge is found all round very many eyes, beside GDAL's viewshed from as few of them.

    python tests/benchmarks/search.py [--side 2001] [--eyes 400] [--views 3]

GDAL's viewshed answers for every post about one eye, and not for the sky's edge; it is the peer for what a
look all round costs with a general-purpose library. Both are timed in processor seconds for each eye, on the
same made ground with the same reach.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np
from pyproj import CRS

sys.path.insert(0, str(Path(__file__).parents[1]))

from hillsight.ground.grid import Grid, Surface
from hillsight.kernels.threads import limited_to
from hillsight.sight.far_sky import FarGround
from hillsight.sight.sky_rounds import sky_rounds
from terrains import fractal

DROP = 0.87 / (2 * 6_371_000.0)


def run(side: int, eyes: int, views: int) -> dict[str, float]:
    """Processor seconds for each eye: ours (360 bearings to where nothing can rise), and GDAL's viewshed."""
    from osgeo import gdal

    gdal.UseExceptions()
    height_m = np.asarray(fractal(side, side, seed=3, relief_m=1_000.0), np.float32)
    grid = Grid(CRS(27700), 200_000.0, 900_000.0, 50.0, 50.0, side, side)
    surface = Surface(grid, height_m)
    far = FarGround.of(surface)
    wide = int(np.ceil(np.sqrt(eyes)))
    row, column = (
        v.ravel()[:eyes] for v in np.meshgrid(side / 2 + np.arange(wide), side / 2 + np.arange(wide))
    )
    level_m = surface.heights_at_m(*grid.to_map(row, column)) + 1.6
    bearings = np.arange(360.0)
    with limited_to(1):
        sky_rounds(far, row[:1], column[:1], level_m[:1], DROP, bearings)
        start = time.process_time()
        sky_rounds(far, row, column, level_m, DROP, bearings)
        ours = (time.process_time() - start) / eyes
    raster = gdal.GetDriverByName("MEM").Create("", side, side, 1, gdal.GDT_Float32)
    raster.SetGeoTransform((grid.west_m - 25.0, 50.0, 0.0, grid.north_m + 25.0, 0.0, -50.0))
    raster.GetRasterBand(1).WriteArray(height_m)
    east, north = (float(v) for v in grid.to_map(side // 2, side // 2))
    start = time.process_time()
    for _ in range(views):
        gdal.ViewshedGenerate(
            raster.GetRasterBand(1),
            "MEM",
            "",
            [],
            east,
            north,
            1.6,
            0.0,
            255,
            0,
            0,
            -1.0,
            1.0 - 0.13,
            gdal.GVM_Edge,
            0.0,
        )
    theirs = (time.process_time() - start) / views
    return {"sky_edge_s": ours, "viewshed_s": theirs, "ratio": theirs / ours}


def main(given: list[str] | None = None) -> None:
    """Time both and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    for name, default in (("--side", 2001), ("--eyes", 400), ("--views", 3)):
        parser.add_argument(name, type=int, default=default)
    told = parser.parse_args(given)
    found = run(told.side, told.eyes, told.views)
    print(f"sky's edge all round: {1e3 * found['sky_edge_s']:.2f} ms of processor time an eye")
    print(f"GDAL viewshed: {1e3 * found['viewshed_s']:.1f} ms an eye, {found['ratio']:.0f} times as long")


if __name__ == "__main__":
    main()
