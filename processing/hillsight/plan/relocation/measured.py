"""What was measured on a photograph, weighed from candidates and from places that are none of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from hillsight.plan.look.framing import HEADING_STEP_DEG
from hillsight.plan.look.marks_seen import marks_seen
from hillsight.plan.look.skies import bearings_wanted, skies
from hillsight.plan.picture.skyline_match import Matched, match, screened

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from hillsight.arrays import Floats
    from hillsight.plan.look.drawn import Place
    from hillsight.plan.look.framing import Framing
    from hillsight.plan.look.looking import Looker
    from hillsight.plan.picture.measuring import MarkedThings
    from hillsight.plan.picture.skyline_match import PictureSkyline
    from hillsight.plan.relocation.setting import Setting

#: Chance that what was measured fits no better where it was taken than anywhere about: another ridge or a
#: cloud's edge was traced, or the ground errs as no model has it. Three of 27 in the western Highlands.
WRONG = 0.1

#: Places whose skies are held at a time.
_AT_A_TIME = 256

#: Power of the rough score by which places are promising, and what the least promising keeps.
_POWER, _LEAST = 0.25, 0.05


@dataclass(frozen=True)
class Measured:
    """Fits what was measured on a photograph to places."""

    picture: PictureSkyline
    looker: Looker
    framing: Framing
    marked: MarkedThings | None = None

    @classmethod
    def of_setting(cls, setting: Setting) -> Measured | None:
        """What a setting says was measured, if anything was."""
        if setting.measured is None:
            return None
        return cls(setting.measured, setting.looker, setting.framing, setting.marked)

    def of(self, places: Sequence[Place], report: Callable[[float], None] | None = None) -> list[Matched]:
        """How well it fits each of some places, a batch at a time."""
        found = []
        for first in range(0, len(places), _AT_A_TIME):
            some = places[first : first + _AT_A_TIME]
            heading = self._heading_grid_deg(some)
            marks = None if self.marked is None else marks_seen(self.looker, some, self.marked)
            found.append(match(self.picture, self._skies(some, heading), heading, HEADING_STEP_DEG, marks))
            if report is not None:
                report(min(first + _AT_A_TIME, len(places)) / len(places))
        return found

    def logs(self, places: Sequence[Place], report: Callable[[float], None] | None = None) -> Floats:
        """Log likelihood from each of some places in each direction, (p, h)."""
        found = [one.log_likelihood for one in self.of(places, report)]
        return np.concatenate(found) if found else np.zeros((0, self.framing.heading_deg.size))

    def angles_deg(self, places: Sequence[Place]) -> Floats:
        """Vertical angle of the sky's edge by grid bearing, (p, b); NaN where no picture may look."""
        found: Floats = self._skies(places, self._heading_grid_deg(places))[:, 0]
        return found

    def rough(self, places: Sequence[Place]) -> Floats:
        """Rough score of each of some places, (p,)."""
        score = np.zeros(len(places))
        for first in range(0, len(places), _AT_A_TIME):
            some = places[first : first + _AT_A_TIME]
            heading = self._heading_grid_deg(some)
            rough = screened(self.picture, self._skies(some, heading), heading)
            score[first : first + len(some)] = (rough + np.log(self.framing.prior)).max(axis=1)
        return score

    def _skies(self, places: Sequence[Place], heading_grid_deg: Floats) -> Floats:
        return skies(self.looker, places, bearings_wanted(heading_grid_deg, self.picture.half_width_deg))

    def _heading_grid_deg(self, places: Sequence[Place]) -> Floats:
        """Directions from grid north; convergence changes by a hundredth of a degree in a kilometre."""
        convergence_deg = float(np.mean([place.convergence_deg for place in places]))
        return (self.framing.heading_deg - convergence_deg) % 360.0


@dataclass
class Hopes:
    """How promising places are before they are looked at closely; all alike where nothing was measured."""

    measured: Measured | None
    best: float = 0.0

    @classmethod
    def of(cls, setting: Setting) -> Hopes:
        """By what was measured on the photograph, if it was."""
        return cls(Measured.of_setting(setting))

    def of_all(self, places: Sequence[Place]) -> Floats | None:
        """Of all places among which some are chosen, (p,)."""
        if self.measured is None:
            return None
        score = self.measured.rough(places)
        self.best = float(score.max())
        return self._of(score)

    def of_some(self, places: Sequence[Place]) -> Floats | None:
        """By the same measure, of others, (p,)."""
        return None if self.measured is None else self._of(self.measured.rough(places))

    def _of(self, score: Floats) -> Floats:
        return np.asarray(_LEAST + np.exp(_POWER * np.minimum(score - self.best, 0.0)), np.float64)


@dataclass(frozen=True)
class MeasuredPlaces:
    """What was measured on the photograph, held against what may be expected from anywhere about.

    candidates, strewn : (p, h) log ratios; fits : of the candidates
    log_rate : of what was measured, from anywhere about
    skies_deg : (c, b) vertical angle of the candidates' sky's edge by grid bearing
    """

    measured: Measured
    candidates: Floats
    strewn: Floats
    fits: Matched
    log_rate: float
    skies_deg: Floats

    @classmethod
    def of(cls, measured: Measured, places: Sequence[Place], strewn: Sequence[Place]) -> MeasuredPlaces:
        """From the candidates and from places strewn about."""
        found = measured.of(places)
        fits = Matched(*(np.concatenate([getattr(f, n) for f in found]) for n in ("log_likelihood", "fits")))
        of_strewn = measured.logs(strewn)
        prior = measured.framing.prior
        known = of_strewn if len(strewn) else fits.log_likelihood
        rate = rate_of(known, prior)
        both = ratios(fits.log_likelihood, rate), ratios(of_strewn, rate)
        return cls(measured, *both, fits, rate, measured.angles_deg(places))

    def with_strewn(self, more: Sequence[Place]) -> Floats:
        """Log ratios of the strewn places and of more, (p + m, h)."""
        return np.concatenate((self.strewn, ratios(self.measured.logs(more), self.log_rate)))

    def of_place(self, place: Place) -> Floats:
        """Log ratios of another place, (h,)."""
        found: Floats = ratios(self.measured.logs([place]), self.log_rate)[0]
        return found


def rate_of(logs: Floats, prior: Floats) -> float:
    """Logarithm of how likely what was measured is from anywhere about.

    Parameters
    ----------
    logs : (b, h) log likelihoods at places all about; prior : (h,) of the directions
    """
    with np.errstate(divide="ignore"):
        each = special.logsumexp(logs + np.log(prior), axis=1)
    return float(special.logsumexp(each) - np.log(len(logs)))


def ratios(logs: Floats, log_rate: float) -> Floats:
    """Log likelihood over the rate; what is wrong altogether tells no place from another."""
    return np.asarray(np.logaddexp(np.log1p(-WRONG) + logs - log_rate, np.log(WRONG)), np.float64)
