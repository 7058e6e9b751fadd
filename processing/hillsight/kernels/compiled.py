"""Compiles kernels, with a cache on disk where there is a place for one."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, cast

import numba

from hillsight.ground.libraries import numba_cache_usable
from hillsight.kernels.kept import CheckedFiles, without_disk_trouble


def compiled[Kernel: Callable[..., Any]](kernel: Kernel) -> Kernel:
    """Compile a kernel that runs without the interpreter lock.

    A read-only install with no writable cache folder still works; it compiles anew in each process.
    """
    compiler = numba.njit(cache=numba_cache_usable(), nogil=True, error_model="numpy")
    return cast("Kernel", _stamped(_once_for_all(compiler(kernel))))


def compiled_without_nan[Kernel: Callable[..., Any]](kernel: Kernel) -> Kernel:
    """Compile a kernel that never meets a NaN or tells -0 from 0, so that its reductions run in vectors."""
    compiler = numba.njit(cache=numba_cache_usable(), nogil=True, fastmath={"nnan", "nsz"})
    return cast("Kernel", _stamped(_once_for_all(compiler(kernel))))


def inlined[Kernel: Callable[..., Any]](kernel: Kernel) -> Kernel:
    """Compile a small kernel into the inner loops of those that call it."""
    compiler = numba.njit(cache=numba_cache_usable(), nogil=True, forceinline=True, error_model="numpy")
    return cast("Kernel", _stamped(_once_for_all(compiler(kernel))))


def _once_for_all(dispatcher: Any) -> Any:
    """Have a kernel compiled once for a call with the constant 0 and for one with any whole number.

    numba would compile a kernel that other kernels call with constants anew for each of them, and what that
    one calls again. Into the loops of those that call it LLVM puts the constants all the same.
    """
    template = getattr(dispatcher, "get_call_template", None)
    if template is None:  # numba compiles nothing when told so
        return dispatcher

    kind_of: Any = numba.types.unliteral

    def get_call_template(args: Any, kws: Any) -> Any:
        return template(tuple(kind_of(one) for one in args), {name: kind_of(kws[name]) for name in kws})

    dispatcher.get_call_template = get_call_template
    return dispatcher


_PACKAGE = Path(__file__).parents[1]

#: Rooms that kernels of all rooms may use.
_SHARED = (Path(__file__).parent, _PACKAGE / "words")


def _room_of(source: Path) -> Path:
    """The folder below the package that a file stands in, however deep; of another file its own folder."""
    if _PACKAGE in source.parents and source.parent != _PACKAGE:
        return _PACKAGE / source.relative_to(_PACKAGE).parts[0]
    return source.parent


@cache
def _room_stamp(room: Path) -> tuple[tuple[str, int, int], ...]:
    """Path, time and size of every source file of a room, and of those that all rooms share."""
    sources = [(folder, file) for folder in (room, *_SHARED) for file in sorted(folder.rglob("*.py"))]
    found = [(str(file.relative_to(folder)), file.stat()) for folder, file in sources]
    return tuple((name, state.st_mtime_ns, state.st_size) for name, state in found)


def _stamped(dispatcher: Any) -> Any:
    """Have cached code expire when any source of the same room, or of the shared ones, changes.

    numba looks only at the file that a kernel stands in, and would go on using the old code of kernels
    that it calls from other files: a wrong answer that nobody sees. A kernel uses kernels and constants of
    its own room and of the shared ones only.

    The stamp goes with numba's version, which is compared before anything else is read: what follows may
    name a class that is gone, and reading that would raise.
    """
    kept: Any = getattr(dispatcher, "_cache", None)
    file: Any = getattr(kept, "_cache_file", None)
    if file is not None:
        if hasattr(file, "_version") and hasattr(kept, "_guard_against_spurious_io_errors"):
            room = _room_of(Path(dispatcher.py_func.__code__.co_filename))
            file._version = (file._version, _room_stamp(room))
            kept._cache_file = CheckedFiles(file)
            kept._guard_against_spurious_io_errors = without_disk_trouble
        else:  # another numba keeps its stamp elsewhere: rather compile anew
            dispatcher._cache.disable()
    return dispatcher
