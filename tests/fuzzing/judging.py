"""How a job of ours ends on a damaged file, and whether that is a fault.

A job may refuse the file by an error of ours, or answer. An answer must be that of the sound file, or come
with a note that the sound file's has not, or the file must say something else: another reader takes it
without complaint and finds other data in it. All else is a fault: an error that is none of ours, a warning
or a line printed beside the answer, an answer that differs though the data are the same, and an answer that
differs from a file which another reader refuses. So are more than a minute and more than 2 GiB.
"""

from __future__ import annotations

import hashlib
import os
import random
import shutil
import tempfile
import time
import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, fields, is_dataclass
from pathlib import Path
from typing import Any

import geopandas
import numpy as np

from fuzzing.damage import damaged
from fuzzing.seeds import Seed
from hillsight.errors import HillsightError

LONGEST_S = 60.0
#: Fields of results that tell of the file and not of what it says.
_NOT_SAID = ("notes", "provenance", "files", "source", "line")


@dataclass(frozen=True)
class Ended:
    """How one run ended: ``refused``, ``same``, ``told``, ``other data`` or ``fault``; and why."""

    how: str
    why: str = ""


@dataclass(frozen=True)
class _Answer:
    print: str
    notes: tuple[str, ...]


class Trial:
    """One seed in a folder: its sound answer, and the trial of damaged copies."""

    def __init__(self, seed: Seed, folder: Path) -> None:
        """Make the file and ask of it; ``folder`` has the surroundings."""
        self.seed, self.folder = seed, folder
        place = folder / "sound"
        shutil.rmtree(place, ignore_errors=True)
        place.mkdir()
        path = seed.make(place)
        self.name, self.content = path.name, path.read_bytes()
        self.beside = {other.name: other for other in place.iterdir() if other != path and other.is_file()}
        self.said = fingerprint(seed.says(path), place)
        self.sound = _answer(seed.ask(path), place)

    def judge(self, campaign: int, number: int) -> Ended:
        """Damage the file as the two numbers tell, and see what becomes of it."""
        chance = random.Random(f"{self.seed.name} {campaign} {number}")
        return self.judge_content(damaged(self.content, chance))

    def judge_content(self, content: bytes) -> Ended:
        """See what becomes of a file of this content."""
        with tempfile.TemporaryDirectory(dir=self.folder) as place:
            path = Path(place) / self.name
            for name, other in self.beside.items():
                shutil.copy(other, Path(place) / name)
            path.write_bytes(content)
            begun = time.monotonic()
            ended = self._ended(path)
            seconds = time.monotonic() - begun
        return ended if seconds <= LONGEST_S else Ended("fault", f"{seconds:.0f} s")

    def _ended(self, path: Path) -> Ended:
        answer, error = None, None
        with warnings.catch_warnings(record=True) as warned, _printed() as printed:
            warnings.simplefilter("default")
            try:
                answer = _answer(self.seed.ask(path), path.parent)
            except HillsightError as refused:
                error = refused
            except Exception as other:
                return Ended("fault", f"{type(other).__name__}: {other}")
        if warned:
            return Ended("fault", f"warns: {warned[0].category.__name__}: {warned[0].message}")
        if text := printed():
            return Ended("fault", f"prints: {text[:300]}")
        if error is not None or answer is None:
            return Ended("refused", str(error))
        if answer.print == self.sound.print:
            return Ended("same")
        if set(answer.notes) - set(self.sound.notes):
            return Ended("told")
        try:
            with warnings.catch_warnings(), _printed():
                warnings.simplefilter("ignore")
                said = fingerprint(self.seed.says(path), path.parent)
        except Exception as refused:
            return Ended("fault", f"another answer, from what another reader refuses: {refused}"[:300])
        if said == self.said:
            return Ended("fault", "another answer, though another reader finds the same data")
        return Ended("other data")


def _answer(found: Any, place: Path) -> _Answer:
    notes = getattr(found, "notes", ())
    return _Answer(fingerprint(found, place), tuple(str(note).replace(str(place), "") for note in notes))


def fingerprint(found: Any, place: Path) -> str:
    """A checksum of all that an answer says, but for where files lie, notes and provenance."""
    digest = hashlib.sha256()
    for piece in _pieces(found):
        digest.update(piece.replace(str(place).encode(), b"") + b"\0")
    return digest.hexdigest()


def _pieces(found: Any) -> Iterator[bytes]:
    if isinstance(found, geopandas.GeoDataFrame):
        yield str(found.crs).encode()
        yield repr(list(found.geometry.to_wkb(hex=True))).encode()
        for column in found.columns.drop(found.geometry.name):
            yield f"{column} {list(found[column])}".encode(errors="replace")
    elif isinstance(found, np.ndarray):
        yield f"{found.dtype} {found.shape}".encode()
        yield found.tobytes()
    elif isinstance(found, Mapping):
        for key in found:
            yield b"{" + str(key).encode(errors="replace")
            yield from _pieces(found[key])
            yield b"}"
    elif isinstance(found, list | tuple):
        yield b"["
        for one in found:
            yield from _pieces(one)
        yield b"]"
    elif is_dataclass(found):
        kept = [f.name for f in fields(found) if f.name not in _NOT_SAID]
        for name in kept:
            yield from _pieces(getattr(found, name))
    elif type(found).__repr__ is object.__repr__:  # says only where in memory it lies
        yield type(found).__name__.encode()
        yield from _pieces(vars(found))
    else:
        yield repr(found).encode(errors="replace")


@contextmanager
def _printed() -> Iterator[Any]:
    """What the block, and libraries in C within it, print to the error stream."""
    kept = os.dup(2)
    with tempfile.TemporaryFile() as held:
        os.dup2(held.fileno(), 2)
        text = ""

        def so_far() -> str:
            return text

        try:
            yield so_far
        finally:
            os.dup2(kept, 2)
            os.close(kept)
            held.seek(0)
            text = held.read().decode(errors="replace").strip()
