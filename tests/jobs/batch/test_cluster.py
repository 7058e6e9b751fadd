"""A cluster leaves the bytes of a run alone, and goes on when a worker dies or its scheduler comes back."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

import hillsight
from jobs.batch.batch_jobs import (
    COVERED,
    MANY,
    WORK,
    by_cluster_of_two,
    cover_files,
    digests,
    features,
    made,
    thirty,
)
from scripts.commands import process

pytestmark = pytest.mark.slow
pytest.importorskip("distributed", reason="dask.distributed is not installed")


@contextmanager
def started(*command: str) -> Iterator[subprocess.Popen[bytes]]:
    """A process that does not outlive the block."""
    environment = {**os.environ, "HILLSIGHT_THREADS": "1"}
    one = subprocess.Popen(
        [sys.executable, "-m", *command],
        env=environment,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        yield one
    finally:
        one.kill()
        one.wait()


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def scheduler_at(port: int) -> tuple[str, ...]:
    return (
        *("distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", str(port)),
        *("--no-dashboard", "--dashboard-address", ":0"),
    )


def worker_of(address: str) -> tuple[str, ...]:
    return "distributed.cli.dask_worker", address, "--nthreads", "1", "--no-nanny", "--no-dashboard"


def wait_for(folder: Path, parts: int, run: subprocess.Popen[bytes]) -> None:
    """Until so many parts are done."""
    until = time.monotonic() + 200
    while len(list(folder.glob("parts/*.npz"))) < parts and run.poll() is None and time.monotonic() < until:
        time.sleep(0.05)


def plain_job(folder: Path) -> Path:
    return made(folder, MANY)


def covered_job(folder: Path) -> Path:
    """Of everything: the stations also see each other, by chance, and a script works for them over cover."""
    job = made(folder, f'{COVERED}\n[work]\nscript = "bearings"\n')
    cover_files(folder)
    return job


def work_job(folder: Path) -> Path:
    features(folder)
    return made(folder, WORK, thirty())


@pytest.mark.parametrize("job_in", [plain_job, covered_job, work_job])
def test_a_run_alone_two_processes_and_a_cluster_of_two_leave_the_same_bytes(
    tmp_path: Path, job_in: Callable[[Path], Path]
) -> None:
    job = job_in(tmp_path)
    hillsight.batch(job, out=tmp_path / "alone", workers=1)
    alone = digests(tmp_path / "alone")
    hillsight.batch(job, out=tmp_path / "two", workers=2)
    assert digests(tmp_path / "two") == alone
    by_cluster_of_two(job, tmp_path / "cluster")
    assert digests(tmp_path / "cluster") == alone


def test_a_worker_dies_and_the_scheduler_comes_back(tmp_path: Path) -> None:
    hillsight.batch(made(tmp_path, MANY), out=tmp_path / "calm", workers=1)
    parts = len(list((tmp_path / "calm").glob("parts/*.npz")))
    assert parts >= 4
    port = free_port()
    address, out = f"tcp://127.0.0.1:{port}", tmp_path / "out"
    command = process("batch", tmp_path / "job.toml", "--out", out, "--scheduler", address, "--quiet")
    with started(*scheduler_at(port)), started(*worker_of(address)) as first:
        run = subprocess.Popen(command, stderr=subprocess.PIPE)
        wait_for(out, 1, run)
        first.kill()
        with started(*worker_of(address)):
            wait_for(out, 2, run)
    # The scheduler is gone with all its workers. Nothing is lost: the run waits, and goes on.
    assert run.poll() is None
    assert 2 <= len(list(out.glob("parts/*.npz"))) < parts
    with started(*scheduler_at(port)), started(*worker_of(address)):
        _, told = run.communicate(timeout=400)
    assert run.returncode == 0, told.decode()
    assert digests(out) == digests(tmp_path / "calm")
    shutil.rmtree(out)
