"""Provenance names all that decides an answer, and says what the result says."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from hillsight.errors import OutputError
from hillsight.jobs.compare import compare
from hillsight.jobs.describe import describe
from hillsight.jobs.landforms import landforms
from hillsight.jobs.relocate import relocate
from hillsight.plan.observer import Observer
from jobs.worlds import FAR, NEAR, world


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return world(tmp_path_factory.mktemp("world"))


def test_landforms_and_observer_are_inputs_and_notes_are_told_once(place, tmp_path):
    ground, features, sighting = (place / name for name in ("ground.tif", "features.gpkg", "sighting.toml"))
    found = landforms(ground, scales=(100.0,), out=tmp_path / "forms.gpkg")
    assert found.notes == found.provenance.notes
    (tmp_path / "observer.toml").write_text("slope_deg = 5\n", encoding="utf-8")
    asked = {"features": features, "reach": 1_500.0, "terrain_error": 1.0}
    told = {**asked, "at": (NEAR, FAR), "sighting": sighting, "elsewhere": 5, "elsewhere_within": 400.0}
    by_file = relocate(
        ground,
        **told,
        landforms=tmp_path / "forms.gpkg",
        observer=tmp_path / "observer.toml",
        json_file=tmp_path / "verdict.json",
    )
    names = {item.name for item in by_file.provenance.inputs}
    assert {"forms.gpkg", "observer.toml", "features.gpkg", "sighting.toml", "ground.tif"} == names
    assert all(item.sha256 for item in by_file.provenance.inputs)
    in_memory = relocate(ground, **told, landforms=dict(found.frames), observer=Observer(slope_deg=5.0))
    assert sum(item.name == "in memory" and bool(item.sha256) for item in in_memory.provenance.inputs) == 2
    written = json.loads((tmp_path / "verdict.json").read_text(encoding="utf-8"))
    assert written["provenance"]["notes"] == list(by_file.notes) == list(by_file.provenance.notes)
    assert set(by_file.verdict.cautions) <= set(by_file.notes)
    apart = compare(ground, **asked, at=(NEAR, FAR), looks="N")
    view = describe(ground, **asked, at=(NEAR,), looks="N")
    for result in (apart, view):
        assert result.notes
        assert result.notes == result.provenance.notes


def test_one_file_by_two_names_is_refused(place, tmp_path):
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "real")
    with pytest.raises(OutputError, match="one file is named for two results") as error:
        relocate(
            place / "ground.tif",
            at=(NEAR, FAR),
            sighting=place / "sighting.toml",
            report=tmp_path / "real" / "a.md",
            json_file=tmp_path / "link" / "a.md",
        )
    assert error.value.parameters == ("report", "json_file")
