"""Radio between marshal posts and control: how much gets across, what stands in the way, where a relay helps.

Cover counts as if it were ground: woods let some radio through, so that this is on the safe side.

Help for planning and no promise: hand-held sets differ by tens of decibels with how they are held. Try them
on the spot.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from hillsight.ground.cover import BARE
from hillsight.ground.geodesy import drop_coefficient_per_m
from hillsight.sight.line import standing_between
from hillsight.sight.radio import (
    RadioPath,
    free_space_loss_db,
    knife_edge_loss_db,
    ridges,
)
from hillsight.sight.smooth_earth import general_loss_db

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from hillsight.ground.grid import Surface
    from hillsight.plan.posts.plan import Radios

RADIO_CAUTION = "Radio: help for planning, no promise. Try the sets between the posts before the event."
"""Stands wherever links are told of."""

LIKELY, DOUBTFUL, UNLIKELY, UNKNOWN = "likely", "doubtful", "unlikely", "unknown"

FURTHER_PERSON = "a further person"
"""Who passes messages on where no post does."""

#: Two sets this near each other (m) need no radio.
_SAME_PLACE_M = 1.0

#: Most places tried as a relay for one broken link; the nearest to the line between its ends come first.
MOST_RELAY_PLACES = 1500


@dataclass(frozen=True)
class RadioEnd:
    """Where a set is used.

    ground_m : in the terrain's datum
    antenna_height_m : above the ground
    """

    name: str
    easting_m: float
    northing_m: float
    ground_m: float
    antenna_height_m: float


@dataclass(frozen=True)
class Link:
    """What radio may do between two ends. Distances are metres on the grid, losses dB.

    first_zone_clear : room below the line at the worst place, in radii of the first Fresnel zone, at most 1:
        1 nothing reaches into it, 0.6 serves as well (common working rule), 0 grazed, below 0 topped
    ridges : pieces of ground that top the line between the antennas
    worst_m : of the worst obstacle, from the first end; NaN where nothing stands between
    worst_above_line_m : how far it reaches above the line between the antennas, below 0 under it
    worst_kind : kind of cover that it is; "" for bare ground
    free_space_db, knife_edge_db, diffraction_db : losses by distance, at the worst obstacle alone, and over
        all ground between, which is the one that counts
    margin_db : what is left above what can just be understood
    answer : likely, doubtful (less to spare than the plan asks), unlikely or unknown (a void between)
    """

    start: str
    end: str
    distance_m: float
    first_zone_clear: float
    ridges: int
    worst_m: float
    worst_easting_m: float
    worst_northing_m: float
    worst_above_line_m: float
    worst_kind: str
    free_space_db: float
    knife_edge_db: float
    diffraction_db: float
    margin_db: float
    answer: str

    @property
    def loss_db(self) -> float:
        """All that is lost between the antennas."""
        return self.free_space_db + self.diffraction_db


@dataclass(frozen=True)
class Relay:
    """A way round for a link that is not likely.

    by : names of the ends that pass a message on, in order; or the place of a further person
    place : index of that place among those offered; None where ends that are there anyway serve
    margin_db : of the weakest link on the way
    """

    start: str
    end: str
    by: tuple[str, ...]
    place: int | None
    easting_m: float
    northing_m: float
    margin_db: float


def most_loss_db(radios: Radios) -> float:
    """The loss between the antennas at which a signal can only just be understood."""
    return radios.power_dbm - radios.sensitivity_dbm


def radio_words(radios: Radios) -> str:
    """What was reckoned with, for people."""
    return (
        f"{radios.frequency_mhz:g} MHz, {radios.power_dbm:g} dBm radiated, heard down to "
        f"{radios.sensitivity_dbm:g} dBm, antennas {radios.antenna_height_m:g} m above the ground, "
        f"{radios.margin_db:g} dB to spare asked for"
    )


def link(surface: Surface, start: RadioEnd, end: RadioEnd, radios: Radios, earth_radius_m: float) -> Link:
    """Work out one link.

    Parameters
    ----------
    surface : ground and what stands on it, of both ends and all between
    earth_radius_m : mean radius of curvature there
    """
    here, there = (start.easting_m, start.northing_m), (end.easting_m, end.northing_m)
    distance_m = float(np.hypot(there[0] - here[0], there[1] - here[1]))
    nothing = (np.nan, np.nan, np.nan, np.nan)
    if distance_m < _SAME_PLACE_M:
        lost = (0.0, 0.0, 0.0, most_loss_db(radios))
        return Link(start.name, end.name, distance_m, 1.0, 0, *nothing, BARE, *lost, LIKELY)
    standing = standing_between(surface, here, there)
    levels_m = start.ground_m + start.antenna_height_m, end.ground_m + end.antenna_height_m
    free_db = float(free_space_loss_db(distance_m, radios.frequency_mhz))
    if not (np.isfinite(standing.height_m).all() and np.isfinite(levels_m).all()):
        lost = (free_db, np.nan, np.nan, np.nan)
        return Link(start.name, end.name, distance_m, np.nan, 0, *nothing, BARE, *lost, UNKNOWN)
    drop_per_m = drop_coefficient_per_m(earth_radius_m, radios.refraction)
    path = RadioPath(
        standing.along_m, standing.height_m, distance_m, *levels_m, drop_per_m, start.ground_m, end.ground_m
    )
    clear, worst, kind, edge_db = 1.0, nothing, BARE, 0.0
    if path.along_m.size:
        zones = path.first_zone_clear(radios.frequency_mhz)
        at = int(np.argmin(zones))
        share = float(path.along_m[at]) / distance_m
        clear = min(float(zones[at]), 1.0)
        edge_db = float(knife_edge_loss_db(path.edges(radios.frequency_mhz)[at]))
        worst = (
            float(path.along_m[at]),
            here[0] + share * (there[0] - here[0]),
            here[1] + share * (there[1] - here[1]),
            float(path.above_line_m[at]),
        )
        if surface.cover is not None:
            kind = surface.cover.kinds[int(standing.kind[at])]
    diffraction_db = general_loss_db(path, radios.frequency_mhz)
    margin_db = most_loss_db(radios) - free_db - diffraction_db
    lost = (free_db, edge_db, diffraction_db, margin_db)
    answer = _answer(margin_db, radios.margin_db)
    return Link(start.name, end.name, distance_m, clear, ridges(path), *worst, kind, *lost, answer)


def _answer(margin_db: float, reserve_db: float) -> str:
    return LIKELY if margin_db >= reserve_db else DOUBTFUL if margin_db >= 0.0 else UNLIKELY


def all_links(
    surface: Surface, ends: Sequence[RadioEnd], radios: Radios, earth_radius_m: float
) -> tuple[Link, ...]:
    """Links between every two ends, each pair once, in the order of the ends."""
    return tuple(
        link(surface, one, other, radios, earth_radius_m)
        for i, one in enumerate(ends)
        for other in ends[i + 1 :]
    )


def relays(
    surface: Surface,
    ends: Sequence[RadioEnd],
    links: Sequence[Link],
    wanted: Iterable[tuple[str, str]],
    places: Sequence[RadioEnd],
    radios: Radios,
    earth_radius_m: float,
) -> tuple[Relay, ...]:
    """Ways round for links that are wanted and not likely: by ends that are there, else by a further person.

    Parameters
    ----------
    links : those between the ends, as ``all_links`` gives them
    wanted : pairs of names that must reach each other
    places : where a further person might stand

    Returns
    -------
    one for each such pair that a way round was found for, in the order wanted. By ends: the fewest that pass
    on. By a place: the one whose weaker link has most to spare, if both are likely
    """
    by_name = {end.name: end for end in ends}
    answers = {frozenset((one.start, one.end)): one for one in links}
    found = []
    for first, last in wanted:
        if answers[frozenset((first, last))].answer == LIKELY:
            continue
        way = _fewest_hops(links, first, last)
        if way is not None:
            weakest = min(answers[frozenset(pair)].margin_db for pair in pairwise(way))
            middle = by_name[way[1]]
            found.append(
                Relay(first, last, tuple(way[1:-1]), None, middle.easting_m, middle.northing_m, weakest)
            )
            continue
        best = _best_place(surface, by_name[first], by_name[last], places, radios, earth_radius_m)
        if best is not None:
            place, margin_db = best
            at = places[place]
            found.append(Relay(first, last, (at.name,), place, at.easting_m, at.northing_m, margin_db))
    return tuple(found)


def _fewest_hops(links: Sequence[Link], first: str, last: str) -> list[str] | None:
    """Names from the first to the last end over likely links, the fewest; None if there is no way."""
    beside: dict[str, list[str]] = {}
    for one in links:
        if one.answer == LIKELY:
            beside.setdefault(one.start, []).append(one.end)
            beside.setdefault(one.end, []).append(one.start)
    came_from: dict[str, str] = {first: first}
    waiting = deque([first])
    while waiting and last not in came_from:
        here = waiting.popleft()
        for there in beside.get(here, []):
            if there not in came_from:
                came_from[there] = here
                waiting.append(there)
    if last not in came_from:
        return None
    way = [last]
    while way[-1] != first:
        way.append(came_from[way[-1]])
    return way[::-1]


def _best_place(
    surface: Surface,
    first: RadioEnd,
    last: RadioEnd,
    places: Sequence[RadioEnd],
    radios: Radios,
    earth_radius_m: float,
) -> tuple[int, float] | None:
    """The place whose weaker link has most to spare, and its margin; None where none makes both likely."""
    easting_m, northing_m = (np.array([getattr(p, name) for p in places]) for name in _PLACE)
    round_m = sum(np.hypot(easting_m - end.easting_m, northing_m - end.northing_m) for end in (first, last))
    best: tuple[int, float] | None = None
    for i in np.argsort(round_m, kind="stable")[:MOST_RELAY_PLACES]:
        margin_db = link(surface, first, places[i], radios, earth_radius_m).margin_db
        # A void between gives NaN, which is no better than anything.
        if not margin_db >= (radios.margin_db if best is None else best[1]):
            continue
        margin_db = min(margin_db, link(surface, places[i], last, radios, earth_radius_m).margin_db)
        if margin_db >= radios.margin_db and (best is None or margin_db > best[1]):
            best = int(i), float(margin_db)
    return best


_PLACE = ("easting_m", "northing_m")
