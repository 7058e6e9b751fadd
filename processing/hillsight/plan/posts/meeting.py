"""Whether posts reach each other: a person at the one sees a person at the other, or hears them by radio."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.ground.geodesy import drop_coefficient_per_m
from hillsight.plan.posts.fields import CONTROL
from hillsight.plan.posts.radio import LIKELY, Link, RadioEnd, Relay, all_links, relays
from hillsight.sight.points import see_pairs
from hillsight.words.english import folded, listed
from hillsight.words.states import GroundState

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Floats
    from hillsight.ground.grid import Surface
    from hillsight.plan.posts.manned import MannedPosts
    from hillsight.plan.posts.places import Places
    from hillsight.plan.posts.plan import NamedPlace, Pair, PostsPlan, Radios

_WORDS = {GroundState.VISIBLE: "visible", GroundState.HIDDEN: "hidden", GroundState.UNCERTAIN: "uncertain"}

NOT_MANNED = "not manned"
"""The answer about a pair of which one place is no post."""

Names = frozenset[str]


@dataclass(frozen=True)
class SightPair:
    """Two posts; start_m, end_m : easting and northing on the working grid.

    state : visible, hidden, uncertain or unknown, by the terrain as it is, at any distance
    """

    start: str
    end: str
    start_m: tuple[float, float]
    end_m: tuple[float, float]
    state: str


@dataclass(frozen=True)
class PairAnswer:
    """Whether a pair of the plan reaches each other; answer : in a word, such as visible or doubtful."""

    pair: Pair
    answer: str
    is_met: bool


@dataclass(frozen=True)
class Meetings:
    """Which posts reach each other.

    at : place of each end on the working grid, by name
    wanted : by ``plan.MEANS`` the pairs that the plan asks for
    """

    at: dict[str, tuple[float, float]]
    sight: tuple[SightPair, ...]
    links: tuple[Link, ...]
    relays: tuple[Relay, ...]
    wanted: dict[str, set[Names]]
    answers: tuple[PairAnswer, ...]


def meetings(
    surface: Surface,
    posts: MannedPosts,
    control: NamedPlace | None,
    plan: PostsPlan,
    spare: Places,
    earth_radius_m: float,
    refraction: float,
) -> Meetings:
    """Sight and radio between every two posts, and to control where there is one.

    Parameters
    ----------
    surface : of all posts and the ground between
    control : on the working grid; relays are proposed for posts that do not reach it
    spare : places where a further person might stand
    refraction : of light; that of radio stands in the plan
    """
    ends = _ends(surface, posts, control, plan.radios)
    names = {folded(end.name): end.name for end in ends}
    wanted: dict[str, set[Names]] = {"sight": set(), "radio": set()}
    for pair in plan.pairs:
        both = names.get(folded(pair.one)), names.get(folded(pair.other))
        if both[0] is not None and both[1] is not None:
            wanted[pair.by].add(frozenset((both[0], both[1])))
    sight = sight_pairs(
        surface, ends, plan.eyes.eye_height_m, drop_coefficient_per_m(earth_radius_m, refraction)
    )
    links = all_links(surface, ends, plan.radios, earth_radius_m)
    to_control = [(post, CONTROL) for post in posts.name] if control is not None else []
    asked = list(dict.fromkeys([*(tuple(sorted(pair)) for pair in wanted["radio"]), *to_control]))
    others = [
        RadioEnd(f"place {k + 1}", east, north, up, plan.radios.antenna_height_m)
        for k, (east, north, up) in enumerate(
            zip(spare.easting_m.tolist(), spare.northing_m.tolist(), spare.ground_m.tolist(), strict=True)
        )
    ]
    seen = {frozenset((a, b)): (a, b) for a, b in asked}  # a pair may be asked for twice, each way round
    ways = relays(surface, ends, links, seen.values(), others, plan.radios, earth_radius_m)
    return Meetings(
        {end.name: (end.easting_m, end.northing_m) for end in ends},
        tuple(sight),
        links,
        ways,
        wanted,
        tuple(_answer(pair, names, sight, links, ways) for pair in plan.pairs),
    )


def sight_pairs(
    surface: Surface, ends: Sequence[RadioEnd], eye_height_m: float, drop_per_m: float
) -> list[SightPair]:
    """Every two ends once, in their order; each looks from its eye height for the other's.

    A line between two eyes has no direction: where the one sees the other, the other sees the one.
    """
    one, other = np.triu_indices(len(ends), 1)
    if len(one) == 0:
        return []
    easting_m, northing_m = (_array(ends, name) for name in ("easting_m", "northing_m"))
    row, column = surface.grid.to_array(easting_m, northing_m)
    level_m = _array(ends, "ground_m") + eye_height_m
    eyes, targets = ((row[k], column[k], level_m[k]) for k in (one, other))
    states = see_pairs(surface, None, *eyes, *targets, drop_per_m)
    at = list(zip(easting_m.tolist(), northing_m.tolist(), strict=True))
    return [
        SightPair(ends[i].name, ends[j].name, at[i], at[j], _WORDS.get(GroundState(int(state)), "unknown"))
        for i, j, state in zip(one.tolist(), other.tolist(), states, strict=True)
    ]


def _array(ends: Sequence[RadioEnd], name: str) -> Floats:
    return np.array([getattr(end, name) for end in ends], np.float64)


def _ends(surface: Surface, posts: MannedPosts, control: NamedPlace | None, radios: Radios) -> list[RadioEnd]:
    """Posts in running order, then control."""
    ends = [
        RadioEnd(name, east, north, up, radios.antenna_height_m)
        for name, east, north, up in zip(
            posts.name,
            posts.easting_m.tolist(),
            posts.northing_m.tolist(),
            posts.ground_m.tolist(),
            strict=True,
        )
    ]
    if control is not None:
        height_m = float(surface.heights_at_m(control.easting_m, control.northing_m))
        ends.append(
            RadioEnd(CONTROL, control.easting_m, control.northing_m, height_m, radios.control_antenna_m)
        )
    return ends


def _answer(
    pair: Pair,
    names: dict[str, str],
    sight: Sequence[SightPair],
    links: Sequence[Link],
    ways: Sequence[Relay],
) -> PairAnswer:
    """What was found of a pair of the plan; posts that pass messages on join a pair too."""
    both = {names.get(folded(pair.one)), names.get(folded(pair.other))}
    if None in both:
        return PairAnswer(pair, NOT_MANNED, is_met=False)
    if pair.by == "sight":
        state = next(one.state for one in sight if {one.start, one.end} == both)
        return PairAnswer(pair, state, state == "visible")
    answer = next(one.answer for one in links if {one.start, one.end} == both)
    if answer == LIKELY:
        return PairAnswer(pair, answer, is_met=True)
    for way in ways:
        if way.place is None and {way.start, way.end} == both:
            return PairAnswer(pair, f"{answer}, but likely by way of {listed(way.by)}", is_met=True)
    return PairAnswer(pair, answer, is_met=False)
