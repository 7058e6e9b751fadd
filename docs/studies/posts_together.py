"""Stated chances that any of four posts sees a piece of a course, against real ground finer than the model.

A terrain model is thinned to every second post; what is seen over the fine posts is the truth, so that
nothing here is assumed by the error model. Posts stand apart, up to a kilometre, or side by side, within some
50 m: there what errs for one errs for all, and chances that are multiplied claim more than there is.

    python docs/studies/posts_together.py --windows 60
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import rasterio
from pyproj import CRS

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "tests"))

from hillsight.ground.accuracy import ErrorModel
from hillsight.ground.grid import Grid, Surface
from hillsight.plan.posts.drawn import drawn_along
from hillsight.plan.posts.watching import Lines, Watching, light_along
from shared_data import shared_file

DROP = 0.87 / (2 * 6_371_000.0)

#: How far the four posts stand about their middle, one standard deviation each way, metres.
SPREADS_M = {"apart": 400.0, "side by side": 30.0}

#: Posts of the fine ground along each side of a window, and how far the pieces keep from its edges, metres.
_SIDE, _MARGIN_M = 161, 2_000.0

#: Figures are of the east of the Highlands, where nothing was settled: columns of the file from here on.
_FIRST_COLUMN = 3_400

BINS = (0.0, 0.02, 0.1, 0.25, 0.5, 0.75, 0.9, 0.98, 1.001)


def windows(count: int, seed: int) -> list[np.ndarray]:
    """Pieces of hilly ground without a void, (_SIDE, _SIDE) metres."""
    random = np.random.default_rng(seed)
    found: list[np.ndarray] = []
    with rasterio.open(shared_file("osterrain50_highlands.tif")) as file:
        while len(found) < count:
            row = int(random.integers(0, file.height - _SIDE))
            column = int(random.integers(_FIRST_COLUMN, file.width - _SIDE))
            stored = file.read(1, window=((row, row + _SIDE), (column, column + _SIDE)))
            height_m = stored.astype(np.float32) * np.float32(file.scales[0])
            if (stored != file.nodata).all() and height_m.min() > 0.0 and np.ptp(height_m) > 250.0:
                found.append(height_m)
    return found


def of_window(
    height_m: np.ndarray, spread_m: float, how: Watching, errors: ErrorModel, draws: int, seed: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Chance by shared draws, chance by multiplying, and whether truly seen, of each piece within reach."""
    random = np.random.default_rng(seed)
    truth, model = (
        Surface(
            Grid(CRS(27700), 0.0, 0.0, 50.0 * n, 50.0 * n, *height_m[::n, ::n].shape),
            height_m[::n, ::n].copy(),
        )
        for n in (1, 2)
    )
    side_m = 50.0 * (_SIDE - 1)
    targets = (
        random.uniform(_MARGIN_M, side_m - _MARGIN_M, 200),
        -random.uniform(_MARGIN_M, side_m - _MARGIN_M, 200),
    )
    middle_m = random.uniform(_MARGIN_M, side_m - _MARGIN_M, 2) * (1.0, -1.0)
    eyes = tuple(
        np.clip(v + random.normal(0, spread_m, 4), *limits)
        for v, limits in zip(middle_m, ((200.0, side_m - 200.0), (200.0 - side_m, -200.0)), strict=True)
    )
    told = drawn_along(model, eyes, targets, how, errors, DROP, draws)
    lines = Lines.within(*eyes, *targets, how.farthest_m)
    seen = lines.table(
        light_along(truth, lines, eyes, targets, how.eye_height_m, how.runner_least_m, DROP) > 0.5
    )
    near = lines.table(np.ones(lines.place.size, bool)).any(axis=0)
    multiplied = 1.0 - np.prod(1.0 - told.of_each(), axis=0)
    return told.of_any()[near], multiplied[near], seen.any(axis=0)[near]


def run(count: int, reach_m: float, draws: int, seed: int = 5) -> dict[str, dict[str, np.ndarray]]:
    """Of each way to stand: chances by shared draws, by multiplying, and the truth, each (pieces,)."""
    how = Watching(glass=10.0, reach_m=reach_m)
    errors = replace(
        ErrorModel.guessed_from_spacing(100.0),
        between_posts="points",
        station_position_m=0.0,
        eye_height_m=0.0,
        feature_position_m=0.0,
    )
    found = {}
    for name, spread_m in SPREADS_M.items():
        parts = [
            of_window(height_m, spread_m, how, errors, draws, 1_000 + k)
            for k, height_m in enumerate(windows(count, seed))
        ]
        shared, multiplied, seen = (np.concatenate(part) for part in zip(*parts, strict=True))
        found[name] = {"shared draws": shared, "multiplied": multiplied, "seen": seen}
    return found


def table(chance: np.ndarray, seen: np.ndarray) -> list[str]:
    """Stated and found by bins of the stated chance."""
    rows = [f"  stated {chance.mean():.3f}, found {seen.mean():.3f}, n {chance.size:,}"]
    for low, high in pairwise(BINS):
        some = (chance >= low) & (chance < high)
        if some.sum() >= 20:
            rows.append(
                f"    {low:.2f} to {min(high, 1.0):.2f}: stated {chance[some].mean():.3f}, "
                f"found {seen[some].mean():.3f}, n {some.sum():,}"
            )
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--windows", type=int, default=60)
    parser.add_argument("--reach", type=float, default=2_000.0)
    parser.add_argument("--draws", type=int, default=100)
    told = parser.parse_args()
    for name, figures in run(told.windows, told.reach, told.draws).items():
        for way in ("shared draws", "multiplied"):
            print(f"four posts {name}, {way}:", *table(figures[way], figures["seen"]), sep="\n")


if __name__ == "__main__":
    main()
