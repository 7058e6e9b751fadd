"""The sun against the worked example of I. Reda and A. Andreas, Solar Position Algorithm, NREL/TP-560-34302.

17 October 2003, 12:30:30 at UTC-7, 39.742476 N, 105.1786 W, 1830.14 m, 820 mbar, 11 C, delta T 67 s: zenith
50.1116 and azimuth 194.3402 degrees (the example's figures; secondary). The zenith holds refraction, by the
report's formula (from memory), which the heights here leave out. Tolerance reached: 0.003 degrees.
"""

from __future__ import annotations

import datetime
import math

import pytest

from hillsight.ground.sun import (
    CIVIL_DEG,
    DARK,
    DAY,
    RISING_DEG,
    TWILIGHT,
    daylight,
    sun_height_deg,
    sun_true_deg,
)

PLACE = (-105.1786, 39.742476)
MOMENT = datetime.datetime(2003, 10, 17, 12, 30, 30, tzinfo=datetime.timezone(datetime.timedelta(hours=-7)))


def refraction_deg(height_deg: float, pressure_mbar: float, temperature_c: float) -> float:
    return (
        (pressure_mbar / 1010.0)
        * (283.0 / (273.0 + temperature_c))
        * 1.02
        / (60.0 * math.tan(math.radians(height_deg + 10.3 / (height_deg + 5.11))))
    )


def test_the_worked_example() -> None:
    assert sun_true_deg(MOMENT, *PLACE) == pytest.approx(194.3402, abs=0.003)
    height_deg = sun_height_deg(MOMENT, *PLACE)
    assert 90.0 - height_deg - refraction_deg(height_deg, 820.0, 11.0) == pytest.approx(50.1116, abs=0.003)


@pytest.mark.parametrize("latitude", [0.0, 40.0, 57.0, -45.0])
@pytest.mark.parametrize("month", [1, 3, 6, 9, 11])
def test_times_are_those_at_which_the_sun_stands_there(latitude: float, month: int) -> None:
    """By the heights that the example checks; 2 seconds of time are 0.008 degrees at most."""
    zone = datetime.timezone(datetime.timedelta(hours=-7))
    found = daylight(datetime.date(2003, month, 17), zone, -105.1786, latitude)
    for moment, height_deg in (
        (found.civil_dawn, CIVIL_DEG),
        (found.sunrise, RISING_DEG),
        (found.sunset, RISING_DEG),
        (found.civil_dusk, CIVIL_DEG),
    ):
        assert moment is not None
        assert moment.utcoffset() == datetime.timedelta(hours=-7)
        assert sun_height_deg(moment, -105.1786, latitude) == pytest.approx(height_deg, abs=0.008)
    assert found.civil_dawn < found.sunrise < found.sunset < found.civil_dusk  # type: ignore[operator]


def test_the_length_of_the_day_follows_from_the_declination() -> None:
    """Closed form: cos(half day) = (sin h - sin lat sin dec) / (cos lat cos dec); 23.44 at the solstice."""
    for latitude in (0.0, 35.0, 57.0):
        found = daylight(datetime.date(2026, 6, 21), datetime.UTC, 0.0, latitude)
        lat, dec = math.radians(latitude), math.radians(23.44)
        cosine = (math.sin(math.radians(RISING_DEG)) - math.sin(lat) * math.sin(dec)) / (
            math.cos(lat) * math.cos(dec)
        )
        assert found.sunrise is not None
        assert found.sunset is not None
        hours = (found.sunset - found.sunrise).total_seconds() / 3600
        assert hours == pytest.approx(2 * math.degrees(math.acos(cosine)) / 15, abs=0.01)


def test_polar_day_and_night() -> None:
    winter = daylight(datetime.date(2026, 12, 21), datetime.UTC, 20.0, 70.0)
    assert winter.sunrise is None
    assert winter.sunset is None
    assert winter.civil_dawn is not None  # 3.6 degrees below the horizon at noon: twilight
    assert winter.light(winter.begins) == DARK
    summer = daylight(datetime.date(2026, 6, 21), datetime.UTC, 20.0, 70.0)
    assert (summer.civil_dawn, summer.sunrise, summer.sunset, summer.civil_dusk) == (None,) * 4
    assert summer.light(summer.begins) == DAY


def test_a_watch_is_told_how_much_of_it_lies_in_the_dark() -> None:
    found = daylight(datetime.date(2026, 11, 7), datetime.UTC, -4.0, 57.0)
    assert found.sunset is not None
    assert found.civil_dusk is not None
    ends = found.civil_dusk + datetime.timedelta(minutes=30)
    twilight, dark = found.dark_minutes(found.sunset - datetime.timedelta(hours=3), ends)
    assert dark == pytest.approx(30.0, abs=0.1)
    assert twilight == pytest.approx((found.civil_dusk - found.sunset).total_seconds() / 60, abs=0.1)
    assert found.dark_minutes(ends, found.sunset) == (0.0, 0.0)
    assert found.light(found.sunset + datetime.timedelta(minutes=5)) == TWILIGHT


def test_a_day_on_which_clocks_change() -> None:
    from zoneinfo import ZoneInfo

    zone = ZoneInfo("Europe/London")
    found = daylight(datetime.date(2026, 3, 29), zone, -4.0, 57.0)
    assert (found.ends.astimezone(datetime.UTC) - found.begins.astimezone(datetime.UTC)).seconds == 23 * 3600
    assert found.sunrise is not None
    assert found.sunrise.utcoffset() == datetime.timedelta(hours=1)
