"""The registry's code of a reference system."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pyproj import CRS

#: How sure PROJ must be that a system without a code is an entry of the registry (its own default).
_LEAST_CONFIDENCE = 70


@lru_cache(maxsize=64)
def registry_code(crs: CRS) -> tuple[str, str] | None:
    """Authority and code of the entry that a system is or is most like; None where there is none near.

    Remembered, since neither the system nor PROJ's registry changes while a program runs: a system that no
    entry is like is compared with thousands of them, which takes a quarter of a second.
    """
    found: tuple[str, str] | None = crs.to_authority(min_confidence=_LEAST_CONFIDENCE)
    return found


def epsg_code(crs: CRS) -> int | None:
    """The system's EPSG code, None where it has none."""
    found = registry_code(crs)
    if found is None:
        return None
    authority, code = found
    return int(code) if authority == "EPSG" else crs.to_epsg(min_confidence=_LEAST_CONFIDENCE)
