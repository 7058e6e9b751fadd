"""Reads station after station and lets each one's rasters go as soon as they are written."""

from __future__ import annotations

import os
import threading
import warnings
from collections import deque
from concurrent.futures import CancelledError, ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from hillsight.layers.package import raster_table
from hillsight.reading.outlook import look_out
from hillsight.schema.rasters import RASTERS
from hillsight.scripts.report import note

if TYPE_CHECKING:
    from collections.abc import Generator
    from concurrent.futures import Future

    import geopandas

    from hillsight.ground.stations import Station
    from hillsight.ground.transform import Operation
    from hillsight.layers.package import Package
    from hillsight.reading.outlook import Outlook, Request
    from hillsight.scripts.inputs import Inputs
    from hillsight.scripts.report import Progress

#: Stations in work or waiting to be written.
_MOST_AT_ONCE = 3

#: Larger views are read one at a time, in the main thread: two would need twice the memory, and only the main
#: thread can be interrupted. Smaller ones take a second or so.
_MOST_POSTS_SIDE_BY_SIDE = 6_000_000


@dataclass(frozen=True)
class Readings:
    """What is kept of all stations.

    frames : vector layers of all stations, by name
    notes : plain sentences for the report and the provenance
    operations : the distinct operations that gave the stations' longitudes and latitudes
    rasters : kind ("viewshed", "depth", "visible_count") of each raster table written, by the table's name
    """

    frames: dict[str, geopandas.GeoDataFrame]
    notes: list[str]
    operations: list[Operation]
    rasters: dict[str, str]


def read_stations(inputs: Inputs, request: Request, progress: Progress, file: Package | None) -> Readings:
    """Read every station, in their order.

    Memory grows with the number of stations by their vector layers alone.

    Parameters
    ----------
    file : takes each station's rasters as soon as it is read; None for no rasters

    Raises
    ------
    HillsightError : as ``reading.outlook.look_out`` and ``layers.package.Package.write_raster``
    """
    parts: dict[str, list[geopandas.GeoDataFrame]] = {}
    notes: list[str] = []
    operations: dict[Operation, None] = {}
    rasters: dict[str, str] = {}
    # Closed at once when the work is stopped: stations not begun are not read any more.
    with closing(_outlooks(inputs, request, progress)) as outlooks:
        for outlook in outlooks:
            for text in outlook.notes:
                note(text)
            notes += outlook.notes
            operations[outlook.to_wgs84] = None
            for name, frame in outlook.frames.items():
                parts.setdefault(name, []).append(frame)
            if file is not None:
                rasters.update(_write_rasters(file, outlook, set(rasters)))
    frames = {name: pd.concat(found, ignore_index=True) for name, found in parts.items()}
    return Readings(frames, notes, list(operations), rasters)


def _write_rasters(file: Package, outlook: Outlook, taken: set[str]) -> dict[str, str]:
    written = {}
    for kind, array in (("viewshed", outlook.states), ("depth", outlook.depth_m)):
        table = raster_table(kind, outlook.label, taken)
        meaning = f"{outlook.label}: {RASTERS[kind].meaning}"
        file.write_raster(table, array, outlook.grid, meaning, kind, station=outlook.label)
        written[table] = kind
    return written


def _outlooks(inputs: Inputs, request: Request, progress: Progress) -> Generator[Outlook]:
    """Outlooks in the order of the stations, the next ones being read while one is written."""

    stopped = threading.Event()

    def look(station: Station) -> Outlook:
        with progress.station(station.label) as advance:

            def go_on(share: float) -> None:
                if stopped.is_set():
                    raise CancelledError  # nobody waits for it any more
                if advance is not None:
                    advance(share)

            return look_out(inputs.terrain, station, request, go_on)

    if len(inputs.stations) == 1 or _posts_of_a_view(inputs, request) > _MOST_POSTS_SIDE_BY_SIDE:
        for station in inputs.stations:
            yield look(station)
        return
    # Python keeps one list of warning filters for all threads, and the libraries change it in passing: two at
    # once would let a warning out that each of them means to hold back. A filter under all of theirs holds.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)
        pool = ThreadPoolExecutor(min(os.cpu_count() or 1, _MOST_AT_ONCE - 1), "station")
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
            pool.shutdown(wait=True, cancel_futures=True)


def _posts_of_a_view(inputs: Inputs, request: Request) -> float:
    grid = inputs.terrain.grid
    across_m = 2 * request.viewing.reach_m
    return min(grid.rows, across_m / grid.spacing_y_m) * min(grid.columns, across_m / grid.spacing_x_m)
