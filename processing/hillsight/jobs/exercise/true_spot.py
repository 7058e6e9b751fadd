"""Look-alikes for a true place that is given: from a pool, alike at a glance, told apart by the ground."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.errors import CallError, FeatureError, HillsightError, StationError
from hillsight.ground.vector import carried, read_layer
from hillsight.jobs.exercise.ground import ExerciseGround
from hillsight.jobs.exercise.judging import Judge
from hillsight.jobs.exercise.made import Found
from hillsight.jobs.named_ground import with_named_cover
from hillsight.jobs.outputs import named
from hillsight.jobs.scene import direction_deg
from hillsight.plan.exercise.at_a_glance import AtAGlance
from hillsight.plan.exercise.exercise import GRADES, Exercise, ExercisePicture, ExercisePlace
from hillsight.plan.exercise.file import read_exercise
from hillsight.plan.exercise.judgement import JUDGEMENTS
from hillsight.plan.exercise.look_alikes import APART_M, alike_first, look_alikes
from hillsight.plan.exercise.pool import Pool, along_ways, lattice, named_tops, of_shapes, spot_name
from hillsight.plan.vocabulary import COMPASS
from hillsight.words.angles import bearing_words

if TYPE_CHECKING:
    from collections.abc import Callable

    from hillsight.jobs.exercise.find_request import ExerciseFindRequest
    from hillsight.jobs.inputs import Inputs
    from hillsight.jobs.listener import Listener
    from hillsight.plan.exercise.look_alikes import LookAlike

#: More places than are wanted are judged at once, so that those that are not told apart can be dropped.
_SPARE = 4

POOLS = ("tops", "paths", "grid")
"""Pools that need no file of their own."""


@dataclass(frozen=True)
class TrueSpot:
    """The place that a picture is from, as it is given.

    at : one of what ``at`` takes; crs : that it is in, None for the terrain's
    told : the exercise that tells of it, or None
    """

    at: Any
    crs: str | None
    looks: str
    width_deg: float
    eye_height_m: float
    told: Exercise | None = None

    def asked_of(self, request: ExerciseFindRequest) -> ExerciseFindRequest:
        """The request about this place and this picture, with the cover that the exercise tells of."""
        return replace(
            request if self.told is None else with_named_cover(request, self.told),
            at=(self.at,),
            at_crs=self.crs,
            looks=self.looks,
            width=self.width_deg,
            eye_height=self.eye_height_m,
        )


def true_spot(request: ExerciseFindRequest) -> TrueSpot | None:
    """The true place asked for; None where an area is.

    Raises
    ------
    HillsightError : no such exercise file, or no direction
    """
    told = None if request.exercise is None else read_exercise(request.exercise)
    if told is not None:
        place, picture = told.places[told.truth()], told.picture
        if picture.north != "true" and request.looks is None:
            raise CallError(
                f"the picture's direction is counted from {picture.north} north",
                where=str(request.exercise),
                remedy="Give it from true north",
                parameters=("looks",),
            )
        return TrueSpot(
            (place.easting_m, place.northing_m, place.name),
            request.at_crs if told.crs is None else told.crs,
            request.looks or repr(picture.looks_deg),
            picture.width_deg,
            picture.eye_height_m,
            told,
        )
    if request.true is None:
        return None
    if request.looks is None:
        raise CallError(
            "nothing tells where the picture looks",
            remedy="Give a point of the compass or true degrees",
            parameters=("looks",),
        )
    return TrueSpot(request.true, request.at_crs, request.looks, request.width, request.eye_height)


def found_about(
    request: ExerciseFindRequest,
    inputs: Inputs,
    spot: TrueSpot,
    listener: Listener,
    tell: Callable[[str], None],
) -> Found:
    """The exercise made of a true place and the best of its look-alikes.

    Raises
    ------
    HillsightError : an empty pool, all of it too near, unlike or not told apart
    """
    station = inputs.stations[0]
    true_m = station.easting_m, station.northing_m
    box_m = (
        true_m[0] - request.within,
        true_m[1] - request.within,
        true_m[0] + request.within,
        true_m[1] + request.within,
    )
    ground = ExerciseGround.of(request, inputs, box_m, landforms_needed=False)
    for text in ground.scene.inputs.notes:
        tell(text)
    own = Pool(np.array(true_m[:1]), np.array(true_m[1:]), (station.name or spot_name(*true_m),))
    _check_true(ground, own, station.label, request.steepest)
    pool = _pool(request, inputs, ground, box_m)
    stands = ground.standing(pool)
    away_m = np.hypot(pool.easting_m - true_m[0], pool.northing_m - true_m[1])
    usable = stands.allowed & (away_m >= APART_M)
    words = f"{len(pool):,} places in the pool" + (
        f"; passed over: {stands.words()}" if stands.words() else ""
    )
    if not usable.any():
        raise StationError(
            f"of {words}, and of those left none lies {APART_M:.0f} m from the true place",
            where=named(request.pool),
            remedy="Give a larger pool, or places farther off",
            parameters=("pool", "within"),
        )
    # The true place comes first, so that it is measured as they are.
    kept = pool.kept(usable)
    all_of = Pool(
        np.concatenate((own.easting_m, kept.easting_m)),
        np.concatenate((own.northing_m, kept.northing_m)),
        own.names + kept.names,
    )
    with listener.work("quick looks") as advance:
        looks = ground.quick(all_of, advance)
    heading = direction_deg(request.looks) or 0.0
    unlike = AtAGlance.of(looks, np.array([heading]), request.width).unlikeness(0, 0)
    numbers = alike_first(true_m, all_of.easting_m, all_of.northing_m, unlike, np.ones(len(all_of), bool))
    with listener.work("close looks") as advance:
        looker = ground.looker(heading)
        found = look_alikes(looker, true_m, numbers, all_of.easting_m, all_of.northing_m, unlike, advance)
    if looker.is_cut(true_m):
        tell(
            "from the true place the terrain ends, or has a void, in the picture: what stands beyond is not "
            "known, and the skyline there may stand higher; give more terrain, or look another way"
        )
    words += (
        f"; {len(kept):,} may be used, {len(numbers)} of them look alike and lie {APART_M:.0f} m apart, and "
        f"the ground tells {len(found)} of those from the true place"
    )
    uncut = [one for one in found if not looker.is_cut((one.easting_m, one.northing_m))]
    if len(uncut) < len(found):
        words += f"; from {len(found) - len(uncut)} of them the terrain ends in the picture, so they are left"
    chosen = _chosen(uncut, request)
    if not chosen:
        raise StationError(
            f"no look-alike is left: {words}",
            where=named(request.pool),
            remedy="Give a larger pool, or another direction",
            parameters=("pool", "within", "looks"),
        )
    picture = _picture(request, spot, heading)
    # The title stands on the question sheet: it must not say where.
    title = spot.told.title if spot.told is not None else f"A picture looking {_way(heading)}"
    exercise = Exercise(
        title=title,
        picture=picture,
        places=(
            ExercisePlace(own.names[0], *true_m, is_true=True),
            *(ExercisePlace(all_of.names[one.number], one.easting_m, one.northing_m) for one in chosen),
        ),
        seed=request.seed,
        question=Exercise.question if spot.told is None else spot.told.question,
        theme="" if spot.told is None else spot.told.theme,
        source="" if spot.told is None else spot.told.source,
    )
    judge = Judge(ground, request.grade)
    judged = judge.kept(exercise, chosen, request.wrong)
    if judged is None:
        raise StationError(
            f"no sound exercise can be made of it: {words}; {_told(judge, request.wrong)}; {judge.why}",
            where=named(request.pool),
            remedy="Give a larger pool, another direction, or fewer wrong places",
            parameters=("pool", "within", "looks", "wrong"),
        )
    return Found([judged], [f"{words}; {_told(judge, request.wrong)}."])


def _way(heading_deg: float) -> str:
    """A direction as a point of the compass where it is one, else in degrees."""
    points = [name for name, degrees in COMPASS.items() if degrees == heading_deg % 360.0]
    return points[0] if points else f"{bearing_words(heading_deg)} true"


def _told(judge: Judge, wanted: int) -> str:
    """How many wrong places were judged, and how many of them are left."""
    return (
        f"{judge.judged} of them were judged in draws, {judge.told} are told apart surely enough, and "
        f"{min(wanted, judge.told)} of {wanted} wanted are taken"
    )


def _check_true(ground: ExerciseGround, own: Pool, label: str, steepest_deg: float) -> None:
    stands = ground.standing(own)
    if not stands.allowed[0]:
        why = stands.words().removeprefix("1 ")
        raise StationError(
            f"the true place is {why}" + (f" than {steepest_deg:g} degrees" if stands.too_steep[0] else ""),
            where=label,
            remedy="Move it to where somebody may stand",
            parameters=("true", "steepest"),
        )


def _pool(
    request: ExerciseFindRequest,
    inputs: Inputs,
    ground: ExerciseGround,
    box_m: tuple[float, float, float, float],
) -> Pool:
    """The pool asked for, within reach of the true place.

    Raises
    ------
    HillsightError : an empty one
    """
    surface = ground.far.surface
    east, north = ground.middle_m
    word = request.pool if isinstance(request.pool, str) else ""
    if word == "grid":
        pool = lattice(box_m, request.every, (0.0, 0.0))
    elif word in POOLS:
        if inputs.features is None:
            raise CallError(
                f"{word} are taken from map features, and none are given",
                remedy="Name a file of map features, or another pool",
                parameters=("features", "pool"),
            )
        pool = (
            named_tops(inputs.features)
            if word == "tops"
            else along_ways(inputs.features, surface, request.every)
        )
    else:
        pool = _of_layer(request.pool, request.pool_layer, inputs, ground, request.every)
    near = pool.within(east, north, request.within)
    if not len(near):
        raise FeatureError(
            f"none of {len(pool):,} places lies within {request.within:,.0f} m of the true place"
            if len(pool)
            else "there is no place in it",
            where=named(request.pool),
            remedy="Give another pool, or look farther about the true place; check its CRS",
            parameters=("pool", "within"),
        )
    return near


def _of_layer(source: Any, layer: str | None, inputs: Inputs, ground: ExerciseGround, every_m: float) -> Pool:
    """Points, lines or areas of a file."""
    frame, _ = read_layer(source, layer, inputs.terrain.crs)
    try:
        here = carried(frame, inputs.terrain.crs, inputs.terrain.near)
    except HillsightError as error:
        raise FeatureError(
            error.what, where=named(source), remedy=error.remedy, parameters=("pool",)
        ) from error
    column = next((name for name in here.columns if str(name).casefold() == "name"), None)
    names = [
        "" if column is None else str(v) if isinstance(v := row, str) else ""
        for row in (here[column] if column is not None else [None] * len(here))
    ]
    try:
        return of_shapes(list(here.geometry), names, ground.far.surface, every_m)
    except CallError as error:
        raise FeatureError(
            "no line or area in it lies on known ground of the terrain",
            where=named(source),
            remedy="Give a pool on the terrain, and check its CRS",
            parameters=("pool",),
        ) from error


def _chosen(found: list[LookAlike], request: ExerciseFindRequest) -> list[LookAlike]:
    """The look-alikes to judge: the most alike first, or those that suit the grade asked for."""
    ordered = list(found)
    if request.grade is not None:
        suits = GRADES.index(request.grade)
        ordered.sort(key=lambda one: abs(JUDGEMENTS.index(one.judgement) - suits))
    return ordered[: request.wrong + _SPARE]


def _picture(request: ExerciseFindRequest, spot: TrueSpot, heading_deg: float) -> ExercisePicture:
    if spot.told is None:
        return ExercisePicture(heading_deg, "true", request.width, request.eye_height)
    own = spot.told.picture
    return ExercisePicture(
        heading_deg, "true", own.width_deg, own.eye_height_m, own.photo, own.marks, own.taken
    )
