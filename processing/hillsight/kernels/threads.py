"""How many threads kernels and pools may use together, and pools that keep to it.

The budget is the number of cores, unless ``HILLSIGHT_THREADS`` or ``limited_to`` says less. A pool hands each
of its threads a share of the budget, so that kernels called there do not start as many again.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from contextlib import contextmanager
from contextvars import ContextVar, copy_context
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable

#: A whole number of threads, 1 or more; anything else is passed over.
VARIABLE = "HILLSIGHT_THREADS"

_budget: ContextVar[int | None] = ContextVar("threads", default=None)


def cores() -> int:
    """Cores that this process may use."""
    return (os.process_cpu_count() if hasattr(os, "process_cpu_count") else os.cpu_count()) or 1


def budget() -> int:
    """Threads that may be at work at a time for the caller, itself included."""
    told = _budget.get()
    if told is not None:
        return told
    variable = os.environ.get(VARIABLE, "").strip()
    return int(variable) if variable.isdecimal() and int(variable) > 0 else cores()


@contextmanager
def limited_to(threads: int) -> Iterator[None]:
    """No more than so many threads for what the block does.

    Raises
    ------
    ValueError : fewer than one
    """
    if threads < 1:
        raise ValueError(f"no work can be done with {threads} threads")
    token = _budget.set(threads)
    try:
        yield
    finally:
        _budget.reset(token)


class _AtOnce(Executor):
    """Does each piece of work in the calling thread when it is given."""

    def submit[**Given, Found](
        self, fn: Callable[Given, Found], /, *args: Given.args, **kwargs: Given.kwargs
    ) -> Future[Found]:
        """Work that is done when this returns; what it raises is raised by the result."""
        done: Future[Found] = Future()
        try:
            done.set_result(fn(*args, **kwargs))
        except Exception as error:
            done.set_exception(error)
        return done

    def map[Found](
        self,
        fn: Callable[..., Found],
        *iterables: Iterable[Any],
        timeout: float | None = None,
        chunksize: int = 1,
        **_: Any,
    ) -> Iterator[Found]:
        """Each piece of work when its result is asked for: no more than one result is held."""
        return map(fn, *iterables)


@contextmanager
def workers(most: int, name: str = "") -> Iterator[Executor]:
    """A pool of at most so many threads, within the budget, each with its share of it.

    With a budget of one the work is done by the caller, when it is given. At the end work that has not begun
    is dropped, and what has is waited for.
    """
    threads = max(1, min(most, budget()))
    if threads == 1:
        yield _AtOnce()
        return
    share = budget() // threads
    around = copy_context()

    def begin() -> None:
        for variable, value in around.items():  # what holds for the caller holds for its threads
            variable.set(value)
        _budget.set(share)

    pool = ThreadPoolExecutor(threads, name, initializer=begin)
    try:
        yield pool
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def in_slices(
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
    if count == 0:
        if progress is not None:
            progress(1.0)
        return
    starts = range(0, count, at_a_time)

    def some(start: int) -> None:
        work(start, min(start + at_a_time, count))

    def told(finished: Any) -> None:
        for done, _ in enumerate(finished, 1):
            if progress is not None:
                progress(done / len(starts))

    if len(starts) < 2 or budget() == 1:
        told(map(some, starts))
        return
    with workers(len(starts)) as pool:
        told(pool.map(some, starts))
