"""What all that is done with an exercise needs: the exercise, and its places on the ground."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hillsight.errors import ExerciseError
from hillsight.ground.crs import horizontal_crs, is_metric, parse_crs
from hillsight.ground.terrain import open_terrain
from hillsight.jobs.exercise.request import ExerciseInput
from hillsight.jobs.inputs import opened, terrain_options
from hillsight.jobs.listener import say_if_compiling
from hillsight.jobs.named_ground import with_named_ground
from hillsight.jobs.requests import PlacesAndThings
from hillsight.jobs.scene import scene_of
from hillsight.jobs.views import SPREAD_DEG
from hillsight.layers.provenance import input_file
from hillsight.plan.exercise.exercise import Exercise
from hillsight.plan.exercise.file import read_exercise
from hillsight.plan.exercise.map_agreement import disagreement, not_shown
from hillsight.plan.exercise.tolerance import STEPS_M
from hillsight.plan.look.drawn import BESIDE_M
from hillsight.plan.look.framing import Framing
from hillsight.plan.observer import Observer
from hillsight.plan.picture.photograph import Photograph, long_picture_notes
from hillsight.words.english import folded

if TYPE_CHECKING:
    import datetime

    from hillsight.jobs.listener import Listener
    from hillsight.jobs.scene import Scene


#: A photograph has so many pixels each way at least.
_LEAST_PX = 64


@dataclass(frozen=True, eq=False)
class ExerciseScene:
    """An exercise on its ground.

    request : with the files that are used, whether the call or the exercise names them
    scene : its stations are the places, in the exercise's order
    looks_true_deg : true bearing of the picture's middle
    """

    exercise: Exercise
    request: ExerciseInput
    scene: Scene
    looks_true_deg: float

    def framing(self) -> Framing:
        """The picture laid over the bearings."""
        return exercise_framing(self.exercise, self.looks_true_deg, self.scene.observer)


def exercise_framing(exercise: Exercise, looks_true_deg: float, observer: Observer) -> Framing:
    """The picture laid over the bearings."""
    return Framing.of(looks_true_deg, SPREAD_DEG, exercise.picture.width_deg, observer.picture_edge)


@contextmanager
def opened_exercise(request: ExerciseInput, listener: Listener) -> Iterator[ExerciseScene]:
    """Open an exercise and the ground it is about; what is in memory is held until the block ends.

    Raises
    ------
    HillsightError : the exercise, the ground or a file that it names is missing or wrong
    """
    exercise = settled_exercise(request.exercise)
    request = with_named_ground(request, exercise, "exercise", ExerciseError)
    photo_notes = _checked_files(exercise)
    places = PlacesAndThings(**_places(request, exercise))
    say_if_compiling(listener)
    with opened(places) as inputs:
        if isinstance(request.exercise, str):
            files = [input_file(request.exercise)]
            named = (exercise.picture.photo, exercise.picture.marks)
            files += [input_file(exercise.beside(name)) for name in named if name is not None]
            inputs = replace(inputs, files=(*files, *inputs.files))
        inputs = replace(inputs, notes=(*inputs.notes, *photo_notes, *_given_away(exercise)))
        scene = agreeing(
            scene_of(
                places, inputs, Observer(), margin_m=STEPS_M[-1] + BESIDE_M, day=_day(exercise.picture.taken)
            )
        )
        looks_deg = scene.true_deg(exercise.picture.looks_deg, exercise.picture.north) % 360.0
        yield ExerciseScene(exercise, request, scene, looks_deg)


def agreeing(scene: Scene) -> Scene:
    """The scene without the tops and saddles of the map that the terrain does not show, which is told."""
    first = scene.inputs.stations[0]
    surface = scene.looker.surface(first.easting_m, first.northing_m)
    left_out = not_shown(scene.things, surface, scene.errors)
    if not left_out.any():
        return scene
    notes = (*scene.inputs.notes, disagreement(scene.things[left_out]))
    return replace(scene, inputs=replace(scene.inputs, notes=notes), things=scene.things[~left_out])


def settled_exercise(given: Any) -> Exercise:
    """An exercise, or that of a file.

    Raises
    ------
    ExerciseError : neither, or as ``read_exercise``
    """
    if isinstance(given, Exercise):
        return given
    if not isinstance(given, str):
        raise ExerciseError(
            f"a {type(given).__name__} is no exercise",
            remedy="Give the name of a file",
            parameters=("exercise",),
        )
    return read_exercise(given)


def _checked_files(exercise: Exercise) -> list[str]:
    """Whether photograph and marks are there, before the work; what is to be said of the photograph."""
    for what, name in (("photograph", exercise.picture.photo), ("file of marks", exercise.picture.marks)):
        if name is not None and not Path(exercise.beside(name)).is_file():
            raise ExerciseError(
                f"the {what} {name} is not there",
                where=exercise.source,
                remedy="Correct its name, or leave it out to show a drawn view",
            )
    if exercise.picture.photo is None:
        return []
    photograph = Photograph.open(exercise.beside(exercise.picture.photo))
    sides_px = photograph.width_px, photograph.height_px
    if min(sides_px) < _LEAST_PX:
        raise ExerciseError(
            f"the photograph {exercise.picture.photo} has {sides_px[0]} x {sides_px[1]} pixels: nothing can "
            "be read off it",
            where=exercise.source,
            remedy=f"Give one of {_LEAST_PX} pixels or more each way, or leave it out to show a drawn view",
        )
    return long_picture_notes(photograph.width_px, photograph.height_px)


def _given_away(exercise: Exercise) -> list[str]:
    """Warnings where title or question name the true place and not all others."""
    found = []
    for what, text in (("title", exercise.title), ("question", exercise.question)):
        named = [_names(text, place.name) for place in exercise.places]
        if named[exercise.truth()] and not all(named):
            found.append(
                f"the exercise's {what}, {text!r}, names the true place, and stands on the question sheet: "
                "word it so that it gives nothing away"
            )
    return found


def _names(text: str, name: str) -> bool:
    """Whether a text holds a name as words of their own."""
    return re.search(rf"(?<!\w){re.escape(folded(name))}(?!\w)", folded(text)) is not None


def _places(request: ExerciseInput, exercise: Exercise) -> dict[str, Any]:
    """Parameters of a request whose stations are the places."""
    at_crs = _places_crs(request, exercise)
    at = tuple((place.easting_m, place.northing_m, place.name) for place in exercise.places)
    shared = {field.name for field in fields(PlacesAndThings)} & {field.name for field in fields(request)}
    return {
        **{name: getattr(request, name) for name in shared},
        "stations": None,
        "station_layer": None,
        "at": at,
        "at_crs": at_crs,
        "eye_height": exercise.picture.eye_height_m,
    }


def _places_crs(request: ExerciseInput, exercise: Exercise) -> str | None:
    """CRS of the places; None for the terrain's own.

    Raises
    ------
    ExerciseError : it does not count in metres
    """
    if exercise.crs is not None:
        told = parse_crs(exercise.crs, "the CRS of the places")
        if not is_metric(horizontal_crs(told)):
            raise ExerciseError(
                f"the places are in {exercise.crs}, which does not count in metres on a grid",
                where=exercise.source,
                remedy="Give their eastings and northings, and the CRS of that grid",
            )
        return exercise.crs
    if not isinstance(request.terrain, str):
        return request.grid_crs
    source = open_terrain(request.terrain, terrain_options(request))
    if is_metric(horizontal_crs(source.source_crs)):
        return None
    if request.grid_crs is None:
        raise ExerciseError(
            "the terrain does not count in metres, and the exercise does not say the CRS of its places",
            where=exercise.source,
            remedy='Add it, as in crs = "EPSG:32632"',
        )
    return request.grid_crs


def _day(taken: datetime.datetime | datetime.date | None) -> datetime.date | None:
    return None if taken is None else getattr(taken, "date", lambda: taken)()
