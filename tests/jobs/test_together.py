"""A whole run that is killed between its renames: the next one makes its files all new, whatever it is."""

from __future__ import annotations

import contextlib
import hashlib
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from PIL import Image

import hillsight
from hillsight.errors import HillsightError

from layers.test_journal import ALL_NEW, ALL_OLD, killed_at, older, state  # isort: skip
from layers.test_journal import run as write_all  # isort: skip
from scripts.commands import AT, REACH, one_message, run, terrain  # isort: skip

pytestmark = pytest.mark.skipif(os.name == "nt", reason="POSIX signals")

#: Kills itself after so many renames of finished files.
KILLED = """
import os, signal, sys
from pathlib import Path
replace, left = os.replace, int(sys.argv.pop(1))
def counted(source, target):
    global left
    replace(source, target)
    if Path(target).name.endswith((".gpkg", ".tif", ".sld")):
        left -= 1
        if left == 0:
            os.kill(os.getpid(), signal.SIGKILL)
os.replace = counted
from hillsight.scripts.main import main
main()
"""


def outputs(folder: Path) -> dict[str, str]:
    """Checksum of each output."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.name.startswith(".")
    }


def words(folder: Path, ground: Path, target_m: str) -> list[str]:
    return [
        *("viewshed", "--terrain", str(ground), "--at", AT, "--reach", REACH, "--target-height", target_m),
        *("--out", str(folder / "out.gpkg"), "--rasters", str(folder / "rasters")),
    ]


@pytest.fixture(scope="module")
def ground(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made: Path = terrain(tmp_path_factory.mktemp("ground"))
    return made


@pytest.mark.parametrize("renames", [1, 2])
def test_the_next_run_that_reads_there_finishes(
    tmp_path: Path, ground: Path, monkeypatch: pytest.MonkeyPatch, renames: int
) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1780000000")
    folder = tmp_path / "out"
    folder.mkdir()
    assert run(*words(folder, ground, "1")).code == 0
    old = outputs(folder)
    assert run(*words(folder, ground, "0")).code == 0
    new = outputs(folder)
    changed = {name for name in old if old[name] != new[name]}
    assert {"out.gpkg", "rasters/viewshed_cairn.tif"} <= changed
    assert run(*words(folder, ground, "1")).code == 0
    assert outputs(folder) == old

    killed = subprocess.run(
        [sys.executable, "-c", KILLED, str(renames), *words(folder, ground, "0")], capture_output=True
    )
    assert killed.returncode == -signal.SIGKILL, killed.stderr.decode()
    assert old != outputs(folder) != new, "it was not killed between two renames"
    # It fails, and writes elsewhere: but it reads there.
    message = one_message(
        run("sheet", "--terrain", ground, "--layers", folder / "out.gpkg", "--station", "Nobody",
            "--out", tmp_path / "sheet.svg"),
        2,
    )  # fmt: skip
    assert "Nobody" in message
    assert outputs(folder) == new
    assert not list(folder.rglob(".hillsight-*"))


@pytest.mark.parametrize("job", ["find_skyline", "mark"])
def test_who_reads_a_picture_there_finishes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, job: str
) -> None:
    monkeypatch.setattr(os, "fsync", lambda _: None)
    for step in range(1, 200):  # until newer files lie beside older ones
        older(tmp_path)
        if killed_at(step, lambda: write_all(tmp_path), after=True) and ALL_NEW != state(tmp_path) != ALL_OLD:
            break
    assert ALL_NEW != state(tmp_path) != ALL_OLD
    Image.new("RGB", (40, 30), "grey").save(tmp_path / "photo.png")
    with contextlib.suppress(HillsightError):  # whether there is a skyline in it is no matter
        getattr(hillsight, job)(str(tmp_path / "photo.png"))
    assert state(tmp_path) == ALL_NEW


def test_a_run_that_fails_late_leaves_all_older_files(
    tmp_path: Path, ground: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The disk fills when all but the last files are written."""
    import errno

    from hillsight.errors import OutputError
    from hillsight.layers import atomic, styles

    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1780000000")
    folder = tmp_path / "out"
    asked = {"at": AT, "reach": float(REACH), "out": folder / "out.gpkg", "rasters": folder / "rasters"}
    folder.mkdir()
    hillsight.viewshed(ground, target_height=1.0, **asked)
    old = outputs(folder)

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    def filling(path: Path) -> object:
        monkeypatch.setattr(os, "fsync", full)
        return atomic.replacing(path)

    monkeypatch.setattr(styles, "replacing", filling)
    with pytest.raises(OutputError, match="the disk is full"):
        hillsight.viewshed(ground, target_height=0.0, **asked)
    assert outputs(folder) == old
    assert not list(folder.rglob(".hillsight-*"))
