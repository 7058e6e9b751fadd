"""The course cut into stretches: lengths add up, and ground run over again is one piece."""

from __future__ import annotations

import numpy as np
import pytest

from hillsight.plan.posts.course import Course, Stretches, cut


def _course(*places: tuple[float, float], laps: int = 1) -> Course:
    easting_m, northing_m = np.array(places, np.float64).T
    return Course("made", easting_m, northing_m, laps)


def _held(stretches: Stretches, course: Course, length_m: float) -> None:
    """What holds of every cut: no gap, no overlap, no stretch too long, numbers without a gap."""
    assert stretches.from_m[0] == 0.0
    assert stretches.to_m[-1] == pytest.approx(course.length_m)
    np.testing.assert_allclose(stretches.from_m[1:], stretches.to_m[:-1])
    assert (stretches.length_m > 0).all()
    assert (stretches.length_m <= length_m + 1e-6).all()
    assert set(stretches.piece.tolist()) == set(range(stretches.pieces))
    assert (np.diff(stretches.piece[stretches.first]) > 0).all()
    assert stretches.piece_weight_m().sum() == pytest.approx(course.length_m)


def test_a_straight_line_is_cut_evenly() -> None:
    course = _course((0, 0), (1000, 0))
    found = cut(course, 20.0)
    _held(found, course, 20.0)
    assert len(found.piece) == found.pieces == 50
    np.testing.assert_allclose(found.easting_m, np.arange(10.0, 1000.0, 20.0))
    np.testing.assert_allclose(found.northing_m, 0.0)


@pytest.mark.parametrize("beside_m", [0.0, 4.0])
def test_out_and_back_is_one_ground(beside_m: float) -> None:
    """The way back, also some metres beside the way out, lies on its pieces and is cut where they are."""
    course = (
        _course((0, 0), (1000, 0), (1000, beside_m), (0, beside_m))
        if beside_m
        else _course((0, 0), (1000, 0), (0, 0))
    )
    found = cut(course, 20.0, shared_within_m=10.0)
    _held(found, course, 20.0)
    out, back = found.easting_m < 960, found.from_m > course.length_m / 2
    runs = np.bincount(found.piece[out], minlength=found.pieces)
    assert (runs[runs > 0] == 2).all()
    # Both runs over a piece lie at the same place, and the way back meets the pieces in falling order.
    assert (np.diff(found.piece[back & out]) == -1).all()
    assert found.pieces == pytest.approx(50, abs=2)


def test_laps_are_one_ground() -> None:
    course = _course((0, 0), (600, 0), (600, 600), (0, 600), (0, 0), laps=3)
    found = cut(course, 25.0)
    _held(found, course, 25.0)
    assert course.lap_m == pytest.approx(2400.0)
    assert course.length_m == pytest.approx(7200.0)
    counts = np.bincount(found.piece)
    assert np.median(counts) == 3
    weight_m = found.piece_weight_m()
    assert weight_m.max() <= 75.0 + 1e-6


def test_a_crossing_is_not_shared() -> None:
    """A course that crosses itself at a right angle runs over no ground twice."""
    course = _course((0, 0), (1000, 0), (1000, 500), (500, 500), (500, -500))
    found = cut(course, 20.0)
    _held(found, course, 20.0)
    assert len(found.piece) == found.pieces


def test_a_hairpin_shares_only_what_is_near() -> None:
    course = _course((0, 0), (1000, 0), (1000, 40), (0, 40))
    found = cut(course, 20.0, shared_within_m=10.0)
    assert len(found.piece) == found.pieces


def test_places_and_parts_along_the_course() -> None:
    course = _course((0, 0), (300, 0), (300, 400))
    easting_m, northing_m = course.at(np.array([0.0, 300.0, 500.0]))
    np.testing.assert_allclose(easting_m, [0, 300, 300])
    np.testing.assert_allclose(northing_m, [0, 0, 200])
    part = course.part(200.0, 450.0)
    assert part.length == pytest.approx(250.0)
    assert list(part.coords) == [(200.0, 0.0), (300.0, 0.0), (300.0, 150.0)]
