"""Identifiers, compass points and the middle of a line."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hillsight.landform.along import Bundle
from hillsight.landform.naming import COMPASS_POINTS, compass_point, identifiers

PLACES = np.array([[400_123.4, 300_456.6], [400_200.0, 300_000.0]])


@pytest.mark.parametrize(
    ("bearing_deg", "point"),
    [
        (0, "N"),
        (22, "N"),
        (23, "NE"),
        (45, "NE"),
        (67, "NE"),
        (68, "E"),
        (90, "E"),
        (135, "SE"),
        (180, "S"),
        (225, "SW"),
        (270, "W"),
        (292, "W"),
        (293, "NW"),
        (337, "NW"),
        (338, "N"),
        (359.9, "N"),
        (360, "N"),
    ],
)
def test_compass_points_are_the_nearest_of_eight(bearing_deg: float, point: str) -> None:
    assert compass_point(bearing_deg) == point


@given(bearing_deg=st.floats(0.0, 360.0))
def test_no_bearing_is_more_than_an_eighth_from_its_point(bearing_deg: float) -> None:
    off = (bearing_deg - 45.0 * COMPASS_POINTS.index(compass_point(bearing_deg)) + 180.0) % 360.0 - 180.0
    assert abs(off) <= 22.5


def test_identifiers_hold_kind_scale_and_place_and_come_again_in_a_rerun() -> None:
    assert identifiers("spur", PLACES, 300.0, set()) == ["spur-300-400123-300457", "spur-300-400200-300000"]
    assert identifiers("top", PLACES, None, set()) == ["top-400123-300457", "top-400200-300000"]
    assert identifiers("top", PLACES, None, set()) == identifiers("top", PLACES.copy(), None, set())
    assert identifiers("spur", PLACES[:1], 12.5, set()) == ["spur-12.5-400123-300457"]
    assert identifiers("spur", np.empty((0, 2)), 300.0, set()) == []


@given(st.lists(st.tuples(st.integers(0, 2), st.integers(0, 2)), max_size=12))
def test_no_identifier_is_given_twice(places: list[tuple[int, int]]) -> None:
    taken: set[str] = {"top-1-1"}
    found = [
        name for _ in range(2) for name in identifiers("top", np.array(places).reshape(-1, 2), None, taken)
    ]
    assert len(set(found)) == len(found)
    assert "top-1-1" not in found
    assert taken == {"top-1-1", *found}


def test_two_in_one_place_are_numbered() -> None:
    taken: set[str] = set()
    same = PLACES[[1, 1, 1]]
    assert identifiers("top", same, None, taken) == [
        "top-400200-300000",
        "top-400200-300000-2",
        "top-400200-300000-3",
    ]


def test_the_middle_is_half_way_along_the_line_and_not_between_its_ends() -> None:
    def middle_of(line: np.ndarray) -> np.ndarray:
        return Bundle.of([line]).middles()[0]

    assert middle_of(np.array([[0.0, 0.0], [100.0, 0.0]])).tolist() == [50.0, 0.0]
    assert middle_of(np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 60.0]])).tolist() == [80.0, 0.0]
    bent = np.array([[0.0, 0.0, 7.0], [0.0, 10.0, 8.0], [90.0, 10.0, 9.0]])
    assert middle_of(bent) == pytest.approx(middle_of(bent[::-1]))
