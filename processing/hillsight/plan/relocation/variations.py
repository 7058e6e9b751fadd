"""A verdict weighed again: without a statement, with a place some way off, with higher eyes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import StationError
from hillsight.ground.stations import Station
from hillsight.plan.relocation.decision import reach_verdict
from hillsight.plan.relocation.nearby_places import mean_fits
from hillsight.plan.relocation.posterior import table_of
from hillsight.plan.verdict import Change

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Flags, Floats
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.look.looking import Looker
    from hillsight.plan.relocation.decision import Rules
    from hillsight.plan.relocation.posterior import LikelihoodTable, Posterior
    from hillsight.plan.statement import Sighting
    from hillsight.plan.verdict import Verdict
    from hillsight.plan.weighing.statements import Weighing


#: How far off a candidate's place may be for the answer to stand, and how much higher the eye.
_OFF_M, _HIGHER_M = 50.0, 1.0


def without_each_statement(
    verdict: Verdict,
    table: LikelihoodTable,
    about: LikelihoodTable,
    prior: Floats,
    man_made: Flags,
    rules: Rules,
    labels: Sequence[str],
) -> list[Change]:
    """The verdict without each statement, and without all man-made features."""
    best = labels.index(verdict.best.station)
    found = []
    numbered = {argument.number: argument.says for argument in verdict.arguments}
    for k in range(man_made.size):
        out = np.zeros(man_made.size, bool)
        out[k] = True
        about_it = f"without statement {k + 1} ({numbered[k + 1]})"
        found.append(
            change_of(
                about_it,
                verdict.state,
                best,
                reach_verdict(table, about, prior, man_made, rules, out),
                labels,
            )
        )
    if man_made.any() and not man_made.all():
        found.append(
            change_of(
                "without man-made features",
                verdict.state,
                best,
                reach_verdict(table, about, prior, man_made, rules, man_made),
                labels,
            )
        )
    return found


@dataclass(frozen=True)
class Variations:
    """Weighs again with a candidate some way off its place, or every eye higher."""

    looker: Looker
    rules: Rules
    stations: Sequence[Station]
    sighting: Sighting
    weighing: Weighing
    settings: tuple[Floats, Floats, Floats, Floats, float]
    about: LikelihoodTable
    prior: Floats
    man_made: Flags

    def moved(
        self, glances: Sequence[Glance], fits: Floats, state: str, best: int, rival: int | None
    ) -> list[Change]:
        found = []
        for k in (best, rival):
            if k is None:
                continue
            worst: Change | None = None
            for turn in range(0, 360, 45):
                again = self._fits_off(glances[k], turn)
                if again is None:
                    continue
                tried = fits.copy()
                tried[k] = again
                about = f"with {self.stations[k].label} {_OFF_M:.0f} m to the {_COMPASS[turn // 45]}"
                change = self._judged(about, tried, state, best)
                if worst is None or (change.changes, -_held(change, self.stations[best].label)) > (
                    worst.changes,
                    -_held(worst, self.stations[best].label),
                ):
                    worst = change
            if worst is not None:
                found.append(worst)
        eye_m = self.looker.viewing.eye_height_m + _HIGHER_M
        raised = [
            mean_fits(self.looker, self.weighing, self.sighting.statements, station, eye_m)
            for station in self.stations
        ]
        found.append(self._judged(f"with every eye {_HIGHER_M:g} m higher", np.array(raised), state, best))
        return found

    def _judged(self, about: str, fits: Floats, state: str, best: int) -> Change:
        table = table_of(fits, *self.settings)
        found = reach_verdict(table, self.about, self.prior, self.man_made, self.rules)
        return change_of(about, state, best, found, [s.label for s in self.stations])

    def _fits_off(self, place: Glance, turn_deg: int) -> Floats | None:
        turn = np.radians(turn_deg)
        east = place.easting_m + _OFF_M * float(np.sin(turn))
        north = place.northing_m + _OFF_M * float(np.cos(turn))
        station = Station(place.label, None, east, north, None, "")
        try:
            return mean_fits(self.looker, self.weighing, self.sighting.statements, station)
        except StationError:
            return None  # off the terrain, or on a void


def change_of(
    about: str, state: str, best: int, found: tuple[str, Posterior, Posterior], labels: Sequence[str]
) -> Change:
    """A verdict beside the one that stands."""
    then, whole, _ = found
    return Change(
        about,
        then,
        labels[whole.best],
        float(whole.candidates[whole.best]),
        then != state or (then != "none_fits" and whole.best != best),
    )


_COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


def _held(change: Change, label: str) -> float:
    """Probability that the best candidate keeps."""
    return change.probability if change.station == label else 0.0
