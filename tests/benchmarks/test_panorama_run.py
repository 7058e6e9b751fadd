"""The benchmark of drawn views runs, tiny, without a word on speed."""

from __future__ import annotations

import json
from pathlib import Path

from benchmarks import panorama


def test_rays_and_relief_are_timed_beside_a_copy(tmp_path: Path) -> None:
    told = tmp_path / "run.json"
    asked = ["--rays-side", "81", "--relief-side", "61", "--size", "120", "40", "--rounds", "1"]
    assert panorama.main([*asked, "--json", str(told)]) == 0
    found = json.loads(told.read_text(encoding="utf-8"))
    assert found["rays"]["posts"] == [81, 81]
    assert found["relief"]["posts"] == [61, 61]
    assert found["size_px"] == [120, 40]
    for case in ("rays", "relief", "whole_lines", "whole_relief"):
        assert all(found[case][figure] > 0 for figure in ("wall_s", "processor_s", "over_a_copy"))
