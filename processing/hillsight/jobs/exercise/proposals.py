"""Whole exercises proposed on a piece of ground."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import CallError, StationError
from hillsight.jobs.exercise.ground import ExerciseGround
from hillsight.jobs.exercise.judging import Judge
from hillsight.jobs.exercise.made import Found, Made
from hillsight.jobs.wanted import amid
from hillsight.plan.exercise.at_a_glance import AtAGlance
from hillsight.plan.exercise.exercise import Exercise, ExercisePicture, ExercisePlace
from hillsight.plan.exercise.pool import lattice
from hillsight.plan.exercise.proposing import TRUE_APART_M, Proposer, Tally, exercises_by_turns
from hillsight.plan.exercise.themes import SPUR_AND_STREAM, THEMES, Across, contrasts

if TYPE_CHECKING:
    from collections.abc import Callable

    from hillsight.jobs.exercise.find_request import ExerciseFindRequest
    from hillsight.jobs.inputs import Inputs
    from hillsight.jobs.listener import Listener
    from hillsight.plan.exercise.pool import Pool
    from hillsight.plan.exercise.proposing import Proposal

#: Places looked at quickly, and the least they stand apart.
_PLACES, _LEAST_APART_M = 900, 40.0

#: Directions tried from each place, degrees apart.
_TURN_DEG = 15.0

#: An area has at least this side, and at most that.
_LEAST_SIDE_M, _MOST_SIDE_M = 600.0, 20_000.0


def proposed(
    request: ExerciseFindRequest, inputs: Inputs, listener: Listener, tell: Callable[[str], None]
) -> Found:
    """As many sound exercises as are asked for, or as the ground has.

    Raises
    ------
    HillsightError : an area off the terrain, nowhere to stand, no theme on it, none of it sound
    """
    box_m = _box_m(request, inputs)
    themes = request.theme or THEMES
    ground = ExerciseGround.of(request, inputs, box_m, landforms_needed=True)
    for text in ground.scene.inputs.notes:
        tell(text)
    pool = _places(box_m, request.seed)
    stands = ground.standing(pool)
    if not stands.allowed.any():
        raise StationError(
            f"there is nowhere to stand: of {len(pool):,} places, {stands.words()}",
            where="area",
            remedy="Give an area on the terrain, on land that is less steep",
            parameters=("area", "at", "steepest"),
        )
    pool = pool.kept(stands.allowed)
    with listener.work("quick looks") as advance:
        looks = ground.quick(pool, advance)
    directions_deg = np.arange(0.0, 360.0, _TURN_DEG)
    across = Across(looks, directions_deg, request.width)
    proposer = Proposer(
        looks,
        AtAGlance.of(looks, directions_deg, request.width),
        contrasts(across, ground.marks(looks)),
        np.ones(len(pool), bool),
        lambda direction, theme, at: ground.looker(direction, at if theme == SPUR_AND_STREAM else None),
        request.wrong,
        request.seed,
    )
    promising = {theme: proposer.promising(theme) for theme in themes}
    if not any(promising.values()):
        raise StationError(
            f"no theme is found on this ground: of {len(pool):,} places none has a view one way that "
            f"{request.wrong} others have the other way",
            where="area",
            remedy="Give a larger area, fewer wrong places, or any theme",
            parameters=("area", "theme", "wrong"),
        )
    tally, judge, made = Tally(), Judge(ground, request.grade), list[Made]()

    def judged(proposal: Proposal) -> bool:
        kept = judge.kept(
            _exercise(request, pool, looks_m=proposer.spot(proposal.number), proposal=proposal),
            list(proposal.wrong),
            request.wrong,
        )
        if kept is None:
            tally.dropped[judge.why] += 1
            return False
        made.append(replace(kept, about=proposal.about))
        return True

    with listener.work("exercises") as advance:
        exercises_by_turns(
            proposer, [theme for theme in themes if promising[theme]], request.count, judged, tally, advance
        )
    lines = _lines(request, len(pool), stands.words(), promising, tally)
    if not made:
        raise StationError(
            "no exercise is sound: " + " ".join(lines),
            where="area",
            remedy="Give a larger area, fewer wrong places, or another seed",
            parameters=("area", "theme", "wrong", "seed"),
        )
    if len(made) < request.count:
        tell(_fewer(request.count, len(made), tally))
    return Found(made, lines)


def _fewer(wanted: int, made: int, tally: Tally) -> str:
    """Why fewer exercises came out than were asked for."""
    tried = sum(tally.looked_at.values())
    text = f"{made} of {wanted} exercises were found, though all true spots were tried ({tried:,} views)"
    for why, count in tally.dropped.most_common(1):
        text += f"; most often, {count:,} times, {why}"
    return f"{text}. Give a larger area, fewer wrong places, or any theme and grade"


def _exercise(
    request: ExerciseFindRequest, pool: Pool, *, looks_m: tuple[float, float], proposal: Proposal
) -> Exercise:
    return Exercise(
        title=f"{proposal.theme[0].upper()}{proposal.theme[1:]}",
        picture=ExercisePicture(proposal.direction_deg, "true", request.width, request.eye_height),
        places=(
            ExercisePlace(pool.names[proposal.number], *looks_m, is_true=True),
            *(ExercisePlace(pool.names[one.number], one.easting_m, one.northing_m) for one in proposal.wrong),
        ),
        seed=request.seed,
        theme=proposal.theme,
    )


def _places(box_m: tuple[float, float, float, float], seed: int) -> Pool:
    """A lattice over the area, laid where the seed has it, to whole metres."""
    west, south, east, north = box_m
    every_m = max(math.sqrt((east - west) * (north - south) / _PLACES), _LEAST_APART_M)
    random = np.random.default_rng((seed, 0))
    pool = lattice(box_m, every_m, (float(random.random()), float(random.random())))
    return replace(pool, easting_m=np.round(pool.easting_m), northing_m=np.round(pool.northing_m))


def _box_m(request: ExerciseFindRequest, inputs: Inputs) -> tuple[float, float, float, float]:
    """West, south, east and north of the area, cut at the terrain's edge.

    Raises
    ------
    CallError : no four numbers, or too small or large
    StationError : off the terrain
    """
    if request.area is not None:
        parts = request.area.split(",")
        try:
            west, south, east, north = (float(part) for part in parts)
        except ValueError:
            raise CallError(
                f"{request.area!r} is no area",
                remedy='Write "west,south,east,north" in the terrain\'s grid',
                parameters=("area",),
            ) from None
    else:
        (middle_e, middle_n), spread_m = amid(inputs.stations)
        side_m = spread_m + request.within
        west, south = middle_e - side_m, middle_n - side_m
        east, north = middle_e + side_m, middle_n + side_m
    if not (east > west and north > south):
        raise CallError(
            f"the area has no width or no height: {request.area!r}",
            remedy='Write "west,south,east,north", the smaller numbers first',
            parameters=("area",),
        )
    left, bottom, right, top = inputs.terrain.bounds_m
    cut = max(west, left), max(south, bottom), min(east, right), min(north, top)
    if not (cut[2] > cut[0] and cut[3] > cut[1]):
        raise StationError(
            f"the area lies off the terrain, which spans E {left:.0f} to {right:.0f}, "
            f"N {bottom:.0f} to {top:.0f}",
            where=request.area or "area",
            remedy="Give an area on the terrain",
            parameters=("area", "at"),
        )
    sides_m = cut[2] - cut[0], cut[3] - cut[1]
    if min(sides_m) < _LEAST_SIDE_M or max(sides_m) > _MOST_SIDE_M:
        raise CallError(
            f"the area is {sides_m[0]:,.0f} m by {sides_m[1]:,.0f} m",
            remedy=f"Give sides of {_LEAST_SIDE_M:,.0f} to {_MOST_SIDE_M:,.0f} m",
            parameters=("area", "within"),
        )
    return cut


def _lines(
    request: ExerciseFindRequest, places: int, passed_over: str, promising: dict[str, int], tally: Tally
) -> list[str]:
    """What was tried, in sentences."""
    judged, sound = sum(tally.judged.values()), sum(tally.sound.values())
    lines = [
        f"{places:,} places to stand" + (f" (passed over: {passed_over})" if passed_over else "") + ".",
        f"{sum(tally.looked_at.values()):,} true spots looked at, {judged} exercises judged, {sound} sound; "
        f"no two true spots within {TRUE_APART_M:.0f} m.",
    ]
    lines += [
        f"- {theme}: {tally.sound[theme]} sound of {tally.judged[theme]} judged"
        + ("" if promising[theme] else "; this ground has none")
        for theme in (request.theme or THEMES)
    ]
    lines += [f"- dropped {count}: {why}" for why, count in tally.dropped.most_common(4)]
    return lines
