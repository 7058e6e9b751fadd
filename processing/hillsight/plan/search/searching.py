"""A search for where a photograph was taken: all places looked at, the likeliest closely; shares of each.

Neighbours fit much alike, so a place's share is small even where the region is sure. What counts is the share
about the best place, which adds its neighbours up.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from hillsight.plan.search.close_look import CloseLook, close_look
from hillsight.plan.search.first_look import FirstLook, Glimpse, first_look

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from hillsight.arrays import Floats, Integers
    from hillsight.plan.picture.skyline_match import PictureSkyline
    from hillsight.plan.search.close_look import Eyes

#: Places whose sky's edge is held at a time.
_AT_A_TIME = 4096

#: Places looked at closely at first; as many again, and so on, while those that are left may hold more than
#: such a share, but no more often than so.
_CLOSELY, _LEFT_OVER, _TIMES = 2000, 0.05, 3

#: What is said to be how decisive the best place is: the share within so many metres of it.
WITHIN_M = (100.0, 500.0)


@dataclass(frozen=True)
class Places:
    """Places on known ground that are weighed, (p,) each; neighbours follow each other.

    apart_m : between neighbours
    """

    easting_m: Floats
    northing_m: Floats
    apart_m: float

    @property
    def spread_m(self) -> float:
        """One standard deviation of a spot within a place's cell, each way."""
        return self.apart_m / float(np.sqrt(12.0))


@dataclass(frozen=True)
class Found:
    """What a search found.

    share : (p,) probability of each place, adding up to one
    looked : (k,) places looked at closely, likeliest first; close : what was found there, in that order
    """

    places: Places
    share: Floats
    looked: Integers
    close: CloseLook

    def share_about(self, place: int, within_m: float) -> float:
        """Probability within a distance of a place."""
        east, north = self.places.easting_m, self.places.northing_m
        near = np.hypot(east - east[place], north - north[place]) <= within_m + 1e-6
        return float(self.share[near].sum())


def first_looks(
    pictures: Sequence[PictureSkyline],
    eyes: Eyes,
    places: Places,
    progress: Callable[[float], None] | None = None,
) -> list[FirstLook]:
    """A first look at every place for each of some pictures; their sky's edges are worked out once."""
    glimpses = [Glimpse.of(picture) for picture in pictures]
    parts: list[list[FirstLook]] = [[] for _ in pictures]
    count = places.easting_m.size
    for first in range(0, count, _AT_A_TIME):
        east, north = (v[first : first + _AT_A_TIME] for v in (places.easting_m, places.northing_m))
        seen = eyes.look(east, north, np.arange(360.0))
        for part, glimpse in zip(parts, glimpses, strict=True):
            part.append(first_look(glimpse, seen, places.apart_m))
        if progress is not None:
            progress(min(first + _AT_A_TIME, count) / count)
    return [
        FirstLook(
            *(np.concatenate([getattr(one, name) for one in part]) for name in ("heading_grid_deg", "score"))
        )
        for part in parts
    ]


def weigh_places(
    picture: PictureSkyline,
    eyes: Eyes,
    places: Places,
    look: FirstLook,
    progress: Callable[[float], None] | None = None,
) -> Found:
    """Look closely at the places that a first look likes, and share the probability out."""
    score = look.score[:, 0]
    order = np.argsort(-score, kind="stable")
    order = order[np.isfinite(score[order])]
    closes: list[CloseLook] = []
    logs = np.full(score.size, -np.inf)
    done = 0
    for number in range(_TIMES):
        some = order[done : done + _CLOSELY]
        if not some.size:
            break
        closes.append(
            close_look(
                picture,
                eyes,
                places.easting_m[some],
                places.northing_m[some],
                places.spread_m,
                look.heading_grid_deg[some],
                score=look.score[some],
                progress=_part(progress, number),
            )
        )
        logs[some] = closes[-1].log_likelihood
        done += some.size
        rest = order[done:]
        logs[rest] = _guessed(score, logs, order[:done], rest)
        share = special.softmax(logs)
        if share[rest].sum() < _LEFT_OVER:
            break
    looked = order[:done]
    close = _joined(closes)
    best_first = np.argsort(-close.log_likelihood, kind="stable")
    return Found(places, share, looked[best_first], close.take(best_first))


def _part(progress: Callable[[float], None] | None, number: int) -> Callable[[float], None] | None:
    """Tells of one of the rounds as a part of all."""
    if progress is None:
        return None
    return lambda done: progress((number + done) / _TIMES)


def _guessed(score: Floats, logs: Floats, looked: Integers, rest: Integers) -> Floats:
    """Log likelihoods of places that were not looked at closely, by how those did that scored least."""
    worst = looked[-max(looked.size // 4, 1) :]
    known = worst[np.isfinite(logs[worst])]
    if not known.size:
        return np.full(rest.size, -np.inf)
    guessed: Floats = score[rest] + float(np.median(logs[known] - score[known]))
    return guessed


def _joined(closes: Sequence[CloseLook]) -> CloseLook:
    return CloseLook(*(np.concatenate([getattr(c, one.name) for c in closes]) for one in fields(CloseLook)))
