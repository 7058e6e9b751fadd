"""A verdict weighed again: without a statement, with a place some way off, with higher eyes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.relocation.decision import NONE_FITS
from hillsight.plan.verdict import Change

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Flags
    from hillsight.ground.stations import Station
    from hillsight.plan.relocation.decision import Evidence
    from hillsight.plan.relocation.gathering import Gathered


#: How far off a candidate's place may be for the answer to stand, and how much higher the eye.
_OFF_M, _HIGHER_M = 50.0, 1.0

#: Draws by which changes are looked at, the first of those there are.
_DRAWS = 32

_WAYS = ("north", "east", "south", "west")


@dataclass(frozen=True)
class Variations:
    """Weighs again what a verdict rests on, with something changed.

    state, best : of the verdict that stands
    """

    gathered: Gathered
    stations: Sequence[Station]
    state: str
    best: int

    def without_statements(self, words: Sequence[str]) -> list[Change]:
        """The verdict without each statement, and without all that are about neither ground nor water.

        Parameters
        ----------
        words : of each statement
        """
        untrusted = self.gathered.evidence.untrusted
        left_out = [
            (f"without statement {k + 1} ({said})", np.arange(untrusted.size) == k)
            for k, said in enumerate(words)
        ]
        if untrusted.any() and not untrusted.all():
            left_out.append(("by ground and water alone", untrusted))
        return [self._change(about, self.gathered.evidence, out) for about, out in left_out]

    def elsewhere(self, rival: int) -> list[Change]:
        """The verdict with the best and the next candidate some way off, the worst of four ways each."""
        found = []
        for k in (self.best, rival):
            tried = []
            for turn, way in enumerate(_WAYS):
                again = self._off(k, 90.0 * turn)
                if again is not None:
                    about = f"with {self.stations[k].label} {_OFF_M:.0f} m to the {way}"
                    tried.append(self._change(about, again))
            if tried:
                found.append(max(tried, key=lambda change: (change.changes, -self._kept(change))))
        return found

    def higher(self) -> Change:
        """The verdict with every eye higher."""
        gathered = self.gathered
        drawn = replace(gathered.drawn, raised_m=_HIGHER_M)
        measured = None if gathered.measured is None else gathered.measured.candidates
        table = gathered.calibration.table(
            *drawn.of_all(gathered.places, 0, min(_DRAWS, gathered.draws)), measured
        )
        return self._change(f"with every eye {_HIGHER_M:g} m higher", replace(gathered.evidence, table=table))

    def _change(self, about: str, evidence: Evidence, left_out: Flags | None = None) -> Change:
        """The verdict then, beside the one that stands."""
        then, whole, _ = evidence.verdict(left_out)
        return Change(
            about,
            then,
            self.stations[whole.best].label,
            float(whole.candidates[whole.best]),
            then != self.state or (then != NONE_FITS and whole.best != self.best),
            whole.none,
        )

    def _kept(self, change: Change) -> float:
        """Probability that the best candidate keeps."""
        return change.probability if change.station == self.stations[self.best].label else 0.0

    def _off(self, k: int, turn_deg: float) -> Evidence | None:
        """The evidence with one candidate some way off; None where that is off the terrain, or on a void."""
        gathered, turn = self.gathered, np.radians(turn_deg)
        place = gathered.places[k]
        there = replace(
            place,
            easting_m=place.easting_m + _OFF_M * float(np.sin(turn)),
            northing_m=place.northing_m + _OFF_M * float(np.cos(turn)),
        )
        fits, known = gathered.drawn.of_all([there], 0, min(_DRAWS, gathered.draws))
        if not known.any():
            return None
        count = fits.shape[1]
        measured = None
        if gathered.measured is not None:
            measured = gathered.measured.candidates.copy()
            measured[k] = gathered.measured.of_place(there)
        table = gathered.calibration.table(
            np.concatenate((gathered.fits[:k, :count], fits, gathered.fits[k + 1 :, :count])),
            np.concatenate((gathered.known[:k, :count], known, gathered.known[k + 1 :, :count])),
            measured,
        )
        return replace(gathered.evidence, table=table)
