"""What finding exercises is asked for."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from hillsight.jobs.requests import OneView, PlacesAndThings
from hillsight.jobs.settling import FileName, Number, Source, Texts


@dataclass(frozen=True, kw_only=True)
class ExerciseFindRequest(PlacesAndThings, OneView):
    """Exercises, or wrong places for one.

    true : the place the picture is from, as ``at``; exercise : a file that says so
    pool : where wrong places are taken from; every : m between spots; within : m about the place
    wrong : how many wrong places an exercise has; grade : how hard it may be, or any
    area : west, south, east, north; theme : what exercises may be about; count : how many; seed : draws them
    steepest : degrees; out : folder to write
    """

    true: str | None
    exercise: FileName | None
    pool: Source
    pool_layer: str | None
    every: Number
    within: Number
    wrong: int
    grade: str | None
    area: str | None
    theme: Texts
    count: int
    seed: int
    steepest: Number
    out: Path | None
