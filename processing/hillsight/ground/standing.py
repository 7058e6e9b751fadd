"""The ground that a station stands on: the terrain's, or its own surveyed height."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import Faults, StationError, TerrainError
from hillsight.ground.grid import Surface

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from hillsight.arrays import Floats32
    from hillsight.ground.grid import Grid
    from hillsight.ground.stations import Station
    from hillsight.ground.terrain import Terrain

#: An eye this far (m) from what the terrain says, by a surveyed height, is worth a word.
_SURVEY_DIFFERENCE_M = 10.0
#: So far (m) about a station without ground the terrain is looked through for what is wrong with it.
_LOOKED_THROUGH_M = 5_000.0


def check_standing(
    stations: Sequence[Station], terrain: Terrain, eye_height_m: float, reach_m: float, faults: Faults
) -> None:
    """Keep the errors of all stations that have no ground to stand on, before any is read.

    eye_height_m : of the eyes above the ground
    reach_m : how far is looked: where a station has no ground, the terrain about it is looked through first

    Raises
    ------
    TerrainError : the terrain there is void all over, or holds numbers that are no heights
    """
    with terrain.reading() as read:
        for station in stations:
            try:
                terrain_m = _terrain_height_m(station, terrain.grid, read)
            except TerrainError:  # of which the job itself tells
                continue
            try:
                ground_height_m(station, terrain_m, eye_height_m)
            except StationError as error:
                if not faults.found:
                    terrain.window(station.easting_m, station.northing_m, min(reach_m, _LOOKED_THROUGH_M))
                what = f"{error.where}: {error.what}"
                faults.found.append(StationError(what, where=station.source, remedy=error.remedy))


def _terrain_height_m(station: Station, grid: Grid, read: Callable[[int, int, int, int], Floats32]) -> float:
    """Height of the terrain under a station, of the four posts about it."""
    row, column = grid.to_array(station.easting_m, station.northing_m)
    top = min(max(int(np.floor(row)), 0), max(grid.rows - 2, 0))
    left = min(max(int(np.floor(column)), 0), max(grid.columns - 2, 0))
    rows, columns = min(2, grid.rows), min(2, grid.columns)
    part = Surface(grid.part(top, left, rows, columns), read(top, left, rows, columns))
    return part.height_at_m(station.easting_m, station.northing_m)


def ground_height_m(
    station: Station, terrain_height_m: float, eye_height_m: float
) -> tuple[float, list[str]]:
    """Ground height to stand on, with a note where a surveyed height disagrees with the terrain.

    terrain_height_m, eye_height_m : metres, of the terrain there and of the eye above the ground

    Raises
    ------
    StationError : the terrain has no height there, or the surveyed one puts the eye underground
    """
    where = f"station {station.label!r} (E {station.easting_m:.1f} N {station.northing_m:.1f})"
    if np.isnan(terrain_height_m):
        raise StationError(
            "stands on or beside a void of the terrain", where=where, remedy="Move it, or fill the void first"
        )
    if station.ground_height_m is None:
        return terrain_height_m, []
    difference_m = station.ground_height_m - terrain_height_m
    if difference_m + eye_height_m < 0:
        raise StationError(
            f"its surveyed ground height {station.ground_height_m:.1f} m puts the eye "
            f"{-(difference_m + eye_height_m):.1f} m below the terrain's ground",
            where=where,
            remedy="Correct the height, or leave it out to stand on the terrain",
        )
    notes = []
    if abs(difference_m) > _SURVEY_DIFFERENCE_M:
        notes.append(
            f"{station.label}: the surveyed ground height differs from the terrain by {difference_m:+.1f} m"
        )
    return station.ground_height_m, notes
