"""How near to the best a choice of marshal posts is known to be, in a minute, and how long the looking takes.

    python tests/benchmarks/posts.py [--places 1000] [--pieces 10000] [--seconds 60] [--json run.json]

On real ground (OS Terrain 50, Open Government Licence v3) where it is at hand, else on made ground: a course
all round a square of 8 km, places strewn about it, runners made out by the naked eye and through a glass of
eight. Then on made tables in which every place sees half the pieces about it at random: no ground is like
that, and bounds are at their worst.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path

import numpy as np
import rasterio
from pyproj import CRS

sys.path.insert(0, str(Path(__file__).parents[1]))

from hillsight.ground.grid import Grid, Surface
from hillsight.plan.posts.choosing import choose
from hillsight.plan.posts.course import Course, Stretches, cut
from hillsight.plan.posts.solving.search import greedy
from hillsight.plan.posts.solving.table import Table
from hillsight.plan.posts.watching import Lines, Watching, light_along, middles_m
from shared_data import VARIABLE, shared_file
from terrains import fractal

DROP = 0.87 / (2 * 6_371_000.0)
SIDE_M = 8_000.0

#: West and north edges of squares of the Highlands, metres of the national grid.
SQUARES = ((216_000.0, 758_000.0), (236_000.0, 745_000.0), (262_000.0, 792_000.0))

#: Posts that the most cover is sought for, and the share that the fewest are sought for.
POSTS, SHARE = (5, 8, 12), 0.95


def real_ground(square: int) -> Surface:
    """A square of the Highlands with a margin of 1 km; skips where the file is missing."""
    west_m, north_m = SQUARES[square]
    with rasterio.open(shared_file("osterrain50_nn.tif")) as file:
        row, column = (int(v) for v in file.index(west_m - 1_000.0, north_m + 1_000.0))
        size = int((SIDE_M + 2_000.0) / 50.0)
        height_m = file.read(1, window=((row, row + size), (column, column + size))).astype(np.float32)
        east_m, top_m = file.xy(row, column)
    return Surface(Grid(CRS(27700), float(east_m), float(top_m), 50.0, 50.0, size, size), height_m)


def made_ground(seed: int) -> Surface:
    """As large a square of made relief."""
    height_m = fractal(200, 200, seed=seed, relief_m=700.0)
    return Surface(Grid(CRS(27700), 215_000.0, 759_000.0, 50.0, 50.0, 200, 200), height_m)


def course_round(ground: Surface, pieces: int, random: np.random.Generator) -> tuple[Course, Stretches]:
    """A winding course all round the square, cut into about so many pieces."""
    grid, corners = ground.grid, 24
    angle = np.linspace(0.0, 2.0 * np.pi, corners, endpoint=False)
    radius_m = SIDE_M * (0.35 + 0.12 * random.random(corners))
    middle_m = (grid.west_m + grid.east_m) / 2.0, (grid.north_m + grid.south_m) / 2.0
    bends = np.linspace(0.0, corners, 40 * corners)
    line = []
    for centre_m, turn in zip(middle_m, (np.cos, np.sin), strict=True):
        around = centre_m + radius_m * turn(angle)
        around = np.append(around, around[0])
        line.append(
            np.interp(bends, np.arange(corners + 1), around) + np.cumsum(random.normal(0, 5, bends.size))
        )
    course = Course("round", *line)
    return course, cut(course, course.length_m / pieces, 0.0)


def on_ground(ground: Surface, how: Watching, places: int, pieces: int, seed: int) -> tuple[np.ndarray, ...]:
    """What each place sees, what each piece weighs, and the seconds that the looking took."""
    random = np.random.default_rng(seed)
    course, stretches = course_round(ground, pieces, random)
    along = course.at(random.random(places) * course.length_m)
    eyes = along[0] + random.normal(0, 300, places), along[1] + random.normal(0, 300, places)
    targets = middles_m(stretches)
    one = Lines.within(eyes[0][:1], eyes[1][:1], *targets, how.farthest_m)
    light_along(ground, one, eyes, targets, how.eye_height_m, how.runner_least_m, DROP)  # compiles
    start = time.perf_counter()
    lines = Lines.within(*eyes, *targets, how.farthest_m)
    light = light_along(ground, lines, eyes, targets, how.eye_height_m, how.runner_least_m, DROP)
    seen = lines.table(light > 0.95)
    return seen, stretches.piece_weight_m(), np.array(time.perf_counter() - start)


def at_random(places: int, pieces: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Every place sees half of the pieces within a sixth of the square's side, each as the dice fall."""
    random = np.random.default_rng(seed)
    here, there = random.random((places, 2)), random.random((pieces, 2))
    near = np.hypot(*(here[:, None, k] - there[None, :, k] for k in range(2))) < 1.0 / 6.0
    return near & (random.random((places, pieces)) < 0.5), np.ones(pieces)


def chosen(seen: np.ndarray, weight: np.ndarray, seconds: float) -> list[dict[str, float]]:
    """Figures of each choice: gap, cover or posts, what greed alone comes to, seconds."""
    found = []
    whole = Table.of(seen, weight, np.ones(weight.size), np.arange(len(seen)), np.zeros(len(seen)))
    for posts in POSTS:
        start = time.perf_counter()
        best = choose(seen, weight, posts=posts, seconds=seconds)
        taken_s = time.perf_counter() - start
        greed = whole.cover(greedy(whole, posts)) / weight.sum()
        found.append(
            {
                "posts": posts,
                "covered_share": best.covered_share,
                "at_most_share": best.at_most_share,
                "gap": best.gap,
                "greedy_of_best": greed / max(best.covered_share, 1e-9),
                "seconds": taken_s,
            }
        )
    reachable = float(weight[seen.any(axis=0)].sum() / weight.sum())
    for share in (min(SHARE, reachable), reachable):
        start = time.perf_counter()
        few = choose(seen, weight, share=share, seconds=seconds)
        found.append(
            {
                "share": share,
                "chosen": int(few.chosen.size),
                "needed": few.needed_posts,
                "gap": few.gap,
                "seconds": time.perf_counter() - start,
            }
        )
    return found


def run(places: int, pieces: int, seconds: float, grounds: dict[str, Surface]) -> dict[str, object]:
    """All figures, by ground and by what is made out."""
    found: dict[str, object] = {}
    for name, ground in grounds.items():
        for glass in (1.0, 8.0):
            seen, weight, looked_s = on_ground(ground, Watching(glass=glass), places, pieces, seed=1)
            found[f"{name}, glass {glass:g}"] = {
                "looking_s": float(looked_s),
                "seen_share": float(seen.mean()),
                "reachable_share": float(weight[seen.any(axis=0)].sum() / weight.sum()),
                "choices": chosen(seen, weight, seconds),
            }
    found["at random"] = {"choices": chosen(*at_random(places, pieces, 1), seconds)}
    return found


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--places", type=int, default=1_000)
    parser.add_argument("--pieces", type=int, default=10_000)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--json", type=Path)
    told = parser.parse_args()
    try:
        grounds = {f"Highlands {k}": real_ground(k) for k in range(len(SQUARES))}
    except BaseException as missing:  # pytest's skip is no Exception
        if isinstance(missing, KeyboardInterrupt):
            raise
        print(f"{missing}; made ground instead ({VARIABLE} names the folder)")
        grounds = {f"made {seed}": made_ground(seed) for seed in range(3)}
    found = run(told.places, told.pieces, told.seconds, grounds)
    print(json.dumps(found, indent=1))
    if told.json:
        told.json.write_text(json.dumps(found, indent=1), encoding="utf-8")


if __name__ == "__main__":
    main()
