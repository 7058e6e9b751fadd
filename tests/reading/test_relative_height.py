"""Words for heights: the thresholds of docs/method.md (common practice, no source), and bad ones refused."""

from __future__ import annotations

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
    with pytest.raises(CallError, match=r"--level-within|--well-beyond"):
        HeightWords(*pair)
