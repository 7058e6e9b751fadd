"""Simulated learners: how many of them would find the true place, and what the others say.

They share nothing with what weighs statements: no statement, no likelihood, no prior. A learner looks at the
picture and reads some things off it, with misjudgement; reads the same things off the map for each place,
with mistakes; and chooses the place with which most of them agree. How people err here is common practice,
without a source; learners differ in skill, and the least skilled err twice as far as the most skilled.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import stats

from hillsight.arrays import known_or
from hillsight.plan.exercise.soundness import LearnerTable
from hillsight.plan.look.glance import BEARINGS, STEP_DEG
from hillsight.words.angles import signed_deg

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Flags, Floats, Integers
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.look.things import Things

#: Fewest and most things that a learner compares.
_FEWEST, _MOST = 4, 8

#: Chance that one thing is misread altogether: off the picture, and off the map by the least and by the most
#: skilled.
_MISSEEN, _MISREAD = 0.05, (0.25, 0.05)

#: A brow farther than this is told as none, metres; a thing smaller than this is not seen, degrees.
_NO_BROW_M, _LEAST_DEG = 3_000.0, 0.08

#: So many things of the map are compared at most.
_MOST_THINGS = 8

_SEED = 31


@dataclass(frozen=True)
class _Trait:
    """One thing that is read off picture and map.

    picture, map : standard deviation of either reading by a learner of middling skill
    agree : readings agree if they are no farther apart
    """

    picture: float
    map: float
    agree: float


#: Natural logarithm of a distance; degrees of slope; degrees of vertical angle, in one picture and against
#: the level of the eye; degrees to the side; whether a thing shows (nought or one).
_BROW = _Trait(0.40, 0.40, 0.80)
_SLOPE = _Trait(5.0, 4.0, 8.0)
_SKY_SHAPE = _Trait(0.4, 1.0, 1.2)
_SKY_DISTANCE = _Trait(0.6, 0.5, 1.0)
_LEVEL = _Trait(0.8, 0.8, 1.4)
_SIDE = _Trait(3.0, 3.0, 7.0)
_SHOWS = _Trait(0.15, 0.25, 0.5)


def learn(
    pictures: Sequence[Glance],
    places: Sequence[Glance],
    rows: Integers,
    truth: int,
    looks_true_deg: float,
    width_deg: float,
    count: int = 500,
) -> LearnerTable:
    """Have so many learners choose a place; the same every time.

    Parameters
    ----------
    pictures : what the picture may show, one of which each learner gets
    places : what the map lets expect at each place, in the exercise's order
    rows : numbers of the things that are compared
    looks_true_deg : true bearing of the picture's middle; width_deg : between its sides
    """
    traits = _traits(rows.size)
    shown = np.array([_readings(one, rows, looks_true_deg, width_deg) for one in pictures])
    mapped = np.array([_readings(one, rows, looks_true_deg, width_deg) for one in places])
    random = np.random.default_rng(_SEED)
    chosen = np.zeros(len(places), np.int64)
    for k in range(count):
        picture = shown[k % len(shown)]
        chosen[_choice(picture, mapped, traits, float(random.beta(2.0, 2.0)), random)] += 1
    right = int(chosen[truth])
    interval = stats.binomtest(right, count).proportion_ci(0.95, "exact")
    return LearnerTable(
        tuple(int(n) for n in chosen), right / count, float(interval.low), float(interval.high)
    )


def _traits(things: int) -> list[_Trait]:
    """What is read, in the order of ``_readings``."""
    fixed = [*[_BROW] * 3, *[_SLOPE] * 2, *[_SKY_SHAPE] * 3, *[_LEVEL] * 1, *[_SKY_DISTANCE] * 2]
    return fixed + [_SHOWS] * things + [_SIDE] * things + [_LEVEL] * things


def _readings(view: Glance, rows: Integers, looks_deg: float, width_deg: float) -> Floats:
    """What a view would give to one who errs in nothing; NaN where there is nothing to read."""
    thirds = [_across(looks_deg, width_deg, -0.5 + part / 3, -0.5 + (part + 1) / 3) for part in range(3)]
    halves = [_across(looks_deg, width_deg, -0.5, 0.0), _across(looks_deg, width_deg, 0.0, 0.5)]
    brow_m = np.minimum(known_or(view.brow_m, _NO_BROW_M), _NO_BROW_M)
    brows = [float(np.median(np.log(np.maximum(brow_m[at], 5.0)))) for at in thirds]
    slopes = [_typical(view.before_deg[at]) for at in halves]
    high = np.array([_typical(view.skyline_deg[at]) for at in thirds])
    shape = high - high.mean()
    far = [_typical(np.log(np.maximum(view.skyline_m[at], 5.0))) for at in halves]
    seen = view.things
    shows = known_or(seen.chance[rows], 0.0) * (known_or(seen.apparent_deg[rows], 0.0) > _LEAST_DEG)
    off_deg = signed_deg(seen.middle_deg[rows] - looks_deg)
    shows = np.where(np.abs(off_deg) < width_deg / 2, shows, 0.0)
    side = np.where(shows > 0.5, off_deg, np.nan)
    level = np.where(shows > 0.5, seen.vertical_deg[rows], np.nan)
    return np.array([*brows, *slopes, *shape, float(high.mean()), *far, *shows, *side, *level], np.float64)


def _across(looks_deg: float, width_deg: float, left: float, right: float) -> Integers:
    """Indices of the bearings between two shares of the picture's width from its middle."""
    ends = np.rint((looks_deg + width_deg * np.array([left, right])) / STEP_DEG).astype(int)
    return np.arange(ends[0], max(ends[1], ends[0] + 1)) % BEARINGS


def _typical(values: Floats) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else float("nan")


def compared_rows(places: Sequence[Glance], things: Things, looks_deg: float, width_deg: float) -> Integers:
    """Numbers of the things of ground and water that look largest in the picture from any place."""
    largest = np.zeros(len(things))
    for view in places:
        seen = view.things
        inside = np.abs(signed_deg(known_or(seen.middle_deg, looks_deg + 180.0) - looks_deg)) < width_deg / 2
        size = np.where(inside & (known_or(seen.chance, 0.0) > 0.5), known_or(seen.apparent_deg, 0.0), 0.0)
        largest = np.maximum(largest, size)
    of_ground = things.frame["evidence_class"].isin(["ground_shape", "water"]).to_numpy()
    largest = np.where(of_ground & (largest > _LEAST_DEG), largest, 0.0)
    order = np.argsort(-largest, kind="stable")[:_MOST_THINGS]
    return order[largest[order] > 0.0]


def _choice(
    picture: Floats, mapped: Floats, traits: Sequence[_Trait], skill: float, random: np.random.Generator
) -> int:
    """Which place one learner chooses.

    Parameters
    ----------
    picture : (t,) what the picture shows; mapped : (p, t) what the map lets expect
    skill : 0 to 1
    """
    err = 2.0 * 0.5**skill / np.sqrt(2.0)  # from 1.4 to 0.7 of a middling learner's
    by_picture, by_map, agree = (
        np.array([getattr(trait, name) for trait in traits]) for name in ("picture", "map", "agree")
    )
    read = picture + err * by_picture * random.standard_normal(picture.size)
    from_map = mapped + err * by_map * random.standard_normal(mapped.shape)
    # Misread altogether: as some other place, or some other picture, has it.
    misread = random.random(mapped.shape) < _MISREAD[0] + skill * (_MISREAD[1] - _MISREAD[0])
    from_map = np.where(misread, _shuffled(from_map, random), from_map)
    misseen = random.random(picture.size) < _MISSEEN
    read = np.where(misseen, from_map[random.integers(len(mapped)), np.arange(picture.size)], read)
    usable = _usable(read, from_map)
    if not usable.any():
        return int(random.integers(len(mapped)))
    taken = _attended(from_map, agree, usable, skill, random)
    with np.errstate(invalid="ignore"):
        agreeing = (np.abs(from_map[:, taken] - read[taken]) <= agree[taken]).sum(axis=1)
    best = np.flatnonzero(agreeing == agreeing.max())
    return int(random.choice(best))


def _usable(read: Floats, from_map: Floats) -> Flags:
    """What shows in the picture and may be read of one place at least."""
    usable: Flags = np.isfinite(read) & np.isfinite(from_map).any(axis=0)
    return usable


def _shuffled(from_map: Floats, random: np.random.Generator) -> Floats:
    """Readings of one place taken for another's."""
    return np.asarray(random.permuted(from_map, axis=0), np.float64)


def _attended(
    from_map: Floats, agree: Floats, usable: Flags, skill: float, random: np.random.Generator
) -> Integers:
    """Numbers of the traits that a learner compares; the skilled look where the places differ."""
    with np.errstate(invalid="ignore"):
        spread = np.nan_to_num(np.fmax.reduce(from_map, axis=0) - np.fmin.reduce(from_map, axis=0))
    differ = (spread > agree) | (np.isfinite(from_map).any(axis=0) & np.isnan(from_map).any(axis=0))
    weight = np.where(usable, 1.0 + 4.0 * skill * differ, 0.0)
    wanted = min(int(random.integers(_FEWEST, _MOST + 1)), int(usable.sum()))
    return random.choice(weight.size, wanted, replace=False, p=weight / weight.sum())
