"""Time and memory of ``hillsight outlook`` on the demo: the package against an older checkout, in one run.

    python tests/benchmarks/outlook.py --before ../older --json run.json

Each run is a process of its own, from the start of Python to its end, from one station on the demo's ground;
checkouts take turns, with one thread. The first round is not counted: it compiles and fills the caches.
What counts is the quickest of the others in processor time, and its time on the wall. Linux only: times and
peak memory are the kernel's figures of a process (wait4(2), getrusage(2)).
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    Figures = dict[str, float]

_CHECKOUT = Path(__file__).resolve().parents[2]

#: The second of the demo's stations (demo_project/upland_stations.py).
_AT = "246305,315915,A shelf"

_CASES = {"outlook": (), "with_landforms": ("--landforms",)}


def once(checkout: Path, place: Path, folder: Path, more: Sequence[str], reach_m: float) -> Figures:
    """Figures of one run of a checkout.

    place : folder with the demo's terrain and features
    folder : for what the run writes
    """
    call = [sys.executable, "-m", "hillsight.scripts", "outlook", "--terrain", str(place / "terrain.tif")]
    call += ["--features", str(place / "features.gpkg"), "--reach", f"{reach_m:g}", "--at", _AT, *more]
    call += ["--out", str(folder / "outlook.gpkg")]
    (folder / "outlook.gpkg").unlink(missing_ok=True)
    environment = os.environ | {"PYTHONPATH": str(checkout / "processing"), "HILLSIGHT_THREADS": "1"}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    with (folder / "said.txt").open("w+", encoding="utf-8") as said:
        begun = time.perf_counter()
        run = subprocess.Popen(call, env=environment, stdout=said, stderr=said)
        _, status, used = os.wait4(run.pid, 0)
        wall_s = time.perf_counter() - begun
        run.returncode = os.waitstatus_to_exitcode(status)
        if run.returncode != 0:
            said.seek(0)
            raise RuntimeError(f"{' '.join(call)}: {said.read()}")
    return {"user_s": used.ru_utime, "wall_s": wall_s, "peak_bytes": used.ru_maxrss * 1024.0}


def measure(place: Path, rounds: int, before: Path | None, reach_m: float) -> dict[str, dict[str, Figures]]:
    """Figures by case and checkout, and the older one's over this one's."""
    engines = {"now": _CHECKOUT} | ({} if before is None else {"before": before.resolve()})
    found: dict[str, dict[str, Figures]] = {}
    with tempfile.TemporaryDirectory() as written:
        for case, more in _CASES.items():
            runs: dict[str, list[Figures]] = {name: [] for name in engines}
            for _ in range(rounds + 1):
                for name, checkout in engines.items():
                    runs[name].append(once(checkout, place, Path(written), more, reach_m))
            found[case] = {
                name: {figure: min(one[figure] for one in each[1:]) for figure in each[0]}
                for name, each in runs.items()
            }
            if before is not None:
                now, then = found[case]["now"], found[case]["before"]
                found[case]["before_over_now"] = {figure: then[figure] / now[figure] for figure in now}
    return found


def main(arguments: Sequence[str] | None = None) -> int:
    """Measure, print, and write what is asked for."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--before", type=Path, help="an older checkout to time beside this one")
    parser.add_argument("--rounds", type=int, default=3, help="times that each is timed")
    parser.add_argument("--reach", type=float, default=6_000.0, help="metres")
    parser.add_argument("--json", type=Path)
    options = parser.parse_args(arguments)
    sys.path.insert(0, str(_CHECKOUT / "processing"))
    from hillsight.jobs.demo_place import generate

    with tempfile.TemporaryDirectory() as folder:
        generate(Path(folder))
        found = measure(Path(folder), options.rounds, options.before, options.reach)
    print(json.dumps(found, indent=1))
    if options.json:
        options.json.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
