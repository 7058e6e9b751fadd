"""What lies beyond the reach, or behind a void, is not said to be out of view: nobody has looked.

Whether a thing lies within the reach is plain distance; on level ground all that is within it is in sight.
"""

from __future__ import annotations

import numpy as np
import pytest

from hillsight.plan.relocation.summary import cautions, cut_short
from hillsight.plan.statement import Sighting, Statement
from hillsight.plan.weighing.facts import fact
from plan.made_hills import (
    Glance,
    knoll,
    look,
    plane,
    surface_of,
    things_of,
    told,
    weighing_of,
)

THINGS = things_of(knoll("Near Top", 0, 300), knoll("Far Top", 0, 800), knoll(None, 50, 800))
LEVEL = surface_of(plane())

#: The same with a band of voids from 100 to 200 m north.
VOIDS = surface_of(lambda east, north: np.where((north > 100) & (north < 200), np.nan, plane()(east, north)))


def words_of(place: Glance, statement: Statement) -> str:
    weighing = weighing_of(THINGS)
    return fact(statement, place, weighing, int(np.argmax(weighing.framing.prior))).words


SHORT = look(LEVEL, 0, 0, THINGS, reach_m=500.0)
LONG = look(LEVEL, 0, 0, THINGS)
BEHIND_VOIDS = look(VOIDS, 0, 0, THINGS)


@pytest.mark.parametrize(
    "statement",
    [
        told("seen", what="Far Top"),
        told("against_sky", what="Far Top"),
        told("height", what="Far Top", stands="level"),
        told("bearing", what="Far Top", degrees=0),
        told("two_heights", what="Far Top", stands="as high", other="Near Top"),
        told("two_heights", what="Near Top", stands="as high", other="Far Top"),
        told("order", things=["Near Top", "Far Top"]),
    ],
)
def test_beyond_the_reach(statement: Statement) -> None:
    assert words_of(SHORT, statement) == "Far Top lies beyond the reach"
    assert "reach" not in words_of(LONG, statement)
    assert words_of(BEHIND_VOIDS, statement).endswith("Top cannot be judged, for want of terrain")


def test_of_a_kind_one_within_the_reach_is_enough() -> None:
    knolls = look(LEVEL, 0, 0, THINGS, reach_m=200.0)
    assert words_of(knolls, told("seen", what="knoll")) == "no knoll lies within the reach"
    assert "reach" not in words_of(SHORT, told("seen", what="knoll"))
    assert words_of(BEHIND_VOIDS, told("seen", what="knoll")) == "no knoll can be judged, for want of terrain"


def cautions_of(*glances: Glance) -> list[str]:
    sighting = Sighting(statements=(told("seen", what="Near Top"), told("seen", what="Far Top")))
    return [text for text in cautions(sighting, glances, weighing_of(THINGS)) if "taken not" in text]


def test_a_caution_says_from_where_a_name_cannot_be_judged() -> None:
    assert cautions_of(LONG, LONG) == []
    [of_some] = cautions_of(SHORT, LONG)
    assert of_some.startswith(
        "statement 2: from A Far Top lies beyond the reach, and is taken not to be seen"
    )
    [of_all] = cautions_of(SHORT, SHORT)
    assert of_all.startswith("statement 2: from every place Far Top lies beyond the reach")
    assert [text.split(":")[0] for text in cautions_of(BEHIND_VOIDS, LONG)] == ["statement 1", "statement 2"]


def test_a_view_that_ends_at_a_void_is_told_of() -> None:
    north = weighing_of(THINGS).framing
    assert cut_short([SHORT], north) == []
    voids = look(VOIDS, 0, 0, THINGS, reach_m=500.0)
    [of_voids] = cut_short([SHORT, voids], north)
    assert "on 100 % from A; all beyond is unknown" in of_voids
    # The terrain ends 1 km to the north, the reach 5 km.
    [of_two] = cut_short([LONG, LONG], north)
    assert "on 100 % from A and 100 % from A;" in of_two
    [of_all] = cut_short([LONG] * 4, north)
    assert "on up to 100 % from every place;" in of_all
