"""One style of figures: commas between thousands, a space before units and the per cent sign."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import hillsight
from hillsight.words.quantities import (
    hectares,
    length_words,
    metres,
    per_cent,
    probability_words,
    rough_distance_words,
    whole_number,
)


def test_thousands_have_commas_and_units_a_space() -> None:
    assert whole_number(216_671.4) == "216,671"
    assert metres(1_234.4) == "1,234 m"
    assert hectares(7_457.52) == "7,457.5 ha"
    assert hectares(8_270.2, 0) == "8,270 ha"
    assert per_cent(0.98) == "98 %"
    assert per_cent(0.3061, 1) == "30.6 %"


@pytest.mark.parametrize(
    ("value_m", "words"),
    [(0.4, "0 m"), (62.4, "62 m"), (99.6, "100 m"), (644, "640 m"), (996, "1.0 km"), (1_234, "1.2 km")],
)
def test_rough_distances_have_two_figures(value_m: float, words: str) -> None:
    assert rough_distance_words(value_m) == words


@pytest.mark.parametrize(
    ("value_m", "words"), [(2.5, "2.5 m"), (500, "500 m"), (1_000, "1 km"), (1_234, "1.234 km")]
)
def test_exact_lengths_keep_their_figures(value_m: float, words: str) -> None:
    assert length_words(value_m) == words


@pytest.mark.parametrize(
    ("share", "words"),
    [(0.0, "under 1 %"), (0.0099, "under 1 %"), (0.5, "50 %"), (0.994, "99 %"), (0.995, "over 99 %")],
)
def test_no_probability_is_nothing_or_all(share: float, words: str) -> None:
    assert probability_words(share) == words


def test_no_module_has_a_style_of_its_own() -> None:
    """Format codes that would write ``30.6%``, and thousands parted by anything but a comma."""
    package = Path(hillsight.__file__).parent
    strays = [
        f"{path.relative_to(package)}:{number}"
        for path in sorted(package.rglob("*.py"))
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if re.search(r"""\{[^{}]*:[^{}]*\.\d?%\}|\breplace\(",", "(?!\.)""", line)
    ]
    assert strays == []
