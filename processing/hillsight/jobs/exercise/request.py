"""What is asked of an exercise."""

from __future__ import annotations

from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from hillsight.jobs.requests import (
    WRITTEN,
    CoverInput,
    EvidenceInput,
    LandformsInView,
    TerrainDoubts,
    TerrainInput,
)
from hillsight.jobs.settling import Number, Source


@dataclass(frozen=True, kw_only=True)
class ExerciseInput(TerrainInput, CoverInput, EvidenceInput, LandformsInView, TerrainDoubts):
    """An exercise, and the ground it is about; the exercise names what is not given here.

    exercise : a file, or the exercise itself
    """

    exercise: Source
    terrain: Source | None
    reach: Number
    refraction: Number

    def told(self) -> dict[str, Any]:
        """The parameters by name, without where results are written."""
        return {f.name: getattr(self, f.name) for f in fields(self) if f.name not in WRITTEN}


@dataclass(frozen=True, kw_only=True)
class ExerciseEffort(ExerciseInput):
    """An exercise that is checked: in how many draws, and with how many simulated learners."""

    draws: int
    learners: int


@dataclass(frozen=True, kw_only=True)
class ExerciseCheckRequest(ExerciseEffort):
    """Whether an exercise has exactly one defensible answer."""

    report: Path | None
    json_file: Path | None


@dataclass(frozen=True, kw_only=True)
class ExercisePageRequest(ExerciseEffort):
    """An exercise as a page to answer it on."""

    out: Path | None
