"""The examples of docs/python.md run, in their order, as somebody would type them."""

from __future__ import annotations

import importlib.util
import re
import shutil
from pathlib import Path
from typing import Any

import pytest

import build_pages as pages
from jobs.worlds import world

PAGE = (pages.DOCS / "python.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"^```python\n(.*?)^```", PAGE, re.DOTALL | re.MULTILINE)


def test_examples_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """On a small made world that has the names of the demo's files."""
    place = world(tmp_path / "hillsight-demo")
    (place / "ground.tif").rename(place / "terrain.tif")
    (place / "sightings").mkdir()
    shutil.copy(place / "sighting.toml", place / "sightings" / "ridge_end.toml")
    monkeypatch.chdir(tmp_path)
    names: dict[str, Any] = {}
    run = 0
    for example in EXAMPLES:
        if "import xarray" in example and importlib.util.find_spec("xarray") is None:
            continue
        exec(compile(example, "docs/python.md", "exec"), names)
        run += 1
    assert run >= len(EXAMPLES) - 1 > 8
    told = capsys.readouterr().out
    assert set(names["listed"].frames["bearing_list"]["state"]) == {"hidden"}
    assert "is seen from nowhere" in told
    assert 5 < names["counts"].max() <= 300
    assert (tmp_path / "seen_by.tif").is_file()
    assert re.search(r"^By the knoll: |^Third place: \d+ %|^Third place: \d+%", told, re.MULTILINE)
    assert "note: " in told and "West side: 100%" in told
    assert "('reach',)" in told


def test_the_sighting_of_the_example_is_one_of_the_demo() -> None:
    assert (pages.CHECKOUT / "demo_project" / "sightings" / "ridge_end.toml").is_file()
    assert "sightings/ridge_end.toml" in PAGE
