"""What tells places apart, by hand; learners who cannot know, and learners who can."""

from __future__ import annotations

import geopandas
import numpy as np
import pytest

from hillsight.plan.exercise.deciding import holding, telling, within_posts
from hillsight.plan.exercise.learners import learn
from hillsight.plan.look.framing import Framing
from hillsight.plan.look.glance import BEARINGS, Glance
from hillsight.plan.look.things import Things
from hillsight.plan.look.things_seen import ThingsSeen
from hillsight.plan.observer import Observer
from hillsight.plan.statement import Statement
from hillsight.plan.weighing.statements import Weighing

NO_ROWS = np.zeros(0, np.int64)


def test_answers_that_tell_by_hand() -> None:
    """Of two answers 0.6 and 0.4 here, 0.1 and 0.9 there, the first alone is four times as likely here.

    Expected information: 0.6 log2(6) + 0.4 log2(4/9) = 1.551 - 0.468 = 1.083 bits (Kullback and Leibler 1951,
    from memory).
    """
    here, there = np.array([[[0.6, 0.4, np.nan]]]), np.array([[[0.1, 0.9, np.nan]]])
    share, bits = telling(here, there)
    assert share[0, 0] == pytest.approx(0.6)
    assert bits[0, 0] == pytest.approx(1.083, abs=5e-4)
    assert holding(here, there)[0, 0]
    # The other way round 0.9 is no four times 0.4.
    assert telling(there, here)[0][0, 0] == 0.0
    # The picture was taken from where the second is said: what tells is hardly ever said of it.
    assert not holding(here, there, there)[0, 0]


def test_either_of_two_answers_may_tell() -> None:
    """Near by and at middle distance are both said of one place, far off of the other: either will do."""
    here, there = np.array([[[0.48, 0.48, 0.04]]]), np.array([[[0.04, 0.04, 0.92]]])
    assert telling(here, there)[0][0, 0] == pytest.approx(0.96)


def test_off_the_terrain_nothing_holds() -> None:
    known, unknown = np.array([[[0.9, 0.1]]]), np.full((1, 1, 2), np.nan)
    assert not holding(known, unknown).any()
    assert not holding(unknown, known).any()


def view(brow_m: float, skyline_deg: np.ndarray, skyline_m: float = 3_000.0) -> Glance:
    """A place with one brow all round, a skyline and no things."""
    even = np.ones(BEARINGS)
    nothing = ThingsSeen(*(np.zeros(0) for _ in range(15)))
    return Glance(
        *("place", 0.0, 0.0, 100.0, 101.6, 0.0, 10.0, 10_000.0),
        skyline_deg,
        skyline_m * even,
        np.zeros(BEARINGS, bool),
        brow_m * even,
        5.0 * even,
        2.0 * brow_m * even,
        0.0 * even,
        -10.0 * even,
        0.0 * even,
        nothing,
    )


def test_a_brow_within_two_posts_decides_nothing() -> None:
    """Posts stand 10 m apart: of brows at 15 m and at 25 m the model knows the ground before the second."""
    frame = geopandas.GeoDataFrame(
        {"name": [], "kind": [], "evidence_class": [], "target_height_m": []}, geometry=[], crs=27700
    )
    weighing = Weighing(Things.of(frame, 20.0), Framing.of(0.0, 0.5, 60.0, 0.06), Observer())
    near, farther = (view(brow_m, np.zeros(BEARINGS)) for brow_m in (15.0, 25.0))
    brow, skyline = Statement("brow", {"distance": "near"}, "left"), Statement("skyline", {"shape": "flat"})
    assert within_posts(brow, near, weighing)
    assert not within_posts(brow, farther, weighing)
    assert not within_posts(skyline, near, weighing)


def test_learners_of_equal_places_guess() -> None:
    """Half of 2,000 are right, with a standard deviation of 22: five of them are 112."""
    one = view(100.0, np.zeros(BEARINGS))
    table = learn([one], [one, one], NO_ROWS, 0, 0.0, 60.0, 2_000)
    assert table.count == 2_000
    assert abs(table.chosen[0] - 1_000) < 112
    assert table.low < 0.5 < table.high
    four = learn([one], [one] * 4, NO_ROWS, 2, 0.0, 60.0, 2_000)
    assert max(abs(n - 500) for n in four.chosen) < 5 * 19.4


def test_learners_of_unlike_places_see_it() -> None:
    """A brow at 30 m or at 1,500 m, and a skyline that rises by ten degrees to the right or to the left."""
    turn = (np.arange(BEARINGS) * 0.5 + 180.0) % 360.0 - 180.0
    right, left = np.clip(turn, -30, 30) / 6.0, np.clip(-turn, -30, 30) / 6.0
    near, far = view(30.0, right), view(1_500.0, left)
    table = learn([near], [far, near], NO_ROWS, 1, 0.0, 60.0, 500)
    assert table.right > 0.85
    assert table.chosen == learn([near], [far, near], NO_ROWS, 1, 0.0, 60.0, 500).chosen
