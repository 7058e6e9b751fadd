"""Parts of a request as the readings want them; what makes no sense is refused."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import CallError
from hillsight.jobs.settling import COMPUTED, words
from hillsight.sight.viewing import Viewing

if TYPE_CHECKING:
    from collections.abc import Callable

    import geopandas

    from hillsight.ground.stations import Station
    from hillsight.jobs.inputs import Inputs
    from hillsight.jobs.requests import LandformsInView, Looking, Pockets


def viewing_of(request: Looking, target_height_m: float) -> Viewing:
    """Heights, reach and refraction.

    Raises
    ------
    CallError : one out of its bounds
    """
    return Viewing(request.eye_height, target_height_m, request.reach, request.refraction)


def least_pocket_ha(request: Pockets) -> float:
    """The smallest pocket to list.

    Raises
    ------
    CallError : negative
    """
    if request.least_pocket < 0:
        raise CallError(
            f"the least pocket is {request.least_pocket:g} ha",
            remedy="Give an area of 0 or more",
            parameters=("least_pocket",),
        )
    return request.least_pocket


def check_bearing(name: str, bearing_deg: float | None) -> None:
    """Refuse what is no bearing.

    Raises
    ------
    CallError : beyond a full turn
    """
    if bearing_deg is not None and not -360 <= bearing_deg <= 360:
        raise CallError(
            f"{words(name)} is {bearing_deg:g}",
            remedy="Give degrees from true north, 0 to 360",
            parameters=(name,),
        )


def check_scales(request: LandformsInView) -> None:
    """Refuse sizes of landforms where none are read.

    Raises
    ------
    CallError : scales are given, and landforms come from a file or are not wanted
    """
    if request.scales and not (isinstance(request.landforms, str) and request.landforms == COMPUTED):
        raise CallError(
            "a scale is about landforms that are read about each station",
            remedy="Ask for landforms without naming a file, or leave the scale out",
            parameters=("scales", "landforms"),
        )


def amid(stations: list[Station]) -> tuple[tuple[float, float], float]:
    """The place amid stations, easting and northing, and how far from it the farthest of them stands (m)."""
    east = np.array([station.easting_m for station in stations])
    north = np.array([station.northing_m for station in stations])
    middle = float(east.max() + east.min()) / 2, float(north.max() + north.min()) / 2
    return middle, float(np.hypot(east - middle[0], north - middle[1]).max())


def landforms_about(
    inputs: Inputs,
    scales_m: tuple[float, ...],
    within_m: float,
    progress: Callable[[float], None] | None = None,
) -> dict[str, geopandas.GeoDataFrame]:
    """Landforms about all stations together, by layer, with the names of the map features.

    Parameters
    ----------
    scales_m : sizes sought; empty for the usual ones
    within_m : how far from any station

    Raises
    ------
    CallError : a scale that the terrain cannot give
    """
    from hillsight.ground.geodesy import Geodesy
    from hillsight.landform.map_names import named
    from hillsight.landform.options import LandformOptions
    from hillsight.landform.survey import survey

    middle, spread_m = amid(inputs.stations)
    surface = inputs.terrain.bare.window(*middle, spread_m + within_m)
    frames = survey(
        surface,
        scales_m or None,
        LandformOptions(),
        Geodesy(surface.grid.crs),
        progress,
        seen_from=middle,
        spread_m=spread_m,
    )
    return frames if inputs.features is None else named(frames, inputs.features)
