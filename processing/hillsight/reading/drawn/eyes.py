"""The eye of a station over as much ground as a drawn view may show."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from hillsight.ground.geodesy import Geodesy
from hillsight.ground.standing import ground_height_m
from hillsight.reading.far_ground import far_ground
from hillsight.reading.view import SightLines

if TYPE_CHECKING:
    from hillsight.ground.stations import Station
    from hillsight.ground.terrain import Terrain
    from hillsight.sight.viewing import Viewing

#: Without a reach asked for a view goes as far as the terrain does, but no farther than this (m): on the
#: clearest day no ground is told apart much beyond. Common practice, no source.
FARTHEST_M = 80_000.0


def sight_lines(
    terrain: Terrain, station: Station, viewing: Viewing, *, all_there_is: bool
) -> tuple[SightLines, list[str]]:
    """The station's sight lines, and what is to be said of where it stands.

    Parameters
    ----------
    viewing : its reach counts unless all there is is wanted
    all_there_is : as far as the terrain goes, up to FARTHEST_M

    Raises
    ------
    StationError : the station stands on or beside a void, or its surveyed height puts the eye underground
    TerrainError : as raised on reading the terrain
    """
    east_m, north_m = station.easting_m, station.northing_m
    far = far_ground(terrain, east_m, north_m)
    grid = far.surface.grid
    corner_m = float(
        np.hypot(
            max(abs(grid.west_m - east_m), abs(grid.east_m - east_m)),
            max(abs(grid.south_m - north_m), abs(grid.north_m - north_m)),
        )
    )
    if all_there_is:
        viewing = replace(viewing, reach_m=max(1.0, min(float(np.ceil(corner_m)), FARTHEST_M)))
    whole = viewing.reach_m >= corner_m
    surface = far.surface if whole else terrain.window(east_m, north_m, viewing.reach_m)
    stands_m, notes = ground_height_m(station, surface.height_at_m(east_m, north_m), viewing.eye_height_m)
    lines = SightLines.from_place(
        surface, east_m, north_m, stands_m, viewing, Geodesy(terrain.crs), far.maxima if whole else None, far
    )
    return lines, list(notes)
