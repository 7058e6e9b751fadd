"""Exercises as sheets of paper: question and answer, or a folder of them as one booklet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hillsight.errors import CallError, ExerciseError, OutputError
from hillsight.ground.small_files import read_small
from hillsight.jobs.exercise.camera import photograph_camera
from hillsight.jobs.exercise.check import effort_of, judge
from hillsight.jobs.exercise.laid_out import shown_of
from hillsight.jobs.exercise.print_request import ExercisePrintRequest
from hillsight.jobs.exercise.scene import opened_exercise, settled_exercise
from hillsight.jobs.exercise.sheets import sheet_data
from hillsight.jobs.exercise.shown import page_data
from hillsight.jobs.input_files import named_files
from hillsight.jobs.listener import SILENT, Listener
from hillsight.jobs.named_ground import ground_files
from hillsight.jobs.outputs import check_folder, named, provenance_of, write_text
from hillsight.jobs.results import Result
from hillsight.layers.atomic import check_place, made_folder, together
from hillsight.plan.exercise.file import FORMAT
from hillsight.words.english import listed

if TYPE_CHECKING:
    from hillsight.jobs.exercise.check import Judged
    from hillsight.jobs.exercise.scene import ExerciseScene
    from hillsight.layers.provenance import Provenance
    from hillsight.sheets.exercise.sheet_data import SheetData

#: What sheets can be written as.
FORMATS = ("pdf", "svg", "png")

#: Denominators between which extracts are drawn.
_SCALES = (10_000.0, 50_000.0)


@dataclass(frozen=True, eq=False, kw_only=True)
class ExercisePrint(Result):
    """Sheets of exercises; there are no layers and no rasters.

    judged : what was found of each exercise, in the order of the booklet
    is_printed : whether sheets were written; not where an exercise is unsound, unless that was allowed
    """

    judged: tuple[Judged, ...]
    is_printed: bool

    @property
    def is_sound(self) -> bool:
        """Whether each exercise has exactly one defensible answer."""
        return all(one.soundness.is_sound for one in self.judged)


def exercise_print(
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
    out: str | Path,
    sheet_format: str = "pdf",
    map_scale: float | None = None,
    title: str = "Exercises",
    pages: bool = False,
    unsound: bool = False,
    listener: Listener = SILENT,
) -> ExercisePrint:
    """Question and answer of an exercise as sheets of paper; of a folder of exercises one booklet.

    Parameters
    ----------
    exercise : a file, an ``Exercise``, or a folder of exercise files
    terrain : a raster file, a ``Raster`` or an xarray DataArray; the exercise's own if not given
    reach : m on the grid
    features : vector files or GeoDataFrames, one or several; the exercise's own if not given
    landforms : True to read them, a GeoPackage that ``landforms`` wrote, or its frames
    draws, learners : how thoroughly it is checked, as ``exercise_check`` has it
    out : a folder, or one PDF for all pages
    sheet_format : pdf, svg or png, for a folder
    map_scale : of the map extracts, 25_000 for 1:25,000; chosen if not given
    title : of a booklet
    pages : write each exercise as ``exercise_page`` does too, into the folder
    unsound : print exercises too that have more than one defensible answer
    listener : hears of progress and notes

    docs/scripts/exercise-print.md tells of the rest.

    Raises
    ------
    HillsightError : bad input, or a file cannot be written
    """
    return run_exercise_print(ExercisePrintRequest.of(locals()), listener)


@together()
def run_exercise_print(request: ExercisePrintRequest, listener: Listener = SILENT) -> ExercisePrint:
    """Do what a request asks for; see :func:`exercise_print`."""
    from hillsight.sheets.exercise.page import exercise_html

    _check(request)
    effort = effort_of(request)
    exercises = _exercises(request.exercise)
    notes: list[str] = []

    def tell(text: str) -> None:
        if text not in notes:
            notes.append(text)
            listener.note(text)

    judged: list[Judged] = []
    sheets: list[SheetData] = []
    pages: list[str] = []
    made_from: list[Provenance] = []
    for exercise in exercises:
        with opened_exercise(replace(request, exercise=exercise), listener) as made:
            for text in made.scene.notes:
                tell(text)
            found = judge(made.exercise, made.scene, made.looks_true_deg, effort=effort, listener=listener)
            for text in found.soundness.reasons:
                tell(f"{made.exercise.title} is not sound: {text}")
            provenance = provenance_of("exercise print", made.request.told(), made.scene.inputs)
            if found.soundness.is_sound or request.unsound:
                shown = shown_of(found, request.refraction, photograph_camera(made, tell))
                words = _made_of(made), provenance.as_json()
                first = made_from[0] if made_from else provenance
                harmless = _of_question(made, replace(provenance, written_at=first.written_at))
                sheet = sheet_data(shown, request.map_scale, *words)
                sheets.append(replace(sheet, of_question=harmless.as_json()))
                if request.pages:
                    pages.append(exercise_html(page_data(shown, *words)))
            judged.append(found)
            made_from.append(provenance)
    is_printed = len(sheets) == len(exercises)
    if not is_printed:
        tell("nothing is printed: an answer that others can defend as well is worse than none")
    inputs = {file.path: file for provenance in made_from for file in provenance.inputs}
    whole = replace(made_from[0], inputs=tuple(inputs.values()), notes=tuple(notes))
    files = _write(request, sheets, pages, whole) if is_printed else ()
    return ExercisePrint(
        frames={},
        rasters={},
        notes=tuple(notes),
        provenance=whole,
        files={"out": files} if files else {},
        judged=tuple(judged),
        is_printed=is_printed,
    )


def _exercises(given: Any) -> list[Any]:
    """One exercise, or all of a folder in the order of their names.

    Raises
    ------
    ExerciseError : the folder has none
    """
    if not (isinstance(given, str) and Path(given).is_dir()):
        return [settled_exercise(given)] if not isinstance(given, str) else [given]
    files = sorted(path for path in Path(given).iterdir() if path.suffix.lower() == ".toml")
    found = [str(path) for path in files if _is_exercise(path)]
    if not found:
        raise ExerciseError(
            f"the folder has no exercises among its {len(files)} .toml files" if files
            else "the folder has no .toml files",
            where=given,
            remedy="Name a folder of exercise files, or one such file",
            parameters=("exercise",),
        )  # fmt: skip
    return found


def _is_exercise(path: Path) -> bool:
    """Whether a file says that it is an exercise; what else is wrong with it is told when it is read."""
    try:
        return FORMAT in read_small(path).decode("utf-8", errors="replace")
    except OSError:
        return True


def _is_one_file(request: ExercisePrintRequest) -> bool:
    return request.out.suffix.lower() == ".pdf" and not request.out.is_dir()


def _check(request: ExercisePrintRequest) -> None:
    """Refuse what makes no sense before the work.

    Raises
    ------
    CallError, OutputError : a format or a scale that there is not; a place that cannot be written to
    """
    if request.sheet_format not in FORMATS:
        raise CallError(
            f"sheets are not written as {request.sheet_format!r}",
            remedy=f"Give one of {', '.join(FORMATS)}",
            parameters=("sheet_format",),
        )
    if request.map_scale is not None and not _SCALES[0] <= request.map_scale <= _SCALES[1]:
        raise CallError(
            f"an extract at 1:{request.map_scale:,.10g} is not drawn",
            remedy=f"Give a number from {_SCALES[0]:.0f} to {_SCALES[1]:.0f}, such as 25000",
            parameters=("map_scale",),
        )
    if _is_one_file(request):
        if request.sheet_format != "pdf" or request.pages:
            raise OutputError(
                "one file for all sheets is a PDF",
                where=str(request.out),
                remedy="Name a folder for SVG, PNG or HTML pages",
                parameters=("out", "sheet_format", "pages"),
            )
        check_place(request.out, inputs=named_files(request))
    elif request.out.suffix.lower() in (".svg", ".png", ".toml") and not request.out.is_dir():
        raise OutputError(
            "sheets are several pages",
            where=str(request.out),
            remedy="Name a folder, or one file that ends in .pdf",
            parameters=("out",),
        )
    elif request.out.exists() and not request.out.is_dir():
        raise OutputError(
            "this is a file, and a folder is needed",
            where=str(request.out),
            remedy="Name another place",
            parameters=("out",),
        )
    else:
        check_folder(request.out)


def _write(
    request: ExercisePrintRequest, sheets: list[SheetData], pages: list[str], whole: Provenance
) -> tuple[Path, ...]:
    """All files, by name; ``whole`` is what a booklet says of itself."""
    from hillsight.sheets.exercise.answer_sheet import answer_pages
    from hillsight.sheets.exercise.booklet import booklet_pages, number_pages, numbered
    from hillsight.sheets.exercise.question_sheet import question_pages
    from hillsight.sheets.paper.saving import About, save_page, save_pages

    is_folder = isinstance(request.exercise, str) and Path(request.exercise).is_dir()
    if is_folder:
        sheets = numbered(sheets)
    if _is_one_file(request):
        if is_folder:
            made, about = booklet_pages(sheets, request.title), About(request.title, whole.as_json())
        else:
            made = [*question_pages(sheets[0]), *answer_pages(sheets[0])]
            number_pages(made)
            about = About(f"Question and answer: {sheets[0].title}", sheets[0].provenance)
        return (save_pages(made, request.out, about=about),)
    made_folder(request.out)
    written = []
    for one in sheets:
        end = "" if one.number is None else f"-{one.number}"
        for name, made, about in (
            ("question", question_pages(one), About(f"Question: {one.title}", one.of_question)),
            ("answer", answer_pages(one), About(f"Answer: {one.title}", one.provenance)),
        ):
            number_pages(made)
            if request.sheet_format == "pdf":
                written.append(save_pages(made, request.out / f"{name}{end}.pdf", about=about))
                continue
            for count, page in enumerate(made, 1):
                path = request.out / f"{name}{end}-page-{count}.{request.sheet_format}"
                written.append(save_page(page, path, about=about))
    for one, html in zip(sheets, pages, strict=False):
        path = request.out / f"page{'' if one.number is None else f'-{one.number}'}.html"
        write_text(path, html, named_files(request))
        written.append(path)
    if is_folder and request.sheet_format == "pdf":
        about = About(request.title, whole.as_json())
        made = booklet_pages(sheets, request.title)
        written.append(save_pages(made, request.out / "booklet.pdf", about=about))
    return tuple(written)


#: What a question's file may say of how it was made, of the parameters; the terrain and the map besides.
_HARMLESS = (
    *("terrain_crs", "band", "vertical_unit", "nodata", "grid_crs", "reach", "refraction", "leaf"),
    *("terrain", "surface", "features", "feature_layer", "cover", "cover_layer", "map_scale"),
)


def _of_question(made: ExerciseScene, provenance: Provenance) -> Provenance:
    """What of it may stand in a question's file: not the exercise, its photograph or its marks.

    Neither their names nor their checksums: with another place marked as true it is the same.
    """
    request = made.request
    named_here = [request.terrain, request.surface, *request.features, *request.cover]
    return replace(
        provenance,
        parameters={name: provenance.parameters[name] for name in _HARMLESS if name in provenance.parameters},
        inputs=tuple(file for file in provenance.inputs if file.path in named_here),
        notes=(),
    )


def _made_of(made: ExerciseScene) -> str:
    """Terrain and map of the sheets, and nothing that gives the answer away, as a photograph's name may."""
    names = [named(one) for one in ground_files(made.request)]
    return f"Made by hillsight exercise print from {listed(names)}."
