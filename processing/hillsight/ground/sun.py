"""Where the sun stands: for pictures whose day and time are known, and for the light of a day.

By the library astral, which follows the solar calculator of the US National Oceanic and Atmospheric
Administration (its documentation). It stays within 0.003 degrees of the worked example of NREL's solar
position algorithm; sunrise and sunset within half a minute of what that means. Checked by:
tests/outside/test_solar_position.py
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from itertools import pairwise

from hillsight.errors import CallError

#: Height of the sun's middle at sunrise and sunset: its upper edge on a level horizon, bent by the usual 34
#: minutes of arc (Astronomical Almanac, from memory); and at the end of civil twilight.
RISING_DEG, CIVIL_DEG = -0.8333, -6.0

DAY, TWILIGHT, DARK = "day", "twilight", "dark"

#: Steps in which a day is looked through for crossings; each is then narrowed to a second.
_STEP = datetime.timedelta(minutes=10)
_ENOUGH = datetime.timedelta(seconds=1)


def sun_height_deg(moment: datetime.datetime, longitude: float, latitude: float) -> float:
    """Height of the sun's middle above the level, degrees, without refraction, at a moment with its zone."""
    from astral import Observer
    from astral.sun import elevation

    return float(elevation(Observer(latitude, longitude), moment, with_refraction=False))


@dataclass(frozen=True)
class Daylight:
    """The light of one day at a place, over a level horizon (hills hide the sun for longer).

    begins, ends : of the day, midnight to midnight; all times in the zone asked for
    civil_dawn, sunrise, sunset, civil_dusk : None where it does not happen on that day
    longitude, latitude : degrees
    """

    begins: datetime.datetime
    ends: datetime.datetime
    civil_dawn: datetime.datetime | None
    sunrise: datetime.datetime | None
    sunset: datetime.datetime | None
    civil_dusk: datetime.datetime | None
    longitude: float
    latitude: float

    def light(self, moment: datetime.datetime) -> str:
        """Day, twilight (the sun up to 6 degrees below the horizon) or dark, at any moment with its zone."""
        height_deg = sun_height_deg(moment, self.longitude, self.latitude)
        return DAY if height_deg >= RISING_DEG else TWILIGHT if height_deg >= CIVIL_DEG else DARK

    def dark_minutes(self, begins: datetime.datetime, ends: datetime.datetime) -> tuple[float, float]:
        """Minutes of a watch that lie in twilight and in the dark; none if it ends before it begins."""
        # In UTC: within one zone Python reckons with clocks, which may change on the day.
        begins, ends = begins.astimezone(datetime.UTC), ends.astimezone(datetime.UTC)
        minutes = {DAY: 0.0, TWILIGHT: 0.0, DARK: 0.0}
        edges = [begins]
        for bound_deg in (RISING_DEG, CIVIL_DEG):
            edges += [at for at, _ in _crossings(begins, ends, bound_deg, self.longitude, self.latitude)]
        edges = [*sorted(edges), ends]
        for first, last in pairwise(edges):
            minutes[self.light(first + (last - first) / 2)] += max((last - first).total_seconds(), 0.0) / 60.0
        return minutes[TWILIGHT], minutes[DARK]


def daylight(day: datetime.date, zone: datetime.tzinfo, longitude: float, latitude: float) -> Daylight:
    """Sunrise, sunset and civil twilight of a day.

    Parameters
    ----------
    zone : the zone of the day and of the times that are told
    longitude, latitude : degrees, WGS 84; beyond 89.8 degrees of latitude as if on it

    Where the sun crosses a height twice the same way in a day, as it may near the poles, the first counts.
    """
    begins = datetime.datetime.combine(day, datetime.time(), zone)
    ends = datetime.datetime.combine(day + datetime.timedelta(days=1), datetime.time(), zone)
    found: dict[tuple[float, bool], datetime.datetime] = {}
    for bound_deg in (RISING_DEG, CIVIL_DEG):
        for moment, rises in _crossings(begins, ends, bound_deg, longitude, latitude):
            found.setdefault((bound_deg, rises), moment.astimezone(zone))
    return Daylight(
        begins,
        ends,
        found.get((CIVIL_DEG, True)),
        found.get((RISING_DEG, True)),
        found.get((RISING_DEG, False)),
        found.get((CIVIL_DEG, False)),
        longitude,
        latitude,
    )


def _crossings(
    begins: datetime.datetime, ends: datetime.datetime, bound_deg: float, longitude: float, latitude: float
) -> list[tuple[datetime.datetime, bool]]:
    """Moments in UTC at which the sun comes to a height, and whether it rises then."""

    def above(moment: datetime.datetime) -> bool:
        return sun_height_deg(moment, longitude, latitude) >= bound_deg

    # In UTC, so that a change of clocks within the day does no harm.
    here, last = begins.astimezone(datetime.UTC), ends.astimezone(datetime.UTC)
    found, was_above = [], above(here)
    while here < last:
        there = min(here + _STEP, last)
        is_above = above(there)
        if is_above != was_above:
            low, high = here, there
            while high - low > _ENOUGH:
                middle = low + (high - low) / 2
                low, high = (middle, high) if above(middle) == was_above else (low, middle)
            found.append((high, is_above))
        here, was_above = there, is_above
    return found


def sun_true_deg(moment: datetime.datetime, longitude: float, latitude: float) -> float:
    """True bearing of the sun, degrees, at a moment that knows its zone.

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
