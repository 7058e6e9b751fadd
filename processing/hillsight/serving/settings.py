"""What whoever serves decides: where inputs come from and outputs go, and how much one job may take."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from hillsight.errors import CallError


@dataclass(frozen=True)
class Settings:
    """One set for all processes; none of it can be changed by a request.

    inputs : folder that the files of requests lie in, at any depth; all else is refused
    outputs : folder for the work of running jobs; each has a folder of its own, which is removed afterwards
    seconds : longest time that a job may run, or wait for its turn
    memory_gib : most address space of a job, GiB (2**30 bytes); held on Linux
    megabytes : most that a job's outputs may hold together, in millions of bytes
    at_once : jobs that run at a time in one process of the server; others wait
    """

    inputs: Path
    outputs: Path
    seconds: float = 600.0
    memory_gib: float = 8.0
    megabytes: float = 500.0
    at_once: int = 2

    @classmethod
    def of(cls, given: Mapping[str, Any]) -> Settings:
        """Settings as a configuration file holds them.

        Raises
        ------
        CallError : one is missing, unknown or out of its bounds, or a folder is not there
        """
        names = [field.name for field in fields(cls)]
        for name in given:
            if name not in names:
                raise _wrong(name, f"is not known; there are {', '.join(names)}")
        folders: dict[str, Any] = {}
        for name in ("inputs", "outputs"):
            text = given.get(name)
            if not isinstance(text, str) or not text.strip() or not Path(text).is_dir():
                raise _wrong(name, f"names no folder that is there: {text!r}")
            folders[name] = Path(text).resolve()
        one, other = folders["inputs"], folders["outputs"]
        if one.is_relative_to(other) or other.is_relative_to(one):
            raise _wrong("outputs", "lies within the folder of inputs, or that within it")
        numbers: dict[str, Any] = {}
        for name in ("seconds", "memory_gib", "megabytes", "at_once"):
            if name in given:
                value = given[name]
                good = isinstance(value, int | float) and not isinstance(value, bool)
                if not good or not math.isfinite(value) or value <= 0 or (name == "at_once" and value < 1):
                    raise _wrong(name, f"is {value!r}, and should be a number above 0")
                numbers[name] = int(value) if name == "at_once" else float(value)
        return cls(**folders, **numbers)


def _wrong(name: str, why: str) -> CallError:
    return CallError(f"the server's setting {name} {why}", remedy="Correct the server's configuration")
