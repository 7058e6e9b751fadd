"""Files appear whole or not at all."""

from __future__ import annotations

import errno
import os
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from hillsight.errors import OutputError
from hillsight.layers import atomic
from hillsight.layers.atomic import replacing
from hillsight.layers.stops import stop_signals

POSIX = pytest.mark.skipif(os.name == "nt", reason="POSIX signals and links")


def names(folder: Path) -> list[str]:
    return sorted(entry.name for entry in folder.iterdir())


def test_file_appears_at_the_end_only(tmp_path: Path) -> None:
    target = tmp_path / "out.gpkg"
    with replacing(target) as temporary:
        temporary.write_text("new")
        assert not target.exists()
        assert temporary.parent == tmp_path
        assert temporary.name.startswith(".")
        assert temporary.suffix == ".gpkg"
    assert target.read_text() == "new"
    assert names(tmp_path) == ["out.gpkg"]


@pytest.mark.parametrize("stop", [ValueError, KeyboardInterrupt, SystemExit, GeneratorExit])
def test_old_file_stays_when_the_block_fails(tmp_path: Path, stop: type[BaseException]) -> None:
    target = tmp_path / "out.gpkg"
    target.write_text("old")
    with pytest.raises(stop), replacing(target) as temporary:
        temporary.write_text("half")
        for left in ("-journal", "-wal", "-shm", ".tmp_rtree_layer.db", ".aux.xml"):
            Path(f"{temporary}{left}").write_text("left")
        raise stop
    assert target.read_text() == "old"
    assert names(tmp_path) == ["out.gpkg"]


def test_nothing_written_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="without writing"), replacing(tmp_path / "out.gpkg"):
        pass
    assert names(tmp_path) == []


def test_missing_folder_and_folder_as_file(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="folder does not exist"), replacing(tmp_path / "no" / "out.gpkg"):
        pytest.fail("the block must not run")
    with pytest.raises(OutputError, match="is a folder"), replacing(tmp_path):
        pytest.fail("the block must not run")


@POSIX
def test_unwritable_folder(tmp_path: Path) -> None:
    # Root may write anywhere but into the kernel's own folder.
    folder = Path("/proc") if os.geteuid() == 0 else tmp_path
    if not folder.is_dir():
        pytest.skip("no folder here that root cannot write to")
    if folder == tmp_path:
        folder.chmod(0o500)
    try:
        with pytest.raises(OutputError, match="nothing can be written"), replacing(folder / "out.gpkg"):
            pytest.fail("the block must not run")
    finally:
        if folder == tmp_path:
            folder.chmod(0o700)


@POSIX
def test_output_is_an_input_under_any_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    terrain = tmp_path / "terrain.tif"
    terrain.write_text("heights")
    (tmp_path / "soft.tif").symlink_to(terrain)
    (tmp_path / "hard.tif").hardlink_to(terrain)
    monkeypatch.chdir(tmp_path)
    for given in (terrain, "terrain.tif", tmp_path / "soft.tif", tmp_path / "hard.tif", "./x/../terrain.tif"):
        with pytest.raises(OutputError, match="one of the inputs"), replacing(terrain, inputs=[given]):
            pytest.fail("the block must not run")
    package = tmp_path / "points.gpkg"
    package.write_text("points")
    for given in (f"GPKG:{package}:stations", f'GPKG:"{package}":stations', f"/vsizip/{package}/x.shp"):
        with pytest.raises(OutputError, match="one of the inputs"), replacing(package, inputs=[given]):
            pytest.fail("the block must not run")
    odd = ["/vsizip/a.zip/b.tif", "https://example.org/a.tif", "GPKG:a.gpkg:b", "nul\0byte", "x" * 5000]
    with replacing(tmp_path / "out.tif", inputs=[terrain, *odd]) as temporary:
        temporary.write_text("fine")
    assert terrain.read_text() == "heights"


@POSIX
def test_link_keeps_pointing(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    real = tmp_path / "real" / "r.gpkg"
    link = tmp_path / "link.gpkg"
    link.symlink_to(real)
    with replacing(link) as temporary:
        assert temporary.parent == real.parent
        temporary.write_text("new")
    assert link.is_symlink()
    assert real.read_text() == "new"


@POSIX
def test_mode_of_the_old_file_is_kept(tmp_path: Path) -> None:
    target = tmp_path / "out.gpkg"
    target.write_text("old")
    target.chmod(0o640)
    with replacing(target) as temporary:
        temporary.write_text("new")
    assert target.stat().st_mode & 0o777 == 0o640


def test_second_run_is_refused_while_the_first_writes(tmp_path: Path) -> None:
    target = tmp_path / "out.gpkg"
    with replacing(target) as temporary:
        temporary.write_text("first")
        with pytest.raises(OutputError, match="another run is writing it") as caught, replacing(target):
            pytest.fail("the block must not run")
        assert str(target) in str(caught.value)
        with replacing(tmp_path / "other.gpkg") as other:  # another file in the folder is free
            other.write_text("other")
    assert target.read_text() == "first"
    assert names(tmp_path) == ["other.gpkg", "out.gpkg"]


CHILD = """
import sys, time
from pathlib import Path
from hillsight.layers.atomic import replacing
from hillsight.layers.stops import stop_signals
with stop_signals():
    try:
        with replacing(Path(sys.argv[1])) as temporary:
            temporary.write_text("half")
            Path(f"{temporary}-journal").write_text("half")
            print("writing", flush=True)
            time.sleep(30)
    except KeyboardInterrupt as stop:
        print("stopped", stop, flush=True)
        sys.exit(130)
"""


def start_child(target: Path) -> subprocess.Popen[str]:
    child = subprocess.Popen(
        [sys.executable, "-c", CHILD, str(target)],
        stdout=subprocess.PIPE,
        text=True,
        # A shell that runs the tests in the background makes its children ignore Ctrl-C.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )
    assert child.stdout is not None
    assert child.stdout.readline() == "writing\n"
    return child


@POSIX
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_signals_tidy_up(tmp_path: Path, number: signal.Signals) -> None:
    target = tmp_path / "out.gpkg"
    target.write_text("old")
    child = start_child(target)
    child.send_signal(number)
    assert child.communicate(timeout=10)[0].startswith("stopped")
    assert child.returncode == 130
    assert target.read_text() == "old"
    assert names(tmp_path) == ["out.gpkg"]


@POSIX
def test_killed_run_blocks_nobody_and_its_rest_is_cleared(tmp_path: Path) -> None:
    target = tmp_path / "out.gpkg"
    child = start_child(target)
    with pytest.raises(OutputError, match="another run"), replacing(target):
        pytest.fail("the block must not run")
    child.kill()
    child.wait(timeout=10)
    child.communicate()
    assert len(names(tmp_path)) == 3  # temporary file, its journal, the lock
    with replacing(target) as temporary:
        temporary.write_text("new")
    assert target.read_text() == "new"
    assert names(tmp_path) == ["out.gpkg"]


def test_many_threads_at_one_output_leave_one_whole_file(tmp_path: Path) -> None:
    target = tmp_path / "out.gpkg"
    outcomes: list[str] = []

    def run(text: str) -> None:
        for _ in range(20):
            try:
                with replacing(target) as temporary:
                    temporary.write_text(text * 1000)
                    time.sleep(0.001)
                outcomes.append("written")
            except OutputError as error:
                assert "another run" in str(error)
                outcomes.append("refused")

    threads = [threading.Thread(target=run, args=(letter,)) for letter in "abcd"]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(outcomes) == 80
    assert "written" in outcomes
    assert target.read_text() in {letter * 1000 for letter in "abcd"}
    assert names(tmp_path) == ["out.gpkg"]


@pytest.mark.parametrize(
    ("error", "text"),
    [
        (OSError(errno.ENOSPC, "No space left on device"), "the disk is full"),
        (sqlite3.OperationalError("database or disk is full"), "the disk is full"),
        (sqlite3.OperationalError("disk I/O error"), "full or reports a fault"),
        (OSError(errno.EROFS, "Read-only file system"), "read-only"),
        (OSError(errno.EDQUOT, "Quota"), "quota"),
    ],
)
def test_disk_trouble_becomes_one_message(tmp_path: Path, error: Exception, text: str) -> None:
    with pytest.raises(OutputError, match=text), replacing(tmp_path / "out.gpkg") as temporary:
        temporary.write_text("half")
        raise error
    assert names(tmp_path) == []


def test_other_errors_pass_unchanged(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError), replacing(tmp_path / "out.gpkg"):
        raise FileNotFoundError(errno.ENOENT, "no such terrain")
    assert atomic.disk_trouble(sqlite3.OperationalError("no such table: x")) is None


def test_file_held_open_elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise PermissionError(errno.EACCES, "in use")  # what Windows says

    monkeypatch.setattr(Path, "replace", refuse)
    with pytest.raises(OutputError, match="hold it open"), replacing(tmp_path / "out.gpkg") as temporary:
        temporary.write_text("new")
    assert names(tmp_path) == []


def test_long_and_odd_names(tmp_path: Path) -> None:
    for name in ("n" * 250 + ".tif", "ß é 😀 [a-z]* ?'\".tif", ".hidden.tif", "no_suffix"):
        if os.name == "nt" and any(c in name for c in '*?"'):
            continue
        with replacing(tmp_path / name) as temporary:
            temporary.write_text(name)
        assert (tmp_path / name).read_text() == name
    assert not [name for name in names(tmp_path) if name.startswith(".hillsight")]


@POSIX
def test_signals_are_handed_back_and_threads_left_alone() -> None:
    before = signal.getsignal(signal.SIGTERM)
    with pytest.raises(KeyboardInterrupt, match="SIGTERM"), stop_signals():
        os.kill(os.getpid(), signal.SIGTERM)
        time.sleep(1)
    assert signal.getsignal(signal.SIGTERM) is before
    seen: list[object] = []

    def inside() -> None:
        with stop_signals():
            seen.append(signal.getsignal(signal.SIGTERM))

    thread = threading.Thread(target=inside)
    thread.start()
    thread.join()
    assert seen == [before]
