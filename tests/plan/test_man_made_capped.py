"""Man-made features second the ground: a wall moves the odds little, a knoll more.

The caps follow from ``observer``: told where it plainly shows in 0.72, where none shows in 0.12 of
pictures, so 6 to 1 at most; told to be absent in 0.90 and 0.45, so 2 to 1 at most. A hair is left for
rounding.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from hillsight.plan.look.framing import Framing
from hillsight.plan.look.glance import Glance
from hillsight.plan.look.things import Things
from hillsight.plan.observer import Observer
from hillsight.plan.relocation.posterior import Calibration, base_rates
from hillsight.plan.statement import Statement
from hillsight.plan.vocabulary import SURENESS
from hillsight.plan.weighing.statements import Weighing, judgements, matters, wrong_chances
from plan.made_hills import cone, knoll, look, plane, ridge, surface_of, things_of, together, told, wall

#: Most that a wall told to be there, and one told to be away, may move the odds of two places.
PRESENT, ABSENT = 6.1, 2.1

OBSERVER = Observer()
FRAMING = Framing.of(0.0, 2.0, 60.0, OBSERVER.picture_edge)

#: A wall and a knoll 200 m and 400 m ahead of the first place; a bank hides both from the second.
_BANK = ridge(100, 40, lambda east: np.where(east > 300, 60.0, 0.0))
SURFACE = surface_of(
    together(plane(), cone(0, 400, 40, 100), cone(600, 400, 40, 100), cone(-700, 400, 30, 100), _BANK)
)
THINGS = things_of(
    wall("Long Wall", (-60, 200), (60, 200)),
    wall(None, (-60, 200), (60, 200)),
    wall("Far Wall", (540, 200), (660, 200)),
    knoll("Top", 0, 400),
    knoll(None, 0, 400),
)
SHOWS = look(SURFACE, 0, 0, THINGS, label="shows")
HIDES = look(SURFACE, 600, 0, THINGS, label="hides")
WEIGHING = Weighing(THINGS, FRAMING, OBSERVER)


def odds(statements: list[Statement], weighing: Weighing = WEIGHING) -> float:
    """How many times likelier they make the one place than the other, whichever; both stand for elsewhere."""
    fits = np.array([weighing.fits(statements, place) for place in (SHOWS, HIDES)])
    prior = weighing.framing.prior
    table = Calibration(
        base_rates(fits[:, None], np.ones((2, 1), bool), prior),
        wrong_chances(statements),
        matters(statements, weighing.things),
        judgements(statements, weighing.things),
        prior,
        weighing.observer.mistaken,
    ).table(fits[:, None])
    shows, hides = table.without()
    return float(np.exp(abs(shows - hides)))


def of_wall(kind: str, **values: Any) -> Statement:
    return told(kind, "anywhere", "certain", **values)


PRESENCES = [
    of_wall("seen", what="Long Wall"),
    of_wall("seen", what="Long Wall", within_m=250.0),
    of_wall("height", what="Long Wall", stands="level"),
    of_wall("height", what="Long Wall", metres_above=0.0, give_or_take_m=1.0),
    of_wall("against_sky", what="Long Wall", stands=False),
    of_wall("bearing", what="Long Wall", degrees=0.0, give_or_take_deg=1.0),
    of_wall("vertical_angle", what="Long Wall", degrees=0.0),
    of_wall("relation", what="Long Wall", is_="in front of", other="Top"),
    of_wall("relation", what="Top", is_="behind", other="Long Wall"),
    of_wall("angle", what="Long Wall", other="Top", degrees=0.0),
    of_wall("order", things=["Long Wall", "Top"]),
]


@pytest.mark.parametrize("statement", PRESENCES, ids=lambda s: f"{s.kind}-{len(s.values)}")
def test_a_wall_that_is_told_of_is_capped(statement: Statement) -> None:
    assert WEIGHING.evidence_class(statement) == "man_made"
    assert odds([statement]) <= PRESENT


def test_the_cap_is_all_but_reached_where_a_wall_plainly_shows() -> None:
    assert odds([of_wall("seen", what="Long Wall")]) > 4.0


@pytest.mark.parametrize("what", ["Long Wall", "Far Wall"])
def test_a_wall_that_is_not_seen_is_capped(what: str) -> None:
    assert odds([of_wall("seen", what=what, seen=False)]) <= ABSENT


@pytest.mark.parametrize("count", [0, 1, 2, 3, 6])
def test_walls_that_are_counted_are_capped(count: int) -> None:
    assert odds([of_wall("number", what="wall", count=count)]) <= (PRESENT if count else ABSENT)


def test_walls_that_are_gone_leave_the_odds_moved_but_a_little() -> None:
    assert 1.5 < odds([of_wall("seen", what="Long Wall", seen=False)]) <= ABSENT


def test_all_kinds_told_of_one_wall_may_be_mistaken_together() -> None:
    told_of_it = [one for one in PRESENCES if one.things == ("Long Wall",)]
    # However many kinds deny it, the other place is as likely as if all of them were mistaken at once.
    ratio = odds(told_of_it)
    assert ratio > PRESENT
    assert ratio <= 2.0 ** len(told_of_it) / OBSERVER.mistaken


@pytest.mark.parametrize(
    "statement",
    [
        of_wall("seen", what="Top"),
        of_wall("seen", what="Top", seen=False),
        of_wall("height", what="Top", stands="well above"),
        of_wall("against_sky", what="Top", stands=True),
    ],
    ids=lambda s: s.kind,
)
def test_the_same_said_of_a_knoll_moves_more(statement: Statement) -> None:
    of_it = replace(statement, values={**statement.values, "what": "Long Wall"})
    present = statement.values.get("seen", True)
    assert odds([statement]) > (PRESENT if present else ABSENT)
    assert odds([statement]) > odds([of_it])


def test_the_ground_itself_moves_more() -> None:
    assert odds([of_wall("brow", distance="none")]) > PRESENT


@pytest.mark.parametrize("sure", SURENESS)
def test_no_sureness_lifts_the_cap(sure: str) -> None:
    assert odds([told("seen", "anywhere", sure, what="Long Wall")]) <= PRESENT
    assert odds([told("seen", "anywhere", sure, what="Long Wall", seen=False)]) <= ABSENT


def test_a_kind_that_takes_in_a_wall_is_trusted_as_a_wall() -> None:
    mixed: Things = things_of(knoll(None, 0, 400), ("", "knoll", "man_made", 1.0, knoll(None, 0, 400)[4]))
    assert mixed.evidence_class("knoll") == "man_made"


def test_places_see_what_is_said() -> None:
    def chance(place: Glance, what: str) -> float:
        return float(place.things.chance[THINGS.rows(what)].max())

    assert min(chance(SHOWS, "Long Wall"), chance(SHOWS, "Top")) > 0.99
    assert chance(HIDES, "Far Wall") < 0.01
