"""Many stations and many pairs: what the engines do when asked in bulk."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from benchmarks.engines import ENGINES, gdal_source, gdal_view
from benchmarks.grounds import EYE_HEIGHT_M, eye_over
from benchmarks.measuring import clocked
from hillsight.sight.many import count_visible
from hillsight.sight.points import see_pairs
from hillsight.words.states import GroundState
from oracle import sighting

if TYPE_CHECKING:
    from benchmarks.measuring import Found
    from hillsight.arrays import AnyArray, Floats32
    from hillsight.ground.grid import Surface
    from hillsight.sight.viewing import Eye

STATIONS_REACH_M = 10_000.0
#: Stations that GDAL's viewshed is looped over at least; the rest are reckoned.
GDAL_STATIONS = 20


def station_eyes(surface: Surface, count: int) -> list[Eye]:
    """A person's eyes on random posts, always the same ones."""
    places = np.random.default_rng(5).integers(0, min(surface.height_m.shape), (count, 2)).tolist()
    return [eye_over(surface, row, column, EYE_HEIGHT_M) for row, column in places]


def many_stations(surface: Surface, count: int, reach_m: float = STATIONS_REACH_M) -> Found:
    """Visible count over many stations against GDAL's viewshed looped over some of them and scaled.

    Half of GDAL's stations are done before ours and half after. GDAL's loop does not add up its views, as
    ours does; the time of that is left to its favour.
    """
    eyes = station_eyes(surface, count)
    found: Found = {"stations": count, "reach_m": reach_m, "side": surface.grid.rows}
    gdal = next(engine for engine in ENGINES if engine.name == "gdal")
    wall_s = cpu_s = 0.0
    some = eyes[: max(GDAL_STATIONS, count // 20)]

    def loop(chosen: list[Any]) -> None:
        nonlocal wall_s, cpu_s
        for eye in chosen:
            _, wall, cpu = clocked(lambda: gdal_view(source, surface, eye, EYE_HEIGHT_M, reach_m))  # noqa: B023
            wall_s, cpu_s = wall_s + wall, cpu_s + cpu

    source = None if gdal.missing else gdal_source(surface)
    if source is not None:
        loop(some[::2])
    counts, ours_s, ours_cpu_s = clocked(lambda: count_visible(surface, eyes, reach_m))
    found |= {"ours_wall_s": ours_s, "ours_cpu_s": ours_cpu_s, "mean_count": float(counts.mean())}
    if source is not None:
        loop(some[1::2])
        scale = count / len(some)
        found |= {
            "gdal_stations": len(some),
            "gdal_wall_s": wall_s * scale,
            "gdal_cpu_s": cpu_s * scale,
            "gdal_over_ours": wall_s * scale / ours_s,
        }
    return found


def pairs(surface: Surface, count: int, sample: int, farthest_m: float) -> Found:
    """Pairs a second of random places, and how many of a sample the oracle answers otherwise."""
    random = np.random.default_rng(6)
    last = min(surface.height_m.shape) - 1
    start = random.uniform(0, last, (2, count))
    reach = farthest_m / surface.grid.spacing_x_m
    end = np.clip(start + random.uniform(-reach, reach, (2, count)), 0, last)
    levels_m = [_ground_m(surface.height_m, *places) for places in (start, end)]
    places = (start[0], start[1], levels_m[0] + EYE_HEIGHT_M, end[0], end[1], levels_m[1])
    states, wall_s, cpu_s = clocked(lambda: see_pairs(surface, None, *places))
    lowered = surface.height_m.astype(float)
    tried = min(sample, count)
    wrong = 0
    for i in range(tried):
        way = sighting(
            lowered,
            *start[:, i].tolist(),
            float(levels_m[0][i]) + EYE_HEIGHT_M,
            *end[:, i].tolist(),
            lowered_target_m=float(levels_m[1][i]),
        )
        wrong += bool(way.clearance_m >= 0) != bool(states[i] == GroundState.VISIBLE)
    return {
        "pairs": count,
        "farthest_m": farthest_m,
        "side": surface.grid.rows,
        "visible_share": float(np.mean(states == GroundState.VISIBLE)),
        "millions_a_second": count / wall_s / 1e6,
        "millions_a_cpu_second": count / max(cpu_s, 1e-9) / 1e6,
        "oracle": {"pairs": tried, "differ": wrong},
    }


def _ground_m(height_m: Floats32, rows: AnyArray, columns: AnyArray) -> AnyArray:
    """Bilinear ground under places within the terrain."""
    top = np.minimum(rows.astype(int), height_m.shape[0] - 2)
    left = np.minimum(columns.astype(int), height_m.shape[1] - 2)
    down, right = rows - top, columns - left
    corners = [height_m[top + i, left + j].astype(float) for i in (0, 1) for j in (0, 1)]
    upper = corners[0] * (1 - right) + corners[1] * right
    lower = corners[2] * (1 - right) + corners[3] * right
    ground: AnyArray = upper * (1 - down) + lower * down
    return ground
