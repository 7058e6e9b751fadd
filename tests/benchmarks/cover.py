"""What cover costs a view: time with raster cover, woods that let sight pass and walls, over that without.

    python tests/benchmarks/cover.py [--side 1201] [--rounds 3]

Every way is timed in processor seconds on one thread, interleaved, the least of the rounds. Beside the
bare ground stands the ground whose posts are raised by the cover: it hides the same, so that the difference
is what is paid for targets that stand on the ground below.
"""

from __future__ import annotations

import argparse
import math
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from pyproj import CRS

sys.path.insert(0, str(Path(__file__).parents[1]))

from hillsight.ground.cover import Cover, Screens
from hillsight.ground.grid import Grid, Surface
from hillsight.kernels.threads import limited_to
from hillsight.sight.maxima import Maxima
from hillsight.sight.posts import see_posts, see_states
from hillsight.sight.viewing import Eye
from terrains import fractal

#: Eyes so high above the ground see from little to much of it.
EYE_HEIGHTS_M = (1.6, 40.0, 150.0)


def covered(surface: Surface, *, passing_m: float = 0.0, walls: int = 0) -> Surface:
    """Woods on three tenths of the ground, and walls of 20 m pieces."""
    random, shape = np.random.default_rng(5), surface.height_m.shape
    field = fractal(*shape, seed=11, relief_m=1.0, roughness=1.8)
    wood_m = np.where(field > np.quantile(field, 0.7), 12.0 + 6.0 * field, 0.0).astype(np.float32)
    at = random.uniform(0, np.array(shape) - 3.0, (walls, 2))
    to = at + random.normal(0, 1.4, (walls, 2))
    screens = Screens(*at.T.copy(), *to.T.copy(), np.full(walls, 1.5), np.full(walls, 2, np.uint8))
    kind = (wood_m > 0).astype(np.uint8)
    cover = Cover(np.zeros_like(wood_m), wood_m, kind, ("", "wood", "wall"), screens, passing_m)
    return replace(surface, cover=cover)


def run(side: int, rounds: int) -> dict[str, dict[str, float]]:
    """Processor seconds by what is asked and over which ground, summed over the eyes."""
    height_m = np.asarray(fractal(side, side, seed=3, relief_m=0.06 * side * 10.0), np.float32)
    grid = Grid(CRS(32630), 500_000.0, 6_000_000.0, 10.0, 10.0, side, side)
    bare = Surface(grid, height_m)
    wooded = covered(bare)
    grounds = {
        "bare ground": bare,
        "posts raised by the cover": Surface(grid, wooded.blocking_m),
        "raster cover": wooded,
        "woods that let sight pass": covered(bare, passing_m=60.0),
        "raster cover and walls": covered(bare, walls=side),
    }
    maxima = {name: Maxima.over(surface) for name, surface in grounds.items()}
    # The open ground nearest to the middle.
    open_columns = np.flatnonzero(wooded.blocking_m[side // 2] == height_m[side // 2])
    column = int(open_columns[np.argmin(np.abs(open_columns - side // 2))])
    level_m = float(height_m[side // 2, column])
    eyes = [Eye(side // 2, column, level_m + up_m, 6.8e-8) for up_m in EYE_HEIGHTS_M]
    asked: dict[str, Callable[[str, Eye], Any]] = {
        "states": lambda name, eye: see_states(grounds[name], eye, math.inf, 1.0, maxima=maxima[name]),
        "clearance": lambda name, eye: see_posts(
            grounds[name], eye, math.inf, 1.0, maxima=maxima[name], crests=False
        ),
    }
    least = {what: dict.fromkeys(grounds, math.inf) for what in asked}
    with limited_to(1):
        for number in range(rounds + 1):  # the first warms up
            for what, ask in asked.items():
                for name in grounds:
                    start = time.process_time()
                    for eye in eyes:
                        ask(name, eye)
                    took_s = time.process_time() - start
                    least[what][name] = took_s if number < 2 else min(least[what][name], took_s)
    return least


def main() -> None:
    """Print times and ratios."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--side", type=int, default=1201)
    parser.add_argument("--rounds", type=int, default=3)
    asked = parser.parse_args()
    for what, times in run(asked.side, asked.rounds).items():
        for name, took_s in times.items():
            over = took_s / times["bare ground"], took_s / times["posts raised by the cover"]
            print(
                f"{what}, {name}: {took_s:.3f} s, {over[0]:.2f} of bare ground, {over[1]:.2f} of raised posts"
            )


if __name__ == "__main__":
    main()
