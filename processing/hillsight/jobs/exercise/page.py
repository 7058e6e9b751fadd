"""An exercise as one page that a club can put on its site."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hillsight.errors import OutputError
from hillsight.jobs.exercise.camera import photograph_camera
from hillsight.jobs.exercise.check import effort_of, judge
from hillsight.jobs.exercise.laid_out import shown_of
from hillsight.jobs.exercise.request import ExercisePageRequest
from hillsight.jobs.exercise.scene import opened_exercise
from hillsight.jobs.exercise.shown import page_data
from hillsight.jobs.input_files import named_files
from hillsight.jobs.listener import SILENT, Listener
from hillsight.jobs.named_ground import ground_files
from hillsight.jobs.outputs import named, provenance_of, write_text
from hillsight.jobs.results import Result
from hillsight.layers.atomic import check_place
from hillsight.words.english import listed

if TYPE_CHECKING:
    from hillsight.jobs.exercise.check import Judged
    from hillsight.jobs.exercise.scene import ExerciseScene

_PAGES = (".html", ".htm")


@dataclass(frozen=True, eq=False, kw_only=True)
class ExercisePage(Result):
    """A page to answer an exercise on; there are no layers and no rasters.

    html : the page
    judged : what was found of the exercise
    """

    html: str
    judged: Judged

    @property
    def is_sound(self) -> bool:
        """Whether the exercise has exactly one defensible answer."""
        return self.judged.soundness.is_sound


def exercise_page(
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
    out: str | Path | None = None,
    listener: Listener = SILENT,
) -> ExercisePage:
    """One page with the question of an exercise, and its answer packed; it asks nothing of the network.

    Parameters
    ----------
    exercise : a file, or an ``Exercise``
    terrain : a raster file, a ``Raster`` or an xarray DataArray; the exercise's own if not given
    reach : m on the grid
    features : vector files or GeoDataFrames, one or several; the exercise's own if not given
    landforms : True to read them, a GeoPackage that ``landforms`` wrote, or its frames
    draws, learners : how thoroughly it is checked, as ``exercise_check`` has it
    out : page to write
    listener : hears of progress and notes

    docs/scripts/exercise-page.md tells of the rest.

    Raises
    ------
    HillsightError : bad input, or the file cannot be written
    """
    return run_exercise_page(ExercisePageRequest.of(locals()), listener)


def run_exercise_page(request: ExercisePageRequest, listener: Listener = SILENT) -> ExercisePage:
    """Do what a request asks for; see :func:`exercise_page`."""
    from hillsight.sheets.exercise.page import exercise_html

    _check(request)
    effort = effort_of(request)
    notes: list[str] = []

    def tell(text: str) -> None:
        notes.append(text)
        listener.note(text)

    with opened_exercise(request, listener) as made:
        for text in made.scene.notes:
            tell(text)
        judged = judge(made.exercise, made.scene, made.looks_true_deg, effort=effort, listener=listener)
        for text in judged.soundness.reasons:
            tell(f"the exercise is not sound: {text}")
        camera = photograph_camera(made, tell)
        provenance = replace(
            provenance_of("exercise page", made.request.told(), made.scene.inputs), notes=tuple(notes)
        )
        shown = shown_of(judged, request.refraction, camera)
        html = exercise_html(page_data(shown, _made_of(made), provenance.as_json()))
        if request.out is not None:
            write_text(request.out, html, made.scene.inputs.paths)
    return ExercisePage(
        frames={},
        rasters={},
        notes=tuple(notes),
        provenance=provenance,
        files={} if request.out is None else {"out": (request.out,)},
        html=html,
        judged=judged,
    )


def _check(request: ExercisePageRequest) -> None:
    """Refuse a place that cannot be written to before the work.

    Raises
    ------
    OutputError : it cannot, is an input, or is no page
    """
    if request.out is None:
        return
    check_place(request.out, inputs=named_files(request))
    if request.out.suffix.lower() not in _PAGES:
        raise OutputError(
            "the page is HTML", where=str(request.out), remedy="End the name in .html", parameters=("out",)
        )


def _made_of(made: ExerciseScene) -> str:
    """Terrain and map of the page, and nothing that gives the answer away, as a photograph's name may."""
    names = [named(one) for one in ground_files(made.request)]
    return f"Made by hillsight exercise page from {listed(names)}."
