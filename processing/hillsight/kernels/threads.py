"""Spreads kernels that run without the interpreter lock over the cores."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable


def cores() -> int:
    """Cores that this process may use."""
    return (os.process_cpu_count() if hasattr(os, "process_cpu_count") else os.cpu_count()) or 1


def spread(
    work: Callable[[int, int], None],
    count: int,
    at_a_time: int,
    progress: Callable[[float], None] | None = None,
) -> None:
    """Do ``count`` items in slices, several at once; an interruption ends it after the slices in hand.

    Parameters
    ----------
    work : called with the first item and the one after the last
    at_a_time : items in a slice; one slice should take well under a second
    progress : called with the share done, 0 to 1, from the calling thread
    """
    if count <= at_a_time:
        if count:
            work(0, count)
        if progress is not None:
            progress(1.0)
        return
    starts = range(0, count, at_a_time)
    pool = ThreadPoolExecutor(cores())
    try:
        for done, _ in enumerate(pool.map(lambda s: work(s, min(s + at_a_time, count)), starts), 1):
            if progress is not None:
                progress(done / len(starts))
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
