"""Time and errors of the engines, turn about in one run, and how the time grows."""

from __future__ import annotations

import statistics
import time
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from benchmarks.engines import ENGINES, OURS
from benchmarks.grounds import EYE_HEIGHT_M, USUAL_SHARE, MissingGroundError, eye_over, stations, surface_of
from hillsight.sight.many import count_visible
from hillsight.sight.points import see_pairs
from oracle import clearance
from terrains import fractal

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from benchmarks.engines import Engine
    from benchmarks.grounds import Grounds, Station
    from hillsight.arrays import Flags
    from hillsight.ground.grid import Surface

    Found = dict[str, Any]

#: A run longer than this is not repeated within a case.
LONG_S = 5.0
#: An engine whose run would take longer than this, by its last one on the same ground, is left out.
LIMIT_S = 60.0
#: Up to this side the oracle walks to every post, above it to a seeded sample.
ORACLE_WHOLE_SIDE = 201


def warm_up() -> None:
    """Compile what compiles, outside the clock."""
    surface = surface_of(fractal(61, 61, seed=2))
    eye = eye_over(surface, 30, 30, EYE_HEIGHT_M)
    for engine in ENGINES:
        if not engine.missing:
            engine.prepare(surface, eye, EYE_HEIGHT_M)()
    count_visible(surface, [eye], 100.0)
    see_pairs(surface, None, 30, 30, eye.level_m, np.arange(50.0), 20.0, 100.0)


def clocked(run: Callable[[], Any]) -> tuple[Any, float, float]:
    """What a run gives, its seconds on the wall and of processor time of all its threads."""
    wall, busy = time.perf_counter(), time.process_time()
    found = run()
    return found, time.perf_counter() - wall, time.process_time() - busy


def spread_of(values: list[float]) -> Found:
    """Least and median."""
    return {"min": min(values), "median": statistics.median(values)}


def time_case(
    surface: Surface,
    station: Station,
    rounds: int,
    expected_s: dict[str, float] | None = None,
) -> tuple[dict[str, Found], dict[str, Flags]]:
    """Each engine in turn, round after round, each round beginning with another engine.

    expected_s : seconds that an engine is likely to take; above LIMIT_S it is left out

    Returns
    -------
    figures of each engine, and the posts each calls visible
    """
    figures: dict[str, Found] = {}
    runs: dict[str, Callable[[], Any]] = {}
    for engine in ENGINES:
        likely_s = (expected_s or {}).get(engine.name, 0.0)
        note = engine.missing or (f"left out: about {likely_s:.0f} s a run" if likely_s > LIMIT_S else "")
        figures[engine.name] = {"note": note, "wall": [], "cpu": []}
        if not note:
            runs[engine.name] = engine.prepare(surface, station.eye, station.eye_height_m)
    answers: dict[str, Flags] = {}
    by_name = {engine.name: engine for engine in ENGINES}
    for turn in range(rounds):
        names = list(runs)
        for name in names[turn % len(names) :] + names[: turn % len(names)]:
            kept = figures[name]
            if kept["wall"] and kept["wall"][0] > LONG_S:
                continue
            found, wall_s, cpu_s = clocked(runs[name])
            kept["wall"].append(wall_s)
            kept["cpu"].append(cpu_s)
            visible = by_name[name].visible
            if visible is not None and name not in answers:
                answers[name] = visible(found)
            del found
    return _summed_up(figures), answers


def _summed_up(raw: dict[str, Found]) -> dict[str, Found]:
    """Least, median and ratios; ratios by rounds are of runs that followed each other."""
    done: dict[str, Found] = {}
    for name, kept in raw.items():
        done[name] = {"note": kept["note"], "runs": len(kept["wall"])}
        if not kept["wall"]:
            continue
        done[name] |= {"wall_s": spread_of(kept["wall"]), "cpu_s": spread_of(kept["cpu"])}
        for peer in ("gdal", "copy"):
            if not raw[peer]["wall"]:
                continue
            pairs = zip(kept["wall"], raw[peer]["wall"], strict=False)
            done[name][f"over_{peer}"] = {
                "of_minima": min(kept["wall"]) / min(raw[peer]["wall"]),
                "median_of_rounds": statistics.median(a / b for a, b in pairs),
                "of_cpu_minima": min(kept["cpu"]) / max(min(raw[peer]["cpu"]), 1e-9),
            }
    return done


def errors(
    surface: Surface, station: Station, answers: dict[str, Flags], sample: int, seed: int
) -> dict[str, Found]:
    """Posts that each engine answers otherwise than the oracle, and otherwise than our states.

    The oracle (tests/oracle.py) is too slow for all posts of a large ground: it walks to a seeded sample.
    """
    height_m = surface.height_m.astype(float)  # what the oracle's lowering gives, on a flat earth
    rows, columns = height_m.shape
    if rows <= ORACLE_WHOLE_SIDE:
        places = np.arange(rows * columns)
    else:
        places = np.random.default_rng(seed).choice(
            rows * columns, min(sample, rows * columns), replace=False
        )
    eye = station.eye
    seen = np.array(
        [clearance(height_m, eye.row, eye.column, eye.level_m, *divmod(int(p), columns)) >= 0 for p in places]
    )
    found = {}
    for name, visible in answers.items():
        wrong = int(np.count_nonzero(visible.ravel()[places] != seen))
        found[name] = {
            "oracle": {"posts": len(places), "differ": wrong, "share": wrong / len(places)},
            "differ_from_ours_share": float(np.mean(visible != answers[OURS[0]])),
        }
    return found


def measure_ground(
    grounds: Grounds,
    name: str,
    side: int,
    shares: tuple[float, ...],
    rounds: int,
    sample: int,
    expected_s: dict[str, float],
) -> list[Found]:
    """All stations of one ground; what each engine took at most is left in ``expected_s``."""
    surface = grounds.surface(name, side)
    chosen = stations(name, surface, shares)
    each = -(-sample // len(chosen))
    cases = []
    took_s: dict[str, float] = {}
    for number, station in enumerate(chosen):
        figures, answers = time_case(surface, station, rounds, expected_s)
        for engine, wrong in errors(surface, station, answers, each, number).items():
            figures[engine] |= wrong
        for engine, figure in figures.items():
            if "wall_s" in figure:
                took_s[engine] = max(took_s.get(engine, 0.0), figure["wall_s"]["median"])
        cases.append(
            {
                "ground": name,
                "about": grounds.about(name, side),
                "side": side,
                "visible_share": station.visible_share,
                "station": {
                    "row": station.eye.row,
                    "column": station.eye.column,
                    "eye_height_m": station.eye_height_m,
                    "on_post": station.on_post,
                },
                "engines": figures,
            }
        )
    expected_s |= took_s
    return cases


def probe(grounds: Grounds, name: str, side: int) -> dict[str, float]:
    """Seconds that each engine takes once on a ground; none where the ground cannot be had."""
    try:
        surface = grounds.surface(name, side)
    except MissingGroundError:
        return {}
    figures, _ = time_case(surface, stations(name, surface, (USUAL_SHARE,))[0], 1)
    return {engine: figure["wall_s"]["min"] for engine, figure in figures.items() if figure["runs"]}


def growth(grounds: Grounds, name: str, rounds: int) -> list[Found]:
    """How time grows with the side, sizes in turn within each round.

    Like with like: the sizes are one ground with more or fewer posts (see Grounds), the station the same
    place, and the eye raised until the same share of posts is seen.
    """
    sides = [side for side in grounds.sides if grounds.alike(name, side)]
    runs: dict[tuple[int, str], Callable[[], Any]] = {}
    shares = {}
    for side in sides:
        surface = grounds.surface(name, side)
        station = stations(name, surface, (USUAL_SHARE,))[0]
        shares[side] = station.visible_share
        for engine in _growing():
            runs[side, engine.name] = engine.prepare(surface, station.eye, station.eye_height_m)
    wall: dict[tuple[int, str], list[float]] = {key: [] for key in runs}
    cpu: dict[tuple[int, str], list[float]] = {key: [] for key in runs}
    for _ in range(rounds):
        for key, run in runs.items():
            _, wall_s, cpu_s = clocked(run)
            wall[key].append(wall_s)
            cpu[key].append(cpu_s)
    return [
        {
            "ground": name,
            "engine": engine.name,
            "from_side": small,
            "to_side": large,
            "posts_ratio": (large / small) ** 2,
            "visible_shares": [shares[small], shares[large]],
            "time_ratio": min(wall[large, engine.name]) / min(wall[small, engine.name]),
            "cpu_ratio": min(cpu[large, engine.name]) / max(min(cpu[small, engine.name]), 1e-9),
        }
        for engine in _growing()
        for small, large in pairwise(sides)
    ]


def _growing() -> Iterable[Engine]:
    return (e for e in ENGINES if e.name in (*OURS, "gdal") and not e.missing)
