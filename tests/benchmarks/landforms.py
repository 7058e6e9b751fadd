"""Time and memory of reading landforms: the package against an older checkout of it, in one run.

    python tests/benchmarks/landforms.py --before ../older --rows 643 --columns 1197 --json run.json

Each reads the same ground in a process of its own, in turn, with warm kernels and one thread; what counts is
the quickest round's processor time. The drainage is timed by itself too, beside a general-purpose library
for flow routing, pyflwdir (MIT), where that is installed. Without ``--terrain`` the ground is made. Linux
only: peak memory is the kernel's high-water mark of a process (getrusage(2)).
"""

from __future__ import annotations

import argparse
import importlib
import importlib.util
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

_HERE = Path(__file__).resolve()
_CHECKOUT = _HERE.parents[2]
_PEER = "pyflwdir"


def clocked(work: Callable[[], Any]) -> float:
    """Seconds of processor time that a piece of work takes."""
    begun = time.process_time()
    work()
    return time.process_time() - begun


def read_once(heights: Path) -> dict[str, Any]:
    """Figures of one round of the package that this process imports."""
    from pyproj import CRS

    from hillsight.ground.geodesy import Geodesy
    from hillsight.ground.grid import Grid, Surface
    from hillsight.landform.flood import drain
    from hillsight.landform.survey import LandformOptions, survey  # older checkouts have both there

    with np.load(heights) as held:
        height_m, spacing_m = held["height_m"], float(held["spacing_m"])
    grid = Grid(CRS.from_epsg(32630), 400_000.0, 6_200_000.0, spacing_m, spacing_m, *height_m.shape)
    surface, geodesy = Surface(grid, height_m), Geodesy(grid.crs)
    ground_m = height_m.astype(np.float64)
    side = min(160, *height_m.shape)
    small = Surface(grid.part(0, 0, side, side), np.ascontiguousarray(height_m[:side, :side]))
    survey(small, None, LandformOptions(), geodesy)  # compiles
    drain(ground_m[:side, :side], spacing_m, spacing_m)
    frames: dict[str, Any] = {}
    drain_s = clocked(lambda: drain(ground_m, spacing_m, spacing_m))
    survey_s = clocked(lambda: frames.update(survey(surface, None, LandformOptions(), geodesy)))
    return {
        "survey_s": survey_s,
        "drain_s": drain_s,
        "peak_bytes": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024,
        "features": {name: len(frame) for name, frame in frames.items()},
    }


def peer_once(heights: Path) -> dict[str, Any]:
    """Flow directions out of heights by the library for flow routing, depressions filled."""
    peer = importlib.import_module(_PEER)
    with np.load(heights) as held:
        height_m = held["height_m"]
    void_m = -9999.0
    ground_m = np.where(np.isnan(height_m), void_m, height_m).astype(np.float32)

    def route(part: Any) -> Any:
        return peer.from_dem(part, nodata=void_m, outlets="edge")

    route(ground_m[:60, :60])  # compiles
    return {"drain_s": clocked(lambda: route(ground_m))}


def _in_its_own_process(what: str, checkout: Path, heights: Path) -> dict[str, Any]:
    paths = [str(checkout / "processing"), os.environ.get("PYTHONPATH", "")]
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(paths), "HILLSIGHT_THREADS": "1"}
    call = [sys.executable, str(_HERE), "--once", what, "--heights", str(heights)]
    done = subprocess.run(call, env=environment, check=True, capture_output=True, text=True)
    found: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return found


def measure(height_m: Any, spacing_m: float, rounds: int, before: Path | None) -> dict[str, Any]:
    """Figures of the package, of an older checkout and of the peer, by what they are of, and their ratios."""
    engines = {"now": _CHECKOUT} | ({} if before is None else {"before": before})
    if importlib.util.find_spec(_PEER) is not None:
        engines[_PEER] = _CHECKOUT
    found: dict[str, Any] = {"posts": list(height_m.shape), "spacing_m": spacing_m, "rounds": rounds}
    with tempfile.TemporaryDirectory() as folder:
        heights = Path(folder) / "heights.npz"
        np.savez(heights, height_m=height_m, spacing_m=spacing_m)
        all_rounds: dict[str, list[dict[str, Any]]] = {name: [] for name in engines}
        for _ in range(rounds):
            for name, checkout in engines.items():
                what = "peer" if name == _PEER else "package"
                all_rounds[name].append(_in_its_own_process(what, checkout, heights))
    for name, each in all_rounds.items():
        figures = [figure for figure in each[0] if figure != "features"]
        found[name] = {figure: min(one[figure] for one in each) for figure in figures}
        if "features" in each[0]:
            found[name]["features"] = each[0]["features"]
    for name in engines:
        if name != "now":
            shared = [figure for figure in found[name] if figure != "features"]
            found[f"{name}_over_now"] = {
                figure: found[name][figure] / found["now"][figure] for figure in shared
            }
    return found


def _ground(options: argparse.Namespace) -> tuple[Any, float]:
    """Heights and spacing: a window of a file, or made ground."""
    if options.terrain is None:
        sys.path.insert(0, str(_HERE.parents[1]))
        from terrains import fractal

        side = max(options.rows, options.columns)
        height_m = fractal(side, side, seed=1, relief_m=options.spacing * side / 20)
        return np.ascontiguousarray(height_m[: options.rows, : options.columns], np.float32), options.spacing
    import rasterio
    from rasterio.windows import Window

    window = Window(options.first_column, options.first_row, options.columns, options.rows)
    with rasterio.open(options.terrain) as file:
        held = file.read(1, window=window, masked=True)
        height_m = held.astype(np.float32).filled(np.nan) * np.float32(file.scales[0])
        return height_m, float(file.transform.a)


def main(arguments: Sequence[str] | None = None) -> int:
    """Measure, print, and write what is asked for."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--before", type=Path, help="an older checkout to time beside this one")
    parser.add_argument("--terrain", type=Path, help="a raster in metres; made ground without it")
    for name, default, words in (
        ("--rows", 643, "rows of posts"),
        ("--columns", 1197, "columns of posts"),
        ("--first-row", 0, "row of the file at which the window begins"),
        ("--first-column", 0, "column of the file at which the window begins"),
        ("--rounds", 3, "times that each is timed"),
    ):
        parser.add_argument(name, type=int, default=default, help=words)
    parser.add_argument("--spacing", type=float, default=30.0, help="metres between posts of made ground")
    parser.add_argument("--json", type=Path)
    parser.add_argument("--once", choices=("package", "peer"), help=argparse.SUPPRESS)
    parser.add_argument("--heights", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args(arguments)
    if options.once is not None:
        print(json.dumps((peer_once if options.once == "peer" else read_once)(options.heights)))
        return 0
    found = measure(*_ground(options), options.rounds, options.before)
    print(json.dumps(found, indent=1))
    if options.json:
        options.json.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
