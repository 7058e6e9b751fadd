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

#: Candidates of one exercise lie at much the same height, give or take so much; and how likely a place is
#: that
#: lies at quite another. Common practice, no source.
_ALIKE_M, _UNLIKE = 40.0, 0.1


@dataclass(frozen=True)
class PlacesAbout:
    """Ground about some candidates on which a picture may have been taken that is from none of them.

    Before anything is said it may be anywhere within some distance of any candidate, but not so near that it
    would be the candidate itself. Candidates are chosen because they are alike, so it is likelier at a height
    like theirs: ten times as likely as far above or below all of them.

    easting_m, northing_m : (c,) of the candidates
    within_m : no farther from the nearest candidate
    least_m : nor nearer to any
    """

    surface: Surface
    easting_m: Floats
    northing_m: Floats
    within_m: float
    least_m: float

    def strewn(self, count: int) -> tuple[Floats, float]:
        """So many places, (n, 2) easting and northing, and the share of all tried that were allowed.

        The same every time, in whatever order the candidates are given; fewer where ground is scarce.
        """
        order = np.lexsort((self.northing_m, self.easting_m))
        random = np.random.default_rng(_SEED)
        found: list[tuple[float, float]] = []
        tried = 0
        while len(found) < count and tried < 40 * count:
            tried += 1
            k = order[int(random.integers(order.size))]
            east, north = _on_disc(random, self.easting_m[k], self.northing_m[k], self.within_m)
            if self._allowed(east, north) and random.random() < self._likeness(np.array([[east, north]]))[0]:
                found.append((east, north))
        return np.array(found).reshape(-1, 2), len(found) / max(tried, 1)

    def closer(
        self, strewn: Floats, allowed_share: float, log_likelihood: Floats, count: int
    ) -> tuple[Floats, Floats]:
        """So many places more about those that fit best, (m, 2); and (n + m,) logarithms of all their shares.

        Importance sampling from two proposals with the balance heuristic (Veach and Guibas 1995, from
        memory): the sum of shares times likelihoods is the mean likelihood over the ground about, whatever
        the likelihoods by which places were chosen.

        Parameters
        ----------
        strewn, allowed_share : as ``strewn`` gave them; log_likelihood : (n,)
        """
        n = len(strewn)
        if not n or not count:
            return np.zeros((0, 2)), np.full(n, -np.log(max(n, 1)))
        weight = special.softmax(_POWER * log_likelihood)
        # Each strewn place has so much ground to itself.
        radius_m = float(np.sqrt(self.within_m**2 * self.easting_m.size / n))
        random = np.random.default_rng(_SEED + 1)
        tried = [
            _on_disc(random, float(strewn[int(k), 0]), float(strewn[int(k), 1]), radius_m)
            for k in random.choice(n, count, replace=True, p=weight)
        ]
        # What falls on no allowed ground would have counted for nothing.
        found = np.array([one for one in tried if self._allowed(*one)]).reshape(-1, 2)
        every = np.concatenate((strewn, found))
        even = self._density(every) * self._likeness(every) / allowed_share
        apart_m = np.hypot(*(every[:, None, :] - strewn[None, :, :]).transpose(2, 0, 1))
        near = (weight[None, :] * (apart_m <= radius_m)).sum(axis=1) / (np.pi * radius_m**2)
        share = even / (n * even + count * near)
        return found, np.log(share / share.sum())

    def _density(self, places: Floats) -> Floats:
        """Chance of each square metre before any is refused, (n,)."""
        away_m = np.hypot(places[:, :1] - self.easting_m[None, :], places[:, 1:] - self.northing_m[None, :])
        inside = (away_m <= self.within_m).mean(axis=1)
        return np.asarray(inside / (np.pi * self.within_m**2), np.float64)

    def _likeness(self, places: Floats) -> Floats:
        """How much likelier places (n, 2) are by their height, at most 1."""
        height_m = self.surface.heights_at_m(places[:, 0], places[:, 1])
        theirs_m = self.surface.heights_at_m(self.easting_m, self.northing_m)
        off_m = np.abs(height_m[:, None] - theirs_m[None, :])
        nearest_m = np.nanmin(np.where(np.isnan(off_m), np.inf, off_m), axis=1, initial=np.inf)
        alike: Floats = _UNLIKE + (1.0 - _UNLIKE) * np.exp(-0.5 * (nearest_m / _ALIKE_M) ** 2)
        return alike

    def _allowed(self, east: float, north: float) -> bool:
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


def _on_disc(
    random: np.random.Generator, east_m: float, north_m: float, radius_m: float
) -> tuple[float, float]:
    """A place evenly on a disc."""
    away_m, turn = radius_m * np.sqrt(random.random()), 2 * np.pi * random.random()
    return float(east_m + away_m * np.sin(turn)), float(north_m + away_m * np.cos(turn))
