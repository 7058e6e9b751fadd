"""Looks from a place and from just beside it: a place is known only so well, and near ground hangs on it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import StationError
from hillsight.ground.stations import Station

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Floats
    from hillsight.plan.look.looking import Looker
    from hillsight.plan.statement import Statement
    from hillsight.plan.weighing.statements import Weighing


#: So far about a place it is looked from too, to the four quarters.
_BESIDE_M = 15.0


def nearby_places(easting_m: float, northing_m: float) -> list[tuple[float, float]]:
    """Places just beside one, to the four quarters."""
    return [
        (easting_m + _BESIDE_M * east, northing_m + _BESIDE_M * north)
        for east, north in ((0.0, 1.0), (1.0, 0.0), (0.0, -1.0), (-1.0, 0.0))
    ]


def mean_fits(
    looker: Looker,
    weighing: Weighing,
    statements: Sequence[Statement],
    station: Station,
    eye_height_m: float | None = None,
) -> Floats:
    """Fits from a place and from just beside it, averaged, (s, h).

    Raises
    ------
    StationError : the place itself is off the terrain or on a void; those beside it are passed over
    """
    fits = [weighing.fits(statements, looker.look(station, weighing.things, eye_height_m))]
    for east, north in nearby_places(station.easting_m, station.northing_m):
        try:
            beside = looker.look(
                Station(station.label, None, east, north, None, ""), weighing.things, eye_height_m
            )
        except StationError:
            continue
        fits.append(weighing.fits(statements, beside))
    return np.asarray(np.mean(fits, axis=0), np.float64)
