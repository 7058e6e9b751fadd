"""Whether an exercise has exactly one defensible answer."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hillsight.errors import CallError, OutputError
from hillsight.jobs.exercise.request import ExerciseCheckRequest, ExerciseEffort
from hillsight.jobs.exercise.scene import exercise_framing, opened_exercise
from hillsight.jobs.input_files import named_files
from hillsight.jobs.listener import SILENT, Listener
from hillsight.jobs.outputs import provenance_of, write_text
from hillsight.jobs.results import Result
from hillsight.layers.atomic import check_place, together
from hillsight.layers.exercise_json import soundness_json
from hillsight.plan.exercise.checking import Effort, check
from hillsight.plan.look.things import Things
from hillsight.plan.relocation.relocation import check_candidates
from hillsight.plan.relocation.summary import cut_short
from hillsight.plan.weighing.statements import Weighing

if TYPE_CHECKING:
    from hillsight.ground.stations import Station
    from hillsight.jobs.scene import Scene
    from hillsight.plan.exercise.exercise import Exercise
    from hillsight.plan.exercise.soundness import Soundness
    from hillsight.plan.look.glance import Glance

#: Fewest and most draws, and learners.
_DRAWS, _LEARNERS = (16, 1024), (50, 20_000)


@dataclass(frozen=True, eq=False)
class Judged:
    """An exercise, checked.

    glances : from each place over the terrain model as it is, in the exercise's order
    weighing : what statements are weighed with, its framing that of the picture
    """

    exercise: Exercise
    soundness: Soundness
    scene: Scene
    stations: tuple[Station, ...]
    glances: tuple[Glance, ...]
    weighing: Weighing
    looks_true_deg: float


@dataclass(frozen=True, eq=False, kw_only=True)
class ExerciseCheck(Result):
    """What was found; there are no layers and no rasters."""

    judged: Judged

    @property
    def is_sound(self) -> bool:
        """Whether there is exactly one defensible answer."""
        return self.judged.soundness.is_sound


def judge(
    exercise: Exercise,
    scene: Scene,
    looks_true_deg: float,
    *,
    stations: Sequence[Station] | None = None,
    things: Things | None = None,
    glances: Sequence[Glance] | None = None,
    effort: Effort | None = None,
    listener: Listener = SILENT,
) -> Judged:
    """Check an exercise whose ground is open.

    Parameters
    ----------
    scene : whose stations are the places, unless ``stations`` are given
    looks_true_deg : true bearing of the picture's middle
    things, glances : of the scene and from the stations, where they are at hand
    effort : how much work; ``Effort()`` if not given

    Raises
    ------
    StationError : a place is off the terrain, or two are one
    """
    chosen = tuple(scene.inputs.stations if stations is None else stations)
    check_candidates(chosen)
    if things is None:
        terrain = scene.inputs.terrain
        things = Things.of(scene.things, 2 * min(terrain.spacing_x_m, terrain.spacing_y_m))
    if glances is None:
        with listener.work("looking") as advance:
            glances = scene.looker.look_all(chosen, things, advance)
    weighing = Weighing(
        things,
        exercise_framing(exercise, looks_true_deg, scene.observer),
        scene.observer,
        scene.declination_deg,
    )
    with listener.work("checking") as advance:
        soundness = check(
            scene.looker,
            chosen,
            called(exercise, glances),
            exercise.truth(),
            weighing,
            looks_true_deg,
            effort if effort is not None else Effort(),
            advance,
        )
    return Judged(exercise, soundness, scene, chosen, tuple(glances), weighing, looks_true_deg)


def called(exercise: Exercise, glances: Sequence[Glance]) -> list[Glance]:
    """Glances called by their places' letters and names, as sentences speak of them."""
    return [replace(one, label=exercise.called(number)) for number, one in enumerate(glances)]


def exercise_check(
    exercise: Any,
    *,
    terrain: Any = None,
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
    reach: float = 10_000.0,
    refraction: float = 0.13,
    features: Any = (),
    feature_layer: Sequence[str] | str = (),
    evidence: str | Path | None = None,
    landforms: Any = None,
    scales: Sequence[float] | float = (),
    terrain_product: str | None = None,
    terrain_error: float | None = None,
    error_correlation: float | None = None,
    between_posts: str = "unknown",
    draws: int = 128,
    learners: int = 500,
    report: str | Path | None = None,
    json_file: str | Path | None = None,
    listener: Listener = SILENT,
) -> ExerciseCheck:
    """Say whether an exercise has exactly one answer that the shape of the ground defends, and what decides.

    Parameters
    ----------
    exercise : a file, or an ``Exercise``
    terrain : a raster file, a ``Raster`` or an xarray DataArray; the exercise's own if not given
    reach : m on the grid
    features : vector files or GeoDataFrames, one or several; the exercise's own if not given
    landforms : True to read them, a GeoPackage that ``landforms`` wrote, or its frames
    draws : of the terrain's errors, the spot and the eye
    learners : how many are simulated
    report : file (.html or .md) to write it to; json_file : the same for machines
    listener : hears of progress and notes

    docs/scripts/exercise-check.md tells of the rest.

    Raises
    ------
    HillsightError : bad input, or a file cannot be written
    """
    return run_exercise_check(ExerciseCheckRequest.of(locals()), listener)


@together()
def run_exercise_check(request: ExerciseCheckRequest, listener: Listener = SILENT) -> ExerciseCheck:
    """Do what a request asks for; see :func:`exercise_check`."""
    _check_request(request)
    notes: list[str] = []

    def tell(text: str) -> None:
        notes.append(text)
        listener.note(text)

    with opened_exercise(request, listener) as made:
        for text in made.scene.notes:
            tell(text)
        effort = effort_of(request)
        judged = judge(made.exercise, made.scene, made.looks_true_deg, effort=effort, listener=listener)
        for text in cut_short(called(judged.exercise, judged.glances), judged.weighing.framing):
            tell(text)
        provenance = replace(
            provenance_of("exercise check", made.request.told(), made.scene.inputs), notes=tuple(notes)
        )
        paths = made.scene.inputs.paths
        files: dict[str, tuple[Path, ...]] = {}
        if request.report is not None:
            from hillsight.sheets.exercise.soundness_page import soundness_html, soundness_markdown

            credit = f"{provenance.script}, {', '.join(file.name for file in provenance.inputs)}"
            write = soundness_markdown if request.report.suffix.lower() == ".md" else soundness_html
            write_text(request.report, write(judged.exercise, judged.soundness, credit), paths)
            files["report"] = (request.report,)
        if request.json_file is not None:
            content = soundness_json(judged.exercise, judged.soundness, json.loads(provenance.as_json()))
            write_text(request.json_file, json.dumps(content, indent=2, allow_nan=False) + "\n", paths)
            files["json_file"] = (request.json_file,)
        return ExerciseCheck(
            frames={}, rasters={}, notes=tuple(notes), provenance=provenance, files=files, judged=judged
        )


def effort_of(request: ExerciseEffort) -> Effort:
    """How much work is asked for.

    Raises
    ------
    CallError : too few or too many draws or learners
    """
    for name, (least, most) in (("draws", _DRAWS), ("learners", _LEARNERS)):
        if not least <= getattr(request, name) <= most:
            raise CallError(
                f"{getattr(request, name):,} {name} make no check",
                remedy=f"Give a number from {least} to {most:,}",
                parameters=(name,),
            )
    return Effort(request.draws, request.learners)


def _check_request(request: ExerciseCheckRequest) -> None:
    """Refuse what makes no sense before the work.

    Raises
    ------
    CallError, OutputError : too few or too many draws; a place that cannot be written to
    """
    effort_of(request)
    for file in (request.report, request.json_file):
        if file is not None:
            check_place(file, inputs=named_files(request))
    report = request.report
    if report is not None and report.suffix.lower() not in (".html", ".htm", ".md"):
        raise OutputError(
            "a report is HTML or Markdown",
            where=str(report),
            remedy="End the name in .html or .md",
            parameters=("report",),
        )
    if (
        report is not None
        and request.json_file is not None
        and report.resolve() == request.json_file.resolve()
    ):
        raise OutputError(
            "one file is named for two results",
            where=str(report),
            remedy="Name each apart",
            parameters=("report", "json_file"),
        )
