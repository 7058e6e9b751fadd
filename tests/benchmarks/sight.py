"""The sight kernel beside its peers: time, errors, memory, in one interleaved run.

    python tests/benchmarks/sight.py                                     # half an hour on two cores
    python tests/benchmarks/sight.py --sides 601 1201 --rounds 3         # a quick look
    python tests/benchmarks/sight.py --json run.json --figure run.png
    python tests/benchmarks/sight.py --again run.json --figure run.png   # tables and figure of an earlier run

Engines: ours (states; clearance; clearance and crests), GDAL's viewshed, xarray-spatial's viewshed, a copy
of the heights. A peer that is not installed (extra ``peers``) is named as such; one that would take over a
minute a run is left out, one that takes over five seconds runs once. Needs up to 7 GB at 9,601 posts a side.
Let nothing else run meanwhile; the load is written beside the figures.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import sys
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from benchmarks import report
from benchmarks.bulk import many_stations, pairs
from benchmarks.engines import ENGINES
from benchmarks.grounds import SHARES, USUAL_SHARE, Grounds, MissingGroundError, stations
from benchmarks.measuring import growth, measure_ground, probe, warm_up
from benchmarks.memory import peak_memory

SIDES = (1201, 2401, 4801, 9601)
GROUNDS = ("fractal", "bowl", "real")
#: Many stations and pairs are tried on the largest ground up to this side.
BULK_SIDE = 4801
#: A run on so few posts a side tells which engine would take too long at the smallest size.
PROBE_SIDE = 601
#: How the time of an engine may grow with the side; the slowest peer's was measured at 2.7 to 2.9.
EXPECTED_POWER = 2.8


def load() -> float | None:
    """Mean number of runnable processes over the last minute, where the system tells it."""
    return round(os.getloadavg()[0], 2) if hasattr(os, "getloadavg") else None


def measure(
    sides: list[int],
    *,
    rounds: int = 5,
    grounds: tuple[str, ...] = GROUNDS,
    shares: tuple[float, ...] = SHARES,
    sample: int = 2000,
    station_count: int = 100,
    pair_count: int = 1_000_000,
    memory: bool = True,
) -> dict[str, Any]:
    """Everything that is in the JSON; its keys are told in report.py.

    Parameters
    ----------
    sides : posts a side
    sample : posts a ground and size that the oracle walks to, shared among its stations
    station_count, pair_count : for the figures in bulk; 0 leaves them out
    """
    sides = sorted(sides)
    made = Grounds(sides)
    found: dict[str, Any] = {
        "machine": {
            "cores": os.cpu_count(),
            "python": platform.python_version(),
            "platform": platform.platform(),
            "versions": {e.name: e.version for e in ENGINES if e.name in ("gdal", "xarray_spatial")},
            "load_before": load(),
        },
        "settings": {
            "sides": sides,
            "rounds": rounds,
            "grounds": list(grounds),
            "shares": list(shares),
            "sample": sample,
        },
        "skipped": [],
        "cases": [],
        "growth": [],
        "stations": {},
        "pairs": [],
        "memory": [],
    }
    warm_up()
    for ground in grounds:
        expected_s: dict[str, float] = {}
        before = sides[0]
        if before > PROBE_SIDE:
            before = PROBE_SIDE
            expected_s = probe(made, ground, before)
        for side in sides:
            expected_s = {name: s * (side / before) ** EXPECTED_POWER for name, s in expected_s.items()}
            before = side
            tell(f"{ground}, {side} a side")
            try:
                found["cases"] += measure_ground(made, ground, side, shares, rounds, sample, expected_s)
            except MissingGroundError as reason:
                found["skipped"].append(f"{ground} at {side} a side: {reason}")
        if ground != "real" and len(sides) > 1:
            tell(f"{ground}, growth")
            found["growth"] += growth(made, ground, rounds)
    tell("in bulk")
    surface = made.surface("fractal", max((s for s in sides if s <= BULK_SIDE), default=sides[0]))
    if station_count:
        found["stations"] = many_stations(surface, station_count)
    if pair_count:
        width_m = surface.grid.rows * surface.grid.spacing_x_m
        for farthest_m in sorted({min(10_000.0, width_m), width_m}):
            found["pairs"].append(pairs(surface, pair_count, min(sample, 500), farthest_m))
    for side in sides if memory else []:
        tell(f"memory, {side} a side")
        surface = made.surface("fractal", side)
        station = stations("fractal", surface, (USUAL_SHARE,))[0]
        found["memory"].append(peak_memory(surface, station, station_count if side <= BULK_SIDE else 0))
    found["machine"]["load_after"] = load()
    return found


def tell(what: str) -> None:
    """What is being measured, for whoever waits."""
    print(f"... {what}", file=sys.stderr, flush=True)


def main() -> None:
    """Parse, measure, print, write."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--sides", type=int, nargs="+", default=list(SIDES), metavar="N", help="posts a side")
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--grounds", nargs="+", choices=GROUNDS, default=list(GROUNDS))
    parser.add_argument(
        "--sample", type=int, default=2000, help="posts the oracle walks to, a ground and size"
    )
    parser.add_argument("--stations", type=int, default=100, help="of the many; 0 for none")
    parser.add_argument("--pairs", type=int, default=1_000_000, help="0 for none")
    parser.add_argument("--no-memory", action="store_true", help="leave out peak memory")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write all figures")
    parser.add_argument("--figure", type=Path, metavar="FILE", help="draw the figure, PNG")
    parser.add_argument(
        "--again", type=Path, metavar="FILE", help="measure nothing, take an earlier run's JSON"
    )
    call = parser.parse_args()
    if call.again:
        found = json.loads(call.again.read_text(encoding="utf-8"))
    else:
        found = measure(
            call.sides,
            rounds=call.rounds,
            grounds=tuple(call.grounds),
            sample=call.sample,
            station_count=call.stations,
            pair_count=call.pairs,
            memory=not call.no_memory,
        )
    if call.json:
        call.json.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    print(report.tables(found))
    if call.figure:
        report.draw(found, call.figure)


if __name__ == "__main__":
    main()
