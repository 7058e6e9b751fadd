"""Look-alikes for an exercise, or whole exercises proposed on a piece of ground."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hillsight.errors import CallError
from hillsight.jobs.exercise.files import ExerciseFiles, answers, check_folder
from hillsight.jobs.exercise.find_request import ExerciseFindRequest
from hillsight.jobs.exercise.proposals import proposed
from hillsight.jobs.exercise.true_spot import found_about, true_spot
from hillsight.jobs.inputs import opened
from hillsight.jobs.listener import SILENT, Listener, say_if_compiling
from hillsight.jobs.outputs import provenance_of
from hillsight.jobs.results import Result
from hillsight.layers.atomic import together
from hillsight.plan.exercise.exercise import GRADES
from hillsight.plan.exercise.standing import CAUTIONS
from hillsight.plan.exercise.themes import THEMES

if TYPE_CHECKING:
    from hillsight.plan.exercise.exercise import Exercise

#: Bounds of what is asked for, with their units in words.
_BOUNDS = (
    ("width", 10.0, 180.0, "degrees"),
    ("every", 10.0, 5_000.0, "m"),
    ("within", 300.0, 20_000.0, "m"),
    ("steepest", 5.0, 60.0, "degrees"),
    ("wrong", 1, 9, "wrong places"),
    ("count", 1, 200, "exercises"),
    ("seed", 0, 2**31 - 1, ""),
)


@dataclass(frozen=True, eq=False, kw_only=True)
class FoundExercises(Result):
    """Exercises that were found; their layer is ``exercise_places``.

    exercises : sound ones, in the order of their files
    lines : a report in sentences
    """

    exercises: tuple[Exercise, ...]
    lines: tuple[str, ...]


def exercise_find(
    terrain: Any,
    *,
    true: str | None = None,
    exercise: str | Path | None = None,
    looks: str | float | None = None,
    width: float = 60.0,
    pool: Any = "grid",
    pool_layer: str | None = None,
    every: float = 100.0,
    within: float = 3_000.0,
    wrong: int = 3,
    grade: str | None = None,
    area: str | None = None,
    stations: Any = None,
    station_layer: str | None = None,
    at: Sequence[Any] | str = (),
    at_crs: str | None = None,
    theme: Sequence[str] | str = (),
    count: int = 5,
    seed: int = 1,
    steepest: float = 35.0,
    eye_height: float = 1.6,
    reach: float = 10_000.0,
    refraction: float = 0.13,
    features: Any = (),
    feature_layer: Sequence[str] | str = (),
    evidence: str | Path | None = None,
    landforms: Any = None,
    scales: Sequence[float] | float = (),
    terrain_crs: str | None = None,
    band: int | None = None,
    vertical_unit: str | None = None,
    nodata: float | None = None,
    grid_crs: str | None = None,
    surface: Any = None,
    cover: Any = (),
    cover_layer: Sequence[str] | str = (),
    cover_heights: str | Path | None = None,
    leaf: str = "on",
    terrain_product: str | None = None,
    terrain_error: float | None = None,
    error_correlation: float | None = None,
    between_posts: str = "unknown",
    out: str | Path | None = None,
    listener: Listener = SILENT,
) -> FoundExercises:
    """Find wrong places that look like a true one, or propose whole exercises on a piece of ground.

    Parameters
    ----------
    terrain : a raster file, a ``Raster`` or an xarray DataArray
    true : the place the picture is from, "easting,northing"; or ``exercise``, a file that tells it
    looks : where the picture looks, a point of the compass or true degrees; width : degrees
    pool : where wrong places are taken from: "tops", "paths", "grid", or a vector file
    every : m between spots along lines or on a grid; within : m about the true place
    wrong : how many wrong places; grade : "easy", "moderate" or "hard"
    area : instead of ``true``, "west,south,east,north" to propose exercises in; or ``at`` with ``within``
    theme : what they may be about; count : how many; seed : another one gives other exercises
    steepest : ground steeper than this, degrees, is no place to stand
    out : folder to write exercise files, the layer of places and a report to
    listener : hears of progress and notes

    docs/scripts/exercise-find.md tells of the rest.

    Raises
    ------
    HillsightError : bad input, nothing found, or the folder cannot be written
    """
    return run_exercise_find(ExerciseFindRequest.of(locals()), listener)


@together()
def run_exercise_find(request: ExerciseFindRequest, listener: Listener = SILENT) -> FoundExercises:
    """Do what a request asks for; see :func:`exercise_find`."""
    _check(request)
    if request.out is not None:
        check_folder(request)
    notes: list[str] = []

    def tell(text: str) -> None:
        if text not in notes:
            notes.append(text)
            listener.note(text)

    spot = true_spot(request)
    asked = request if spot is None else spot.asked_of(request)
    with opened(asked, places_needed=spot is not None) as inputs:
        for text in inputs.notes:
            tell(text)
        say_if_compiling(listener)
        found = (
            proposed(asked, inputs, listener, tell)
            if spot is None
            else found_about(asked, inputs, spot, listener, tell)
        )
        for text in CAUTIONS:
            tell(text)
        provenance = replace(provenance_of("exercise find", request.told(), inputs), notes=tuple(notes))
        files = ExerciseFiles(
            request.out,
            inputs,
            provenance,
            asked.terrain,
            asked.features,
            asked.surface,
            asked.cover,
        )
        frames, written = files.write(found)
    return FoundExercises(
        frames=frames,
        rasters={},
        notes=tuple(notes),
        provenance=provenance,
        files=written,
        exercises=tuple(one.exercise for one in found.made),
        lines=(*found.lines, *answers(frames["exercise_places"])),
    )


def _check(request: ExerciseFindRequest) -> None:
    """Refuse what makes no sense before the work."""
    for name, least, most, unit in _BOUNDS:
        if not least <= getattr(request, name) <= most:
            raise CallError(
                f"{name} is {getattr(request, name):g} {unit}".rstrip(),
                remedy=f"Give a number from {least:,} to {most:,}",
                parameters=(name,),
            )
    if request.grade is not None and request.grade not in GRADES:
        raise CallError(
            f"no exercise is graded {request.grade!r}",
            remedy=f"The grades are {', '.join(GRADES)}",
            parameters=("grade",),
        )
    for name in request.theme:
        if name not in THEMES:
            raise CallError(
                f"no theme is called {name!r}",
                remedy="The themes are: " + "; ".join(THEMES),
                parameters=("theme",),
            )
    by_spot = request.true is not None or request.exercise is not None
    by_area = request.area is not None or request.stations is not None or bool(request.at)
    if by_spot == by_area:
        raise CallError(
            "a true place and an area are asked for at once"
            if by_spot
            else "neither a true place nor an area is given",
            remedy="Give the place that the picture is from, or the area to propose exercises in",
            parameters=("true", "exercise", "area", "at"),
        )
    if request.true is not None and request.exercise is not None:
        raise CallError(
            "the true place is given twice",
            remedy="Give the place, or the exercise file that holds it",
            parameters=("true", "exercise"),
        )
