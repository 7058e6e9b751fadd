"""A verdict weighed again: without a statement, with a place some way off, with higher eyes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import StationError
from hillsight.ground.stations import Station
from hillsight.plan.relocation.decision import NONE_FITS, reach_verdict
from hillsight.plan.relocation.nearby_places import mean_fits
from hillsight.plan.verdict import Change

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Flags, Floats
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.look.looking import Looker
    from hillsight.plan.relocation.decision import Rules
    from hillsight.plan.relocation.posterior import Calibration, LikelihoodTable
    from hillsight.plan.statement import Statement
    from hillsight.plan.weighing.statements import Weighing


#: How far off a candidate's place may be for the answer to stand, and how much higher the eye.
_OFF_M, _HIGHER_M = 50.0, 1.0

_COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


@dataclass(frozen=True)
class Variations:
    """Weighs again what a verdict rests on, with something changed.

    fits : (c, s, h) of the candidates; about : places that are none of them; prior : (c,)
    man_made : (s,) statements about man-made features
    state, best : of the verdict that stands
    """

    looker: Looker
    stations: Sequence[Station]
    glances: Sequence[Glance]
    statements: Sequence[Statement]
    weighing: Weighing
    calibration: Calibration
    fits: Floats
    about: LikelihoodTable
    prior: Floats
    man_made: Flags
    rules: Rules
    state: str
    best: int

    def without_statements(self, words: Sequence[str]) -> list[Change]:
        """The verdict without each statement, and without all man-made features.

        Parameters
        ----------
        words : of each statement
        """
        left_out = [
            (f"without statement {k + 1} ({said})", np.arange(self.man_made.size) == k)
            for k, said in enumerate(words)
        ]
        if self.man_made.any() and not self.man_made.all():
            left_out.append(("without man-made features", self.man_made))
        table = self.calibration.table(self.fits)
        return [self._change(about, table, out) for about, out in left_out]

    def elsewhere(self, rival: int | None) -> list[Change]:
        """The verdict with the best and the next candidate some way off, the worst of eight ways each."""
        found = []
        for k in (self.best, rival):
            if k is None:
                continue
            tried = []
            for turn, way in enumerate(_COMPASS):
                again = self._fits_off(self.glances[k], 45.0 * turn)
                if again is not None:
                    fits = self.fits.copy()
                    fits[k] = again
                    about = f"with {self.stations[k].label} {_OFF_M:.0f} m to the {way}"
                    tried.append(self._change(about, self.calibration.table(fits)))
            if tried:
                found.append(max(tried, key=lambda change: (change.changes, -self._kept(change))))
        return found

    def higher(self) -> Change:
        """The verdict with every eye higher."""
        eye_m = self.looker.viewing.eye_height_m + _HIGHER_M
        fits = [
            mean_fits(self.looker, self.weighing, self.statements, station, eye_m)
            for station in self.stations
        ]
        table = self.calibration.table(np.array(fits))
        return self._change(f"with every eye {_HIGHER_M:g} m higher", table)

    def _change(self, about: str, table: LikelihoodTable, left_out: Flags | None = None) -> Change:
        """The verdict then, beside the one that stands."""
        then, whole, _ = reach_verdict(table, self.about, self.prior, self.man_made, self.rules, left_out)
        return Change(
            about,
            then,
            self.stations[whole.best].label,
            float(whole.candidates[whole.best]),
            then != self.state or (then != NONE_FITS and whole.best != self.best),
        )

    def _kept(self, change: Change) -> float:
        """Probability that the best candidate keeps."""
        return change.probability if change.station == self.stations[self.best].label else 0.0

    def _fits_off(self, place: Glance, turn_deg: float) -> Floats | None:
        turn = np.radians(turn_deg)
        east = place.easting_m + _OFF_M * float(np.sin(turn))
        north = place.northing_m + _OFF_M * float(np.cos(turn))
        station = Station(place.label, None, east, north, None, "")
        try:
            return mean_fits(self.looker, self.weighing, self.statements, station)
        except StationError:
            return None  # off the terrain, or on a void
