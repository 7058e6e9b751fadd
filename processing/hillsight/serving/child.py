"""Runs one job as a process of its own, within limits, and says how it ended."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from hillsight.errors import HillsightError
from hillsight.ground.libraries import ALLOW_VARIABLE
from hillsight.serving.settings import Settings

#: How a script ends that is done; of the second a check has failed, or an answer is undecided.
_DONE, _BAD_INPUT, _UNDECIDED = 0, 2, 3

_running: dict[str, subprocess.Popen[bytes]] = {}
_slots: dict[int, threading.BoundedSemaphore] = {}
_guard = threading.Lock()


class JobError(HillsightError):
    """A job has failed for what was asked: bad input, or more than the server allows."""


class FaultError(HillsightError):
    """A job has failed by a fault of ours or of the machine: the same request may do elsewhere, or later."""


class BusyError(FaultError):
    """Too many jobs run already."""


def run_script(words: Sequence[str], job: str, scratch: Path, settings: Settings) -> str:
    """Run ``hillsight WORDS``; what it printed.

    No request decides about the network: the process is told that none is allowed, unless whoever started
    the server has allowed it in its environment.

    Parameters
    ----------
    words : script, options and arguments
    job : by which :func:`stop` ends it
    scratch : folder to work in

    Raises
    ------
    JobError : it refused its input, or took too long or too much
    FaultError : it broke
    BusyError : too many jobs run already
    """
    with _turn(settings), tempfile.TemporaryFile() as printed, tempfile.TemporaryFile() as said:
        child = subprocess.Popen(
            [sys.executable, "-m", "hillsight.scripts", *words],
            cwd=scratch,
            stdin=subprocess.DEVNULL,
            stdout=printed,
            stderr=said,
            env={**os.environ, ALLOW_VARIABLE: os.environ.get(ALLOW_VARIABLE, "0"), "COLUMNS": "100"},
            start_new_session=True,
        )
        _limit(child.pid, settings)
        with _guard:
            _running[job] = child
        try:
            code = child.wait(timeout=settings.seconds)
        except subprocess.TimeoutExpired:
            raise JobError(
                f"the job took longer than {settings.seconds:g} s, which is the most that this server allows",
                remedy="Ask for less: a shorter reach, fewer places, coarser terrain",
            ) from None
        finally:
            _end(child)
            with _guard:
                _running.pop(job, None)
        printed.seek(0)
        said.seek(0)
        out = printed.read().decode("utf-8", errors="replace")
        if code in (_DONE, _UNDECIDED):
            return out
        raise _failure(code, said.read().decode("utf-8", errors="replace"), scratch, settings)


def stop(job: str) -> None:
    """End a job's process, if it runs."""
    with _guard:
        child = _running.get(job)
    if child is not None:
        _end(child)


@contextmanager
def _turn(settings: Settings) -> Iterator[None]:
    with _guard:
        slots = _slots.setdefault(settings.at_once, threading.BoundedSemaphore(settings.at_once))
    if not slots.acquire(timeout=settings.seconds):
        raise BusyError(
            f"{settings.at_once} jobs run already, and this one has waited {settings.seconds:g} s",
            remedy="Ask again later",
        )
    try:
        yield
    finally:
        slots.release()


def _limit(process: int, settings: Settings) -> None:
    if sys.platform != "linux":
        return
    import resource

    # A process that has ended already needs no limit.
    with suppress(ProcessLookupError):
        memory = int(settings.memory_gib * 1024**3)
        resource.prlimit(process, resource.RLIMIT_AS, (memory, memory))
        largest = int(settings.megabytes * 1e6)
        resource.prlimit(process, resource.RLIMIT_FSIZE, (largest, largest))


def _end(child: subprocess.Popen[bytes]) -> None:
    """End a process and those that it has started."""
    with suppress(ProcessLookupError, PermissionError):
        if hasattr(os, "killpg"):
            os.killpg(child.pid, signal.SIGKILL)
        else:
            child.kill()
    child.wait()


def _failure(code: int, said: str, scratch: Path, settings: Settings) -> HillsightError:
    """The one message of a script, without the server's folders in it."""
    lines = [line.removeprefix("hillsight: ") for line in said.splitlines() if line.startswith("hillsight: ")]
    if code < 0:
        text = f"the job was ended by {signal.Signals(-code).name}"
    elif lines:
        text = lines[-1]
    else:
        text = f"the job ended with exit code {code} and no message"
    for folder in (scratch, settings.inputs):
        text = text.replace(f"{folder}{os.sep}", "").replace(str(folder), "the server's folder")
    return (JobError if code == _BAD_INPUT else FaultError)(text.rstrip("."))
