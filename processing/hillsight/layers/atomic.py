"""Files that appear whole or not at all: built under a temporary name, then renamed into place."""

from __future__ import annotations

import contextlib
import errno
import itertools
import os
import secrets
import sqlite3
import threading
from contextlib import ExitStack, contextmanager
from contextvars import ContextVar
from pathlib import Path
from typing import TYPE_CHECKING

from hillsight.errors import OutputError
from hillsight.layers.journal import Move, put_in_place, settle
from hillsight.layers.locks import MARK, WAIT_S, held, is_alive, mark_of, run_lock
from hillsight.layers.provenance import local_file
from hillsight.layers.stops import stops_wait

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

# Errors of the disk, not of the program.
_DISK_TROUBLE = {
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "the disk quota is used up",
    errno.EFBIG: "the file has grown beyond the size allowed here",
    errno.EROFS: "the folder is read-only",
    errno.EIO: "the disk reports a fault",
}


@contextmanager
def replacing(path: Path, *, inputs: Sequence[str | Path] = ()) -> Iterator[Path]:
    """Name to write to; what is there at the end replaces ``path`` in one step.

    The name lies in the same folder, hidden and unique to the run, with the suffix of ``path``. When the
    block ends well the file is flushed to disk and renamed, in a block of :func:`together` at the end of
    that; when it ends by any exception, Ctrl-C included, it is removed with all that drivers left beside it,
    and an older file at ``path`` stays as it was. A symbolic link keeps pointing where it points; the file
    behind it is replaced.

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
    files, mark = _together.get(), mark_of(final.name)
    run = secrets.token_hex(8) if files is None else files.run
    with held(final.parent / f"{mark}.lock", path) as locked, _told(str(path)):
        if locked:
            _clear_the_way(path, final, run)
        temporary = final.parent / f"{mark}-{run}-{next(_numbers):06d}{final.suffix}"
        waits = False
        try:
            yield temporary
            _finish(path, temporary, final)
            if files is None:
                put_in_place([Move.of(temporary, final)], run)
            else:
                files.add(temporary, final)
                waits = True
        finally:
            _remove_beside(temporary, keep=waits)


@contextmanager
def together() -> Iterator[None]:
    """All files that are written in the block take their names at its end, together; if it fails, none does.

    Until then the older files stay, and a finished one is read by the name that :func:`where_written` tells.
    A run that is killed while they are renamed leaves a journal, which :func:`layers.journal.settle` ends. A
    block within another is part of it. The threads of ``kernels.threads.workers`` take part too.

    Raises
    ------
    OutputError : a file cannot take its name; all older files are as they were
    """
    if _together.get() is not None:
        yield
        return
    files = _Together()
    token = _together.set(files)
    try:
        yield
        files.put_in_place()
    finally:
        _together.reset(token)
        files.let_go()


def where_written(path: Path) -> Path:
    """Where a file that this run has written lies now."""
    files = _together.get()
    return path if files is None else files.waiting.get(Path(os.path.realpath(path)), path)


def made_folder(folder: Path) -> Path:
    """The folder, made if need be; it goes again if the files that are written together fail.

    Raises
    ------
    OutputError : it cannot be made
    """
    missing = [one for one in (folder, *folder.parents) if not one.exists()]
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            f"the folder cannot be made ({error.strerror})", where=str(folder), remedy="Name another folder"
        ) from error
    if (files := _together.get()) is not None:
        files.folders += reversed(missing)
    return folder


class _Together:
    """Finished files that wait for their names: ``waiting`` has their temporary names."""

    def __init__(self) -> None:
        self.run = secrets.token_hex(8)
        self.waiting: dict[Path, Path] = {}
        self.folders: list[Path] = []
        self._locks = ExitStack()
        self._locked: set[Path] = set()
        self._guard = threading.Lock()

    def add(self, temporary: Path, final: Path) -> None:
        """One more; a file that was written before under the same name is dropped."""
        with self._guard:
            if final.parent not in self._locked:
                self._locks.enter_context(held(run_lock(final.parent, self.run), final, wait_s=WAIT_S))
                self._locked.add(final.parent)
            before = self.waiting.get(final)
            self.waiting[final] = temporary
        if before is not None:
            before.unlink(missing_ok=True)

    def put_in_place(self) -> None:
        """Give all files their names, or none."""
        moves = [Move.of(temporary, final) for final, temporary in self.waiting.items()]
        if moves:
            with stops_wait(), _told(str(moves[0].final)):
                put_in_place(moves, self.run)
            self.waiting, self.folders = {}, []

    def let_go(self) -> None:
        """Remove what has not got its name, and let other runs come."""
        for temporary in self.waiting.values():
            with contextlib.suppress(OSError):
                temporary.unlink(missing_ok=True)
        for folder in reversed(self.folders):
            with contextlib.suppress(OSError):  # other files are in it
                folder.rmdir()
        self._locks.close()


_together: ContextVar[_Together | None] = ContextVar("together", default=None)
_numbers = itertools.count(1)


@contextmanager
def _told(where: str) -> Iterator[None]:
    """Tell troubles of the disk in plain words."""
    try:
        yield
    except (OSError, sqlite3.Error) as error:
        trouble = disk_trouble(error)
        if trouble is None:
            raise
        raise OutputError(
            trouble, where=where, remedy="Nothing was written: make room, or name another place"
        ) from error


def remove_leavings(folder: Path) -> None:
    """Remove what runs that were killed left in a folder and those below it: locks, and half-written files.

    Only for a folder that no other run writes to now.
    """
    for left in folder.rglob(f"{MARK}*"):
        mark, ending = left.name.removeprefix(MARK)[:12], left.name[len(MARK) + 12 :]
        ours = len(mark) == 12 and set(mark) <= set("0123456789abcdef") and ending[:1] in (".", "-")
        of_a_run = left.name.startswith(f"{MARK}run-") and left.suffix in (".lock", ".half")
        if (ours or of_a_run) and left.is_file():
            with contextlib.suppress(OSError):
                left.unlink()


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


def _finish(path: Path, temporary: Path, final: Path) -> None:
    """Flush the finished file to disk, with the rights of the one that it replaces."""
    if not temporary.is_file():
        raise OutputError("the run ended without writing anything", where=str(path))
    if final.exists():
        with contextlib.suppress(OSError):
            temporary.chmod(final.stat().st_mode & 0o777)
    with temporary.open("r+b") as file:
        os.fsync(file.fileno())


def _clear_the_way(path: Path, final: Path, own_run: str) -> None:
    """End what runs that were killed left at an output, and remove their rest; its lock is held.

    Raises
    ------
    OutputError : a run at work has it finished already, or what was left cannot be ended
    """
    try:
        settle(final.parent)
    except OSError as error:
        raise OutputError(
            f"a run that was killed left files there whose renames cannot be ended ({error.strerror})",
            where=str(final.parent),
            remedy="See to the rights of the folder, or name another one",
        ) from error
    mark = f"{mark_of(final.name)}-"
    for left in final.parent.glob(f"{mark}*"):
        run = left.name.removeprefix(mark).partition("-")[0]
        if run == own_run:
            continue
        if is_alive(final.parent, run):
            raise OutputError(
                "another run is writing it", where=str(path), remedy="Wait for it, or name another file"
            )
        with contextlib.suppress(OSError):
            left.unlink()


def _remove_beside(temporary: Path, *, keep: bool) -> None:
    """Remove what drivers left beside a file; the file too, unless it is to be kept."""
    for left in temporary.parent.glob(f"{temporary.stem}*"):  # no wildcard in it: letters, digits, hyphens
        if not (keep and left == temporary):
            with contextlib.suppress(OSError):
                left.unlink()
