"""Arcs of bearings, above all across north."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hillsight.reading.things.extent import line_extent_deg, scattered_extent_deg, within_arc


@pytest.mark.parametrize(
    ("bearings", "left", "right"),
    [
        ([10, 20, 30], 10, 30),
        ([30, 20, 10], 10, 30),  # whichever way it is followed
        ([350, 355, 2, 9], 350, 9),
        ([9, 2, 355, 350], 350, 9),
        ([350, 10, 340, 5], 340, 10),  # to and fro
        ([5], 5, 5),
        ([0, 100, 200], 0, 200),  # more than half round
        ([100, 200, 300, 20], 100, 20),
        ([359.9, 0.1], 359.9, 0.1),
        ([0, 90, 180, 270, 0], 0, 360),  # right round
        ([10, 100, 190, 280, 10], 0, 360),
        ([10, 280, 190, 100, 10], 0, 360),
        ([10, 100, 190, 280, 20], 0, 360),  # round and over itself
        ([10, 100, 190, 280, 9], 10, 9),  # all but one degree of it
    ],
)
def test_lines(bearings, left, right):
    assert line_extent_deg(np.array(bearings, float)) == pytest.approx((left, right))


def test_a_ring_round_the_station_is_right_round_whatever_the_rounding():
    for start in np.random.default_rng(1).uniform(0, 360, 200):
        ring = (start + np.linspace(0, 360, 37)) % 360
        ring[-1] = ring[0]
        assert line_extent_deg(ring) == (0.0, 360.0)
        assert line_extent_deg(ring[::-1]) == (0.0, 360.0)


@pytest.mark.parametrize(
    ("bearings", "left", "right"),
    [
        ([30, 10, 20], 10, 30),
        ([5, 355, 359], 355, 5),
        ([7], 7, 7),
        ([-5, 365], 355, 5),
        ([0, 120, 230], 0, 230),  # gaps of 120, 110 and 130: the widest is left out
        ([90, 90, 90], 90, 90),
    ],
)
def test_scattered(bearings, left, right):
    assert scattered_extent_deg(np.array(bearings, float)) == (left, right)


@settings(deadline=None)
@given(st.lists(st.integers(0, 3599), min_size=1, max_size=20, unique=True), st.integers(0, 3599))
def test_scattered_turns_with_its_directions_and_holds_them_all(tenths, turn):
    bearings = np.array(tenths) / 10
    left, right = scattered_extent_deg(bearings)
    assert within_arc(bearings, left, right).all() or left == right
    width = (right - left) % 360
    gaps = np.diff(np.sort(np.r_[bearings, bearings.min() + 360]))
    assert width == pytest.approx(360 - gaps.max())
    if gaps.size > 1 and np.diff(np.sort(gaps)[-2:])[0] > 1e-6:  # one gap is the widest
        turned = np.array(scattered_extent_deg((bearings + turn / 10) % 360))
        off = (turned - np.array([left, right]) - turn / 10 + 180) % 360 - 180
        assert np.abs(off).max() < 1e-9


@pytest.mark.parametrize(
    ("bearing", "left", "right", "inside"),
    [
        (15, 10, 20, True),
        (10, 10, 20, True),
        (20, 10, 20, True),
        (20.001, 10, 20, False),
        (5, 350, 10, True),
        (355, 350, 10, True),
        (180, 350, 10, False),
        (180, 10, 350, True),
        (0, 10, 350, False),
        (77, 40, 40, True),  # equal edges: all round
        (77, 0, 360, True),
        (-5, 350, 10, True),
    ],
)
def test_within_arc(bearing, left, right, inside):
    assert bool(within_arc(np.array([bearing], float), left, right)[0]) is inside


@pytest.mark.parametrize("extent", [line_extent_deg, scattered_extent_deg])
def test_a_hair_left_of_north_is_no_360(extent):
    # (-1e-15) % 360 is 360.0 in floating point.
    left, right = extent(np.array([-1e-15, -1e-15]))
    assert (left, right) == (0.0, 0.0)
