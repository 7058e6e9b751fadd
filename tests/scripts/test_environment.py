"""Other installations' settings, no home, another folder, a reader that leaves: none of it breaks a run."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import geopandas
import pytest

from scripts.commands import AT, REACH, Ended, contents, features, process, run_process, terrain  # isort: skip

POSIX = pytest.mark.skipif(os.name == "nt", reason="POSIX pipes")


def words(folder: Path) -> list[str | Path]:
    ground = terrain(folder)
    return [
        "outlook",
        "--terrain",
        ground,
        "--at",
        AT,
        "--reach",
        REACH,
        "--features",
        features(folder),
        "--out",
        folder / "out.gpkg",
    ]


def check(folder: Path, ended: Ended) -> None:
    assert ended.code == 0, ended.err
    assert "Traceback" not in ended.err
    assert geopandas.read_file(folder / "out.gpkg", layer="stations").crs == "EPSG:27700"


def test_garbage_for_proj_and_gdal(tmp_path: Path) -> None:
    garbage = tmp_path / "garbage"
    garbage.mkdir()
    (garbage / "proj.db").write_text("of another installation")
    names = ("PROJ_DATA", "PROJ_LIB", "GDAL_DATA", "GDAL_DRIVER_PATH")
    environment = dict.fromkeys(names, str(garbage))
    ended = run_process(*words(tmp_path), "--out-crs", "EPSG:27700", environment=environment)
    check(tmp_path, ended)
    # The switch that keeps them shows that the garbage would have done harm.
    kept = run_process(*words(tmp_path), environment={**environment, "HILLSIGHT_KEEP_PROJ": "1"})
    assert kept.code != 0


def test_no_home_and_no_cache(tmp_path: Path) -> None:
    """A home that is not there, and folders for caches that cannot be made."""
    file = tmp_path / "a_file"
    file.touch()
    environment = {
        "HOME": "/nonexistent",
        "XDG_CACHE_HOME": str(file / "cache"),
        "XDG_CONFIG_HOME": str(file / "config"),
        "NUMBA_CACHE_DIR": str(file / "numba"),
        "MPLCONFIGDIR": str(file / "matplotlib"),
    }
    check(tmp_path, run_process(*words(tmp_path), environment=environment))
    assert not Path("/nonexistent").exists()


def test_from_another_folder(tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    terrain(tmp_path)
    features(tmp_path)
    given = ["--terrain", "../terrain.tif", "--features", "../features.gpkg", "--out", "out.gpkg"]
    ended = run_process("outlook", *given, "--at", AT, "--reach", REACH, folder=elsewhere)
    check(elsewhere, ended)
    assert {name.split("/")[0] for name in contents(elsewhere)} == {"out.gpkg", "out_styles"}


@POSIX
@pytest.mark.parametrize("streams", ["out", "both"])
def test_a_reader_that_leaves_early(tmp_path: Path, streams: str) -> None:
    """`hillsight ... | head -1`: the files are whole, nothing is complained of, exit code 0."""
    listed = words(tmp_path)
    errors = tmp_path / "errors.txt"
    reading, writing = os.pipe()
    with errors.open("w") as err:
        run = subprocess.Popen(process(*listed), stdout=writing, stderr=writing if streams == "both" else err)
    os.close(writing)
    os.close(reading)  # before the first line is printed: every write fails
    code = run.wait(timeout=900)
    check(tmp_path, Ended(code, "", errors.read_text()))
    assert "Broken" not in errors.read_text()


@POSIX
@pytest.mark.parametrize(
    "what", [["--help"], ["outlook", "--help"], ["outlook", "--describe"], ["--version"]]
)
def test_help_into_a_closed_pipe(what: list[str]) -> None:
    reading, writing = os.pipe()
    run = subprocess.Popen(process(*what), stdout=writing, stderr=subprocess.PIPE, encoding="utf-8")
    os.close(writing)
    os.close(reading)
    _, err = run.communicate(timeout=900)
    assert (run.returncode, err) == (0, "")


def test_utf_8_names_in_a_plain_locale(tmp_path: Path) -> None:
    """A terminal that knows ASCII only gets something printable, and the files the true name."""
    listed = words(tmp_path)
    listed[listed.index(AT)] = "300297,699704,Cîme ⛰"
    ended = run_process(*listed, environment={"LC_ALL": "C", "LANG": "C", "PYTHONIOENCODING": "ascii"})
    check(tmp_path, ended)
    assert list(geopandas.read_file(tmp_path / "out.gpkg", layer="stations")["name"]) == ["Cîme ⛰"]
