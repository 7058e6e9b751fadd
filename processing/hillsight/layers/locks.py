"""Names and locks of what a run keeps beside its outputs while it writes them."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from hillsight.errors import OutputError

if TYPE_CHECKING:
    from collections.abc import Iterator

#: Others look at the lock of a run for a moment; it takes no longer (s) to let them pass.
WAIT_S = 2.0

#: What temporary names, locks and journals begin with.
MARK = ".hillsight-"

# Times that a lock is tried for which another run removes in that moment.
_TRIES = 5
# What a file system answers that knows no locks.
_NO_LOCKS = {errno.ENOLCK, errno.ENOSYS, errno.EOPNOTSUPP, errno.EINVAL}


def mark_of(name: str) -> str:
    """What the names of all that belongs to an output begin with: a hash of its name, of any length."""
    return f"{MARK}{hashlib.sha256(os.fsencode(name)).hexdigest()[:12]}"


def run_lock(folder: Path, run: str) -> Path:
    """The lock that a run holds in a folder while finished files of it wait there for their names."""
    return folder / f"{MARK}run-{run}.lock"


def is_alive(folder: Path, run: str) -> bool:
    """Whether the run holds its lock in the folder."""
    lock = run_lock(folder, run)
    if not lock.exists():
        return False
    try:
        with held(lock, folder):
            return False
    except OutputError:
        return True


@contextmanager
def held(lock: Path, path: Path, *, wait_s: float = 0.0) -> Iterator[bool]:
    """Hold the lock file of an output; the system frees it when a process dies, so a stale one never blocks.

    Yields False where the file system knows no locks: two runs then both finish, the later one wins.
    """
    from filelock import FileLock, Timeout

    taken = FileLock(lock, thread_local=False)  # another thread may let it go
    trouble: OSError = FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT))
    for _ in range(_TRIES):
        try:
            taken.acquire(timeout=wait_s, poll_interval=0.01)
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
        yield taken.is_locked
    finally:
        if os.name == "nt":  # an open file cannot be removed there
            taken.release()
        # Elsewhere it goes while it is held: whoever opened it meanwhile finds it gone and tries no further.
        with contextlib.suppress(OSError):
            lock.unlink(missing_ok=True)
        taken.release()
