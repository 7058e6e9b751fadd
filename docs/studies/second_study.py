"""Exercises of the second observer on real ground finer than the model, put to the weighing.

    python docs/studies/second_study.py SHARED_FOLDER west|east FIRST LAST STATEMENTS ROWS.csv

Windows of OS Terrain 50 (Open Government Licence v3: Contains OS data (c) Crown copyright and database right)
by seed: west of E 240 000 to tune on, east of E 270 000 to report on. The truth has posts 50 m apart, the
model every second of them. In three exercises of ten the true place is none of the candidates.
"""

from __future__ import annotations

import csv
import sys
import tempfile
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pandas as pd
import rasterio
import shapely
from affine import Affine
from pyproj import CRS
from scipy import ndimage, special

from hillsight.ground.accuracy import ErrorModel
from hillsight.ground.geodesy import Geodesy
from hillsight.ground.stations import Station
from hillsight.ground.terrain import TerrainOptions, open_terrain
from hillsight.plan.look.framing import Framing
from hillsight.plan.look.looking import Looker
from hillsight.plan.observer import Observer
from hillsight.plan.relocation.decision import Rules
from hillsight.plan.relocation.relocation import weigh
from hillsight.plan.relocation.setting import Setting
from hillsight.plan.statement import Picture, Sighting, Statement
from hillsight.sight.viewing import Viewing
from second_observer import WRONG, Ground, Say, Seen, answer, look, may_say

#: Posts along a window's side, and how far from its middle places are taken.
_SIDE, _WITHIN_M = 561, 2_500.0

#: Share of exercises whose true place is none of the candidates, and the prior that the weighing is told.
MISSING, NONE_PRIOR = 0.3, 0.2

WIDTH_DEG, HEADING_SPREAD_DEG = 60.0, 12.0


@dataclass(frozen=True)
class Exercise:
    """One exercise; truth is the number of the true candidate, None where it is none of them."""

    ground: Ground
    names: list[str]
    places: np.ndarray
    truth: int | None
    told_deg: float
    said: list[tuple[Say, int]]


@lru_cache(maxsize=1)
def _whole(path: str) -> tuple[np.ndarray, Affine]:
    with rasterio.open(path) as file:
        heights = file.read(1)
        return np.where(heights == file.nodata, np.nan, heights * file.scales[0]).astype(np.float32), file.transform


def ground_of(path: str, side: str, seed: int) -> Ground:
    """A window with 300 m of relief or more and little sea, the first that a seed draws."""
    heights, transform = _whole(path)
    random = np.random.default_rng((seed, 77))
    while True:
        row = int(random.integers(heights.shape[0] - _SIDE))
        column = int(random.integers(heights.shape[1] - _SIDE))
        middle_east, _ = transform * (column + _SIDE / 2, row + _SIDE / 2)
        half_m = _SIDE * 25.0
        if (middle_east + half_m > 240_000.0) if side == "west" else (middle_east - half_m < 270_000.0):
            continue
        window = heights[row : row + _SIDE, column : column + _SIDE]
        about = window[_SIDE // 2 - 80 : _SIDE // 2 + 80, _SIDE // 2 - 80 : _SIDE // 2 + 80]
        if not np.isfinite(window).all() or np.ptp(about) < 300.0:
            continue
        west, north = transform * (column + 0.5, row + 0.5)
        return Ground(window.astype(np.float64), 50.0, west, north, tops_of(window, west, north))


def tops_of(height_m: np.ndarray, west_m: float, north_m: float) -> np.ndarray:
    """Tops that a map would name: highest within 500 m, well above the ground 800 m about, within 8 km."""
    highest = ndimage.maximum_filter(height_m, 21) == height_m
    about = ndimage.uniform_filter(height_m, 33)
    rows, columns = np.nonzero(highest & (height_m - about > 35.0))
    east, north = west_m + 50.0 * columns, north_m - 50.0 * rows
    middle = np.array([west_m + 25.0 * height_m.shape[1], north_m - 25.0 * height_m.shape[0]])
    near = np.hypot(east - middle[0], north - middle[1]) < 8_000.0
    rise = (height_m - about)[rows, columns][near]
    kept = np.argsort(-rise)[:30]
    return np.column_stack((east[near], north[near], height_m[rows, columns][near]))[kept]


def exercise(ground: Ground, statements: int, random: np.random.Generator) -> Exercise:
    """A true place, look-alikes by the observer's own measure, and what is said of the picture."""
    middle = np.array(
        [ground.west_m + 25.0 * ground.height_m.shape[1], ground.north_m - 25.0 * ground.height_m.shape[0]]
    )
    while True:
        true = middle + random.uniform(-_WITHIN_M, _WITHIN_M, 2)
        away = random.uniform(300.0, 3_000.0, 70)
        turn = random.uniform(0.0, 2 * np.pi, 70)
        others = true + np.column_stack((away * np.sin(turn), away * np.cos(turn)))
        heading = float(random.uniform(0.0, 360.0))
        views = [look(ground, *place) for place in (true, *others)]
        ahead = np.rint(heading + np.arange(-30, 30)).astype(int) % 360
        heights = np.array([ground.height_at(*place) for place in (true, *others)])

        def unlike(k: int) -> float:
            sky = float(np.std(views[k].sky_deg[ahead] - views[0].sky_deg[ahead]))
            return abs(heights[k] - heights[0]) / 60.0 + sky / 2.0

        order = sorted(range(1, len(views)), key=unlike)
        wanted = int(random.integers(2, 5))
        kept: list[int] = []
        for k in order:
            place = others[k - 1]
            if all(np.hypot(*(place - others[m - 1])) >= 300.0 for m in kept):
                kept.append(k)
            if len(kept) == wanted + 1:
                break
        missing = bool(random.random() < MISSING)
        places = [others[k - 1] for k in kept[: wanted + missing]] + ([] if missing else [true])
        shuffled = random.permutation(len(places))
        off_m, off_turn = random.uniform(5.0, 25.0), random.uniform(0.0, 2 * np.pi)
        stood = true + off_m * np.array([np.sin(off_turn), np.cos(off_turn)])
        seen = look(ground, *stood, float(random.uniform(1.4, 1.8)))
        width = WIDTH_DEG * float(random.uniform(0.9, 1.1))
        chosen = may_say(seen, heading, width, random)[:statements]
        if len(chosen) < statements:
            continue
        said = [(say, answer(say, seen, heading, width, random)) for say in chosen]
        truth = None if missing else int(np.flatnonzero(shuffled == len(places) - 1)[0])
        told = (heading + random.laplace(0.0, HEADING_SPREAD_DEG / np.sqrt(2))) % 360.0
        names = [f"Top {k}" for k in range(1, len(ground.tops) + 1)]
        return Exercise(ground, names, np.array(places)[shuffled], truth, float(told), said)


def put(made: Exercise, folder: Path, *, thin: int = 2) -> dict[str, Any]:
    """Put an exercise to the weighing, which gets coarser ground."""
    ground = made.ground
    heights = ground.height_m[::thin, ::thin].astype(np.float32)
    spacing = ground.spacing_m * thin
    path = folder / "model.tif"
    transform = Affine(spacing, 0, ground.west_m - spacing / 2, 0, -spacing, ground.north_m + spacing / 2)
    with rasterio.open(
        path, "w", driver="GTiff", height=heights.shape[0], width=heights.shape[1], count=1,
        dtype="float32", crs="EPSG:27700", transform=transform,
    ) as file:  # fmt: skip
        file.write(heights, 1)
    source = open_terrain(str(path), TerrainOptions())
    terrain = source.on_metric_grid(*source.middle())
    frame = geopandas.GeoDataFrame(
        {
            "name": pd.Series(made.names, dtype=object),
            "kind": ["summit"] * len(made.names),
            "evidence_class": ["ground_shape"] * len(made.names),
            "target_height_m": [0.0] * len(made.names),
            "source": ["map"] * len(made.names),
        },
        geometry=[shapely.Point(east, north) for east, north, _ in ground.tops],
        crs=27700,
    )
    observer = Observer()
    looker = Looker.over(
        terrain,
        Geodesy(CRS(27700)),
        Viewing(1.6, 0.0, 8_000.0, 0.13),
        ErrorModel.guessed_from_spacing(spacing),
        made.places[:, 0].tolist(),
        made.places[:, 1].tolist(),
        2_150.0,
    )
    framing = Framing.of(made.told_deg, HEADING_SPREAD_DEG, WIDTH_DEG, observer.picture_edge)
    setting = Setting(looker, frame, framing, observer, Rules(none_prior=NONE_PRIOR))
    statements = tuple(
        Statement(kind, values, part)
        for kind, part, values in (say.statement(number, made.names) for say, number in made.said)
    )
    stations = [Station(f"P{k}", None, *map(float, place), None, "") for k, place in enumerate(made.places)]
    gathered = weigh(setting, stations, Sighting(Picture(), statements, "study"))
    state, whole, _ = gathered.evidence.verdict()
    logs, out = gathered.evidence.table.without(), gathered.evidence.table.leave_one_out()
    worth = ""
    if made.truth is not None:
        rest = np.delete(logs[:, None] - out, made.truth, axis=0).mean(axis=0)
        gain = (logs[:, None] - out)[made.truth] - rest
        worth = ";".join(f"{say.kind}/{say.key}:{g:.3f}" for (say, _), g in zip(made.said, gain, strict=True))
    return {
        "state": state,
        "probabilities": ";".join(f"{p:.5f}" for p in whole.candidates),
        "none": whole.none,
        "worth": worth,
    }


def ceiling(made: Exercise, random: np.random.Generator) -> tuple[np.ndarray, float]:
    """What an ideal judge would say, who knows the fine ground and this very observer; (c,) and none."""
    offsets = [(0.0, 0.0)] + [
        (r * np.sin(t), r * np.cos(t)) for r in (10.0, 19.0) for t in np.arange(6) * np.pi / 3
    ]
    headings = made.told_deg + np.arange(-36.0, 37.0, 4.0)
    prior = np.exp(-np.abs(headings - made.told_deg) / (HEADING_SPREAD_DEG / np.sqrt(2)))
    prior /= prior.sum()

    def log_likelihood(place: np.ndarray, some: list[tuple[float, float]]) -> float:
        logs = []
        for off in some:
            seen: Seen = look(made.ground, *(place + off))
            for heading, weight in zip(headings, prior, strict=True):
                for width in (0.94 * WIDTH_DEG, 1.06 * WIDTH_DEG):
                    total = np.log(weight / 2)
                    for say, number in made.said:
                        chance = say.chances(seen, float(heading), width)[number]
                        total += np.log((1.0 - WRONG) * chance + WRONG / len(say.answers))
                    logs.append(total)
        return float(special.logsumexp(logs) - np.log(len(some)))

    ours = np.array([log_likelihood(place, offsets) for place in made.places])
    others = []
    while len(others) < 60:
        about = made.places[int(random.integers(len(made.places)))]
        away, turn = 3_000.0 * np.sqrt(random.random()), random.uniform(0, 2 * np.pi)
        place = about + away * np.array([np.sin(turn), np.cos(turn)])
        if np.hypot(*(made.places - place).T).min() > 200.0:
            others.append(log_likelihood(place, [(0.0, 0.0)]))
    none = float(special.logsumexp(others) - np.log(len(others)))
    logs = np.append(ours + np.log((1 - NONE_PRIOR) / len(ours)), none + np.log(NONE_PRIOR))
    share = special.softmax(logs)
    return share[:-1], float(share[-1])


def main(shared: str, side: str, first: int, last: int, statements: int, rows: str, with_ceiling: bool) -> None:
    path = str(Path(shared) / "osterrain50_highlands.tif")
    with open(rows, "a", newline="", encoding="utf-8") as file, tempfile.TemporaryDirectory() as folder:
        writer = None
        for seed in range(first, last):
            random = np.random.default_rng((seed, 5))
            made = exercise(ground_of(path, side, seed), statements, random)
            row = {"seed": seed, "truth": "" if made.truth is None else made.truth, "count": len(made.places)}
            row |= put(made, Path(folder))
            if with_ceiling:
                best, none = ceiling(made, random)
                row |= {"ceiling": ";".join(f"{p:.5f}" for p in best), "ceiling_none": none}
            if writer is None:
                writer = csv.DictWriter(file, list(row))
                writer.writeheader()
            writer.writerow(row)
            file.flush()


if __name__ == "__main__":
    main(*sys.argv[1:3], *map(int, sys.argv[3:6]), sys.argv[6], "--ceiling" in sys.argv)
