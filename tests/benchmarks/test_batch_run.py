"""The benchmark of batches runs, tiny, without a word on speed."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchmarks import batch


def test_it_tells_all_it_promises(tmp_path: Path) -> None:
    pytest.importorskip("osgeo.gdal", reason="gdal-wheel is not installed")
    found = batch.run(tmp_path, side=300, counts=[5], reach_m=300.0, workers=1, peers=5, layers=True)
    told = found["batch of 5"]
    assert told["stations"] == 5
    assert min(told["bytes"].values()) > 0
    assert {"inputs", "parts", "tiles", "index"} <= set(told["phases_s"])
    assert 0 < found["gdal"]["stations"] <= 5
