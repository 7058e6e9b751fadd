"""A second observer: eyes, judgement and words of its own, for exercises that nobody tuned the weighing to.

It stands on finer ground than the terrain model that the weighing gets, some metres beside the spot, and says
what a person would say of a picture. It shares no code with ``hillsight.plan`` or ``describe``: it walks sight
lines by itself, has its own idea of what a brow is, and its thresholds are soft with heavy tails. Statements
are handed over in the words of a sighting file.

How people err here (common practice, no source): distances to some 40 % with a tail, the eye's level to a
degree, small features of a skyline overlooked, one statement in ten wrong altogether.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numba
import numpy as np
from scipy import stats

#: Bearings all round that are looked along, and how far.
RAYS, REACH_M = 360, 14_000.0

#: Chance that a statement is wrong altogether, and says any of the answers.
WRONG = 0.1

#: Curvature less refraction of light, per metre (k = 0.13, R = 6371 km).
_DROP = 0.87 / (2 * 6_371_000.0)

_DISTANCES = ("near", "middle", "far", "none")
_EXTENTS = ("none", "little", "much")
_SLOPES = ("falls steeply", "falls gently", "level", "rises gently", "rises steeply")
_SHAPES = ("flat", "pointed", "saddle", "falls left", "falls right")
_HEIGHTS = ("well below", "a little below", "level", "a little above", "well above")
_PARTS = {"left": (-0.5, -1 / 6), "middle": (-1 / 6, 1 / 6), "right": (1 / 6, 0.5)}
_HALVES = {"left half": (-0.5, 0.0), "right half": (0.0, 0.5), "anywhere": (-0.5, 0.5)}


@numba.njit(cache=True)
def _at(height_m, row, column):
    r, c = int(row), int(column)
    if r < 0 or c < 0 or r >= height_m.shape[0] - 1 or c >= height_m.shape[1] - 1:
        return np.nan
    a, b = row - r, column - c
    top = height_m[r, c] * (1 - b) + height_m[r, c + 1] * b
    low = height_m[r + 1, c] * (1 - b) + height_m[r + 1, c + 1] * b
    return top * (1 - a) + low * a


@numba.njit(cache=True)
def _look_round(height_m, spacing_m, row, column, level_m, drop, reach_m, sky_deg, brow_m, again_m, slope_deg):
    """Skyline, first noticeable brow, where ground shows again and the slope to the brow, on each ray."""
    feet_m = _at(height_m, row, column)
    for k in range(sky_deg.size):
        turn = 2 * np.pi * k / sky_deg.size
        east, north = np.sin(turn), np.cos(turn)
        best, best_m, hidden, brow, again = -10.0, 0.0, 0.0, np.nan, np.nan
        brow_height = np.nan
        step = spacing_m / 2
        distance = step
        while distance <= reach_m:
            ground = _at(height_m, row - north * distance / spacing_m, column + east * distance / spacing_m)
            if np.isnan(ground):
                break
            tangent = (ground - drop * distance * distance - level_m) / distance
            if tangent >= best:
                # Ground out of view is noticed if a gap opens before what shows next.
                if np.isnan(brow) and hidden > 1.5 and distance - best_m > max(30.0, 0.15 * best_m):
                    brow, again = best_m, distance
                    brow_height = _at(
                        height_m, row - north * best_m / spacing_m, column + east * best_m / spacing_m
                    )
                best, best_m, hidden = tangent, distance, 0.0
            else:
                hidden = max(hidden, (best - tangent) * distance)
            distance += step
        if np.isnan(brow) and hidden > 1.5:
            brow, again = best_m, np.inf
            brow_height = _at(height_m, row - north * best_m / spacing_m, column + east * best_m / spacing_m)
        sky_deg[k] = np.degrees(np.arctan(best))
        brow_m[k], again_m[k] = brow, again
        slope_deg[k] = np.degrees(np.arctan((brow_height - feet_m) / brow))


@numba.njit(cache=True)
def _top_seen(height_m, spacing_m, row, column, level_m, drop, top_row, top_column, top_m):
    """How far (degrees) a top stands above all nearer ground, and its vertical angle."""
    down, right = (top_row - row) * spacing_m, (top_column - column) * spacing_m
    away = np.hypot(down, right)
    tangent = (top_m - drop * away * away - level_m) / away
    best, distance = -10.0, spacing_m / 2
    while distance < away - 0.75 * spacing_m:
        ground = _at(height_m, row + down * distance / away / spacing_m, column + right * distance / away / spacing_m)
        best = max(best, (ground - drop * distance * distance - level_m) / distance)
        distance += spacing_m / 2
    return np.degrees(np.arctan(tangent) - np.arctan(best)), np.degrees(np.arctan(tangent))


@dataclass(frozen=True)
class Ground:
    """Fine ground, rows from the north; ``west_m`` and ``north_m`` of its first post.

    tops : (t, 3) easting, northing and height of named tops
    """

    height_m: np.ndarray
    spacing_m: float
    west_m: float
    north_m: float
    tops: np.ndarray

    def row_column(self, east_m: float, north_m: float) -> tuple[float, float]:
        return (self.north_m - north_m) / self.spacing_m, (east_m - self.west_m) / self.spacing_m

    def height_at(self, east_m: float, north_m: float) -> float:
        return float(_at(self.height_m, *self.row_column(east_m, north_m)))


@dataclass(frozen=True)
class Seen:
    """What is seen from a place: rays all round, and tops."""

    sky_deg: np.ndarray
    brow_m: np.ndarray
    again_m: np.ndarray
    slope_deg: np.ndarray
    top_bearing_deg: np.ndarray
    top_clear_deg: np.ndarray
    top_angle_deg: np.ndarray
    top_distance_m: np.ndarray


def look(ground: Ground, east_m: float, north_m: float, eye_m: float = 1.6) -> Seen:
    """Look round from a place."""
    row, column = ground.row_column(east_m, north_m)
    level_m = ground.height_at(east_m, north_m) + eye_m
    rays = [np.empty(RAYS) for _ in range(4)]
    _look_round(ground.height_m, ground.spacing_m, row, column, level_m, _DROP, REACH_M, *rays)
    off = ground.tops[:, :2] - (east_m, north_m)
    clear, angle = np.empty(len(off)), np.empty(len(off))
    for k, (east, north, height_m) in enumerate(ground.tops):
        clear[k], angle[k] = _top_seen(
            ground.height_m,
            ground.spacing_m,
            row,
            column,
            level_m,
            _DROP,
            *ground.row_column(east, north),
            height_m + 0.3,
        )
    bearing = np.degrees(np.arctan2(off[:, 0], off[:, 1])) % 360.0
    return Seen(*rays, bearing, clear, angle, np.hypot(*off.T))


def _soft(value: float, cuts: tuple[float, ...], scale: float) -> np.ndarray:
    """Chances of the words between cut points, judged with Student's t of three degrees of freedom."""
    below = np.concatenate(([0.0], stats.t.cdf((np.array(cuts) - value) / scale, 3), [1.0]))
    return np.diff(below)


def _span(seen: Seen, heading_deg: float, width_deg: float, part: tuple[float, float]) -> np.ndarray:
    """Rays of a part of the picture, from left to right."""
    edges = np.rint(heading_deg + np.array(part) * width_deg).astype(int)
    return np.arange(edges[0], max(edges[1], edges[0] + 3)) % RAYS


@dataclass(frozen=True)
class Say:
    """Something that may be said: a question with its answers.

    kind, part, key : of the statement; what : fixed values; answers : of ``key``
    """

    kind: str
    part: str
    key: str
    answers: tuple[Any, ...]
    what: tuple[tuple[str, Any], ...] = ()

    def chances(self, seen: Seen, heading_deg: float, width_deg: float) -> np.ndarray:
        """Chance of each answer from what is seen."""
        fixed = dict(self.what)
        if self.kind in ("brow", "dead_ground"):
            at = _span(seen, heading_deg, width_deg, _PARTS[self.part])
            brow = seen.brow_m[at]
            some = np.isfinite(brow) & (brow < 2_000.0)
            share = some.mean()
            typical = float(np.median(brow[some])) if some.any() else 3_000.0
            if self.key == "distance":
                none = float(stats.t.cdf((0.45 - share) / 0.12, 3))
                words = _soft(np.log(typical), (np.log(130.0), np.log(650.0)), 0.3)
                return np.append(words * (1 - none), none)
            if self.key == "slope_before":
                slope = float(np.median(seen.slope_deg[at][some])) if some.any() else 0.0
                # Slopes look steeper than they are.
                return _soft(1.35 * slope, (-18.0, -4.0, 4.0, 18.0), 4.0)
            again = seen.again_m[at]
            length = np.where(np.isfinite(brow), np.where(np.isfinite(again), again, 20_000.0) - brow, 1.0)
            return _soft(float(np.median(np.log(np.maximum(length, 1.0)))), (np.log(25.0), np.log(280.0)), 0.45)
        if self.kind == "skyline":
            at = _span(seen, heading_deg, width_deg, _HALVES[self.part])
            sky = seen.sky_deg[at]
            x = np.linspace(-1.0, 1.0, sky.size)
            tilt = float(np.polyfit(x, sky, 1)[0])
            bow = float(np.polyfit(x, sky, 2)[0])
            size = 0.35 + 0.008 * width_deg
            scores = np.array([size, -1.6 * bow, 1.6 * bow, 1.5 * tilt, -1.5 * tilt]) / (0.45 * size)
            scores -= scores.max()
            told = np.exp(scores)
            return told / told.sum()
        if self.kind == "relation":
            one, other = fixed["numbers"]
            off = (seen.top_bearing_deg[other] - seen.top_bearing_deg[one] + 180.0) % 360.0 - 180.0
            return _soft(off, (0.0,), 1.5)[::-1]
        top = fixed["number"]
        if self.kind == "height":
            return _soft(seen.top_angle_deg[top], (-2.6, -0.6, 0.6, 2.6), 0.7)
        if self.kind == "against_sky":
            ray = int(np.rint(seen.top_bearing_deg[top])) % RAYS
            behind = max(seen.sky_deg[ray], seen.sky_deg[(ray + 1) % RAYS], seen.sky_deg[ray - 1])
            return _soft(behind - seen.top_angle_deg[top], (0.25,), 0.15)
        # Seen: a top shows if some of it stands clear, and is overlooked now and then.
        shows = float(stats.t.cdf(seen.top_clear_deg[top] / 0.06, 3))
        off = abs((seen.top_bearing_deg[top] - heading_deg + 180.0) % 360.0 - 180.0)
        inside = float(stats.t.cdf((width_deg / 2 - off) / 3.0, 3))
        yes = 0.03 + 0.9 * shows * inside
        return np.array([yes, 1.0 - yes])

    def statement(self, answer: int, names: list[str]) -> tuple[str, str, dict[str, Any]]:
        """Kind, part and values as a sighting file has them."""
        fixed = dict(self.what)
        values: dict[str, Any] = {self.key: self.answers[answer]}
        if "number" in fixed:
            values["what"] = names[fixed["number"]]
        if "numbers" in fixed:
            values |= {"what": names[fixed["numbers"][0]], "other": names[fixed["numbers"][1]]}
        return self.kind, self.part, values


def may_say(seen: Seen, heading_deg: float, width_deg: float, random: np.random.Generator) -> list[Say]:
    """What strikes somebody about a picture, the most striking first, with some chance."""
    ground = [Say("brow", part, "distance", _DISTANCES) for part in _PARTS]
    ground += [Say("dead_ground", part, "extent", _EXTENTS) for part in _PARTS]
    ground += [Say("brow", part, "slope_before", _SLOPES) for part in ("left", "middle", "right")]
    sky = [Say("skyline", part, "shape", _SHAPES) for part in ("left half", "right half", "anywhere")]
    off = (seen.top_bearing_deg - heading_deg + 180.0) % 360.0 - 180.0
    inside = np.abs(off) < 0.45 * width_deg
    shown = np.flatnonzero(inside & (seen.top_clear_deg > 0.02))
    shown = shown[np.argsort(-seen.top_angle_deg[shown] + 0.0003 * seen.top_distance_m[shown])][:4]
    hidden = np.flatnonzero(inside & (seen.top_clear_deg < -0.3) & (seen.top_distance_m < 5_000.0))[:2]
    tops: list[Say] = []
    for top in shown:
        tops.append(Say("seen", "anywhere", "seen", (True, False), (("number", int(top)),)))
        tops.append(Say("height", "anywhere", "stands", _HEIGHTS, (("number", int(top)),)))
        tops.append(Say("against_sky", "anywhere", "stands", (True, False), (("number", int(top)),)))
    tops += [Say("seen", "anywhere", "seen", (True, False), (("number", int(top)),)) for top in hidden]
    for one, other in zip(shown[:-1], shown[1:], strict=True):
        pair = (("numbers", (int(one), int(other))),)
        tops.append(Say("relation", "anywhere", "is", ("left of", "right of"), pair))
    every = [*((say, 1.0) for say in ground), *((say, 0.8) for say in sky), *((say, 1.2) for say in tops)]
    order = np.argsort([-np.log(random.random()) / weight for _, weight in every])
    return [every[int(k)][0] for k in order]


def answer(say: Say, seen: Seen, heading_deg: float, width_deg: float, random: np.random.Generator) -> int:
    """What is said: one time in ten anything."""
    chances = (1.0 - WRONG) * say.chances(seen, heading_deg, width_deg) + WRONG / len(say.answers)
    return int(random.choice(len(say.answers), p=chances / chances.sum()))
