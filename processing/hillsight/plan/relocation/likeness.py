"""How much likelier a place is to be the one that nobody named for looking like those that were named.

Candidates of one exercise are not strewn: they are chosen because they look like the place where the picture
was taken, and that holds whether it is one of them or not. How closely they were chosen shows in how much
more alike they are than the ground about.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import stats

from hillsight.arrays import known_or
from hillsight.sight.bearings import see_bearings
from hillsight.sight.viewing import Eye

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.ground.grid import Surface
    from hillsight.plan.look.drawn import Place
    from hillsight.plan.look.framing import Framing
    from hillsight.sight.viewing import Viewing

#: Before they are looked at, candidates are taken to spread half as far as the ground about in each trait,
#: with the weight of so many of them. Settled on the ground to tune on.
_SPREAD, _WEIGHT = 0.5, 6.0

#: A place that is nothing like them keeps so much, and none counts for more than so many times (logarithm).
_LEAST, _MOST_LOG = 0.1, 5.0

#: Bearings across the picture, or round the place, on which the skyline is looked at.
_ACROSS, _ROUND = 13, 12

#: A direction is told if the mean of its unit vectors is so long: within some 45 degrees.
_TOLD_FROM = 0.7

#: Ground so far ahead gives the slope ahead, if not within two posts.
_AHEAD_M = 150.0


@dataclass(frozen=True)
class Traits:
    """What makes places look alike at a glance, measured on the terrain taken at its word.

    place : one of the candidates, whose convergence and curvature hold for all
    """

    surface: Surface
    place: Place
    viewing: Viewing
    framing: Framing

    def of(self, places_m: Floats) -> Floats:
        """Traits of places (n, 2), easting and northing: (n, 3), or (n, 5) where a direction is told.

        Height of the ground, its slope ahead and the mean angle of the skyline; and how far the skyline
        leans, and how far it bulges. In metres and degrees.
        """
        bearings_deg, told = self._bearings_deg()
        grid_deg = bearings_deg - self.place.convergence_deg
        east, north = np.sin(np.radians(grid_deg)), np.cos(np.radians(grid_deg))
        surface, grid = self.surface, self.surface.grid
        ahead_m = max(_AHEAD_M, 2.0 * max(grid.spacing_x_m, grid.spacing_y_m))
        ground_m = surface.heights_at_m(places_m[:, 0], places_m[:, 1])
        around_m = surface.heights_at_m(
            places_m[:, :1] + ahead_m * east[None, :], places_m[:, 1:] + ahead_m * north[None, :]
        )
        rise_m = known_or(around_m - ground_m[:, None], 0.0).mean(axis=1)
        sky_deg = np.zeros((len(places_m), bearings_deg.size))
        for k, ((east_m, north_m), here_m) in enumerate(zip(places_m, ground_m, strict=True)):
            eye = Eye.on(
                grid,
                float(east_m),
                float(north_m),
                float(here_m) + self.viewing.eye_height_m,
                self.place.drop_per_m,
            )
            seen = see_bearings(surface, eye, self.viewing.reach_m, grid_deg)
            sky_deg[k] = np.degrees(np.arctan(known_or(seen.skyline_slope, 0.0)))
        found = [ground_m, np.degrees(np.arctan(rise_m / ahead_m)), sky_deg.mean(axis=1)]
        if told:
            side = bearings_deg.size // 3
            left, right = sky_deg[:, :side].mean(axis=1), sky_deg[:, -side:].mean(axis=1)
            found += [left - right, sky_deg[:, side:-side].mean(axis=1) - (left + right) / 2.0]
        return np.stack(found, axis=1)

    def _bearings_deg(self) -> tuple[Floats, bool]:
        """True bearings from left to right, and whether a direction is told."""
        radians = np.radians(self.framing.heading_deg)
        east = float(np.sin(radians) @ self.framing.prior)
        north = float(np.cos(radians) @ self.framing.prior)
        if math.hypot(east, north) < _TOLD_FROM:
            return np.linspace(0.0, 360.0, _ROUND, endpoint=False), False
        middle_deg = math.degrees(math.atan2(east, north))
        half_deg = self.framing.width_deg * (0.5 - 0.5 / _ACROSS)
        return np.linspace(middle_deg - half_deg, middle_deg + half_deg, _ACROSS), True


@dataclass(frozen=True)
class Likeness:
    """How alike the candidates are, and how the ground about is, in each of k traits.

    middle, spread : (k,) of the candidates, the spread as one more of them would have it
    about_middle, about_spread : (k,) mean and standard deviation of the ground about
    freedom : degrees of freedom of the candidates' spread
    """

    middle: Floats
    spread: Floats
    about_middle: Floats
    about_spread: Floats
    freedom: float

    @classmethod
    def of(cls, theirs: Floats, about: Floats) -> Likeness:
        """From the traits of c candidates, (c, k), and of places strewn evenly about, (n, k).

        One more of them is a Student's t (the predictive distribution of a normal sample whose spread has a
        scaled inverse chi-square prior; Gelman and others, Bayesian Data Analysis, from memory).
        """
        known = about[np.isfinite(about).all(axis=1)]
        about_spread = np.maximum(known.std(axis=0), 1e-6)
        count = len(theirs)
        middle = theirs.mean(axis=0)
        freedom = _WEIGHT + count - 1.0
        square = (_WEIGHT * (_SPREAD * about_spread) ** 2 + ((theirs - middle) ** 2).sum(axis=0)) / freedom
        spread = np.sqrt(square * (1.0 + 1.0 / count))
        return cls(middle, spread, known.mean(axis=0), about_spread, freedom)

    def times(self, traits: Floats) -> Floats:
        """How many times likelier places of such traits, (n, k), are than if likeness told nothing, (n,)."""
        off = (traits - self.middle) / self.spread
        about = (traits - self.about_middle) / self.about_spread
        logs = (
            stats.t.logpdf(off, self.freedom)
            - np.log(self.spread)
            - stats.norm.logpdf(about)
            + np.log(self.about_spread)
        ).sum(axis=1)
        alike: Floats = _LEAST + (1.0 - _LEAST) * np.exp(np.minimum(known_or(logs, -np.inf), _MOST_LOG))
        return alike
