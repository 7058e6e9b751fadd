"""What a folder of results was begun with; a run that goes on in it must ask for the same."""

from __future__ import annotations

import hashlib
import json
import shutil
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hillsight.errors import BatchError
from hillsight.layers.atomic import replacing
from hillsight.schema.batch import BATCH_RASTERS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.layers.provenance import InputFile

NAME = "manifest.json"
_FORMAT = "hillsight batch folder 1"

#: All that a run makes in its folder, files first.
FOLDERS = (
    *("parts", "tiles", "viewsheds", "tables", "stac", "batch_styles", "work", "work_styles"),
    *("visible_count", *BATCH_RASTERS),
)
FILES = ("batch.gpkg", "work.gpkg", *(f"{name}.vrt" for name in ("visible_count", *BATCH_RASTERS)), NAME)

#: Rooms whose sources decide what is seen.
_ROOMS = ("words", "ground", "kernels", "sight", "reading", "jobs/batch")


@dataclass(frozen=True)
class Manifest:
    """What a folder was begun with.

    job : all that the job says
    inputs : files with their checksums, by content
    versions : libraries, and a checksum of the sources that decide what is seen
    written_at : when it was begun; every output bears this time
    """

    job: dict[str, Any]
    inputs: tuple[dict[str, Any], ...]
    versions: dict[str, str]
    written_at: str

    def as_json(self) -> bytes:
        """As it is written, with a checksum over the rest."""
        told: dict[str, Any] = {
            "format": _FORMAT,
            "job": self.job,
            "inputs": list(self.inputs),
            "versions": self.versions,
            "written_at": self.written_at,
        }
        told["sha256"] = _checksum(told)
        return json.dumps(told, sort_keys=True, ensure_ascii=False, indent=1).encode()


def told_inputs(files: Sequence[InputFile]) -> tuple[dict[str, Any], ...]:
    """Files as a manifest tells them.

    Raises
    ------
    BatchError : one cannot be read
    """
    for file in files:
        if file.reason.startswith("cannot be read"):
            raise BatchError(f"the file {file.reason}", where=file.path, remedy="Fetch it again")
    return tuple(
        {"name": file.name, "layer": file.layer, "sha256": file.sha256, "size_bytes": file.size_bytes}
        for file in files
    )


@cache
def kernel_mark(everything: bool = False) -> str:
    """Checksum of the sources that decide what is seen; or of all, which decide what any script finds."""
    package, digest = Path(__file__).parents[2], hashlib.sha256()
    for room in ("",) if everything else _ROOMS:
        for file in sorted((package / room).rglob("*.py")):
            digest.update(file.relative_to(package).as_posix().encode() + b"\0" + file.read_bytes())
    return digest.hexdigest()[:16]


def settled(folder: Path, asked: Manifest, *, afresh: bool) -> Manifest:
    """The manifest of a folder: the one that is there, if it asks for the same, or a new one.

    Parameters
    ----------
    afresh : throw away what an earlier run made

    Raises
    ------
    BatchError : the folder was begun with something else, holds other files, or its manifest is damaged
    """
    path = folder / NAME
    others = sorted(p.name for p in folder.iterdir() if not p.name.startswith("."))
    if not path.exists() and set(others) - {*FILES, *FOLDERS}:
        raise BatchError(
            f"the folder holds other files: {', '.join(others[:3])}",
            where=str(folder),
            remedy="Name an empty folder, or a new one",
            parameters=("out",),
        )
    if afresh:
        _clear(folder)
    elif not path.exists() and others:
        raise BatchError(
            f"the folder holds results without their {NAME}: what they are of is not known",
            where=str(folder),
            remedy="Name another folder, or throw away what is there",
            parameters=("afresh",),
        )
    if not path.exists():
        with replacing(path) as temporary:
            temporary.write_bytes(asked.as_json())
        return asked
    try:
        told = json.loads(path.read_bytes())
        if told.pop("sha256") != _checksum(told):
            raise ValueError("its checksum is another")
        if told["format"] != _FORMAT:
            raise ValueError(f"its format is {told['format']!r}")
        before = Manifest(told["job"], tuple(told["inputs"]), told["versions"], told["written_at"])
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise BatchError(
            f"the manifest of an earlier run is damaged: {error}",
            where=str(path),
            remedy="Begin again",
            parameters=("afresh",),
        ) from error
    changes = changed(before, asked)
    if changes:
        more = f"; and {len(changes) - 5} more" if len(changes) > 5 else ""
        raise BatchError(
            f"an earlier run was begun with something else: {'; '.join(changes[:5])}{more}",
            where=str(folder),
            remedy="Put it back to go on, name another folder, or throw away what is there",
            parameters=("afresh",),
        )
    return before


def changed(before: Manifest, asked: Manifest) -> list[str]:
    """What differs, one clause each."""
    found = _differences("", before.job, json.loads(json.dumps(asked.job)))
    told, now = ({(f["name"], f["layer"]): f["sha256"] for f in m.inputs} for m in (before, asked))
    for name, _ in [*told, *(key for key in now if key not in told)]:
        old, new = (next((v for k, v in files.items() if k[0] == name), None) for files in (told, now))
        if old != new:
            what = "is new" if old is None else "is no longer read" if new is None else "has another content"
            found.append(f"the file {name} {what}")
    if before.inputs != asked.inputs and not found:
        found.append("the files that are read are others")
    for name in sorted({*before.versions, *asked.versions}):
        old, new = before.versions.get(name, "none"), asked.versions.get(name, "none")
        if old != new:
            found.append(f"{name} was {old} and is {new}")
    return found


def _checksum(told: dict[str, Any]) -> str:
    text = json.dumps(told, sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def _differences(place: str, before: Any, asked: Any) -> list[str]:
    if isinstance(before, dict) and isinstance(asked, dict):
        return [
            text
            for name in sorted({*before, *asked})
            for text in _differences(f"{place}.{name}" if place else name, before.get(name), asked.get(name))
        ]
    return [] if before == asked else [f"{place} was {_told(before)} and is {_told(asked)}"]


def _told(value: Any) -> str:
    return "not said" if value is None else json.dumps(value, ensure_ascii=False)


def _clear(folder: Path) -> None:
    """Throw away what an earlier run made, the manifest last."""
    for name in FOLDERS:
        shutil.rmtree(folder / name, ignore_errors=True)
    for name in FILES:
        (folder / name).unlink(missing_ok=True)
