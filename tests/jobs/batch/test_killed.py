"""A batch that is killed again and again leaves the bytes of one left in peace."""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

import hillsight
from jobs.batch.batch_jobs import MANY, digests, made
from scripts.commands import process

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def calm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The job done in one go, its results in ``out``."""
    folder = tmp_path_factory.mktemp("calm")
    hillsight.batch(made(folder, MANY), out=folder / "out", workers=1)
    return folder


def children(pid: int) -> list[int]:
    """Processes that a process began."""
    try:
        return [int(one) for one in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
    except OSError:
        return []


def finished(folder: Path) -> int:
    """Pieces of work that are done."""
    return len([*folder.glob("parts/*.npz"), *folder.glob("tiles/*.json")])


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="needs /proc, to find workers")
def test_twenty_kills_of_the_run_or_a_worker_leave_no_trace(calm: Path, tmp_path: Path) -> None:
    chance = random.Random(20)
    folder, seen_workers, killed = tmp_path / "out", 0, 0
    command = process("batch", calm / "job.toml", "--out", folder, "--workers", "2", "--quiet")
    for turn in range(80):
        if killed == 20:
            break
        run = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        begun, until = finished(folder), time.monotonic() + 60
        # Most kills come when this very run has done something; some while it begins.
        while run.poll() is None and time.monotonic() < until:
            if finished(folder) > begun or (turn % 5 == 4 and children(run.pid)):
                break
            time.sleep(0.01)
        time.sleep(chance.uniform(0.0, 0.6))
        workers = children(run.pid)
        seen_workers += len(workers)
        if run.poll() is None:
            victim = run.pid if turn % 2 == 0 or not workers else chance.choice(workers)
            os.kill(victim, signal.SIGKILL)
            killed += 1
            time.sleep(chance.uniform(0.0, 0.5))
        if run.poll() is None:
            run.kill()
        run.wait()
        if run.returncode == 0:  # done, in spite of all: once more from the beginning
            assert digests(folder) == digests(calm / "out")
            shutil.rmtree(folder)
            continue
        assert finished(folder) >= begun - 1  # a file may lie there without its checksum
        for worker in workers:  # none outlives the run
            for _ in range(200):
                if not Path(f"/proc/{worker}").exists():
                    break
                time.sleep(0.05)
            assert not Path(f"/proc/{worker}").exists()
    assert killed == 20
    assert seen_workers > 0
    last = subprocess.run(command, capture_output=True, text=True, timeout=300)
    assert last.returncode == 0, last.stderr
    left = digests(folder)
    assert {name for name in left if Path(name).name.startswith(".")} == set()
    assert left == digests(calm / "out")


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="needs /proc, to find workers")
def test_a_run_survives_a_worker_that_is_killed(calm: Path, tmp_path: Path) -> None:
    command = process("batch", calm / "job.toml", "--out", tmp_path / "out", "--workers", "2", "--quiet")
    run = subprocess.Popen(command)
    killed, until = 0, time.monotonic() + 120
    while run.poll() is None and killed < 2 and time.monotonic() < until:
        for worker in children(run.pid):
            spawned = b"spawn_main" in Path(f"/proc/{worker}/cmdline").read_bytes()
            if spawned and list((tmp_path / "out").glob("parts/*.npz")):
                os.kill(worker, signal.SIGKILL)
                killed += 1
                time.sleep(0.5)
                break
        time.sleep(0.02)
    assert run.wait(timeout=300) == 0
    assert killed >= 1
    assert digests(tmp_path / "out") == digests(calm / "out")


@pytest.mark.skipif(sys.platform == "win32", reason="needs a limit on the size of files")
@pytest.mark.parametrize("fails", ["parts", "index"])
def test_a_file_that_cannot_be_written_is_told_and_a_rerun_goes_on(
    calm: Path, tmp_path: Path, fails: str
) -> None:
    """A limit on the size of files stands for a full disk: both are errors of the system while writing."""
    import resource

    out, most_bytes = calm / "out", 12_000
    if fails == "index":  # when all parts and tiles are done
        most_bytes = max(path.stat().st_size for path in (*out.rglob("*.npz"), *out.rglob("*.tif"))) + 1
        assert most_bytes < (out / "batch.gpkg").stat().st_size

    def small_files() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (most_bytes, most_bytes))

    command = process("batch", calm / "job.toml", "--out", tmp_path / "out", "--workers", "1", "--quiet")
    ended = subprocess.run(command, capture_output=True, text=True, timeout=300, preexec_fn=small_files)
    assert ended.returncode == 2, ended.stderr
    told = [line for line in ended.stderr.splitlines() if not line.startswith("note:")]
    assert len(told) == 1
    assert "grown beyond the size allowed" in told[0] or "disk is full" in told[0]
    assert not (tmp_path / "out" / "batch.gpkg").exists()
    assert (finished(tmp_path / "out") > 5) == (fails == "index")
    again = subprocess.run(command, capture_output=True, text=True, timeout=300)
    assert again.returncode == 0, again.stderr
    assert digests(tmp_path / "out") == digests(calm / "out")


#: On a file system of 400 kB, which grows after the first run; what came out is copied.
SMALL_DISK = """
mount -t tmpfs -o size=400k tmpfs "$1" && shift || exit 77
"$@"; echo "ended $?"
mount -o remount,size=20M "$0"
"$@"; echo "ended $?"
cp -r "$0/out" "$0.copy"
"""


@pytest.mark.skipif(sys.platform != "linux" or shutil.which("unshare") is None, reason="needs unshare")
def test_a_disk_that_fills_in_the_middle_is_told_and_a_rerun_goes_on(calm: Path, tmp_path: Path) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    command = process("batch", calm / "job.toml", "--out", disk / "out", "--workers", "2", "--quiet")
    ended = subprocess.run(
        ["unshare", "--map-root-user", "--mount", "sh", "-c", SMALL_DISK, disk, disk, *command],
        capture_output=True,
        text=True,
        timeout=600,
    )
    if "ended" not in ended.stdout:
        pytest.skip(f"no file system of one's own can be had here: {ended.stderr}")
    assert ended.stdout.split("\n")[:2] == ["ended 2", "ended 0"], ended.stderr
    (told,) = [line for line in ended.stderr.splitlines() if not line.startswith("note:")]
    assert "the disk is full" in told
    assert digests(tmp_path / "disk.copy") == digests(calm / "out")
