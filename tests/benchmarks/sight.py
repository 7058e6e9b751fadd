"""Time of the sight kernel beside GDAL's viewshed and a memory copy, in one interleaved run.

    python tests/benchmarks/sight.py [SIDE ...]

Prints one line a size: median of each time over a memory copy of the heights and over GDAL's viewshed, and
the share of posts that GDAL answers otherwise. Fractal ground, 10 m posts, station in the middle.
"""

from __future__ import annotations

import json
import statistics
import sys
import time
from pathlib import Path

import numpy as np
from pyproj import CRS

sys.path.insert(0, str(Path(__file__).parents[1]))

from hillsight.ground.grid import Grid, Surface
from hillsight.sight.clearance import see_posts
from hillsight.sight.viewing import Eye
from terrains import fractal

SPACING_M = 10.0
EYE_HEIGHT_M = 1.6


def gdal_states(height_m: np.ndarray, row: int, column: int) -> np.ndarray:
    """Posts that GDAL's viewshed calls visible; flat earth, as GDAL applies none without a CRS."""
    from osgeo import gdal

    gdal.UseExceptions()
    source = gdal.GetDriverByName("MEM").Create("", height_m.shape[1], height_m.shape[0], 1, gdal.GDT_Float32)
    source.SetGeoTransform((0, SPACING_M, 0, 0, 0, -SPACING_M))
    source.GetRasterBand(1).WriteArray(height_m)
    view = gdal.ViewshedGenerate(
        source.GetRasterBand(1),
        "MEM",
        "",
        [],
        observerX=(column + 0.5) * SPACING_M,
        observerY=-(row + 0.5) * SPACING_M,
        observerHeight=EYE_HEIGHT_M,
        targetHeight=0.0,
        visibleVal=255,
        invisibleVal=0,
        outOfRangeVal=0,
        noDataVal=0,
        dfCurvCoeff=0.0,
        mode=gdal.GVM_Edge,
        maxDistance=0,
    )
    return view.GetRasterBand(1).ReadAsArray() == 255


def measure(side: int, runs: int = 3) -> dict[str, float]:
    """Medians of interleaved runs on one made ground."""
    height_m = fractal(side, side, seed=1).astype(np.float32)
    row = column = side // 2
    grid = Grid(CRS(32630), 500_000.0, 6_000_000.0, SPACING_M, SPACING_M, side, side)
    surface = Surface(grid, height_m)
    eye = Eye(row, column, float(height_m[row, column]) + EYE_HEIGHT_M)
    reach_m = side * SPACING_M
    see_posts(surface, eye, 5 * SPACING_M)  # compiles
    seconds: dict[str, list[float]] = {"ours": [], "gdal": [], "copy": []}
    ours = peer = np.empty(0, bool)
    for _ in range(runs):
        start = time.perf_counter()
        ours = see_posts(surface, eye, reach_m).clearance_m >= 0
        seconds["ours"].append(time.perf_counter() - start)
        start = time.perf_counter()
        peer = gdal_states(height_m, row, column)
        seconds["gdal"].append(time.perf_counter() - start)
        start = time.perf_counter()
        height_m.copy()
        seconds["copy"].append(time.perf_counter() - start)
    median = {name: statistics.median(values) for name, values in seconds.items()}
    return {
        "side": side,
        "visible_share": float(ours.mean()),
        "ours_over_gdal": median["ours"] / median["gdal"],
        "ours_over_copy": median["ours"] / median["copy"],
        "gdal_differs_share": float((ours != peer).mean()),
    }


if __name__ == "__main__":
    for wanted in [int(a) for a in sys.argv[1:]] or [601, 1201]:
        print(json.dumps(measure(wanted)))
