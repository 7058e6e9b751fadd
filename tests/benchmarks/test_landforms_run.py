"""The benchmark of landforms runs, tiny, without a word on speed."""

from __future__ import annotations

import json
from pathlib import Path

from benchmarks import landforms


def test_the_same_checkout_beside_itself_finds_the_same_features(tmp_path: Path) -> None:
    told = tmp_path / "run.json"
    here = Path(landforms.__file__).resolve().parents[2]
    asked = ["--rows", "90", "--columns", "80", "--rounds", "1", "--before", str(here), "--json", str(told)]
    assert landforms.main(asked) == 0
    found = json.loads(told.read_text(encoding="utf-8"))
    assert found["posts"] == [90, 80]
    assert found["now"]["features"] == found["before"]["features"]
    assert found["now"]["features"]["tops"] > 0
    assert set(found["before_over_now"]) == {"survey_s", "drain_s", "peak_bytes"}
    assert all(ratio > 0 for ratio in found["before_over_now"].values())
