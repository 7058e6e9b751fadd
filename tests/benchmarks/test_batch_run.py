"""The benchmark of batches runs, tiny, without a word on speed."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchmarks import batch


def test_it_tells_all_it_promises(tmp_path: Path) -> None:
    pytest.importorskip("osgeo.gdal", reason="gdal-wheel is not installed")
    found = batch.run(tmp_path, 300, [5], workers=1, peers=5, asked=batch.Asked(300.0, viewsheds=True))
    told = found["batch of 5"]
    assert told["stations"] == 5
    assert min(told["bytes"][name] for name in ("parts", "visible_count", "viewsheds")) > 0
    assert {"inputs", "parts", "tiles", "index"} <= set(told["phases_s"])
    assert 0 < found["gdal"]["stations"] <= 5
    assert found["gdal"]["bytes"] == 0 < found["gdal, viewsheds written"]["bytes"]


def test_it_tells_of_work_over_cover(tmp_path: Path) -> None:
    asked = batch.Asked(300.0, cover=True, work="viewshed")
    told = batch.run(tmp_path, 300, [5], workers=1, peers=0, asked=asked)["batch of 5"]
    assert told["stations"] == 5
    assert told["bytes"]["work"] > 0
    assert {"inputs", "viewshed", "layers"} <= set(told["phases_s"])
