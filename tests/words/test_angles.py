"""Angles brought into their range."""

from __future__ import annotations

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from hillsight.words.angles import clockwise_deg, signed_deg, wrap_deg


def test_wrap_never_gives_360() -> None:
    assert float(wrap_deg(-1e-20)) == 0.0
    assert wrap_deg([360.0, -90.0, 720.5]).tolist() == [0.0, 270.0, 0.5]


def test_turns_are_less_than_half() -> None:
    assert signed_deg([350.0 - 10.0, 10.0 - 350.0, 180.0, -180.0, 540.0]).tolist() == [
        -20.0,
        20.0,
        -180.0,
        -180.0,
        -180.0,
    ]


def test_clockwise() -> None:
    assert float(clockwise_deg(350.0, 10.0)) == pytest.approx(20.0)
    assert float(clockwise_deg(10.0, 350.0)) == pytest.approx(340.0)


@given(st.floats(0, 360), st.floats(0, 360))
def test_clockwise_there_and_back_is_a_full_turn(a_deg: float, b_deg: float) -> None:
    there, back = float(clockwise_deg(a_deg, b_deg)), float(clockwise_deg(b_deg, a_deg))
    assume(there > 1e-9 and back > 1e-9)
    assert there + back == pytest.approx(360.0)
