"""Calibration and speed of the trust figures: stated probabilities against 1,000 brute simulations.

python tests/benchmarks/trust.py --json run.json --figure docs/pictures/trust_reliability.png
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "docs" / "studies"))

from hillsight.sight.doubt import probability_of_posts
from hillsight.sight.doubt_shares import seen_number
from trust_simulation import CASES, Case, reliability, simulate


def measured(case: Case, number: int, rounds: int) -> dict[str, Any]:
    """Reliability, area and times of one terrain. Times: wall clock, and all cores together."""
    asked = case.surface, case.eye, np.inf, 0.0, case.errors
    probability_of_posts(*asked)  # compiles
    times = [_timed(probability_of_posts, *asked)[1:] for _ in range(rounds)]
    stated = probability_of_posts(*asked)
    area, area_s, _ = _timed(seen_number, case.surface, case.eye, 0.0, case.errors, stated)
    counted, wall_s, cores_s = _timed(
        simulate, case.surface, case.eye, case.eye_height_m, np.inf, 0.0, case.errors, number
    )
    found = reliability(stated, counted.seen_share)
    method_s, method_cores_s = (min(column) for column in zip(*times, strict=True))
    inside = (counted.seen_posts >= area.low) & (counted.seen_posts <= area.high)
    return {
        "terrain": case.name,
        "posts": [case.surface.grid.rows, case.surface.grid.columns],
        "errors": case.errors.source,
        "draws": number,
        "bin_posts": found.posts.tolist(),
        "stated": [None if np.isnan(v) else round(float(v), 4) for v in found.stated],
        "simulated": [None if np.isnan(v) else round(float(v), 4) for v in found.simulated],
        "weighted_error": round(found.weighted_error, 5),
        "posts_in_doubt": float(np.mean((stated > 0.01) & (stated < 0.99))),
        "method_s": method_s,
        "method_cores_s": method_cores_s,
        "simulation_s": wall_s,
        "simulation_cores_s": cores_s,
        "times_quicker": wall_s / method_s,
        "times_quicker_cores": cores_s / method_cores_s,
        "area_posts": [area.low, area.expected, area.high],
        "area_posts_simulated": [float(v) for v in np.quantile(counted.seen_posts, [0.025, 0.975])]
        + [float(counted.seen_posts.mean())],
        "area_interval_holds": float(inside.mean()),
        "area_s": area_s,
    }


def _timed(work: Any, *arguments: Any) -> tuple[Any, float, float]:
    wall, cores = time.perf_counter(), time.process_time()
    result = work(*arguments)
    return result, time.perf_counter() - wall, time.process_time() - cores


def draw(results: list[dict[str, Any]], path: Path) -> None:
    """Reliability diagram: one curve a terrain, with the number of posts in each bin below."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    figure, (above, below) = pyplot.subplots(
        2, 1, figsize=(6.4, 7.6), sharex=True, height_ratios=(3, 1), layout="constrained"
    )
    above.fill_between([0, 1], [-0.03, 0.97], [0.03, 1.03], color="0.9", label="within 0.03")
    above.plot([0, 1], [0, 1], color="0.5", linewidth=0.8)
    colours, markers = ("#1b6e8c", "#c0622a", "#5b7d32", "#7a4b8c"), "os^D"
    for k, result in enumerate(results):
        stated, simulated = (np.array(result[n], float) for n in ("stated", "simulated"))
        label = f"{result['terrain']}: mean error {result['weighted_error']:.3f}"
        above.plot(stated, simulated, marker=markers[k % 4], color=colours[k % 4], markersize=5, label=label)
        at = (np.arange(10) + 0.5) / 10 + (k - (len(results) - 1) / 2) * 0.018
        below.bar(at, result["bin_posts"], width=0.018, color=colours[k % 4])
    above.set(
        xlim=(0, 1),
        ylim=(0, 1),
        ylabel=f"share of {results[0]['draws']:,} simulations that see it",
        title="Does what is stated happen?",
    )
    above.legend(loc="upper left", frameon=False, fontsize=9)
    below.set(yscale="log", ylabel="posts", xlabel="stated probability that a post is seen")
    figure.savefig(path, dpi=130)
    pyplot.close(figure)


def main(arguments: list[str] | None = None) -> int:
    """Measure, print, and write what is asked for."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--draws", type=int, default=1000, help="simulations of each terrain")
    parser.add_argument(
        "--rounds", type=int, default=7, help="times the method is timed; the quickest counts"
    )
    parser.add_argument("--terrains", nargs="+", choices=CASES, default=list(CASES))
    parser.add_argument("--json", type=Path)
    parser.add_argument("--figure", type=Path)
    options = parser.parse_args(arguments)
    results = []
    for name in options.terrains:
        try:
            case = CASES[name]()
        except pytest.skip.Exception as reason:
            print(f"{name}: left out: {reason}")
            continue
        result = measured(case, options.draws, options.rounds)
        results.append(result)
        print(
            f"{result['terrain']}: error {result['weighted_error']:.4f}, {result['method_s'] * 1e3:.0f} ms, "
            f"{result['times_quicker']:.0f} times quicker by the clock, "
            f"{result['times_quicker_cores']:.0f} by the cores' time; area interval holds "
            f"{result['area_interval_holds']:.1%}"
        )
    if options.json:
        options.json.write_text(json.dumps(results, indent=1) + "\n", encoding="utf-8")
    if options.figure:
        draw(results, options.figure)
    return 0 if results else 1


if __name__ == "__main__":
    sys.exit(main())
