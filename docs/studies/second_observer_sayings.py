"""What strikes the second observer about a picture, and what is then said of it."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np

from second_observer_words import (
    DEGREES,
    HEIGHTS,
    HUMPS,
    METRES,
    SHAPES,
    SLOPES,
    THIRDS,
    Saying,
    inside,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from second_observer_map import Sheet
    from second_observer_view import View
    from second_observer_words import Draws

    Floats = NDArray[np.float64]

#: Most statements of one kind about one picture, and most about one thing.
_MOST_OF_KIND = {
    "brow": 4,
    "dead_ground": 3,
    "skyline": 3,
    "high_and_low": 2,
    "humps": 1,
    "skyline_end": 2,
    "two_brows": 1,
    "two_heights": 2,
    "seen": 3,
    "height": 3,
    "order": 1,
    "angle": 1,
    "bearing": 1,
}


def may_say(view: View, sheet: Sheet, draws: Draws) -> list[Saying]:
    """All that may be said of a picture, each with how striking it is.

    Parameters
    ----------
    draws : of one picture, (1,) each
    """
    return [*_of_ground(view, draws), *_of_sky(view, draws), *_of_things(view, sheet, draws)]


def _of_ground(view: View, draws: Draws) -> list[Saying]:
    found = []
    for part in ("left", "middle", "right"):
        low, high = (
            (-0.5, -1 / 6) if part == "left" else (-1 / 6, 1 / 6) if part == "middle" else (1 / 6, 0.5)
        )
        across = draws.heading_deg[0] + draws.width_deg[0] * np.linspace(low, high, 9)
        at = np.rint(across).astype(int) % 360
        brow_m = view.rays.brow_m[at]
        share = float(np.isfinite(brow_m).mean())
        near_m = float(np.nanmedian(brow_m)) if share else 2_500.0
        striking = 0.3 + share * float(np.clip(400.0 / near_m, 0.3, 1.3))
        found.append(
            Saying("brow", part, "distance", ("near", "middle", "far", "none"), weight=0.9 * striking)
        )
        found.append(Saying("dead_ground", part, "extent", ("none", "little", "much"), weight=0.6 * striking))
        if share < 0.5:
            continue
        before = float(np.nanmedian(view.rays.before_deg[at]))
        found.append(Saying("brow", part, "distance_m", METRES, weight=0.3 * striking))
        found.append(Saying("brow", part, "slope_before", SLOPES, weight=0.3 + min(abs(before), 20.0) / 25.0))
        found.append(Saying("brow", part, "slope_beyond", SLOPES, weight=0.25))
        found.append(Saying("dead_ground", part, "beyond", (*SLOPES, "nothing"), weight=0.4))
    found.append(Saying("two_brows", "anywhere", "nearer", ("left", "right", "neither"), weight=0.5))
    return found


def _of_sky(view: View, draws: Draws) -> list[Saying]:
    found = []
    for part, weight in (("anywhere", 0.7), ("left half", 0.6), ("right half", 0.6)):
        low, high = {"anywhere": (-0.5, 0.5), "left half": (-0.5, 0.0), "right half": (0.0, 0.5)}[part]
        across = draws.heading_deg[0] + draws.width_deg[0] * np.linspace(low, high, 20)
        range_deg = float(np.ptp(view.rays.sky_deg[np.rint(across).astype(int) % 360]))
        found.append(
            Saying("skyline", part, "shape", SHAPES, weight=weight * (0.5 + min(range_deg, 6.0) / 4.0))
        )
        if part == "anywhere":
            striking = 0.3 + min(range_deg, 6.0) / 6.0
    found.append(Saying("high_and_low", "anywhere", "highest", THIRDS, weight=0.7 * striking))
    found.append(Saying("high_and_low", "anywhere", "lowest", THIRDS, weight=0.35 * striking))
    found.append(Saying("humps", "anywhere", "count", HUMPS, weight=0.6 * striking))
    for side in ("left", "right"):
        end = (("side", side),)
        found.append(Saying("skyline_end", "anywhere", "runs", SLOPES, (), end, 0.4 * striking))
    return found


def _of_things(view: View, sheet: Sheet, draws: Draws) -> list[Saying]:
    kinds, things = sheet.kinds, view.things
    within = np.array([float(inside(view, k, draws)[0]) for k in range(len(kinds))])
    shows = things.shown * within
    found = []
    plain = np.flatnonzero(shows > 0.5)
    looks = things.angle_deg + 3.0 - 0.0002 * things.distance_m
    plain = plain[np.argsort(-looks[plain])]
    chosen = [int(k) for kind in dict.fromkeys(kinds) for k in plain[[kinds[j] == kind for j in plain]][:4]]
    seen_as = ("left half", "right half", False)
    for k in chosen:
        striking = {"summit": 1.2, "loch": 1.4, "stream": 0.6, "spur": 0.5, "saddle": 0.7, "wall": 0.6}[
            kinds[k]
        ]
        found.append(Saying("seen", "anywhere", "seen", seen_as, (k,), weight=striking))
        if kinds[k] in ("summit", "saddle", "loch"):
            found.append(Saying("height", "anywhere", "stands", HEIGHTS, (k,), weight=0.9 * striking))
        if kinds[k] in ("summit", "saddle"):
            found.append(
                Saying("against_sky", "anywhere", "stands", (True, False), (k,), weight=0.6 * striking)
            )
        if kinds[k] in ("stream", "spur"):
            found.append(Saying("comes_down", "anywhere", "to", ("left", "right"), (k,), weight=0.7))
        if kinds[k] == "summit":
            north = (("north", "grid"), ("give_or_take_deg", 5.0))
            found.append(Saying("bearing", "anywhere", "degrees", tuple(range(0, 360, 5)), (k,), north, 0.05))
    named = [k for k in chosen if kinds[k] in ("summit", "saddle", "loch")]
    for one, other in itertools.combinations(named[:5], 2):
        is_words = ("left of", "right of", "in front of", "behind")
        found.append(Saying("relation", "anywhere", "is", is_words, (one, other), weight=0.5))
        found.append(Saying("angle", "anywhere", "degrees", DEGREES, (one, other), weight=0.06))
        found.append(
            Saying(
                "two_heights", "anywhere", "stands", ("higher", "lower", "as high"), (one, other), weight=0.4
            )
        )
    for three in itertools.combinations([k for k in chosen if kinds[k] == "summit"][:4], 3):
        every = tuple(itertools.permutations(range(3)))
        found.append(Saying("order", "anywhere", "things", every, three, weight=0.3))
    # What the map lets expect here and does not show.
    missed = np.flatnonzero((within > 0.8) & (things.shown < 0.2) & (things.distance_m < 4_000.0))
    missed = missed[np.argsort(things.distance_m[missed])][:3]
    found += [Saying("seen", "anywhere", "seen", seen_as, (int(k),), weight=0.45) for k in missed]
    return found


def choose(every: list[Saying], count: int, random: np.random.Generator) -> list[Saying]:
    """So many of them, the striking ones likelier; no two that answer one question."""
    keys = [-np.log(random.random()) / saying.weight for saying in every]
    chosen: list[Saying] = []
    for at in np.argsort(keys):
        saying = every[int(at)]
        same = [one for one in chosen if one.kind == saying.kind]
        if len(same) >= _MOST_OF_KIND.get(saying.kind, 2) or any(_overlap(one, saying) for one in chosen):
            continue
        chosen.append(saying)
        if len(chosen) == count:
            break
    return chosen


def _overlap(one: Saying, other: Saying) -> bool:
    """Whether two answer one question, or one follows from the other."""
    if one.kind in ("brow", "dead_ground", "skyline") and one.kind == other.kind:
        alike = one.key == other.key or {one.key, other.key} == {"distance", "distance_m"}
        return one.part == other.part and alike
    if not one.things and one.kind == other.kind:
        return one.key == other.key and one.fixed == other.fixed
    both = set(one.things) & set(other.things)
    pairs = {"relation", "order", "angle"}
    if one.kind in pairs and other.kind in pairs:
        return len(both) >= 2
    return bool(both) and one.kind == other.kind


def answer(saying: Saying, view: View, draws: Draws, random: np.random.Generator) -> tuple[int, float]:
    """What is said, and the chance of that among the answers."""
    chances = saying.chances(view, draws)[0]
    chances = chances / chances.sum()
    given = int(random.choice(chances.size, p=chances))
    return given, float(chances[given])
