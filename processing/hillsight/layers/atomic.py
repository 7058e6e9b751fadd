"""Files that appear whole or not at all: built under a temporary name, then renamed into place."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import secrets
import signal
import sqlite3
import threading
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from hillsight.errors import OutputError
from hillsight.layers.provenance import local_file

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from types import FrameType

# Errors of the disk, not of the program.
_DISK_TROUBLE = {
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "the disk quota is used up",
    errno.EFBIG: "the file has grown beyond the size allowed here",
    errno.EROFS: "the folder is read-only",
    errno.EIO: "the disk reports a fault",
}
# What temporary names and locks begin with; a hash of the final name follows.
_MARK = ".hillsight-"
# Times that a lock is tried for which another run removes in that moment.
_TRIES = 5
# What a file system answers that knows no locks.
_NO_LOCKS = {errno.ENOLCK, errno.ENOSYS, errno.EOPNOTSUPP, errno.EINVAL}


@contextmanager
def replacing(path: Path, *, inputs: Sequence[str | Path] = ()) -> Iterator[Path]:
    """Name to write to; what is there at the end replaces ``path`` in one step.

    The name lies in the same folder, hidden and unique to the run, with the suffix of ``path``. When the
    block ends well the file is flushed to disk and renamed; when it ends by any exception, Ctrl-C included,
    it is removed with all that drivers left beside it, and an older file at ``path`` stays as it was. A
    symbolic link keeps pointing where it points; the file behind it is replaced.

    Parameters
    ----------
    path : file to make or replace
    inputs : files read by the run, which must not be overwritten; of GDAL's virtual names the file behind

    Raises
    ------
    OutputError : the folder is missing or cannot be written to, the path is a folder or one of the inputs,
        another run is writing it, another program holds it open, or the disk is full
    """
    final = Path(os.path.realpath(path))
    check_place(path, inputs=inputs)
    mark = f"{_MARK}{hashlib.sha256(os.fsencode(final.name)).hexdigest()[:12]}"
    with _lock(path, final.parent / f"{mark}.lock") as locked:
        if locked:  # what lies here now is left from a run that was killed
            _remove_all(final.parent, f"{mark}-")
        name = f"{mark}-{os.getpid()}-{secrets.token_hex(4)}"
        temporary = final.parent / f"{name}{final.suffix}"
        try:
            yield temporary
            _put_in_place(path, temporary, final)
        except (OSError, sqlite3.Error) as error:
            trouble = disk_trouble(error)
            if trouble is None:
                raise
            raise OutputError(
                trouble, where=str(path), remedy="Nothing was written: make room, or name another place"
            ) from error
        finally:
            _remove_all(final.parent, name)


def remove_leavings(folder: Path) -> None:
    """Remove what runs that were killed left in a folder and those below it: locks, and half-written files.

    Only for a folder that no other run writes to now.
    """
    for left in folder.rglob(f"{_MARK}*"):
        mark, ending = left.name.removeprefix(_MARK)[:12], left.name[len(_MARK) + 12 :]
        ours = len(mark) == 12 and set(mark) <= set("0123456789abcdef") and ending[:1] in (".", "-")
        if ours and left.is_file():
            with contextlib.suppress(OSError):
                left.unlink()


@dataclass
class StopRequest:
    """Whether somebody asked the run to stop."""

    asked: bool = False


@contextmanager
def stop_signals() -> Iterator[StopRequest]:
    """Make SIGTERM (and a closed terminal) act like Ctrl-C while the block runs, so that files are tidied up.

    Yields a note of whether a stop was asked for: a library written in C may answer the KeyboardInterrupt
    with an error of its own (an import "fails"), and only the note tells then what it was.

    Works in the main thread only; in another thread the block runs with the signals as they are.
    """
    request = StopRequest()
    if threading.current_thread() is not threading.main_thread():
        yield request
        return

    def stop(number: int, frame: FrameType | None) -> None:
        request.asked = True
        raise KeyboardInterrupt(f"stopped by {signal.Signals(number).name}")

    names = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
    numbers = [getattr(signal, name) for name in names if hasattr(signal, name)]
    before = []
    for number in numbers:
        handler = signal.getsignal(number)
        # A signal that the starting program ignores (as a run kept alive after logging out) stays ignored.
        if handler is not None and handler is not signal.SIG_IGN:
            before.append((number, handler))
            signal.signal(number, stop)
    try:
        yield request
    finally:
        for number, handler in before:
            signal.signal(number, handler)


def disk_trouble(error: BaseException) -> str | None:
    """What is wrong with the disk, as one clause, or None if the error has another cause.

    Knows the operating system's codes and the wording of SQLite and GDAL.
    """
    if isinstance(error, OSError) and error.errno in _DISK_TROUBLE:
        return _DISK_TROUBLE[error.errno]
    text = str(error).lower()
    if "disk is full" in text or "no space left" in text:
        return _DISK_TROUBLE[errno.ENOSPC]
    if any(words in text for words in ("disk i/o error", "file too large", "failed to commit")):
        return "the disk is full or reports a fault"
    if "readonly database" in text or "read-only" in text:
        return _DISK_TROUBLE[errno.EROFS]
    return None


def check_place(path: Path, *, inputs: Sequence[str | Path] = ()) -> None:
    """Refuse a place that cannot or must not be written to; touches nothing.

    Raises
    ------
    OutputError : as :func:`replacing`, as far as it can be told beforehand
    """
    final = Path(os.path.realpath(path))
    if not final.name:
        raise OutputError("this is no file name", where=str(path))
    try:
        final.lstat()
    except OSError as error:
        if error.errno == errno.ENAMETOOLONG:
            raise OutputError("the name is too long", where=str(path), remedy="Give a shorter one") from error
    if final.is_dir():
        raise OutputError("this is a folder", where=str(path), remedy="Give the name of a file in it")
    if final.parent.is_file():
        raise OutputError(
            "this is a file, and a folder is needed",
            where=str(Path(path).parent),
            remedy="Name another place",
        )
    if not final.parent.is_dir():
        raise OutputError(
            "the folder does not exist", where=str(Path(path).parent), remedy="Make it, or name another one"
        )
    if final.exists() and not os.access(final, os.W_OK):
        raise OutputError("the file is write-protected", where=str(path), remedy="Name another file")
    for given in inputs:
        same = False
        with contextlib.suppress(OSError, ValueError):  # ValueError: a name that no file can have
            file = local_file(os.fspath(given)) or Path(given)
            same = Path(os.path.realpath(file)) == final or file.samefile(final)
        if same:
            raise OutputError("the output is one of the inputs", where=str(path), remedy="Name another file")


@contextmanager
def _lock(path: Path, lock: Path) -> Iterator[bool]:
    """Hold the lock file; the system frees it when a process dies, so a stale one never blocks.

    Yields False where the file system knows no locks: two runs then both finish, the later one wins.
    """
    from filelock import FileLock, Timeout

    held = FileLock(lock)
    trouble: OSError = FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT))
    for _ in range(_TRIES):
        try:
            held.acquire(blocking=False)
            break
        except Timeout:
            if lock.exists():
                raise OutputError(
                    "another run is writing it", where=str(path), remedy="Wait for it, or name another file"
                ) from None
            continue  # the run before has just removed it, or no file can be made here
        except OSError as error:
            if error.errno in _NO_LOCKS:
                break
            trouble = error
    else:
        raise OutputError(
            f"nothing can be written in the folder ({trouble.strerror})",
            where=str(Path(path).parent),
            remedy="Name another folder",
        ) from trouble
    try:
        yield held.is_locked
    finally:
        if os.name == "nt":  # an open file cannot be removed there
            held.release()
        # Elsewhere it goes while it is held: whoever opened it meanwhile finds it gone and tries no further.
        with contextlib.suppress(OSError):
            lock.unlink(missing_ok=True)
        held.release()


def _put_in_place(path: Path, temporary: Path, final: Path) -> None:
    """Flush the finished file to disk and rename it."""
    if not temporary.is_file():
        raise OutputError("the run ended without writing anything", where=str(path))
    if final.exists():
        with contextlib.suppress(OSError):
            temporary.chmod(final.stat().st_mode & 0o777)
    with temporary.open("r+b") as file:
        os.fsync(file.fileno())
    try:
        temporary.replace(final)
    except PermissionError as error:
        raise OutputError(
            "the file cannot be replaced; another program seems to hold it open",
            where=str(path),
            remedy="Close it there, or name another file",
        ) from error
    if os.name != "nt":  # the rename itself reaches the disk with the folder
        with contextlib.suppress(OSError):
            folder = os.open(final.parent, os.O_RDONLY)
            try:
                os.fsync(folder)
            finally:
                os.close(folder)


def _remove_all(folder: Path, start: str) -> None:
    """Remove every file in the folder whose name starts so: the file and what drivers left beside it."""
    for left in folder.glob(f"{start}*"):  # the start holds no wildcard: letters, digits, dots, hyphens
        with contextlib.suppress(OSError):
            left.unlink()
