"""Compiles kernels, with a cache on disk where there is a place for one."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, cast

import numba

from hillsight.ground.libraries import numba_cache_usable


def compiled[Kernel: Callable[..., Any]](kernel: Kernel) -> Kernel:
    """Compile a kernel that runs without the interpreter lock.

    A read-only install with no writable cache folder still works; it compiles anew in each process.
    """
    compiler = numba.njit(cache=numba_cache_usable(), nogil=True, error_model="numpy")
    return cast("Kernel", _stamped(compiler(kernel)))


def compiled_without_nan[Kernel: Callable[..., Any]](kernel: Kernel) -> Kernel:
    """Compile a kernel that never meets a NaN or tells -0 from 0, so that its reductions run in vectors."""
    compiler = numba.njit(cache=numba_cache_usable(), nogil=True, fastmath={"nnan", "nsz"})
    return cast("Kernel", _stamped(compiler(kernel)))


def inlined[Kernel: Callable[..., Any]](kernel: Kernel) -> Kernel:
    """Compile a small helper into the inner loops of the kernels that call it."""
    compiler = numba.njit(cache=numba_cache_usable(), nogil=True, forceinline=True, error_model="numpy")
    return cast("Kernel", _stamped(compiler(kernel)))


_SHARED = Path(__file__).parent


@cache
def _room_stamp(room: Path) -> tuple[tuple[str, int, int], ...]:
    """Name, time and size of every source file of a room, and of those that kernels of all rooms share."""
    sources = [*sorted(room.glob("*.py")), *sorted(_SHARED.glob("*.py"))]
    return tuple((file.name, file.stat().st_mtime_ns, file.stat().st_size) for file in sources)


def _stamped(dispatcher: Any) -> Any:
    """Have cached code expire when any kernel of the same room (folder) changes.

    numba looks only at the file that a kernel stands in, and would go on using the old code of kernels
    that it calls from other files: a wrong answer that nobody sees. A kernel calls kernels of its own
    room and of this one only.
    """
    file: Any = getattr(getattr(dispatcher, "_cache", None), "_cache_file", None)
    if file is not None:
        if hasattr(file, "_source_stamp"):
            room = Path(dispatcher.py_func.__code__.co_filename).parent
            file._source_stamp = (file._source_stamp, _room_stamp(room))
        else:  # another numba keeps its stamp elsewhere: rather compile anew
            dispatcher._cache.disable()
    return dispatcher
