"""Files with their checksum beside them: whole and as they were written, or not there."""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.layers.atomic import replacing

if TYPE_CHECKING:
    from collections.abc import Mapping

    from hillsight.arrays import AnyArray

_CHUNK_BYTES = 1 << 20
#: The earliest time that a ZIP file can tell: parts of the same content are the same, byte for byte.
_NO_TIME = (1980, 1, 1, 0, 0, 0)
_RECORD = "record.json"


def checksum(path: Path) -> str:
    """SHA-256 of a file, in hexadecimal; empty where it cannot be read."""
    digest = hashlib.sha256()
    try:
        with path.open("rb") as file:
            while chunk := file.read(_CHUNK_BYTES):
                digest.update(chunk)
    except OSError:
        return ""
    return digest.hexdigest()


def write_checked(path: Path, content: bytes) -> None:
    """Write a file, then its checksum beside it; each on the disk, folder too, before it has its name.

    Raises
    ------
    OutputError : the disk is full, or the folder cannot be written to
    """
    _beside(path).unlink(missing_ok=True)  # so that an old checksum never stands beside a new file
    with replacing(path) as temporary:
        temporary.write_bytes(content)
    with replacing(_beside(path)) as temporary:
        temporary.write_text(hashlib.sha256(content).hexdigest() + "\n", encoding="ascii")


def is_whole(path: Path) -> bool:
    """Whether a file is there as it was written; one that is damaged is taken away with its checksum."""
    try:
        told = _beside(path).read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError):
        told = ""
    if told and checksum(path) == told:
        return True
    for file in (path, _beside(path)):
        with contextlib.suppress(OSError):
            file.unlink(missing_ok=True)
    return False


def _beside(path: Path) -> Path:
    return path.with_name(f"{path.name}.sha256")


def packed(arrays: Mapping[str, AnyArray], record: Any) -> bytes:
    """Arrays by name, as numpy reads them one by one, and a record of plain values; without any time."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        text = json.dumps(record, sort_keys=True, ensure_ascii=False, allow_nan=False)
        archive.writestr(_entry(_RECORD), text.encode(), compresslevel=1)
        for name, array in arrays.items():
            inside = io.BytesIO()
            np.lib.format.write_array(inside, np.ascontiguousarray(array), allow_pickle=False)
            archive.writestr(_entry(f"{name}.npy"), inside.getbuffer(), compresslevel=1)
    return buffer.getvalue()


def _entry(name: str) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, _NO_TIME)
    entry.compress_type = zipfile.ZIP_DEFLATED
    return entry


class Packed:
    """A packed file, open; arrays are read when they are asked for."""

    def __init__(self, path: Path) -> None:
        self._archive = zipfile.ZipFile(path)
        self._names = frozenset(self._archive.namelist())

    def __enter__(self) -> Packed:
        return self

    def __exit__(self, *_: object) -> None:
        self._archive.close()

    def record(self) -> Any:
        """The plain values."""
        return json.loads(self._archive.read(_RECORD))

    def array(self, name: str) -> AnyArray | None:
        """An array; None where there is none of that name."""
        if f"{name}.npy" not in self._names:
            return None
        with self._archive.open(f"{name}.npy") as file:
            return np.lib.format.read_array(file, allow_pickle=False)

    def needed(self, name: str) -> AnyArray:
        """An array that must be there.

        Raises
        ------
        ValueError : it is not
        """
        found = self.array(name)
        if found is None:
            raise ValueError(f"it holds no {name}")
        return found
