"""The ground that a station stands on: the terrain's, or its own surveyed height."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import StationError

if TYPE_CHECKING:
    from hillsight.ground.stations import Station

#: An eye this far (m) from what the terrain says, by a surveyed height, is worth a word.
_SURVEY_DIFFERENCE_M = 10.0


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
