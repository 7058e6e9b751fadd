"""The benchmark of marshal posts runs, tiny, without a word on speed."""

from __future__ import annotations

from benchmarks import posts


def test_it_tells_all_it_promises() -> None:
    found = posts.run(places=20, pieces=60, seconds=3.0, grounds={"made": posts.made_ground(1)})
    assert set(found) == {"made, glass 1", "made, glass 8", "at random"}
    for figures in found.values():
        choices = figures["choices"]
        assert [one.get("posts") for one in choices] == [5, 8, 12, None, None]
        for one in choices:
            assert one["gap"] >= 0.0
            # Nemhauser, Wolsey and Fisher (1978; from memory)
            assert one.get("greedy_of_best", 1.0) >= 1.0 - 1.0 / 2.718282
