"""The doctor: every check has a line, a failed one has a cure and costs exit code 3."""

from __future__ import annotations

import json
import os
from importlib.metadata import EntryPoint, EntryPoints
from pathlib import Path

import pytest

from hillsight import plugins
from hillsight.jobs import checkup
from hillsight.jobs.checkup import Finding
from hillsight.kernels import kept
from hillsight.layers import styles
from hillsight.schema.layers import LAYERS

from scripts.commands import run, run_process  # isort: skip

LIBRARIES = ("numpy", "numba", "shapely", "pyproj", "pyogrio", "geopandas", "rasterio", "pygeomag")


def test_this_machine_is_well() -> None:
    ended = run("doctor")
    assert ended.code == 0, ended.out
    lines = ended.out.splitlines()
    assert lines[-1] == "All is well."
    assert all(line.startswith("ok  ") for line in lines[:-1])
    for subject in (
        *LIBRARIES,
        "Python",
        "GDAL for rasters",
        "GDAL for vectors",
        "PROJ in rasterio",
        "styles",
    ):
        assert any(line.startswith(f"ok    {subject}: ") for line in lines), subject


def test_json_holds_the_same_findings() -> None:
    findings = json.loads(run("doctor", "--json").out)
    subjects = [finding["subject"] for finding in findings]
    assert {*LIBRARIES, "Python", "scripts"} <= set(subjects)
    assert all(set(finding) == {"good", "subject", "found", "cure"} for finding in findings)


def test_a_failed_check_has_a_cure(monkeypatch: pytest.MonkeyPatch) -> None:
    bad = Finding(False, "styles", "none found", "Install hillsight anew")
    monkeypatch.setattr(checkup, "_styles", lambda: [bad])
    ended = run("doctor")
    assert ended.code == 3
    assert "FAIL  styles: none found\n      cure: Install hillsight anew.\n" in ended.out
    assert "1 of " in ended.out.splitlines()[-1]
    assert run("doctor", "--json").code == 3


def test_damaged_code_is_found_and_mended(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    whole, cut, left = (tmp_path / name for name in ("a.nbc", "b.nbc", "b.nbi.tmp.0123456789abcdef"))
    whole.write_bytes(kept._sealed(b"code"))
    cut.write_bytes(kept._sealed(b"code")[:-1])
    left.touch()
    os.utime(left, (0, 0))
    (tmp_path / "c.nbc").write_bytes(b"as another version kept it")
    monkeypatch.setattr(kept, "_folders", {tmp_path})
    monkeypatch.setattr(checkup, "import_module", lambda name: None)
    checkup_of_code = [checkup._kept(mend)[0] for mend in (False, True, False)]
    assert [finding.good for finding in checkup_of_code] == [False, True, True]
    assert "2 of 4 files damaged" in checkup_of_code[0].found
    assert checkup_of_code[0].cure == "Run hillsight doctor with its option mend"
    assert "1 files, none damaged" in checkup_of_code[2].found
    assert whole.exists() and not cut.exists() and not left.exists()


def test_a_check_that_breaks_is_a_finding(monkeypatch: pytest.MonkeyPatch) -> None:
    def breaks() -> list[Finding]:
        raise RuntimeError("no such thing")

    monkeypatch.setattr(checkup, "_magnetic", breaks)
    ended = run("doctor")
    assert ended.code == 3
    assert "FAIL  magnetic model: RuntimeError: no such thing" in ended.out
    assert "Traceback" not in ended.out + ended.err


def test_a_library_that_is_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(checkup, "_LIBRARIES", ("numpy", "no_such_library_at_all"))
    ended = run("doctor")
    assert ended.code == 3
    assert "FAIL  no_such_library_at_all: cannot be imported" in ended.out
    assert "pip install no_such_library_at_all" in ended.out


def test_a_script_that_cannot_be_loaded(monkeypatch: pytest.MonkeyPatch) -> None:
    real = plugins.entry_points
    broken = EntryPoint("odd", "no_such_package_at_all:command", "hillsight.scripts")

    def patched(*, group: str) -> EntryPoints:
        return EntryPoints([*real(group=group), broken])

    monkeypatch.setattr(plugins, "entry_points", patched)
    ended = run("doctor")
    assert ended.code == 3
    assert "FAIL  script odd: cannot be loaded" in ended.out
    assert "cure: Mend or uninstall" in ended.out


def test_what_was_set_aside_is_said() -> None:
    ended = run_process("doctor", environment={"PROJ_DATA": "/somewhere/else"})
    assert ended.code == 0, ended.out
    assert "PROJ_DATA=/somewhere/else set aside" in ended.out


def test_a_missing_style_is_found(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    kept = styles.style_names()[1:]
    for name in kept:
        (tmp_path / f"{name}.sld").write_text(styles.style_text(name), encoding="utf-8")
    monkeypatch.setattr(styles, "_folder", lambda: tmp_path)
    (found,) = checkup._styles()
    assert not found.good
    assert found.found == f"{len(kept)} found; missing for {next(iter(LAYERS))}"


def test_tables_templates_and_all_libraries_are_looked_at() -> None:
    assert [found.good for found in checkup._tables_and_templates()] == [True, True]
    assert checkup._library("pillow").good
