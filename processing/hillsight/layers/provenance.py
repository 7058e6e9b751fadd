"""Where a result comes from: inputs with checksums, parameters, coordinate operations, versions, time."""

from __future__ import annotations

import hashlib
import json
import math
import os
import platform
import re
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from importlib import metadata
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Any

from hillsight.errors import CallError
from hillsight.words.marks import marks_escaped

if TYPE_CHECKING:
    from collections.abc import Iterator

_LIBRARIES = (
    "rasterio",
    "pyogrio",
    "geopandas",
    "shapely",
    "pyproj",
    "numpy",
    "scipy",
    "numba",
    "pygeomag",
)
_CHUNK_BYTES = 1 << 20
# A name that only means something on the machine it was given on.
_MACHINE_NAME = re.compile(r"^(?:[/\\~]|[A-Za-z]:[/\\]|file:)")
_VIRTUAL = re.compile(r"^/vsi[a-z0-9_]+/")
_REMOTE = re.compile(r"^(?:/vsi(?:curl|s3|gs|az|adls|oss|swift|hdfs|webhdfs)(?:_streaming)?/|[a-z0-9+]+://)")
_ARCHIVE_SCHEME = re.compile(r"^(?:zip|tar|gzip)(?:\+file)?://")


@dataclass(frozen=True)
class InputFile:
    """One file that was read.

    Parameters
    ----------
    path : as the user gave it; only its last part is written to outputs
    layer : layer within the file, or None
    sha256 : checksum of the file, in hexadecimal; of the archive where the name reaches into one; else None
    size_bytes : size of what the checksum covers, or None
    reason : why there is no checksum, empty if there is one
    """

    path: str
    layer: str | None
    sha256: str | None
    size_bytes: int | None
    reason: str = ""

    @property
    def name(self) -> str:
        """The file's name without the folders of the machine it lay on."""
        return file_name(self.path)


@dataclass(frozen=True)
class WholeRun:
    """The run that a piece is of: what all pieces take from it, so that they fit together.

    near : longitude and latitude of the work, degrees: one working grid, and one way between systems, for all
    files : what the run reads, with checksums, by the names that pieces call them
    written_at : time of writing, ISO 8601 UTC
    """

    near: tuple[float, float]
    files: tuple[InputFile, ...]
    written_at: str


_RUN: ContextVar[WholeRun | None] = ContextVar("run", default=None)


def whole_run() -> WholeRun | None:
    """The run that what is being done is a piece of; None where it is a run of its own."""
    return _RUN.get()


@contextmanager
def piece_of(run: WholeRun) -> Iterator[None]:
    """What is done until the block ends, in this thread, is a piece of a run."""
    token = _RUN.set(run)
    try:
        yield
    finally:
        _RUN.reset(token)


def input_file(path: str | Path, layer: str | None = None) -> InputFile:
    """Describe a file that was read; reads all of it for the checksum, unless the whole run knows it.

    Never raises: what cannot be checked (a remote file, a folder, a database) says why in ``reason``.
    """
    given = os.fspath(path)
    if (run := whole_run()) is not None:
        for known in run.files:
            if known.path == given:
                return replace(known, layer=layer)
    if _REMOTE.match(given) and not _ARCHIVE_SCHEME.match(given):
        return InputFile(given, layer, None, None, "not a local file")
    container = local_file(given)
    if container is None:
        return InputFile(given, layer, None, None, "no single local file stands behind this name")
    if container.is_dir():
        return InputFile(given, layer, None, None, "a folder")
    try:
        digest, size_bytes = hashlib.sha256(), 0
        with container.open("rb") as file:
            while chunk := file.read(_CHUNK_BYTES):
                digest.update(chunk)
                size_bytes += len(chunk)
    except OSError as error:
        return InputFile(given, layer, None, None, f"cannot be read again ({error.strerror})")
    return InputFile(given, layer, digest.hexdigest(), size_bytes)


def versions() -> dict[str, str]:
    """Versions of everything that a result may depend on; libraries that are not installed are left out."""
    import pyogrio
    import pyproj
    import rasterio

    found = {
        "hillsight": _version("hillsight") or "not installed",
        "python": platform.python_version(),
        "GDAL of rasterio": str(rasterio.__gdal_version__),
        "GDAL of pyogrio": str(pyogrio.__gdal_version_string__),
        "PROJ of pyproj": str(pyproj.proj_version_str),
    }
    for library in _LIBRARIES:
        version = _version(library)
        if version:
            found[library] = version
    return found


def written_at() -> str:
    """Time of writing, ISO 8601 UTC to the second; the environment variable SOURCE_DATE_EPOCH fixes it.

    Raises
    ------
    CallError : SOURCE_DATE_EPOCH is set but is no number of seconds since 1970
    """
    if (run := whole_run()) is not None:
        return run.written_at
    fixed = os.environ.get("SOURCE_DATE_EPOCH", "").strip()
    if not fixed:
        return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    try:
        return datetime.fromtimestamp(int(fixed), UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    except (ValueError, OverflowError, OSError):
        raise CallError(
            f"{fixed!r} is no number of seconds since 1970",
            where="environment variable SOURCE_DATE_EPOCH",
            remedy="Unset it, or set it to a whole number",
        ) from None


def local_file(given: str) -> Path | None:
    """Local file or folder behind a name, or None.

    The name may be a path, one of GDAL's virtual paths into archives, or name a part of a file
    (``DRIVER:file:part``).
    """
    name = given
    while True:
        shorter = _ARCHIVE_SCHEME.sub("", _VIRTUAL.sub("", name, count=1), count=1)
        if shorter == name:
            break
        name = shorter
    if _exists(Path(given)):
        return Path(given)
    name = name.split("!", 1)[0] if _ARCHIVE_SCHEME.match(given) else name
    # DRIVER:name, DRIVER:"name":part, DRIVER:number:name; a single letter would be a Windows drive
    bare = re.sub(r"^[A-Za-z][A-Za-z0-9_]+:", "", name)
    tries = (name, bare, bare.rpartition(":")[0], bare.partition(":")[2])
    for start in (*tries, *(re.sub(r'[{}"]', "", item) for item in tries)):
        candidate = Path(start)
        for place in (candidate, *candidate.parents):
            # The folder that a wrong name happens to lie in says nothing; only a whole name may be a folder.
            if _exists(place) and (place.is_file() or (place == candidate and str(place) != ".")):
                return place
    return None


@dataclass(frozen=True)
class Provenance:
    """Everything needed to make a result again.

    Parameters
    ----------
    script : name of the script that wrote it
    parameters : options by name, with their units in the names; machine paths are shortened when written
    inputs : files read
    operations : coordinate operations used, each with name, accuracy_m and missing grids
    notes : what the reader should know, one sentence each
    versions, written_at : filled in unless given
    """

    script: str
    parameters: dict[str, Any]
    inputs: tuple[InputFile, ...] = ()
    operations: tuple[dict[str, Any], ...] = ()
    notes: tuple[str, ...] = ()
    versions: dict[str, str] = field(default_factory=versions)
    written_at: str = field(default_factory=written_at)

    def as_json(self) -> str:
        """JSON text with stable key order and no machine paths; NaN and infinities become null."""
        document = {
            "script": self.script,
            "parameters": _plain(self.parameters),
            "inputs": [
                {
                    "name": _text(item.name),
                    "layer": _plain(item.layer),
                    "sha256": item.sha256,
                    "size_bytes": item.size_bytes,
                    **({"no_checksum_because": item.reason} if item.reason else {}),
                }
                for item in self.inputs
            ],
            "operations": _plain(self.operations),
            "notes": _plain(self.notes),
            "versions": _plain(self.versions),
            "written_at": self.written_at,
        }
        return marks_escaped(
            json.dumps(document, sort_keys=True, ensure_ascii=False, indent=1, allow_nan=False)
        )


def _exists(path: Path) -> bool:
    try:
        return path.exists()
    except (OSError, ValueError):  # a name that no file can have
        return False


def _version(library: str) -> str | None:
    try:
        return metadata.version(library)
    except metadata.PackageNotFoundError:
        return None


def file_name(given: str) -> str:
    """Last part of a path or address, without query and without folders; what is inside an archive stays.

    given : any name GDAL takes for a file
    """
    if _REMOTE.match(given) and not _ARCHIVE_SCHEME.match(given):
        address = re.split(r"[?#]", given, maxsplit=1)[0].rstrip("/")
        return address.rsplit("/", 1)[-1]
    container = local_file(given)
    if container is not None and str(container) in given:
        return container.name + given.split(str(container), 1)[1].lstrip('"}')
    return re.split(r"[/\\]", given.rstrip("/\\"))[-1]


def _text(value: str) -> str:
    """Text that UTF-8 can hold: undecodable bytes of file names become question marks."""
    return value.encode("utf-8", "replace").decode("utf-8")


def _plain(value: Any) -> Any:
    """The value as JSON knows it."""
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, PurePath):
        return _text(file_name(str(value)))
    if isinstance(value, str):
        return _text(file_name(value) if _MACHINE_NAME.match(value) else value)
    if isinstance(value, dict):
        return {_text(str(key)): _plain(item) for key, item in value.items()}
    if isinstance(value, (set, frozenset)):
        return sorted((_plain(item) for item in value), key=repr)
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    if hasattr(value, "tolist"):  # numpy numbers and arrays
        return _plain(value.tolist())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, int):
        return int(value)
    return _text(str(value))
