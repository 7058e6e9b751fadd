"""Stated chances of being seen against real ground that is finer than the model they are worked out on.

A terrain model is thinned to coarser posts, by every n-th post or by means of blocks of n x n. The coarse
posts are all that the chances get; what is seen of the ground about the same posts on the fine model is the
truth. Nothing here is assumed by the error model: the roughness between posts is that of the ground.

    python docs/studies/thinned_ground.py --side east --stations 100
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import rasterio
from pyproj import CRS

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "tests"))

from hillsight.ground.accuracy import BETWEEN_POSTS, ErrorModel
from hillsight.ground.grid import Grid, Surface
from hillsight.sight.doubt import probability_of_posts
from hillsight.sight.doubt_shares import seen_number
from hillsight.sight.points import see_points
from hillsight.sight.posts import see_posts
from hillsight.sight.viewing import Eye
from shared_data import shared_file

EARTH_M = 6_371_000.0

#: Figures are settled west of the first easting of the Highlands and reported east of the second.
WEST_OF_M, EAST_OF_M = 240_000.0, 270_000.0

#: Terrain, n of the thinning.
CASES = (("highlands", 2), ("highlands", 3), ("highlands", 4), ("tujunga", 2), ("tujunga", 3))
WAYS = ("posts", "means")

_FILES = {"highlands": "osterrain50_highlands.tif", "tujunga": "srtm30_big_tujunga.tif"}
_REACH_M = {"highlands": 6_000.0, "tujunga": 5_000.0}
_BINS = 10


@lru_cache(maxsize=2)
def _heights(terrain: str):
    with rasterio.open(shared_file(_FILES[terrain])) as file:
        heights = file.read(1)
        known = heights != file.nodata
        scaled = np.where(known, heights * file.scales[0], np.nan).astype(np.float32)
        return scaled, float(file.transform.a), float(file.transform.c)


@dataclass(frozen=True)
class Pair:
    """Fine ground, coarse ground whose post (0, 0) lies at row and column ``offset`` of the fine, and n."""

    fine: Surface
    coarse: Surface
    times: int
    offset: float


def _surface(heights, spacing_m: float) -> Surface:
    heights = np.ascontiguousarray(heights, np.float32)
    return Surface(Grid(CRS(32630), 5e5, 6e6, spacing_m, spacing_m, *heights.shape), heights)


def pair_of(terrain: str, times: int, way: str, side: str, random: np.random.Generator) -> Pair:
    """A window drawn by chance, free of voids, with 100 m of relief within its middle."""
    heights, spacing_m, west_m = _heights(terrain)
    reach = int(_REACH_M[terrain] / spacing_m)
    half = (reach + 3 * times) // times * times
    if terrain == "tujunga":
        half = min(half, (min(heights.shape) // 2 - 2) // times * times)
    while True:
        row = int(random.integers(half, heights.shape[0] - half))
        column = int(random.integers(half, heights.shape[1] - half))
        east_m = west_m + column * spacing_m
        reach_m = half * spacing_m
        if terrain == "highlands" and (
            east_m + reach_m > WEST_OF_M if side == "west" else east_m - reach_m < EAST_OF_M
        ):
            continue
        held = heights[row - half : row + half, column - half : column + half]
        middle = held[half // 2 : -half // 2, half // 2 : -half // 2]
        if np.isnan(held).any() or np.ptp(middle) < 100.0:
            continue
        break
    if way == "posts":
        return Pair(
            _surface(held, spacing_m), _surface(held[::times, ::times], times * spacing_m), times, 0.0
        )
    rows = held.shape[0] // times
    means = held.reshape(rows, times, rows, times).mean(axis=(1, 3), dtype=np.float64)
    return Pair(_surface(held, spacing_m), _surface(means, times * spacing_m), times, (times - 1) / 2.0)


@dataclass(frozen=True)
class Looked:
    """One station: stated chance of each post and whether it is seen; area expected, low, high and seen."""

    stated: np.ndarray
    seen: np.ndarray
    area: tuple[float, float, float, float]


def look(
    pair: Pair, reach_m: float, errors_of, random: np.random.Generator, eye_height_m: float = 1.6
) -> Looked:
    """Look from a place drawn by chance in the window's middle third."""
    rows = pair.coarse.grid.rows
    row, column = random.uniform(rows / 3.0, 2.0 * rows / 3.0, 2)
    fine_row, fine_column = row * pair.times + pair.offset, column * pair.times + pair.offset

    def eye(surface: Surface, r: float, c: float) -> Eye:
        ground_m = surface.height_at_m(*(float(v) for v in surface.grid.to_map(r, c)))
        return Eye(r, c, ground_m + eye_height_m, 0.87 / (2.0 * EARTH_M))

    errors = errors_of(pair.coarse)
    coarse_eye = eye(pair.coarse, row, column)
    stated = probability_of_posts(pair.coarse, coarse_eye, reach_m, 0.0, errors)
    area = seen_number(pair.coarse, coarse_eye, 0.0, errors, stated)
    seen = _seen(pair, eye(pair.fine, fine_row, fine_column), reach_m)
    known = np.isfinite(stated) & np.isfinite(seen)
    off = float(np.nansum(stated[~known]))
    return Looked(
        stated[known].astype(float),
        seen[known],
        (area.expected - off, area.low, area.high, float(seen[known].sum())),
    )


def _seen(pair: Pair, eye: Eye, reach_m: float):
    """(rows, columns) of the coarse posts: 1 where the fine ground there is seen, 0 where not, else NaN."""
    rows, columns = pair.coarse.grid.rows, pair.coarse.grid.columns
    at = [np.arange(number) * pair.times + pair.offset for number in (rows, columns)]
    if pair.offset == int(pair.offset):
        posts = see_posts(pair.fine, eye, reach_m + 1_000.0, 0.0)
        clearance_m = posts.clearance_m[np.ix_(at[0].astype(int), at[1].astype(int))]
    else:
        row, column = (axis.ravel() for axis in np.meshgrid(*at, indexing="ij"))
        clearance_m = see_points(pair.fine, eye, row, column).clearance_m.reshape(rows, columns)
    return np.where(np.isnan(clearance_m), np.nan, clearance_m >= -1e-6)


@dataclass
class Pooled:
    """Sums over stations, in ten bins of the stated chance."""

    posts: np.ndarray
    stated: np.ndarray
    seen: np.ndarray
    areas: list[tuple[float, float, float, float]]

    @classmethod
    def none(cls) -> Pooled:
        """Nothing yet."""
        return cls(np.zeros(_BINS), np.zeros(_BINS), np.zeros(_BINS), [])

    def add(self, looked: Looked) -> None:
        """One more station."""
        bins = np.minimum((looked.stated * _BINS).astype(int), _BINS - 1)
        self.posts += np.bincount(bins, minlength=_BINS)
        self.stated += np.bincount(bins, looked.stated, _BINS)
        self.seen += np.bincount(bins, looked.seen, _BINS)
        self.areas.append(looked.area)

    def join(self, other: Pooled) -> None:
        """All of another's stations."""
        self.posts, self.stated, self.seen = (
            self.posts + other.posts,
            self.stated + other.stated,
            self.seen + other.seen,
        )
        self.areas += other.areas

    def line(self) -> str:
        """Seen less stated in each bin of 2,000 posts, seen area over expected, share of intervals held."""
        with np.errstate(invalid="ignore", divide="ignore"):
            off = (self.seen - self.stated) / self.posts
        bins = " ".join(
            f"{value:+.3f}" if posts >= 2_000 else "  ..  "
            for value, posts in zip(off, self.posts, strict=True)
        )
        expected, low, high, seen = (np.array(column) for column in zip(*self.areas, strict=True))
        held = np.mean((seen >= low) & (seen <= high))
        return f"{bins} | {seen.sum() / expected.sum():.3f} | {100 * held:3.0f} %"


def run(side: str, stations: int, errors_of, seed: int = 1, cases=CASES, ways=WAYS) -> dict[str, Pooled]:
    """All cases; a window for each station."""
    found = {}
    for terrain, times in cases:
        for way in ways:
            pooled = Pooled.none()
            for number in range(stations):
                random = np.random.default_rng((seed, number, times))
                pair = pair_of(terrain, times, way, side, random)
                pooled.add(look(pair, _REACH_M[terrain], errors_of, random))
            found[f"{terrain} x{times} {way}"] = pooled
            print(f"{terrain:10} x{times} {way:5} | {pooled.line()}", flush=True)
    everything = Pooled.none()
    for pooled in found.values():
        everything.join(pooled)
    print(f"{'pooled':19} | {everything.line()}", flush=True)
    return found


def main() -> None:
    """Print a line a case, and all of them pooled."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument(
        "--side", choices=("west", "east"), default="west", help="settled west, reported east"
    )
    parser.add_argument("--stations", type=int, default=100, help="of each case")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--ways", choices=WAYS, nargs="+", default=WAYS)
    parser.add_argument("--between-posts", choices=BETWEEN_POSTS, default="unknown")
    given = parser.parse_args()

    def errors_of(surface: Surface) -> ErrorModel:
        guess = ErrorModel.guessed_from_spacing(surface.grid.spacing_x_m)
        return replace(guess, between_posts=given.between_posts)

    print("seen less stated in ten bins of the stated chance | seen area over expected | intervals held")
    run(given.side, given.stations, errors_of, given.seed, ways=tuple(given.ways))


if __name__ == "__main__":
    main()
