"""Views of many eyes put together, against numpy's plain sums over the same views."""

from __future__ import annotations

import numpy as np
import pytest

from hillsight.sight.gathering import NOT_ASKED, Gathered, Gatherers, count_states, gather
from hillsight.sight.octants import Window

SHAPE = (37, 41)


def views(count: int) -> list[tuple[Window, np.ndarray]]:
    """Windows of many sizes with states drawn at random, some of them of one post or one row."""
    chance = np.random.default_rng(5)
    found = [
        (Window(3, 4, 1, 1), np.array([[3]], np.uint8)),
        (Window(0, 0, 1, 41), np.full((1, 41), 4, np.uint8)),
    ]
    for _ in range(count):
        row, column = chance.integers(0, 30, 2)
        rows, columns = chance.integers(1, SHAPE[0] - row + 1), chance.integers(1, SHAPE[1] - column + 1)
        states = chance.choice(np.arange(5, dtype=np.uint8), (rows, columns), p=[0.3, 0.3, 0.1, 0.2, 0.1])
        found.append((Window(int(row), int(column), int(rows), int(columns)), states))
    return found


@pytest.mark.parametrize("alone", [True, False], ids=["counts alone", "with weights"])
def test_counts_are_plain_sums_and_say_where_nobody_was_asked(alone: bool) -> None:
    given = views(60)
    gathered = Gathered.over(
        *SHAPE, first=False, nearest=False, weights=not alone, depth=False, chances=False
    )
    eyes = Gatherers(
        np.zeros(len(given)), np.zeros(len(given)), np.arange(len(given)), np.full(len(given), 2_000)
    )
    seen, asked = np.zeros(SHAPE, int), np.zeros(SHAPE, bool)
    for number, (at, states) in enumerate(given):
        inside = np.s_[at.row : at.row + at.rows, at.column : at.column + at.columns]
        seen[inside] += states == 3
        asked[inside] |= ~np.isin(states, (0, 4))
        nothing = np.empty((0, 0), np.float32)
        assert gather(gathered, eyes, number, at, states, nothing, 10.0, 10.0) == (states == 3).sum()
    assert asked.any()
    assert not asked.all()
    np.testing.assert_array_equal(gathered.counts, np.where(asked, seen, NOT_ASKED))
    if not alone:
        np.testing.assert_array_equal(gathered.weights, 2_000 * seen)


def test_states_are_counted_by_code() -> None:
    for _, states in views(10):
        np.testing.assert_array_equal(count_states(states), np.bincount(states.ravel(), minlength=5))
