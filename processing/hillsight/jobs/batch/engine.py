"""Has tasks done: one after another, by processes of this machine, or by a dask.distributed cluster.

A task is small, pickles, leaves a file, and may be done twice: whoever dies is replaced, and what it had in
hand is given out again. Only some tasks a worker are given out at a time.
"""

from __future__ import annotations

import hashlib
import multiprocessing
import os
import signal
import threading
import time
from collections import deque
from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from typing import TYPE_CHECKING, Any, Protocol

from hillsight import errors
from hillsight.errors import BatchError, CallError, HillsightError, OutputError
from hillsight.ground.libraries import settle_libraries
from hillsight.kernels.threads import VARIABLE

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from concurrent.futures import Future

#: Tasks given out at a time, for each worker.
_WAVE = 10

#: How often all workers may be lost, with nothing done between, before the work is given up.
_MOST_LOSSES = 5

#: Tries of a task whose file could not be written: another run may just have held it.
_TRIES = 3

_RECONNECT_S = 2.0
_CONNECT_S = 30.0


class Task(Protocol):
    """A piece of work; see the module."""

    @property
    def name(self) -> str: ...

    def run(self) -> dict[str, Any]: ...


def do_task(task: Task) -> dict[str, Any]:
    """Do a task; an error that is meant for the user comes back as plain values, which any process reads."""
    for attempt in range(_TRIES):
        try:
            return task.run()
        except OutputError as error:
            if attempt + 1 == _TRIES:
                return _as_values(error)
            time.sleep(0.5)
        except HillsightError as error:
            return _as_values(error)
    raise AssertionError("unreachable")


def _as_values(error: HillsightError) -> dict[str, Any]:
    return {"error": [type(error).__name__, error.what, error.where, error.remedy]}


def _checked(result: dict[str, Any]) -> dict[str, Any]:
    """The result of a task.

    Raises
    ------
    HillsightError : the task ended in one
    """
    if "error" in result:
        kind, what, where, remedy = result["error"]
        raise getattr(errors, kind, BatchError)(what, where=where, remedy=remedy)
    return result


def do_tasks(tasks: Sequence[Task], *, workers: int, scheduler: str | None, done: Callable[[], None]) -> None:
    """Have all tasks done.

    Parameters
    ----------
    workers : processes; with 1 the work is done here
    scheduler : address of a cluster's scheduler, in place of processes
    done : called after each task, from this thread

    Raises
    ------
    HillsightError : the first task that failed; or workers die again and again
    """
    if not tasks:
        return
    if scheduler is not None:
        _by_cluster(tasks, scheduler, done)
    elif workers == 1:
        for task in tasks:
            _checked(do_task(task))
            done()
    else:
        _by_processes(tasks, min(workers, len(tasks)), done)


def _by_processes(tasks: Iterable[Task], workers: int, done: Callable[[], None]) -> None:
    waiting, losses = deque(tasks), 0
    while waiting:
        in_hand: dict[Future[dict[str, Any]], Task] = {}
        pool = ProcessPoolExecutor(workers, multiprocessing.get_context("spawn"), initializer=_begin_worker)
        try:
            while waiting or in_hand:
                while waiting and len(in_hand) < _WAVE * workers:
                    in_hand[pool.submit(do_task, waiting[0])] = waiting[0]
                    waiting.popleft()
                for future in wait(in_hand, return_when=FIRST_COMPLETED).done:
                    _checked(future.result())
                    del in_hand[future]
                    losses = 0
                    done()
        except BrokenProcessPool:
            losses += 1
            left = [task for future, task in in_hand.items() if not _is_done(future)]
            for _ in range(len(in_hand) - len(left)):
                done()
            _give_up(losses, left)
            waiting.extendleft(reversed(left))
        finally:
            pool.shutdown(wait=True, cancel_futures=True)


def _is_done(future: Future[dict[str, Any]]) -> bool:
    """Whether a task of a broken pool had ended well."""
    return (
        future.done()
        and not future.cancelled()
        and future.exception() is None
        and "error" not in future.result()
    )


def _give_up(losses: int, left: Sequence[Task]) -> None:
    if losses > _MOST_LOSSES and left:
        raise BatchError(
            f"workers died {losses} times with nothing done between; {left[0].name} was in hand",
            remedy="See whether the machine runs out of memory: give fewer workers or a smaller window_posts",
        )


def _begin_worker() -> None:
    """Make a process ready: one thread, no Ctrl-C of its own, and no life beyond its parent's."""
    os.environ[VARIABLE] = "1"
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    settle_libraries()
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: Any) -> None:
    parent.join()
    os._exit(1)


def _by_cluster(tasks: Iterable[Task], scheduler: str, done: Callable[[], None]) -> None:
    """By the workers of a cluster; where its scheduler is lost, wait for it and go on."""
    try:
        import distributed
    except ImportError as error:
        raise CallError(
            "a scheduler is named, and the library dask.distributed is not installed",
            remedy="Install it: pip install hillsight[cluster]",
            parameters=("scheduler",),
        ) from error
    lost = (
        OSError,
        TimeoutError,
        distributed.client.FutureCancelledError,
        distributed.KilledWorker,
        _SchedulerLostError,
    )
    waiting, losses = deque(tasks), 0
    while waiting:
        in_hand: dict[Any, Task] = {}
        try:
            with distributed.Client(scheduler, timeout=_CONNECT_S, set_as_default=False) as client:
                finished = distributed.as_completed(loop=client.loop)
                while waiting or in_hand:
                    threads = sum(client.nthreads().values())
                    while waiting and len(in_hand) < _WAVE * max(threads, 1):
                        task = waiting.popleft()
                        future = client.submit(do_task, task, key=_key(task), pure=False, retries=3)
                        in_hand[future] = task
                        finished.add(future)
                    future = next(finished)
                    if future.status in ("cancelled", "lost"):
                        raise _SchedulerLostError
                    _checked(future.result())
                    del in_hand[future]
                    future.release()
                    losses = 0
                    done()
        except lost as error:
            losses += 1
            left = list(in_hand.values())
            waiting.extendleft(reversed(left))
            if losses > _MOST_LOSSES:
                raise BatchError(
                    f"the cluster is lost again and again ({type(error).__name__}: {error})",
                    where=scheduler,
                    remedy="Start its scheduler and workers, and run the same command again",
                ) from error
            time.sleep(_RECONNECT_S * losses)


class _SchedulerLostError(Exception):
    """The scheduler no longer knows of a task."""


def _key(task: Task) -> str:
    """A name that a person reads, told apart from that of the same task in another run."""
    mark = hashlib.sha256(f"{os.getpid()} {time.time_ns()}".encode()).hexdigest()[:8]
    return f"{task.name}-{mark}"
