"""Words for heights: the thresholds of docs/method.md (common practice, no source), and bad ones refused."""

from __future__ import annotations

import numpy as np
import pytest

from hillsight.errors import CallError
from hillsight.reading.things.relative_height import HeightWords


@pytest.mark.parametrize(
    ("angle_deg", "difference_m", "word"),
    [
        (0.4, 70.0, "level with us"),
        (-0.5, -90.0, "level with us"),
        (-5.0, -1.6, "level with us"),  # the ground a few paces off
        (0.6, 50.0, "a little above us"),
        (-2.9, -200.0, "a little below us"),
        (-8.0, -9.0, "a little below us"),  # a steep bank, but no great height
        (3.1, 60.0, "well above us"),
        (-20.0, -150.0, "well below us"),
        (float("nan"), 5.0, None),
        (None, None, None),
    ],
)
def test_words(angle_deg, difference_m, word):
    assert HeightWords().word(angle_deg, difference_m) == word


def test_thresholds_can_be_moved():
    assert HeightWords(1.0, 5.0).word(0.9, 90.0) == "level with us"
    assert HeightWords(1.0, 5.0).word(4.9, 90.0) == "a little above us"


@pytest.mark.parametrize("pair", [(-1.0, 3.0), (90.0, 95.0), (3.0, 3.0), (0.5, 90.0)])
def test_bad_thresholds_are_refused(pair):
    with pytest.raises(CallError) as refused:
        HeightWords(*pair)
    assert set(refused.value.parameters) & {"level_within", "well_beyond"}


@pytest.mark.parametrize("words", [HeightWords(), HeightWords(1.0, 6.0)])
def test_the_bounds_at_a_distance_are_the_rule_of_the_words(words):
    """Every word's span of angles holds the things that get it: plane trigonometry, h = d tan(angle)."""
    random = np.random.default_rng(2)
    distance_m = 10.0 ** random.uniform(0.5, 4.0, 4000)
    angle_deg = random.choice([-1.0, 1.0], 4000) * 10.0 ** random.uniform(-1.5, 1.7, 4000)
    said = [words.word(a, d * np.tan(np.radians(a))) for a, d in zip(angle_deg, distance_m, strict=True)]
    plain = np.array([word.removesuffix(" us").removesuffix(" with") for word in said])
    for stands in ("well above", "a little above", "level", "a little below", "well below"):
        low, high = words.angles_deg(stands, distance_m)
        assert (plain == stands).sum() > 100
        assert np.array_equal(plain == stands, (angle_deg > low) & (angle_deg < high))
    for side in ("above", "below"):
        low, high = words.angles_deg(side, distance_m)
        assert np.array_equal(np.char.endswith(plain, side), (angle_deg > low) & (angle_deg < high))
