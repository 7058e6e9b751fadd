"""Reads station after station in full, the next ones while the one before is written.

While stations are read side by side, warnings of the kind UserWarning are held back in the whole process.
"""

from __future__ import annotations

import threading
import warnings
from collections import deque
from concurrent.futures import CancelledError
from typing import TYPE_CHECKING

from hillsight.jobs.sink import MadeRaster
from hillsight.jobs.stations import Reading
from hillsight.kernels.threads import budget, workers
from hillsight.reading.outlook import look_out

if TYPE_CHECKING:
    from collections.abc import Generator
    from concurrent.futures import Future

    from hillsight.ground.stations import Station
    from hillsight.jobs.inputs import Inputs
    from hillsight.jobs.listener import Listener
    from hillsight.reading.outlook import Outlook, Request

#: Stations in work or waiting to be written.
_MOST_AT_ONCE = 3

#: Larger views are read one at a time, in the main thread: two would need twice the memory, and only the main
#: thread can be interrupted. Smaller ones take a second or so.
_MOST_POSTS_SIDE_BY_SIDE = 6_000_000


def readings(inputs: Inputs, request: Request, listener: Listener) -> Generator[Reading]:
    """Read every station, in their order.

    Raises
    ------
    HillsightError : as ``reading.outlook.look_out``
    """
    for outlook in _outlooks(inputs, request, listener):
        rasters = (("viewshed", outlook.states), ("depth", outlook.depth_m))
        yield Reading(
            outlook.frames,
            tuple(MadeRaster(kind, outlook.label, array, outlook.grid) for kind, array in rasters),
            outlook.notes,
            (outlook.to_wgs84,),
        )


def _outlooks(inputs: Inputs, request: Request, listener: Listener) -> Generator[Outlook]:
    stopped = threading.Event()

    def look(station: Station) -> Outlook:
        with listener.work(station.label) as advance:

            def go_on(share: float) -> None:
                if stopped.is_set():
                    raise CancelledError  # nobody waits for it any more
                advance(share)

            return look_out(inputs.terrain, station, request, go_on)

    alone = len(inputs.stations) == 1 or budget() == 1
    if alone or _posts_of_a_view(inputs, request) > _MOST_POSTS_SIDE_BY_SIDE:
        for station in inputs.stations:
            yield look(station)
        return
    # Python keeps one list of warning filters for all threads, and the libraries change it in passing: two at
    # once would let a warning out that each of them means to hold back. A filter under all of theirs holds.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)
        with workers(_MOST_AT_ONCE - 1, "station") as pool:
            ahead: deque[Future[Outlook]] = deque()
            try:
                for station in inputs.stations:
                    ahead.append(pool.submit(look, station))
                    if len(ahead) == _MOST_AT_ONCE:
                        yield ahead.popleft().result()
                while ahead:
                    yield ahead.popleft().result()
            finally:
                stopped.set()


def _posts_of_a_view(inputs: Inputs, request: Request) -> float:
    grid = inputs.terrain.grid
    across_m = 2 * request.viewing.reach_m
    return min(grid.rows, across_m / grid.spacing_y_m) * min(grid.columns, across_m / grid.spacing_x_m)
