"""A view as the second observer takes it in: rays all round, and how well and where each thing shows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from second_observer_sight import RAYS, judge, walk

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from second_observer_map import Sheet
    from second_observer_sight import Ground, Rays, Samples

    Floats = NDArray[np.float64]

#: Of how a thing stands clear of nearer ground: what haze, grass and a shaking hand leave, degrees.
_CLEAR_DEG = 0.05

#: A thing is noticed in half of all cases where its smaller apparent side is so many arc minutes: a line of
#: ground shape must look larger than water or a wall, which have an edge and a colour. Common practice.
_NOTICED_FROM = {"saddle": 3.0, "spur": 20.0, "loch": 2.5, "stream": 2.0, "wall": 2.0}

#: A top is noticed up to some so many metres, as one among others.
_TOPS_WITHIN_M = 14_000.0


@dataclass(frozen=True)
class Things:
    """Of each thing of a sheet, (t,).

    shown : chance that somebody who looks there notices it
    left_deg, right_deg, bearing_deg : where it lies, from grid north; right_deg may be above 360
    angle_deg : vertical angle of the highest part that shows; behind_deg : ground behind it stands above that
    distance_m : of its nearest part that shows
    low_end_deg : how far to the right its lower end lies of its upper one; NaN but for lines
    clear_deg : how far its best sample stands clear
    """

    shown: Floats
    left_deg: Floats
    right_deg: Floats
    bearing_deg: Floats
    angle_deg: Floats
    behind_deg: Floats
    distance_m: Floats
    low_end_deg: Floats
    clear_deg: Floats


@dataclass(frozen=True)
class View:
    """What a place shows: rays, and the things of a sheet."""

    rays: Rays
    things: Things


def look(
    ground: Ground,
    east_m: float,
    north_m: float,
    eye_m: float,
    sheet: Sheet,
    rays: NDArray[np.int64] | None = None,
) -> View:
    """Look from a place along some rays (all where None) and at all things of a sheet."""
    wanted = np.arange(RAYS) if rays is None else rays
    seen = judge(ground, east_m, north_m, eye_m, sheet)
    return View(walk(ground, east_m, north_m, eye_m, wanted), _things(seen, sheet))


def student(x: Floats, spread: float) -> Floats:
    """Student's t of three degrees of freedom, up to x over the spread: heavy tails."""
    t = np.asarray(x, np.float64) / (spread * np.sqrt(3.0))
    chance: Floats = 0.5 + (t / (1.0 + t**2) + np.arctan(t)) / np.pi
    return chance


def prominences(lines: Floats) -> Floats:
    """How far each place of some lines stands above its dips, before a higher one or the end, (n, k).

    Of what is no top it is 0 or less, and of the ends 0.
    """
    n, k = lines.shape
    found = np.zeros((n, k))
    every = np.arange(n)
    for at in range(1, k - 1):
        level, dips = lines[:, at], []
        for way in (lines[:, at:], lines[:, at::-1]):
            higher = way > level[:, None]
            upto = np.where(higher.any(axis=1), higher.argmax(axis=1), way.shape[1] - 1)
            dips.append(np.minimum.accumulate(way, axis=1)[every, upto])
        top = (level > lines[:, at - 1]) & (level >= lines[:, at + 1])
        found[:, at] = np.where(top, level - np.maximum(*dips), 0.0)
    return found


def _things(seen: Samples, sheet: Sheet) -> Things:
    kinds, count = sheet.kinds, len(sheet.kinds)
    made = np.full((9, count), np.nan)
    clear = student(seen.clear_deg, _CLEAR_DEG)
    for k in range(count):
        at = slice(int(sheet.starts[k]), int(sheet.starts[k + 1]))
        share, bearing = clear[at], seen.bearing_deg[at]
        off = (bearing - bearing[0] + 180.0) % 360.0 - 180.0
        angle, away_m = seen.angle_deg[at], seen.distance_m[at]
        best = int(np.argmax(np.where(share > 0.5, angle, angle - 90.0)))
        visible = float(share.mean())
        plain = share > 0.5
        span = off[plain] if plain.any() else off
        if kinds[k] == "summit":
            chance = float(share.max()) * float(student(np.log(_TOPS_WITHIN_M / away_m[0]), 0.35))
        else:
            # The smaller side of what shows; a line is as wide as it is, an area is foreshortened.
            nearest_m = float(away_m[plain].min() if plain.any() else away_m.min())
            if kinds[k] == "loch":
                seen_deg = np.ptp(angle[plain]) if plain.any() else 0.0
                least = 60.0 * min(float(seen_deg), float(np.ptp(span)))
            else:
                wide_m = {"saddle": 30.0}.get(kinds[k], float(sheet.wide_m[k]))
                least = 60.0 * np.degrees(wide_m / nearest_m)
            chance = float(student(np.log(max(least, 0.01) / _NOTICED_FROM[kinds[k]]), 0.5))
            # Somebody must see a good part of it, to know it for what it is.
            chance *= float(student(np.array(visible - (0.5 if kinds[k] == "saddle" else 0.2)), 0.12))
        low_end = off[-1] - off[0] if kinds[k] in ("stream", "spur", "wall") else np.nan
        if kinds[k] in ("stream", "spur") and plain.any():
            low_end = span[-1] - span[0]
        middle = (span.min() + span.max()) / 2.0
        made[:, k] = (
            min(chance, 0.97),
            (bearing[0] + span.min()) % 360.0,
            (bearing[0] + span.min()) % 360.0 + np.ptp(span),
            (bearing[0] + middle) % 360.0,
            angle[best],
            seen.behind_deg[at][best],
            float(away_m[plain].min() if plain.any() else away_m.min()),
            low_end,
            float(seen.clear_deg[at].max()),
        )
    return Things(*made)
