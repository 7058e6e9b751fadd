"""All files of a run take their names together, or none: a journal of the renames, which a later run ends.

A run writes each file under a temporary name in its folder. When all are finished, the older files are kept
under names of their own (a hard link, where there is one), and a journal that lists every rename is put into
each folder. Then the files are renamed; what was kept goes, and the journal last. The run counts as done from
the moment that every folder has the journal: whoever finds one whose run has died ends its renames, if all
that they need is there, or else brings the older files back.

A journal is believed only where each folder that it names holds the same one, and only of files that bear the
run's mark and lie beside the file they replace, with the size and the time that it tells.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import stat
import threading
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hillsight.errors import OutputError
from hillsight.layers.locks import MARK, WAIT_S, held, is_alive, mark_of, run_lock

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

_FORMAT = "hillsight: renames of a run, 1"
_JOURNAL = f"{MARK}run-*.json"
#: A journal of 100,000 files takes about so many bytes; a larger one is none.
_MOST_BYTES = 50_000_000

#: Threads of one run settle what they find one after the other.
_one_thread = threading.Lock()

#: Size (bytes) and time of the last change (ns) of a file: a rename leaves both.
type Stamp = tuple[int, int]


@dataclass(frozen=True)
class Move:
    """A finished file and the name it is to take, in the same folder.

    new, old : stamps of the finished file, and of what is at the name before, None for nothing
    """

    temporary: Path
    final: Path
    new: Stamp
    old: Stamp | None

    @classmethod
    def of(cls, temporary: Path, final: Path) -> Move:
        """For a finished file, which is not changed any more."""
        return cls(temporary, final, _stamp(temporary) or (0, 0), _stamp(final))

    @property
    def kept(self) -> Path:
        """Where the older file is kept meanwhile; an empty file where there was none."""
        return self.temporary.with_name(f"{self.temporary.name}.{'none' if self.old is None else 'before'}")

    @property
    def is_done(self) -> bool:
        """Whether it has been made; what was changed since is the user's."""
        there = _stamp(self.final)
        return _stamp(self.temporary) is None and there is not None and there != self.old

    @property
    def is_possible(self) -> bool:
        """Whether all is as it was when the journal was written."""
        return _stamp(self.temporary) == self.new and _stamp(self.final) == self.old and self._is_free

    @property
    def _is_free(self) -> bool:
        return not (self.final.is_symlink() or self.final.is_dir())

    def keep(self) -> None:
        """Keep the older file, or note that there was none."""
        if self.old is None:
            self.kept.touch()
            return
        try:
            os.link(self.final, self.kept)
        except OSError:  # a file system without hard links
            shutil.copy2(self.final, self.kept)

    def make(self) -> None:
        """Rename; not twice.

        Raises
        ------
        OutputError : another program holds the file, or has taken the finished one away
        """
        if self.is_done:
            return
        try:
            self.temporary.replace(self.final)
        except PermissionError as error:
            raise OutputError(
                "the file cannot be replaced; another program seems to hold it open",
                where=str(self.final),
                remedy="Close it there, or name another file",
            ) from error
        except FileNotFoundError as error:
            raise OutputError(
                "the finished file was taken away before it had its name", where=str(self.final)
            ) from error

    def undo(self) -> None:
        """Bring the older file back where the newer one lies."""
        if _stamp(self.temporary) is None and _stamp(self.final) == self.new and self.kept.is_file():
            if self.old is None:
                self.final.unlink()
            else:
                self.kept.replace(self.final)

    def clear(self) -> None:
        """Remove what was there for the rename alone."""
        for left in (self.kept, self.temporary):
            left.unlink(missing_ok=True)


def put_in_place(moves: Sequence[Move], run: str) -> None:
    """Make all moves, or none: if one fails, all older files are as they were.

    Parameters
    ----------
    moves : of finished files that are on the disk
    run : the run's mark, which is in the temporary names. It holds its locks in all folders

    Raises
    ------
    OutputError, OSError : a file cannot be renamed; the disk is full
    """
    folders = _folders(moves)
    if len(moves) == 1:
        moves[0].make()
        reach_disk(folders)
        return
    try:
        for move in moves:
            move.keep()
        text = _text(run, moves)
        for folder in folders:
            _write(folder / _name(run), text)
        for move in moves:
            move.make()
    except BaseException:
        for move in moves:
            move.undo()
        _clear(moves, folders, run)
        raise
    _clear(moves, folders, run)


def settle(folder: Path) -> None:
    """End what runs that died left half done in a folder: their renames are made, or taken back.

    Journals of runs at work, and those that are not to be believed, are left alone.

    Raises
    ------
    OutputError, OSError : a file cannot be renamed or removed
    """
    for left in folder.glob(f"{MARK}run-*"):
        is_rest = left.suffix in (".half", ".lock")
        # Asking after a lock that nobody holds removes it.
        if is_rest and not is_alive(folder, left.stem.removeprefix(f"{MARK}run-")) and left.suffix == ".half":
            with contextlib.suppress(OSError):  # another's, in a folder for all
                left.unlink()
    for found in sorted(folder.glob(_JOURNAL)):
        with _one_thread, ExitStack() as locks:
            if (read := _read(found)) is None:
                continue
            run, moves, text = read
            having = [one for one in _folders(moves) if _read_text(one / _name(run)) == text]
            try:
                locked = [locks.enter_context(held(run_lock(one, run), one, wait_s=WAIT_S)) for one in having]
            except OutputError:  # the run is at work, or another one settles it
                continue
            if not all(locked) or not found.exists():  # nobody knows who is at work; it was settled meanwhile
                continue
            ours = [move for move in moves if move.final.parent in having]
            whole = len(having) == len(_folders(moves))
            if whole and all(move.is_done or move.is_possible for move in moves):
                for move in moves:
                    move.make()
            else:
                for move in ours:
                    move.undo()
            _clear(ours, having, run)


def settle_beside(files: Iterable[str]) -> None:
    """Settle the folders of files that are to be read, as far as the rights there allow."""
    for folder in {Path(os.path.realpath(file)).parent for file in files if "\0" not in file}:
        if folder.is_dir() and os.access(folder, os.W_OK):
            with contextlib.suppress(OSError, OutputError):
                settle(folder)


def reach_disk(folders: Iterable[Path]) -> None:
    """Renames reach the disk with the folders they are in."""
    if os.name == "nt":
        return
    for folder in folders:
        with contextlib.suppress(OSError):
            opened = os.open(folder, os.O_RDONLY)
            try:
                os.fsync(opened)
            finally:
                os.close(opened)


def _clear(moves: Sequence[Move], folders: Sequence[Path], run: str) -> None:
    """What was kept goes before the journals: one that is left alone must find nothing to undo."""
    reach_disk(folders)
    for move in moves:
        move.clear()
    reach_disk(folders)
    for folder in folders:
        (folder / _name(run)).unlink(missing_ok=True)


def _name(run: str) -> str:
    return _JOURNAL.replace("*", run)


def _folders(moves: Sequence[Move]) -> list[Path]:
    return list(dict.fromkeys(move.final.parent for move in moves))


def _stamp(path: Path) -> Stamp | None:
    """Of a file; None for what is none, or is not there."""
    try:
        there = path.lstat()
    except OSError:
        return None
    return (there.st_size, there.st_mtime_ns) if stat.S_ISREG(there.st_mode) else None


def _text(run: str, moves: Sequence[Move]) -> str:
    listed = [
        {
            "folder": str(move.final.parent),
            "temporary": move.temporary.name,
            "final": move.final.name,
            "new": move.new,
            "old": move.old,
        }
        for move in moves
    ]
    return json.dumps({"format": _FORMAT, "run": run, "moves": listed})


def _write(path: Path, text: str) -> None:
    """The journal, whole and on the disk."""
    half = path.with_suffix(".half")
    try:
        with half.open("w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        half.replace(path)
    except BaseException:
        half.unlink(missing_ok=True)
        raise
    reach_disk([path.parent])


def _read_text(path: Path) -> str | None:
    """A journal of ours as it stands; None where there is none to believe.

    In a folder where everybody may write and nobody may touch what is another's, as /tmp, only our own.
    """
    try:
        there, folder = path.lstat(), path.parent.stat()
        if not stat.S_ISREG(there.st_mode) or there.st_size > _MOST_BYTES:
            return None
        if folder.st_mode & stat.S_ISVTX and hasattr(os, "geteuid") and there.st_uid != os.geteuid():
            return None
        return path.read_text(encoding="utf-8")
    except (OSError, ValueError):
        return None


def _read(path: Path) -> tuple[str, list[Move], str] | None:
    """Run, moves and text of a journal; None if it is none, or names what no run of ours would."""
    text = _read_text(path)
    try:
        content = json.loads(text or "")
        run = content["run"]
        moves = [_move(told, run) for told in content["moves"]]
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None
    believed = content["format"] == _FORMAT and path.name == _name(run)
    if text is None or not believed or path.parent not in _folders(moves):
        return None
    return run, moves, text


def _move(told: Any, run: str) -> Move:
    """One move of a journal.

    Raises
    ------
    ValueError, KeyError, TypeError : it is none that a run of ours would write
    """
    folder, final, temporary = Path(told["folder"]), told["final"], told["temporary"]
    names_only = all(name == os.path.basename(name) for name in (final, temporary))  # noqa: PTH119 - as text
    if not names_only or final.startswith(MARK) or os.path.realpath(folder) != str(folder):
        raise ValueError
    if not final or not temporary.startswith(f"{mark_of(final)}-{run}-"):
        raise ValueError
    new, old = ((*map(int, stamp),) if stamp is not None else None for stamp in (told["new"], told["old"]))
    if new is None or len(new) != 2 or (old is not None and len(old) != 2):
        raise ValueError
    return Move(folder / temporary, folder / final, new, old)
