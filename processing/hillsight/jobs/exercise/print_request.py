"""What printing of exercises is asked for."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from hillsight.jobs.exercise.request import ExerciseEffort
from hillsight.jobs.settling import Number


@dataclass(frozen=True, kw_only=True)
class ExercisePrintRequest(ExerciseEffort):
    """Sheets of an exercise, or a booklet of a folder of them."""

    out: Path
    sheet_format: str
    map_scale: Number | None
    title: str
    pages: bool
    unsound: bool
