"""Places that nobody has named: what a picture would show if it were taken from none of the candidates."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.ground.grid import Surface


_SEED = 20_260_401

#: Power of the likelihoods by which places are chosen to look about: less than one, as one place may fit by
#: chance.
_POWER = 0.5


@dataclass(frozen=True)
class PlacesAbout:
    """Ground about some candidates on which a picture may have been taken that is from none of them.

    It may be anywhere within some distance of any candidate, but not so near that it would be the candidate
    itself.

    easting_m, northing_m : (c,) of the candidates
    within_m : no farther from the nearest candidate
    least_m : nor nearer to any
    """

    surface: Surface
    easting_m: Floats
    northing_m: Floats
    within_m: float
    least_m: float

    def evenly(self, count: int) -> tuple[Floats, float]:
        """So many places, (n, 2) easting and northing, and the share of all tried that were allowed.

        The same every time, in whatever order the candidates are given; fewer where ground is scarce.
        """
        order = np.lexsort((self.northing_m, self.easting_m))
        random = np.random.default_rng(_SEED)
        found: list[tuple[float, float]] = []
        tried = 0
        while len(found) < count and tried < 20 * count:
            tried += 1
            k = order[int(random.integers(order.size))]
            east, north = _on_disc(random, self.easting_m[k], self.northing_m[k], self.within_m)
            if self.allowed(east, north):
                found.append((east, north))
        return np.array(found).reshape(-1, 2), len(found) / max(tried, 1)

    def density(self, places_m: Floats) -> Floats:
        """Chance of each square metre before any is refused, (n,)."""
        away_m = np.hypot(
            places_m[:, :1] - self.easting_m[None, :], places_m[:, 1:] - self.northing_m[None, :]
        )
        inside = (away_m <= self.within_m).mean(axis=1)
        return np.asarray(inside / (np.pi * self.within_m**2), np.float64)

    def allowed(self, east: float, north: float) -> bool:
        """Whether it is on known ground and not at a candidate."""
        grid = self.surface.grid
        row, column = (float(v) for v in grid.to_array(east, north))
        if not (0 <= row <= grid.rows - 1 and 0 <= column <= grid.columns - 1):
            return False
        top, left = min(int(row), grid.rows - 2), min(int(column), grid.columns - 2)
        if not np.isfinite(self.surface.height_m[top : top + 2, left : left + 2]).all():
            return False
        away_m = float(np.hypot(self.easting_m - east, self.northing_m - north).min())
        return self.least_m <= away_m <= self.within_m


@dataclass(frozen=True)
class Strewn:
    """Places chosen of many even ones, the likelier ones before others.

    places_m, times : (n, 2) easting and northing, and (n,) how likely each is beside the rest
    drawn_by : (n,) what they were chosen by, which may be more than that
    even : number of even places they were chosen of; allowed_share : as ``PlacesAbout.evenly`` gave it
    scale : a place is chosen with the chance of ``scale`` times ``drawn_by``, one at most
    """

    about: PlacesAbout
    places_m: Floats
    times: Floats
    drawn_by: Floats
    even: int
    allowed_share: float
    scale: float

    @classmethod
    def of(
        cls,
        about: PlacesAbout,
        even_m: Floats,
        allowed_share: float,
        times: Floats,
        count: int,
        promising: Floats | None = None,
    ) -> Strewn:
        """Choose so many of the even places, (n, 2), by systematic sampling (Madow 1949, from memory).

        Parameters
        ----------
        promising : (n,) what else to choose by, that makes no odds to how likely a place is
        """
        by = times if promising is None else times * promising
        scale = _scale(by, count)
        passed = np.cumsum(np.minimum(scale * by, 1.0)) + np.random.default_rng(_SEED + 2).random()
        chosen = np.diff(np.floor(passed), prepend=0.0) > 0
        return cls(about, even_m[chosen], times[chosen], by[chosen], len(even_m), allowed_share, scale)

    def __len__(self) -> int:
        return len(self.places_m)

    def closer(self, log_likelihood: Floats, count: int) -> Floats:
        """So many places more about those that fit best, (m, 2).

        Parameters
        ----------
        log_likelihood : (n,) of the places
        """
        if not len(self) or not count:
            return np.zeros((0, 2))
        random = np.random.default_rng(_SEED + 1)
        tried = [
            _on_disc(random, float(self.places_m[k, 0]), float(self.places_m[k, 1]), self._radius_m)
            for k in random.choice(len(self), count, replace=True, p=self._weight(log_likelihood))
        ]
        # What falls on no allowed ground would have counted for nothing.
        return np.array([one for one in tried if self.about.allowed(*one)]).reshape(-1, 2)

    def log_shares(
        self,
        log_likelihood: Floats,
        closer_m: Floats,
        times: Floats,
        count: int,
        promising: Floats | None = None,
    ) -> Floats:
        """Logarithms of what each place stands for, (n + m,): those chosen, then those closer; together one.

        Importance sampling from two proposals with the balance heuristic (Veach and Guibas 1995, from
        memory): the sum of shares times likelihoods is the mean likelihood over the ground about, whatever
        the likelihoods by which places were chosen.

        Parameters
        ----------
        log_likelihood, count : as ``closer`` was given them; times, promising : (m,) of the places closer
        """
        by = np.concatenate((self.drawn_by, times if promising is None else times * promising))
        places_m, every = np.concatenate((self.places_m, closer_m)), np.concatenate((self.times, times))
        even = self.about.density(places_m) / max(self.allowed_share, 1e-12)
        expected = self.even * even * np.minimum(self.scale * by, 1.0)
        if len(closer_m):
            weight = self._weight(log_likelihood)
            apart_m = np.hypot(*(places_m[:, None, :] - self.places_m[None, :, :]).transpose(2, 0, 1))
            # Other places only may have drawn more to where one stands: its own weight would take from it.
            own = np.eye(len(places_m), len(self), dtype=bool)
            near = (weight[None, :] * ((apart_m <= self._radius_m) & ~own)).sum(axis=1)
            near[: len(self)] /= np.maximum(1.0 - weight, 1e-9)
            expected = expected + count * near / (np.pi * self._radius_m**2)
        share = even * every / expected
        return np.asarray(np.log(share / share.sum()), np.float64)

    def _weight(self, log_likelihood: Floats) -> Floats:
        stands_for = self.times / np.minimum(self.scale * self.drawn_by, 1.0)
        weight: Floats = special.softmax(_POWER * log_likelihood + np.log(stands_for))
        return weight

    @property
    def _radius_m(self) -> float:
        """Each place would have so much ground to itself were they even."""
        return float(np.sqrt(self.about.within_m**2 * self.about.easting_m.size / max(len(self), 1)))


def _scale(times: Floats, count: int) -> float:
    """What times must be multiplied by so that they, one at most each, add up to a count."""
    if count >= times.size:
        return float("inf")
    falling = np.sort(times)[::-1]
    # With the k largest at one, the rest share what is left.
    rest = np.cumsum(falling[::-1])[::-1]
    for k, (first, others) in enumerate(zip(falling, rest, strict=True)):
        scale = (count - k) / others
        if scale * first <= 1.0:
            return float(scale)
    return float("inf")


def _on_disc(
    random: np.random.Generator, east_m: float, north_m: float, radius_m: float
) -> tuple[float, float]:
    """A place evenly on a disc."""
    away_m, turn = radius_m * np.sqrt(random.random()), 2 * np.pi * random.random()
    return float(east_m + away_m * np.sin(turn)), float(north_m + away_m * np.cos(turn))
