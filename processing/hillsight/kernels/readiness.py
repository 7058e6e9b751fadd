"""Tells whether a kernel has still to be compiled, so that somebody who waits can be told why."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from collections.abc import Callable


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
