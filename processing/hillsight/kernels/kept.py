"""Compiled code on disk: checked before it is loaded, thrown away where damaged, done without on a full disk.

numba loads what lies in its cache as pickles and machine code. A file cut short or overwritten would break
every later run, one flipped bit may crash it, and two first runs at once could each take a number for its
file that the other takes too. Here every file begins with the length and the SHA-256 of what follows, each
gets a name of its own, and trouble with the disk only means that code is compiled anew.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import pickle
import secrets
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from numba.core.caching import IndexDataCacheFile

_MAGIC = b"hillsight kept code 1 "
_HEAD_BYTES = len(_MAGIC) + 16 + 1 + 64 + 1  # length and checksum in hexadecimal
_BEING_WRITTEN_S = 600.0
_SUFFIXES = (".nbi", ".nbc")

#: Folders that kernels of this process are kept in.
_folders: set[Path] = set()


@dataclass(frozen=True)
class KeptCode:
    """Files of compiled code.

    folders : where they lie
    files : how many there are
    older : how many are not of this version's making; no run loads them
    damaged : those that are, or were left over by a run that was ended
    """

    folders: tuple[Path, ...]
    files: int
    older: int
    damaged: tuple[Path, ...]


class CheckedFiles(IndexDataCacheFile):  # type: ignore[misc, unused-ignore]
    """numba's files of one kernel, an index and the code of each signature, with checks."""

    # numba's own, which says no types.
    _cache_path: Any
    _data_name: Any
    _data_path: Any
    _dump: Any
    _index_name: Any
    _index_path: Any
    _open_for_write: Any
    _source_stamp: Any
    _version: Any

    def __init__(self, plain: IndexDataCacheFile) -> None:
        vars(self).update(vars(plain))
        _folders.add(Path(self._cache_path))

    def save(self, key: Any, data: Any) -> None:
        """Keep the code of a signature; under a name that no other run takes."""
        overloads = self._load_index()
        if key not in overloads:
            if not overloads:  # what lies here is of older sources
                self._remove(f"{Path(self._index_name).stem}.*.nbc")
            overloads[key] = self._data_name(secrets.randbits(48))
        self._save_data(overloads[key], data)
        self._save_index(overloads)

    def _load_index(self) -> dict[Any, str]:
        content = _checked(Path(self._index_path))
        if content is None:
            return {}
        try:
            stream = io.BytesIO(content)
            # What follows may name a class that another version lacks.
            if pickle.load(stream) != self._version:
                return {}
            stamp, overloads = pickle.load(stream)
        except Exception:  # of another numba or Python; what was damaged has not come so far
            return {}
        return dict(overloads) if stamp == self._source_stamp else {}

    def _save_index(self, overloads: dict[Any, str]) -> None:
        content = self._dump(self._version) + self._dump((self._source_stamp, overloads))
        with self._open_for_write(self._index_path) as file:
            file.write(_sealed(content))

    def _load_data(self, name: str) -> Any:
        content = _checked(Path(self._data_path(name)))
        return None if content is None else pickle.loads(content)

    def _save_data(self, name: str, data: Any) -> None:
        with self._open_for_write(self._data_path(name)) as file:
            file.write(_sealed(self._dump(data)))

    def _remove(self, pattern: str) -> None:
        for path in Path(self._cache_path).glob(pattern):
            with contextlib.suppress(OSError):
                path.unlink()


@contextlib.contextmanager
def without_disk_trouble() -> Iterator[None]:
    """Code that cannot be read or kept is compiled anew: the run goes on."""
    with contextlib.suppress(OSError):
        yield


def kept_code(*, mend: bool = False) -> KeptCode:
    """Look through the folders that kernels of this process are kept in.

    mend : whether damaged and left files are removed
    """
    files, older, damaged = 0, [], []
    for folder in sorted(_folders):
        for path in sorted(folder.glob("*.nb*")) if folder.is_dir() else ():
            left = ".tmp." in path.name
            if not left and path.suffix not in _SUFFIXES:
                continue
            with contextlib.suppress(OSError):  # another run has just removed it
                age_s = time.time() - path.stat().st_mtime
                if left and age_s < _BEING_WRITTEN_S:
                    continue
                files += 1
                if left:
                    damaged.append(path)
                elif not path.read_bytes().startswith(_MAGIC):
                    older.append(path)
                elif _content(path) is None:
                    damaged.append(path)
    if mend:
        for path in (*damaged, *older):
            with contextlib.suppress(OSError):
                path.unlink()
    return KeptCode(tuple(sorted(_folders)), files, len(older), tuple(damaged))


def _sealed(content: bytes) -> bytes:
    return _MAGIC + f"{len(content):016x} {hashlib.sha256(content).hexdigest()}\n".encode() + content


def _content(path: Path) -> bytes | None:
    """What a file holds after its head, or None where they do not agree."""
    try:
        whole = path.read_bytes()
    except OSError:
        return None
    content = whole[_HEAD_BYTES:]
    return content if whole == _sealed(content) else None


def _checked(path: Path) -> bytes | None:
    """The content of a file that is there and whole; what is damaged is removed."""
    content = _content(path)
    if content is None:
        with contextlib.suppress(OSError):
            path.unlink()
    return content
