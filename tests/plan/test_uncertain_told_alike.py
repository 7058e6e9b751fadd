"""What a bearing list calls uncertain, no fact of a verdict calls flatly out of view, or seen.

The list and the facts are made apart: the list by ``reading``, the facts from a glance.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from hillsight.ground.accuracy import ErrorModel
from hillsight.plan.weighing.facts import fact
from hillsight.reading.things.bearing_list import bearing_list
from hillsight.reading.view import View
from hillsight.sight.viewing import Viewing
from plan.made_hills import (
    EAST_M,
    GEODESY,
    NORTH_M,
    frame_of,
    heading_index,
    knoll,
    look,
    surface_of,
    things_of,
    told,
    weighing_of,
)
from terrains import fractal
from views import reading_of

ERRORS = replace(ErrorModel(1.0, 30.0), feature_position_m=5.0)
NAMES = [f"Point {k}" for k in range(40)]


@pytest.fixture(scope="module")
def told_twice():
    """Of each point its state on the list, its chance, and what facts say where a picture looks at it."""
    random = np.random.default_rng(4)
    posts = fractal(121, 121, seed=4, relief_m=100.0)
    surface = surface_of(lambda east, north: posts, half_m=600.0)
    named = [knoll(name, *random.uniform(-500, 500, 2)) for name in NAMES]
    things = things_of(*named)
    place = look(surface, 0.0, 0.0, things, eye_height_m=10.0, errors=ERRORS, reach_m=2_000.0)
    viewing = Viewing(10.0, 0.0, 2_000.0, 1.0)
    feet_m = surface.height_at_m(EAST_M, NORTH_M)
    view = View.from_station(surface, EAST_M, NORTH_M, feet_m, viewing, GEODESY)
    listed = bearing_list(view, frame_of(named), reading_of(view).lines, errors=ERRORS).frame
    listed = listed.set_index("name")
    found = {}
    for name in NAMES:
        bearing_deg = float(listed.loc[name, "bearing_true_deg"])
        weighing = weighing_of(things, bearing_deg)
        direction = heading_index(weighing, bearing_deg)
        statements = (told("seen", what=name), told("bearing", what=name, degrees=10.0))
        found[name] = listed.loc[name], [fact(one, place, weighing, direction).words for one in statements]
    return found


def test_facts_are_as_sure_as_the_list(told_twice):
    counts = {"uncertain": 0, "hidden": 0, "visible": 0}
    for row, words in told_twice.values():
        counts[row["state"]] += 1
        for one in words:
            if row["state"] == "uncertain":
                assert "is out of view" not in one and "shows at" not in one
            if row["state"] == "visible":
                assert "out of view" not in one and "may" not in one
            if row["state"] == "hidden":
                assert "is out of view" in one
    assert min(counts.values()) >= 3  # each state is there to be told


def test_a_kind_is_told_alike(told_twice):
    """Where the likeliest of a kind is in doubt, so is whether any is in view."""
    row, _ = max(told_twice.values(), key=lambda pair: pair[0]["seen_probability"])
    assert row["state"] == "visible"
    doubtful = next(row.name for row, _ in told_twice.values() if 0.1 < row["seen_probability"] < 0.25)
    random = np.random.default_rng(4)
    posts = fractal(121, 121, seed=4, relief_m=100.0)
    surface = surface_of(lambda east, north: posts, half_m=600.0)
    places = dict(zip(NAMES, random.uniform(-500, 500, (len(NAMES), 2)), strict=True))
    things = things_of(knoll(None, *places[doubtful]))
    place = look(surface, 0.0, 0.0, things, eye_height_m=10.0, errors=ERRORS, reach_m=2_000.0)
    weighing = weighing_of(things, 0.0)
    words = fact(told("seen", what="knoll"), place, weighing, heading_index(weighing, 0.0)).words
    assert words == "perhaps no knoll is in view"
