"""The benchmark of searches runs, tiny, without a word on speed."""

from __future__ import annotations

from benchmarks import search


def test_both_are_timed() -> None:
    found = search.run(side=81, eyes=9, views=1)
    assert set(found) == {"sky_edge_s", "viewshed_s", "ratio"}
    assert all(value > 0 for value in found.values())
