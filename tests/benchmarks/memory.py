"""Peak memory of our answers, each in a process of its own, in which this file is the program.

    python tests/benchmarks/memory.py WHAT HEIGHTS.npy ROW COLUMN EYE_HEIGHT_M STATIONS

prints the bytes that the answer takes at its peak beyond those in use once all is imported and compiled and
the terrain is in memory. Linux only: the kernel's high-water mark of resident memory, VmHWM, which writing
5 to /proc/self/clear_refs brings down to what is in use (man 5 proc).
"""

from __future__ import annotations

import gc
import os
import subprocess
import sys
import tempfile
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from benchmarks.bulk import STATIONS_REACH_M, station_eyes
from benchmarks.engines import ENGINES, OURS
from benchmarks.grounds import eye_over, surface_of
from hillsight.sight.many import count_visible
from terrains import fractal

if TYPE_CHECKING:
    from collections.abc import Callable

    from benchmarks.grounds import Station
    from benchmarks.measuring import Found
    from hillsight.ground.grid import Surface


#: The C library then maps every array anew and hands it back at once, so that memory freed before, and kept
#: by the allocator, does not hide what an answer takes (mallopt(3)).
_FRESH_PAGES = {"MALLOC_MMAP_THRESHOLD_": "65536", "MALLOC_TRIM_THRESHOLD_": "65536"}


def resident_bytes(field: str) -> int:
    """VmRSS or VmHWM of this process."""
    for line in Path("/proc/self/status").read_text(encoding="ascii").splitlines():
        if line.startswith(f"{field}:"):
            return int(line.split()[1]) * 1024
    raise SystemExit(f"{field} is not told here")


def peak_memory(surface: Surface, station: Station, stations_count: int = 0) -> Found:
    """Peak memory of our answers, each in a process of its own, over the size of the float32 terrain."""
    with tempfile.TemporaryDirectory() as folder:
        heights = Path(folder) / "heights.npy"
        np.save(heights, surface.height_m)
        gc.collect()
        found: Found = {"side": surface.grid.rows, "terrain_bytes": surface.height_m.nbytes}
        eye = station.eye
        for what in (*OURS, *(["stations"] if stations_count else [])):
            call = [sys.executable, __file__, what, str(heights)]
            call += [repr(float(v)) for v in (eye.row, eye.column, station.eye_height_m)]
            done = subprocess.run(
                [*call, str(stations_count)],
                capture_output=True,
                text=True,
                check=False,
                env={**os.environ, **_FRESH_PAGES},
            )
            if done.returncode:
                found[what] = {"note": (done.stderr.strip().splitlines() or ["failed"])[-1]}
                continue
            beyond = int(done.stdout)
            found[what] = {
                "beyond_terrain_bytes": beyond,
                "beyond_terrain_over_terrain": beyond / surface.height_m.nbytes,
            }
    return found


def main(what: str, heights: str, row: str, column: str, eye_height: str, stations: str) -> None:
    """Print the peak of one answer."""
    if not Path("/proc/self/clear_refs").exists():
        raise SystemExit("peak memory is measured on Linux only")
    engines = {engine.name: engine for engine in ENGINES}
    small = surface_of(fractal(61, 61, seed=2))
    surface = surface_of(np.load(heights))
    run: Callable[[], Any]
    for ground in (small, surface):
        at = (30.0, 30.0) if ground is small else (float(row), float(column))
        eye = eye_over(ground, *at, float(eye_height))
        if what == "stations":
            eyes = station_eyes(ground, 2 if ground is small else int(stations))
            run = partial(count_visible, ground, eyes, STATIONS_REACH_M)
        else:
            run = engines[what].prepare(ground, eye, float(eye_height))
        gc.collect()
        Path("/proc/self/clear_refs").write_text("5", encoding="ascii")
        before = resident_bytes("VmRSS")
        kept = run()
        beyond = resident_bytes("VmHWM") - before
        del kept
    print(beyond)


if __name__ == "__main__":
    main(*sys.argv[1:])
