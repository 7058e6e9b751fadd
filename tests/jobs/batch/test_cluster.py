"""A batch on a cluster goes on when a worker dies, and when its scheduler is gone and comes back."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

import hillsight
from jobs.batch.batch_jobs import JOB, digests, made
from scripts.commands import process

pytestmark = pytest.mark.slow
pytest.importorskip("distributed", reason="dask.distributed is not installed")

TIME = "1780000000"
#: Small pieces of work, so that some are done and some are not when something dies.
MANY = JOB.replace("window_posts = 20000", "window_posts = 10000")


@contextmanager
def started(*command: str) -> Iterator[subprocess.Popen[bytes]]:
    """A process that does not outlive the block."""
    environment = {**os.environ, "HILLSIGHT_THREADS": "1", "SOURCE_DATE_EPOCH": TIME}
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


def test_a_worker_dies_and_the_scheduler_comes_back(tmp_path: Path) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SOURCE_DATE_EPOCH", TIME)
        hillsight.batch(made(tmp_path, MANY), out=tmp_path / "calm", workers=1)
    parts = len(list((tmp_path / "calm").glob("parts/*.npz")))
    assert parts >= 4
    port = free_port()
    address, out = f"tcp://127.0.0.1:{port}", tmp_path / "out"
    command = process("batch", tmp_path / "job.toml", "--out", out, "--scheduler", address, "--quiet")
    environment = {**os.environ, "SOURCE_DATE_EPOCH": TIME}
    with started(*scheduler_at(port)), started(*worker_of(address)) as first:
        run = subprocess.Popen(command, env=environment, stderr=subprocess.PIPE)
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
