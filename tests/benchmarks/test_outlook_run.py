"""The benchmark of an outlook runs, with a short reach and without a word on speed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from benchmarks import outlook


@pytest.mark.slow
def test_the_same_checkout_beside_itself_gives_every_figure_of_both(tmp_path: Path) -> None:
    told = tmp_path / "run.json"
    here = Path(outlook.__file__).resolve().parents[2]
    asked = ["--rounds", "1", "--reach", "600", "--before", str(here), "--json", str(told)]
    assert outlook.main(asked) == 0
    found = json.loads(told.read_text(encoding="utf-8"))
    assert set(found) == {"outlook", "with_landforms"}
    for case in found.values():
        assert set(case) == {"now", "before", "before_over_now"}
        assert all(set(each) == {"user_s", "wall_s", "peak_bytes"} for each in case.values())
        assert all(figure > 0 for each in case.values() for figure in each.values())
