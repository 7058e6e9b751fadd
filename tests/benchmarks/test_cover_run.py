"""The benchmark of cover runs, tiny, without a word on speed."""

from __future__ import annotations

from benchmarks import cover


def test_every_ground_is_timed() -> None:
    found = cover.run(side=81, rounds=1)
    assert set(found) == {"states", "clearance"}
    assert all(len(times) == 5 and min(times.values()) > 0 for times in found.values())
