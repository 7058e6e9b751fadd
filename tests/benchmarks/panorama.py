"""Time of drawn views: rays, relief painted, and the command as a whole, beside a copy of memory.

    HILLSIGHT_THREADS=2 python tests/benchmarks/panorama.py --rays-side 4801 --json run.json

Kernels are warm. What counts is the quickest round, on the wall and in processor time of all threads; the
ratio is its processor time over that of copying 100 MB on the same machine in the same run. Ground is made
(seeded spectral synthesis), with real ground in its place where ``--terrain`` names a file in metres.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from hillsight.sight.cylinder import Projection
    from hillsight.sight.far_sky import FarGround
    from hillsight.sight.viewing import Eye

_TESTS = Path(__file__).resolve().parents[1]
_SPACING_M = 10.0
_COPIED_BYTES = 100_000_000


def quickest(work: Callable[[], Any], rounds: int) -> dict[str, float]:
    """Least seconds on the wall and of processor time; the first call is not counted."""
    work()
    wall_s, processor_s = [], []
    for _ in range(rounds):
        begun, used = time.perf_counter(), time.process_time()
        work()
        wall_s.append(time.perf_counter() - begun)
        processor_s.append(time.process_time() - used)
    return {"wall_s": min(wall_s), "processor_s": min(processor_s)}


def ground_of(side: int, terrain: Path | None) -> tuple[FarGround, Eye]:
    """Square ground and an eye 1.6 m over the highest post of its middle half."""
    from pyproj import CRS

    from hillsight.ground.grid import Grid, Surface
    from hillsight.sight.far_sky import FarGround
    from hillsight.sight.viewing import Eye
    from terrains import fractal

    spacing_m = _SPACING_M
    if terrain is None:
        height_m = fractal(side, side, seed=1, relief_m=_SPACING_M * side / 20.0)
    else:
        import rasterio

        with rasterio.open(terrain) as file:
            height_m = file.read(1, masked=True).astype(np.float32).filled(np.nan)[:side, :side]
            height_m, spacing_m = height_m * np.float32(file.scales[0]), float(file.transform.a)
    rows, columns = height_m.shape
    grid = Grid(CRS.from_epsg(32630), 400_000.0, 6_200_000.0, spacing_m, spacing_m, rows, columns)
    middle = height_m[rows // 4 : -(rows // 4), columns // 4 : -(columns // 4)]
    row, column = np.unravel_index(int(np.nanargmax(middle)), middle.shape)
    level_m = float(middle[row, column]) + 1.6
    eye = Eye(float(row + rows // 4), float(column + columns // 4), level_m, 0.87 / 2 / 6_380_000)
    return FarGround.of(Surface(grid, np.ascontiguousarray(height_m))), eye


def round_view(width_px: int, height_px: int) -> Projection:
    """All of the round, twice as high as wide, with the horizon a third down."""
    from hillsight.sight.cylinder import Cylinder

    across_deg = 360.0 / width_px
    return Cylinder(0.0, width_px, height_px, across_deg, across_deg / 2.0, height_px / 3.0)


def whole_drawings(far: FarGround, eye: Eye, rounds: int) -> dict[str, dict[str, Any]]:
    """The command from a terrain file to a PNG: the round in lines, and a relief of 4,000 x 1,000 pixels."""
    import tempfile

    import rasterio
    from rasterio.transform import from_origin

    from hillsight.jobs.panorama import panorama

    grid, height_m = far.surface.grid, far.surface.height_m
    west_m, north_m = (float(v) for v in grid.to_map(-0.5, -0.5))
    at = [(*(float(v) for v in grid.to_map(eye.row, eye.column)), "Eye")]
    rows, columns = height_m.shape
    with tempfile.TemporaryDirectory() as folder:
        terrain = Path(folder) / "terrain.tif"
        with rasterio.open(
            terrain, "w", driver="GTiff", width=columns, height=rows, count=1, dtype="float32",
            crs=grid.crs, transform=from_origin(west_m, north_m, grid.spacing_x_m, grid.spacing_y_m),
        ) as file:  # fmt: skip
            file.write(height_m, 1)
        drawing = Path(folder) / "drawing.png"
        relief: dict[str, Any] = {"style": "relief", "looks": 0.0, "size": "4000x1000", "bare": True}
        asked = {"whole_lines": dict[str, Any](), "whole_relief": relief}
        return {
            name: {"posts": [rows, columns]}
            | quickest(lambda given=given: panorama(terrain, at=at, drawing=drawing, **given), rounds)
            for name, given in asked.items()
        }


def measure(
    rays_side: int, relief_side: int, size_px: tuple[int, int], rounds: int, terrain: Path | None
) -> dict[str, Any]:
    """Figures by what was done, each with its ratio to a copy of memory."""
    from hillsight.sheets.panorama.painted import paint
    from hillsight.sight.drawn_sector import DrawnSector
    from hillsight.sight.rays import see_rays

    view = round_view(*size_px)
    bearing, angle = view.directions(np.arange(size_px[0]) + 0.5, np.arange(size_px[1])[:, None] + 0.5)
    sector = DrawnSector.of(view)
    far, eye = ground_of(rays_side, terrain)
    found: dict[str, Any] = {
        "rays": {"posts": list(far.surface.height_m.shape)}
        | quickest(lambda: see_rays(sector.look(far, eye), bearing, angle), rounds)
    }
    near, over = ground_of(relief_side, terrain)
    found["relief"] = {"posts": list(near.surface.height_m.shape)} | quickest(
        lambda: paint(near, over, view), rounds
    )
    found |= whole_drawings(far, eye, rounds)
    bulk = np.zeros(_COPIED_BYTES, np.uint8)
    copied_s = quickest(bulk.copy, max(rounds, 3))["processor_s"]
    for case in found.values():
        case["over_a_copy"] = case["processor_s"] / copied_s
    return {"size_px": list(size_px), "copy_processor_s": copied_s} | found


def main(arguments: Sequence[str] | None = None) -> int:
    """Measure, print, and write what is asked for."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--rays-side", type=int, default=4801, help="posts along a side")
    parser.add_argument("--relief-side", type=int, default=1201, help="posts along a side")
    parser.add_argument("--size", type=int, nargs=2, default=(4000, 1000), help="pixels across and down")
    parser.add_argument("--rounds", type=int, default=3, help="times that each is timed")
    parser.add_argument("--terrain", type=Path, help="a raster in metres; made ground without it")
    parser.add_argument("--json", type=Path)
    options = parser.parse_args(arguments)
    sys.path[:0] = [str(_TESTS), str(_TESTS.parent / "processing")]
    found = measure(
        options.rays_side, options.relief_side, tuple(options.size), options.rounds, options.terrain
    )
    print(json.dumps(found, indent=1))
    if options.json:
        options.json.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
