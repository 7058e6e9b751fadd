"""The study of several posts together runs, small, and its pieces are what it says."""

from __future__ import annotations

import numpy as np

import posts_together


def test_it_runs_small() -> None:
    found = posts_together.run(count=1, reach_m=1_200.0, draws=4)
    assert set(found) == {"apart", "side by side"}
    for figures in found.values():
        assert figures["shared draws"].size == figures["multiplied"].size == figures["seen"].size > 10
        # Four chances that are multiplied are never less than what is counted of any single draw's worth.
        assert ((figures["shared draws"] >= 0.0) & (figures["multiplied"] <= 1.0)).all()


def test_windows_are_hilly_and_without_a_void() -> None:
    (height_m,) = posts_together.windows(1, seed=3)
    assert np.isfinite(height_m).all()
    assert np.ptp(height_m) > 250.0


def test_table_tells_stated_and_found() -> None:
    told = posts_together.table(np.full(40, 0.6), np.arange(40) < 20)
    assert told[0].strip() == "stated 0.600, found 0.500, n 40"
    assert told[1].strip() == "0.50 to 0.75: stated 0.600, found 0.500, n 40"
