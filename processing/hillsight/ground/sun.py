"""Where the sun stands: for pictures whose day and time are known."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hillsight.errors import CallError

if TYPE_CHECKING:
    import datetime


def sun_true_deg(moment: datetime.datetime, longitude: float, latitude: float) -> float:
    """True bearing of the sun, degrees, at a moment that knows its zone.

    By the library astral, which follows the solar calculator of the US National Oceanic and Atmospheric
    Administration (its documentation).

    Raises
    ------
    CallError : the sun is below the horizon, or stands too high for its bearing to tell anything
    """
    from astral import Observer
    from astral.sun import azimuth, elevation

    place = Observer(latitude, longitude)
    height_deg = float(elevation(place, moment))
    if height_deg < 0:
        raise CallError(
            f"the sun stood {-height_deg:.0f} degrees below the horizon at {moment.isoformat()}",
            where="[picture], taken",
            remedy="Check the time and its zone, or leave sun_right_deg out",
        )
    if height_deg > 75:
        raise CallError(
            f"the sun stood {height_deg:.0f} degrees high at {moment.isoformat()}, too high for this",
            where="[picture], sun_right_deg",
            remedy="Leave sun_right_deg out",
        )
    return float(azimuth(place, moment))
