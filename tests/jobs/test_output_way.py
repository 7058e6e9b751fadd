"""Every job records the way into the CRS that it writes in, and refuses a CRS without one before the work."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from hillsight.errors import OutputError
from hillsight.jobs import landforms as landforms_job
from hillsight.jobs import profile as profile_job
from hillsight.jobs.landforms import landforms
from hillsight.jobs.profile import profile

from scripts.commands import terrain  # isort: skip

AT = (300_297.0, 699_704.0, "Cairn")


@pytest.fixture(scope="module")
def ground(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return terrain(tmp_path_factory.mktemp("ground"))


def test_the_way_is_in_the_provenance(ground: Path) -> None:
    for found in (
        landforms(ground, scales=(100.0,), out_crs="EPSG:4326"),
        profile(ground, at=AT, bearing=(10.0,), reach=100, out_crs="EPSG:4326"),
    ):
        told = json.loads(found.provenance.as_json())
        assert [one for one in told["operations"] if one.get("of") == "output"], told["operations"]


def test_a_crs_without_a_way_is_refused_at_once(ground: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def never(*_: object) -> None:
        raise AssertionError("the work began")

    def none(*_: object) -> None:
        raise OutputError("there is no way", where="output CRS")

    monkeypatch.setattr(landforms_job, "survey", never)
    monkeypatch.setattr(profile_job, "_cut", never)
    monkeypatch.setattr("hillsight.jobs.outputs.out_operation", none)
    with pytest.raises(OutputError, match="no way"):
        landforms(ground, scales=(100.0,), out_crs="EPSG:4326")
    with pytest.raises(OutputError, match="no way"):
        profile(ground, at=AT, bearing=(10.0,), reach=100, out_crs="EPSG:4326")
