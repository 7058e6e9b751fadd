"""The benchmarks still run: once each, tiny, without a word on speed."""

import pytest


def test_sight_benchmark_runs():
    pytest.importorskip("osgeo.gdal", reason="the peer, GDAL's viewshed, comes with gdal-wheel")
    from benchmarks.sight import measure

    found = measure(61, runs=1)
    assert found["ours_over_gdal"] > 0
    assert 0 < found["visible_share"] < 1
    # GDAL's viewshed is approximate by design: a per cent or so of posts differ, not many.
    assert found["gdal_differs_share"] < 0.05
