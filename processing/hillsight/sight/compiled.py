"""Compiles kernels, with a cache on disk where there is a place for one."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, Literal, cast

import numba

from hillsight.ground.libraries import numba_cache_usable


def compiled[Kernel: Callable[..., Any]](kernel: Kernel) -> Kernel:
    """Compile a kernel that runs without the interpreter lock.

    A read-only install with no writable cache folder still works; it compiles anew in each process.
    """
    dispatcher = numba.njit(cache=numba_cache_usable(), nogil=True, error_model="numpy")(kernel)
    _stamp_with_room(dispatcher)
    return cast("Kernel", dispatcher)


def compiled_without_nan[Kernel: Callable[..., Any]](kernel: Kernel) -> Kernel:
    """Compile a kernel that never meets a NaN or tells -0 from 0, so that its reductions run in vectors."""
    flags = {"nnan", "nsz"}
    return cast("Kernel", numba.njit(cache=numba_cache_usable(), nogil=True, fastmath=flags)(kernel))


def inlined[Kernel: Callable[..., Any]](kernel: Kernel) -> Kernel:
    """Compile a small helper into the inner loops of the kernels that call it."""
    compile_ = numba.njit(cache=numba_cache_usable(), nogil=True, forceinline=True, error_model="numpy")
    return cast("Kernel", compile_(kernel))


def readiness(kernel: Callable[..., Any]) -> Literal["ready", "once", "always", "not known"]:
    """Whether a kernel must be compiled before its first call in this process.

    Looks into the index of numba's cache, and compiles nothing.

    Returns
    -------
    "ready" if this process or the cache has its code for this machine and these sources, "once" if it must
    be compiled and will be kept, "always" if there is nowhere to keep it, "not known" with a numba that
    keeps its cache otherwise
    """
    dispatcher: Any = kernel
    try:
        if dispatcher.overloads:
            return "ready"
        file = getattr(dispatcher._cache, "_cache_file", None)
        if file is None or not dispatcher._cache._enabled:
            return "always"
        machine = dispatcher.targetctx.codegen().magic_tuple()
        return "ready" if any(machine in key for key in file._load_index()) else "once"
    except Exception:  # whatever is wrong with the cache, numba itself will say if it matters
        return "not known"


@cache
def _room_stamp() -> tuple[tuple[str, int, int], ...]:
    """Name, time and size of every source file of this room."""
    sources = sorted(Path(__file__).parent.glob("*.py"))
    return tuple((file.name, file.stat().st_mtime_ns, file.stat().st_size) for file in sources)


def _stamp_with_room(dispatcher: Any) -> None:
    """Have cached code expire when any kernel of the room changes.

    numba looks only at the file that a kernel stands in, and would go on using the old code of kernels
    that it calls from other files: a wrong answer that nobody sees.
    """
    file: Any = getattr(getattr(dispatcher, "_cache", None), "_cache_file", None)
    if file is None:
        return  # not cached
    if hasattr(file, "_source_stamp"):
        file._source_stamp = (file._source_stamp, _room_stamp())
    else:  # another numba keeps its stamp elsewhere: rather compile anew
        dispatcher._cache.disable()
