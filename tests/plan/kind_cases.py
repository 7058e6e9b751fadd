"""Cases for ``test_kinds_decide``: of each kind of statement, places that it fits and that it does not.

What is true where follows from the formulas of the ground; comments work it out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from hillsight.plan.look.glance import Glance
from hillsight.plan.statement import Statement
from hillsight.plan.weighing.statements import Weighing
from plan.made_hills import (
    cone,
    knoll,
    line,
    look,
    plane,
    ridge,
    saddle_crest,
    steps,
    surface_of,
    things_of,
    together,
    told,
    weighing_of,
)


@dataclass(frozen=True)
class Case:
    """A statement, a place where it is true, one where it is not, and one where it is as true.

    The last, ``alike``, differs from the first in other respects than the statement's.
    """

    statement: Statement
    right: Glance
    wrong: Glance
    alike: Glance
    weighing: Weighing


#: Level ground whose edge runs east and west 400 m north of the middle; then it falls for 200 m.
TERRACE = surface_of(together(steps((400, -30), (600, 0)), cone(-700, -600, 60, 150)))

#: Level ground with a round knoll 60 m high at its middle.
ONE_KNOLL = surface_of(together(plane(), cone(0, 0, 60, 150)))


def brow() -> Case:
    # 60 m to the edge, 1.2 km, and 60 m elsewhere along the edge, with a knoll behind the eye.
    weighing = weighing_of()
    places = [look(TERRACE, *place) for place in ((300, 340), (300, -800), (-650, 340))]
    return Case(told("brow", "middle", distance="near"), *places, weighing)


def dead_ground() -> Case:
    # A ditch 33 m deep and 120 m wide, 80 m ahead; ground without one; the ditch, and a top behind the eye.
    ditch = steps((80, -40), (120, 0), (160, 40), (200, 0))
    there = surface_of(ditch)
    again = surface_of(together(ditch, cone(0, -600, 90, 200)))
    places = look(there, 0, 0), look(surface_of(plane()), 0, 0), look(again, 0, 0)
    return Case(told("dead_ground", "middle", extent_m=120), *places, weighing_of())


def _behind_a_bank() -> tuple[list[Glance], Weighing]:
    """Of a knoll to the north: from west of it a bank as high lies before it, from the south and east not."""
    knolls = things_of(knoll("Top", 0, 600))
    bank = ridge(300, 60, lambda east: np.where(east < -100, 80.0, 0.0))
    ground = surface_of(together(plane(), cone(0, 600, 40, 150), bank))
    return [look(ground, *place, knolls) for place in ((200, 0), (-450, 0), (600, 150))], weighing_of(
        knolls, None
    )


def seen() -> Case:
    places, weighing = _behind_a_bank()
    return Case(told("seen", what="Top"), *places, weighing)


def height() -> Case:
    # From the foot of the knoll at 300 m its top stands atan((60 - 1.6) / 300) = 11 degrees above level; from
    # a shelf 100 m up, below level; from the foot on another side as from the first.
    shelf = ridge(-700, 200, lambda east: 150.0 + 0 * east)
    ground = surface_of(together(plane(), cone(0, 0, 60, 150), shelf))
    knolls = things_of(knoll("Top", 0, 0))
    places = [look(ground, *place, knolls) for place in ((0, 300), (0, -700), (300, 0))]
    return Case(told("height", what="Top", stands="well above"), *places, weighing_of(knolls, None))


def against_sky() -> Case:
    # North of the knoll rises a wall of hills: only from the south it stands behind the top.
    hills = ridge(900, 300, lambda east: 250.0 + 0 * east)
    ground = surface_of(together(plane(), cone(0, 0, 60, 150), hills))
    knolls = things_of(knoll("Top", 0, 0))
    places = [look(ground, *place, knolls) for place in ((-400, 0), (0, -400), (400, 0))]
    return Case(told("against_sky", what="Top", stands=True), *places, weighing_of(knolls, None))


def _two_knolls(*places: tuple[float, float], apart_m: float = 300.0) -> tuple[list[Glance], Weighing]:
    """Two equal knolls east and west of the middle."""
    half = apart_m / 2
    knolls = things_of(knoll("West Top", -half, 0), knoll("East Top", half, 0))
    ground = surface_of(together(plane(), cone(-half, 0, 60, 100), cone(half, 0, 60, 100)))
    return [look(ground, *place, knolls) for place in places], weighing_of(knolls, None)


def order() -> Case:
    # From the south the western one is left, from the north right; from farther south it is left still.
    places, weighing = _two_knolls((0, -500), (0, 500), (60, -600))
    return Case(told("order", things=["West Top", "East Top"]), *places, weighing)


def relation() -> Case:
    places, weighing = _two_knolls((0, -500), (0, 500), (60, -600))
    return Case(told("relation", what="East Top", is_="right of", other="West Top"), *places, weighing)


def angle() -> Case:
    # 2 atan(150 / 500) = 33 degrees; 2 atan(150 / 950) = 18; and 33 again from the other side.
    places, weighing = _two_knolls((0, -500), (0, -950), (0, 500))
    return Case(told("angle", what="West Top", other="East Top", degrees=33), *places, weighing)


def vertical_angle() -> Case:
    # atan(58.4 / 400) = 8.3 degrees, atan(58.4 / 900) = 3.7, and 8.3 from another side.
    knolls = things_of(knoll("Top", 0, 0))
    places = [look(ONE_KNOLL, *place, knolls) for place in ((0, -400), (0, -900), (400, 0))]
    return Case(told("vertical_angle", what="Top", degrees=8.3), *places, weighing_of(knolls, None))


def bearing() -> Case:
    # From the south-west the top lies north-east, from the south-east north-west; farther out it is the same.
    knolls = things_of(knoll("Top", 0, 0))
    places = [look(ONE_KNOLL, *place, knolls) for place in ((-400, -400), (400, -400), (-500, -500))]
    return Case(told("bearing", what="Top", degrees=45), *places, weighing_of(knolls, None))


def _skyline(east_m: float, background: float = 0.0) -> Glance:
    """A ridge 1.1 km ahead with a saddle some way east of the eye, and hills behind the eye if wanted."""
    behind = ridge(-900, 200, lambda east: background + 0 * east)
    ground = surface_of(together(plane(), ridge(600, 200, saddle_crest(east_m, half_m=250)), behind))
    return look(ground, 0, -500)


def skyline() -> Case:
    places = _skyline(0), _skyline(-900), _skyline(0, 150)
    return Case(told("skyline", shape="saddle"), *places, weighing_of())


def skyline_points() -> Case:
    # The trace is that of the first place by plane trigonometry: the crest at 1,100 m / cos(bearing).
    off = np.array([-20.0, -8.0, 0.0, 8.0, 20.0])
    away_m = 1_100 / np.cos(np.radians(off))
    crest_m = saddle_crest(0, half_m=250)(away_m * np.sin(np.radians(off))) - 1.6
    up = np.degrees(np.arctan(crest_m / away_m))
    points = [[float(o), float(u) + 3.0] for o, u in zip(off, up, strict=True)]
    places = _skyline(0), _skyline(-350), _skyline(0, 150)
    return Case(told("skyline_points", points=points), *places, weighing_of())


def _crest(crest: Callable[[np.ndarray], np.ndarray], behind_m: float = 0.0) -> Glance:
    """A ridge 600 m ahead, its crest's height by metres east, and hills behind the eye if wanted."""
    behind = ridge(-700, 200, lambda east: behind_m + 0 * east)
    return look(surface_of(together(plane(), ridge(600, 200, crest), behind)), 0, 0)


def high_and_low() -> Case:
    # The crest falls from west to east: at 30 degrees left it is 125 m high, at 30 degrees right 55 m.
    crests = (lambda east: 90 - 0.1 * east), (lambda east: 90 + 0.1 * east)
    places = _crest(crests[0]), _crest(crests[1]), _crest(crests[0], 150)
    return Case(told("high_and_low", highest="left", lowest="right"), *places, weighing_of())


def humps() -> Case:
    # Two tops 110 m high with 60 m between them and to either side; one top; the two, and hills behind.
    def tops(*at_m: float) -> Callable[[np.ndarray], np.ndarray]:
        return lambda east: 60 + sum(50 * np.maximum(0.0, 1.0 - np.abs(east - at) / 100) for at in at_m)

    places = _crest(tops(-150, 150)), _crest(tops(0)), _crest(tops(-150, 150), 150)
    return Case(told("humps", count=2), *places, weighing_of())


def skyline_end() -> Case:
    # Ten degrees right of the middle the crest is 69 m high, 6.4 degrees, thirty degrees right 21 m, 1.7: it
    # falls by 13 degrees.
    crests = (lambda east: np.maximum(90 - 0.2 * east, 0)), (lambda east: 90 + 0.02 * east)
    places = _crest(crests[0]), _crest(crests[1]), _crest(crests[0], 150)
    return Case(told("skyline_end", side="right", runs="falls steeply"), *places, weighing_of())


def _edge(runs: float, behind_m: float = 0.0) -> Glance:
    """Level ground to an edge that runs aslant, 200 m ahead, and a knoll behind the eye if wanted."""
    knoll_behind = cone(0, -600, behind_m, 200)
    edge = lambda east, north: 500 - np.clip(0.6 * (north - 200 - runs * east), 0, 100)  # noqa: E731
    return look(surface_of(together(edge, knoll_behind)), 0, 0)


def two_brows() -> Case:
    # At 15 degrees left an edge that runs so is 200 / (cos 15 + 0.5 sin 15) = 182 m off, right 239 m.
    places = _edge(0.5), _edge(-0.5), _edge(0.5, 90)
    return Case(told("two_brows", nearer="left"), *places, weighing_of())


def two_heights() -> Case:
    # West Top rises 80 m, East Top 40 m: from 500 m south they stand at 8.5 and 4.2 degrees, from close
    # before the lower at atan(78.4 / 373) = 11.9 and atan(38.4 / 139) = 15.4.
    knolls = things_of(knoll("West Top", -150, 0), knoll("East Top", 150, 0))
    ground = surface_of(together(plane(), cone(-150, 0, 80, 100), cone(150, 0, 40, 100)))
    places = [look(ground, *place, knolls) for place in ((0, -500), (200, -130), (0, 500))]
    statement = told("two_heights", what="West Top", stands="higher", other="East Top")
    return Case(statement, *places, weighing_of(knolls, None))


def number() -> Case:
    # Four knolls in a row 400 m ahead; a bank hides three of them from the second place, none from the third.
    knolls = things_of(*(knoll(None, east, 300, 0) for east in (-150, -50, 50, 150)))
    tops = [cone(east, 300, 40, 45) for east in (-150, -50, 50, 150)]
    free = surface_of(together(plane(), *tops))
    hidden = surface_of(together(plane(), *tops, ridge(0, 40, lambda east: np.where(east > -80, 60.0, 0.0))))
    aside = surface_of(together(plane(), *tops, cone(0, -700, 60, 100)))
    places = [look(one, 0, -100, knolls) for one in (free, hidden, aside)]
    return Case(told("number", what="knoll", count=4), *places, weighing_of(knolls, 0.0))


def comes_down() -> Case:
    # A spur falls to the east: seen from the south its lower end is right, from the north left.
    spur = ("Spur", "spur", "ground_shape", 0.0, line((-300, 0), (300, 0)))
    things = things_of(spur)
    ground = surface_of(
        together(plane(), ridge(0, 150, lambda east: np.clip(100 - 0.15 * (east + 300), 5, 100)))
    )
    places = [look(ground, *place, things) for place in ((0, -500), (0, 500), (100, -600))]
    return Case(told("comes_down", what="Spur", to="right"), *places, weighing_of(things, None))


CASES: dict[str, Callable[[], Case]] = {
    made.__name__: made
    for made in (
        brow,
        dead_ground,
        seen,
        height,
        against_sky,
        order,
        relation,
        skyline,
        skyline_points,
        high_and_low,
        humps,
        skyline_end,
        two_brows,
        two_heights,
        number,
        comes_down,
        bearing,
        angle,
        vertical_angle,
    )
}
