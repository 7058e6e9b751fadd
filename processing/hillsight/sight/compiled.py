"""Compiles kernels, with a cache on disk where there is a place for one."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, cast

import numba

from hillsight.ground.libraries import numba_cache_usable


def compiled[Kernel: Callable[..., Any]](kernel: Kernel) -> Kernel:
    """Compile a kernel that runs without the interpreter lock.

    A read-only install with no writable cache folder still works; it compiles anew in each process.
    """
    return cast("Kernel", numba.njit(cache=numba_cache_usable(), nogil=True)(kernel))


def inlined[Kernel: Callable[..., Any]](kernel: Kernel) -> Kernel:
    """Compile a small helper that other kernels call in their inner loops."""
    return cast("Kernel", numba.njit(cache=numba_cache_usable(), nogil=True, inline="always")(kernel))
