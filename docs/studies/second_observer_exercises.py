"""Exercises of the second observer: a true place and others much like it, and what is said of a picture."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from second_observer_map import sheet_of
from second_observer_sayings import answer, choose, may_say
from second_observer_sight import walk
from second_observer_view import look
from second_observer_words import Draws

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from second_observer_grounds import Pair
    from second_observer_map import Sheet
    from second_observer_sight import Ground
    from second_observer_view import View
    from second_observer_words import Saying

    Floats = NDArray[np.float64]

#: Share of the exercises whose true place is none of the candidates.
MISSING = 0.3

#: Standard deviation of the direction told, degrees (Laplace), and how far apart candidates lie.
TOLD_DEG, LEAST_M, MOST_M = 12.0, 300.0, 3_000.0

#: Places among which those most alike are sought.
SOUGHT = 60


@dataclass(frozen=True)
class Exercise:
    """One exercise as it is put.

    places_m : (c, 2) easting and northing of the candidates
    truth : number of the true one, None where it is none of them; true_m : where the picture's spot is
    told_deg : direction told, from grid north
    said : sayings with the number of the answer given, and the chance of it in the observer's own eyes
    stood_m, eye_m, heading_deg : where the picture was taken from, how high the eye was, and where it looks
    """

    pair: Pair
    sheet: Sheet
    places_m: Floats
    truth: int | None
    true_m: tuple[float, float]
    told_deg: float
    said: tuple[tuple[Saying, int, float], ...]
    stood_m: tuple[float, float] = (0.0, 0.0)
    eye_m: float = 1.6
    heading_deg: float = 0.0


def exercise_of(pair: Pair, sheet: Sheet, statements: tuple[int, int], seed: tuple[int, ...]) -> Exercise:
    """The exercise that a seed draws on some ground.

    Parameters
    ----------
    statements : the fewest and the most of them
    """
    random = np.random.default_rng(seed)
    # A direction to sort places by; the picture looks about there, where there is something to see.
    heading_deg = float(random.uniform(0.0, 360.0))
    anchor = on_land(pair.truth, pair.truth.middle_m, 0.0, 2_500.0, random)
    sought = np.array(
        [anchor, *(on_land(pair.truth, anchor, LEAST_M, MOST_M, random) for _ in range(SOUGHT))]
    )
    order = np.argsort(unlike(pair.truth, sought, traits(pair.truth, anchor, heading_deg), heading_deg))
    count = int(random.integers(3, 6))
    missing = bool(random.random() < MISSING)
    group: list[int] = []
    for k in order:
        if all(np.hypot(*(sought[k] - sought[m])) >= LEAST_M for m in group):
            group.append(int(k))
        if len(group) == count + missing:
            break
    random.shuffle(group)
    true_m = tuple(float(v) for v in sought[group[0]])
    places = sought[group[1:] if missing else random.permutation(group)]
    truth = None if missing else int(np.flatnonzero((places == true_m).all(axis=1))[0])
    off_m, turn = random.uniform(5.0, 25.0), random.uniform(0, 2 * np.pi)
    stood = true_m[0] + off_m * np.sin(turn), true_m[1] + off_m * np.cos(turn)
    eye_m = float(random.uniform(1.4, 1.8))
    view = look(pair.truth, *stood, eye_m, sheet)
    draws = Draws.of(np.array([_towards_something(view, heading_deg, random)]), random)
    wanted = int(random.integers(statements[0], statements[1] + 1))
    chosen = choose(may_say(view, sheet, draws), wanted, random)
    said = tuple((saying, *answer(saying, view, draws, random)) for saying in chosen)
    told_deg = (draws.heading_deg[0] + random.laplace(0.0, TOLD_DEG / np.sqrt(2.0))) % 360.0
    looks_deg = float(draws.heading_deg[0])
    return Exercise(
        pair, sheet, places, truth, (true_m[0], true_m[1]), float(told_deg), said, stood, eye_m, looks_deg
    )


def _towards_something(view: View, heading_deg: float, random: np.random.Generator) -> float:
    """Of four directions that in which most things show."""
    tried = (heading_deg + np.array([0.0, *random.uniform(-120.0, 120.0, 3)])) % 360.0
    off = (view.things.bearing_deg[None, :] - tried[:, None] + 180.0) % 360.0 - 180.0
    show = ((np.abs(off) < 28.0) * view.things.shown[None, :]).sum(axis=1)
    return float(tried[int(np.argmax(show))])


def exercises(pair: Pair, count: int, statements: tuple[int, int], seed: int) -> list[Exercise]:
    """Several exercises on one ground."""
    sheet = sheet_of(pair.truth, pair.crs, np.random.default_rng((seed, 1)))
    return [exercise_of(pair, sheet, statements, (seed, 2, k, statements[0])) for k in range(count)]


def on_land(
    ground: Ground, about_m: tuple[float, float], least_m: float, most_m: float, random: np.random.Generator
) -> tuple[float, float]:
    """A place evenly on a ring about another, on no level water."""
    while True:
        away_m = np.sqrt(random.uniform(least_m**2, most_m**2))
        turn = random.uniform(0.0, 2 * np.pi)
        east_m, north_m = about_m[0] + away_m * np.sin(turn), about_m[1] + away_m * np.cos(turn)
        here = [ground.height_at(east_m + e, north_m + n) for e, n in ((0, 0), (60, 0), (0, 60), (-60, -60))]
        if np.isfinite(here).all() and np.ptp(here) > 0.5:
            return float(east_m), float(north_m)


def traits(ground: Ground, place_m: tuple[float, float] | Floats, heading_deg: float) -> Floats:
    """What makes places alike to the eye: height, slope and skyline ahead, in units of what is alike."""
    east_m, north_m = float(place_m[0]), float(place_m[1])
    rays = np.arange(round(heading_deg) - 30, round(heading_deg) + 31, 6) % 360
    seen = walk(ground, east_m, north_m, 1.6, rays)
    turn = np.radians(heading_deg)
    here_m = ground.height_at(east_m, north_m)
    ahead_m = ground.height_at(east_m + 250.0 * np.sin(turn), north_m + 250.0 * np.cos(turn))
    slope = np.degrees(np.arctan((np.nan_to_num(ahead_m, nan=here_m) - here_m) / 250.0))
    return np.array([here_m / 50.0, slope / 5.0, *(seen.sky_deg[rays] / 2.0 / np.sqrt(rays.size))])


def unlike(ground: Ground, places_m: Floats, like: Floats, heading_deg: float) -> Floats:
    """How unlike some places are to given traits, (n,)."""
    every = np.array([traits(ground, place, heading_deg) for place in places_m])
    return np.asarray(np.sqrt(((every - like) ** 2).sum(axis=1)), np.float64)
