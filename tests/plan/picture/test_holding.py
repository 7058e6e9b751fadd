"""What is said of how a camera was held, and pictures that lie on their side."""

from __future__ import annotations

import numpy as np
import pytest

from hillsight.errors import MarksError
from hillsight.plan.picture.holding import ROLL_DEG, TILT_DEG, check_landmarks, held_words
from hillsight.plan.picture.skyline_match import PictureErrors

BEARING = np.array([350.0, 2.0, 11.0, 17.0])
ANGLE = np.array([1.0, 4.0, -2.0, 3.0])


def marked(turned_deg: float) -> np.ndarray:
    """Marks (m, 2) of a picture turned counterclockwise, by tangents about its middle; right and up."""
    right = np.tan(np.radians((BEARING - 3.0 + 180.0) % 360.0 - 180.0))
    up = np.tan(np.radians(ANGLE))
    turn = np.radians(turned_deg)
    return np.column_stack(
        (right * np.cos(turn) - up * np.sin(turn), right * np.sin(turn) + up * np.cos(turn))
    )


@pytest.mark.parametrize("turned_deg", [90.0, -90.0, 180.0])
def test_a_picture_turned_is_refused_by_its_landmarks(turned_deg: float) -> None:
    with pytest.raises(MarksError, match=r"ridge\.jpg.*on its side or on its head.*upright"):
        check_landmarks(marked(turned_deg), BEARING[None], ANGLE[None], "ridge.jpg")


@pytest.mark.parametrize("turned_deg", [0.0, 8.0, -20.0])
def test_an_upright_one_is_not(turned_deg: float) -> None:
    check_landmarks(marked(turned_deg), BEARING[None], ANGLE[None], "ridge.jpg")


def test_one_place_from_which_it_is_upright_is_enough() -> None:
    """From the other side of the landmarks they lie in the opposite order."""
    both = np.stack((BEARING, (360.0 - BEARING) % 360.0))
    check_landmarks(marked(0.0), both, np.stack((ANGLE, -ANGLE)), "ridge.jpg")


def test_landmarks_that_tell_no_turn_refuse_nothing() -> None:
    random = np.random.default_rng(3)
    check_landmarks(random.normal(0, 0.3, (6, 2)), np.arange(6.0)[None] * 9, np.zeros((1, 6)), "ridge.jpg")
    check_landmarks(marked(90.0)[:2], BEARING[None, :2], ANGLE[None, :2], "ridge.jpg")


def test_one_belief_of_how_a_camera_is_held() -> None:
    assert (PictureErrors().tilt_deg, PictureErrors().roll_deg) == (TILT_DEG, ROLL_DEG)
    assert held_words(2.0 * TILT_DEG, -2.0 * ROLL_DEG) == ""
    assert "rolled by -10 degrees, believed to be 0 give or take 2.5" in held_words(0.0, -10.0)
    assert "tilted by +35 degrees" in held_words(35.0, 0.0)
    assert "on its side" in held_words(0.0, 88.0)
