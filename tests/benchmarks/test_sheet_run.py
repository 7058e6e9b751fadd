"""The benchmark of map sheets runs, tiny, without a word on speed."""

from __future__ import annotations

import json
from pathlib import Path

from benchmarks import sheet


def test_sheets_are_timed_beside_plain_contours(tmp_path: Path) -> None:
    told = tmp_path / "run.json"
    sheet.main(["--side", "101", "--rounds", "1", "--json", str(told)])
    found = json.loads(told.read_text(encoding="utf-8"))
    assert set(found) == {"one sheet", "all sheets", "matplotlib"}
    assert all(times["processor_s"] > 0 for times in found.values())
