"""Judges exercises as ``exercise check`` does, on ground that is open already."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from hillsight.ground.stations import Station
from hillsight.jobs.exercise.check import judge
from hillsight.jobs.exercise.made import Made
from hillsight.plan.exercise.checking import Effort
from hillsight.plan.exercise.sector import in_sector
from hillsight.plan.exercise.soundness import MATTERS_NEEDED
from hillsight.plan.look.things import Things

if TYPE_CHECKING:
    import geopandas

    from hillsight.jobs.exercise.check import Judged
    from hillsight.jobs.exercise.ground import ExerciseGround
    from hillsight.plan.exercise.exercise import Exercise
    from hillsight.plan.exercise.look_alikes import LookAlike
    from hillsight.plan.exercise.soundness import Against

#: First all wrong places are judged by the ground alone and in few draws, to see which can be kept; then what
#: is kept, in full.
_FIRST, _FULL = Effort(draws=24, learners=50, with_tolerance=False), Effort(with_tolerance=False)

#: In so many of the first draws a fact must hold, so that it does in nine of ten of all.
_SURELY = 0.95

#: How far beyond the picture's sides a thing may stand and still be in it, degrees: the spot may be off.
_BESIDE_DEG = 15.0


@dataclass
class Judge:
    """Keeps the wrong places of an exercise that are told apart, and judges what is left.

    grade : the only grade that is kept, or None for any
    why : why the last exercise was not kept
    judged, told : wrong places of it that were judged, and those of them that are told apart surely enough
    """

    ground: ExerciseGround
    grade: str | None
    why: str = field(default="")
    judged: int = 0
    told: int = 0

    def kept(self, exercise: Exercise, wrong: Sequence[LookAlike], count: int) -> Made | None:
        """The exercise with the first so many of its wrong places that can be kept; None if it is not sound.

        Parameters
        ----------
        exercise : its true place first, then the wrong ones in order
        """
        first = self._judged(exercise, _FIRST, Things.of(self.ground.scene.things.iloc[:0], 1.0))
        told = [k for k, one in enumerate(first.soundness.against) if _surely(one)]
        self.judged, self.told = len(wrong), len(told)
        if len(told) < count:
            self.why = "too few wrong places are told apart by two matters of the ground in nine draws of ten"
            return None
        told = told[:count]
        places = (exercise.places[0], *(exercise.places[1 + k] for k in told))
        judged = self._judged(replace(exercise, places=places), _FULL)
        if not judged.soundness.is_sound:
            self.why = "sound in few draws, not in many"
            return None
        grade = judged.soundness.grade
        if self.grade is not None and grade != self.grade:
            self.why = f"{grade}, and {self.grade} is asked for"
            return None
        return Made(
            replace(exercise, places=places, grade=grade),
            tuple(wrong[k] for k in told),
            np.array([glance.ground_m for glance in judged.glances]),
            judged.soundness,
        )

    def _judged(self, exercise: Exercise, effort: Effort, things: Things | None = None) -> Judged:
        scene, looks_deg = self.ground.scene, exercise.picture.looks_deg
        stations = [
            Station(f"place {k}", None, place.easting_m, place.northing_m, None, "")
            for k, place in enumerate(exercise.places, 1)
        ]
        if things is None:
            ahead = self._ahead(stations, looks_deg, exercise.picture.width_deg)
            things = Things.of(ahead, self.ground.things_spacing_m)
        return judge(exercise, scene, looks_deg, stations=stations, things=things, effort=effort)

    def _ahead(
        self, stations: Sequence[Station], looks_deg: float, width_deg: float
    ) -> geopandas.GeoDataFrame:
        """Things of which some part lies in the sector of the picture from one of the places."""
        frame = self.ground.scene.things
        inside = np.zeros(len(frame), bool)
        for station in stations:
            inside |= in_sector(
                frame.geometry,
                (station.easting_m, station.northing_m),
                looks_deg - self.ground.scene.convergence_deg,
                width_deg / 2.0 + _BESIDE_DEG,
                self.ground.scene.looker.viewing.reach_m,
            )
        return frame[inside]


def _surely(one: Against) -> bool:
    """Whether two matters of the ground tell a place apart in hardly fewer than all of the first draws."""
    surely = {f.matter for f in one.facts if f.evidence_class == "ground_shape" and f.holds >= _SURELY}
    return one.is_told_apart and len(surely) >= MATTERS_NEEDED
