"""Stations whose ground is more than is held at once: seen band by band, with the same answers."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyogrio
import pytest

import hillsight
from hillsight.jobs.batch import planning
from jobs.batch.batch_jobs import JOB, made, whole

FAR = JOB.replace("least_depth = true\n", "")


@pytest.fixture
def little_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ground of 5,000 posts is too much to hold: of most stations here, and not of all."""
    monkeypatch.setattr(planning, "MOST_IN_MEMORY", 5_000)


def test_what_is_seen_band_by_band_is_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    job = made(tmp_path, FAR)
    hillsight.batch(job, out=tmp_path / "near", workers=1)
    monkeypatch.setattr(planning, "MOST_IN_MEMORY", 5_000)
    hillsight.batch(job, out=tmp_path / "far", workers=1)
    for kind, nothing in (("visible_count", 65535), ("first_station", 0xFFFFFFFF)):
        near, far = (whole(tmp_path / name, kind, nothing) for name in ("near", "far"))
        assert np.array_equal(near, far)
        assert (near != nothing).sum() > 10_000
    for kind, nothing in (("nearest_station", 0xFFFFFFFF), ("visible_weight", np.nan)):
        near, far = (whole(tmp_path / name, kind, nothing) for name in ("near", "far"))
        assert np.array_equal(near, far, equal_nan=True)
    rows = [
        pyogrio.read_dataframe(tmp_path / name / "batch.gpkg", layer="batch_stations")
        for name in ("near", "far")
    ]
    assert rows[0].equals(rows[1])


@pytest.mark.usefixtures("little_memory")
def test_what_needs_all_the_ground_is_refused_with_what_would_do(tmp_path: Path) -> None:
    result = hillsight.batch(made(tmp_path, JOB), out=tmp_path / "out", workers=1)
    refused = pyogrio.read_dataframe(tmp_path / "out" / "batch.gpkg", layer="refused_stations")
    assert 0 < len(refused) == result.refused < 14
    assert refused["reason"].str.endswith("without cover, least depth, chances and matrix it would do").all()
