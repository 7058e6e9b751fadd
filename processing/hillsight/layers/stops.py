"""Requests to stop a run: met like Ctrl-C, or held back for the moment in which files take their names."""

from __future__ import annotations

import signal
import threading
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator
    from types import FrameType

_STOPS = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")


@dataclass
class StopRequest:
    """Whether somebody asked the run to stop."""

    asked: bool = False


@contextmanager
def stop_signals() -> Iterator[StopRequest]:
    """Make SIGTERM (and a closed terminal) act like Ctrl-C while the block runs, so that files are tidied up.

    Yields a note of whether a stop was asked for: a library written in C may answer the KeyboardInterrupt
    with an error of its own (an import "fails"), and only the note tells then what it was.

    Works in the main thread only; in another thread the block runs with the signals as they are.
    """
    request = StopRequest()
    if threading.current_thread() is not threading.main_thread():
        yield request
        return

    def stop(number: int, frame: FrameType | None) -> None:
        request.asked = True
        raise KeyboardInterrupt(f"stopped by {signal.Signals(number).name}")

    numbers = [getattr(signal, name) for name in _STOPS if hasattr(signal, name)]
    before = []
    for number in numbers:
        handler = signal.getsignal(number)
        # A signal that the starting program ignores (as a run kept alive after logging out) stays ignored.
        if handler is not None and handler is not signal.SIG_IGN:
            before.append((number, handler))
            signal.signal(number, stop)
    try:
        yield request
    finally:
        for number, handler in before:
            signal.signal(number, handler)


@contextmanager
def stops_wait() -> Iterator[None]:
    """Hold requests to stop back while the block runs, and meet the last of them after it.

    For what takes moments and must not be left half done. Works in the main thread only, where alone a
    request arrives.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    asked: list[int] = []
    before = []
    for name in _STOPS:
        handler = signal.getsignal(getattr(signal, name)) if hasattr(signal, name) else None
        if callable(handler):  # it is met in Python; others end the process at once, or do nothing
            before.append((getattr(signal, name), handler))
            signal.signal(before[-1][0], lambda number, _: asked.append(number))
    try:
        yield
    finally:
        for number, handler in before:
            signal.signal(number, handler)
        if asked:
            signal.raise_signal(asked[-1])
