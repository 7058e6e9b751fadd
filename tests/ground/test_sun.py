"""The sun's bearing, against what follows from the geometry of the sky."""

from __future__ import annotations

import datetime
import math

import pytest

from hillsight.errors import CallError
from hillsight.ground.sun import sun_true_deg

UTC = datetime.UTC


@pytest.mark.parametrize("latitude", [35.0, 51.0, 57.0])
def test_at_the_equinox_the_sun_rises_in_the_east_and_sets_in_the_west(latitude: float) -> None:
    # Closed form: at declination 0 the sun stands due east at local solar 6 h, due west at 18 h. Half an hour
    # later it has climbed 7.5 cos(latitude) degrees and gone on by about 7.5 sin(latitude) degrees.
    day = datetime.datetime(2026, 3, 20, tzinfo=UTC)
    equation_of_time = datetime.timedelta(minutes=7.5)  # on that day, from memory; within half a minute
    rise = day + datetime.timedelta(hours=6.5) + equation_of_time
    fall = day + datetime.timedelta(hours=17.5) + equation_of_time
    gone = 7.5 * math.sin(math.radians(latitude))
    assert sun_true_deg(rise, 0.0, latitude) == pytest.approx(90.0 + gone, abs=0.8)
    assert sun_true_deg(fall, 0.0, latitude) == pytest.approx(270.0 - gone, abs=0.8)


def test_at_noon_it_stands_in_the_south_and_below_the_equator_in_the_north() -> None:
    noon = datetime.datetime(2026, 12, 25, 12, 0, tzinfo=UTC)  # the equation of time is nought about this day
    assert sun_true_deg(noon, 0.0, 55.0) == pytest.approx(180.0, abs=0.5)
    north = sun_true_deg(datetime.datetime(2026, 6, 13, 12, 0, tzinfo=UTC), 0.0, -45.0)
    assert min(north, 360.0 - north) < 0.5


def test_the_zone_counts() -> None:
    summer = datetime.timezone(datetime.timedelta(hours=1))
    one = sun_true_deg(datetime.datetime(2026, 6, 1, 15, 30, tzinfo=summer), -4.0, 57.0)
    other = sun_true_deg(datetime.datetime(2026, 6, 1, 14, 30, tzinfo=UTC), -4.0, 57.0)
    assert one == pytest.approx(other)


def test_night_and_a_sun_overhead_are_refused() -> None:
    with pytest.raises(CallError, match="below the horizon"):
        sun_true_deg(datetime.datetime(2026, 12, 25, 0, 0, tzinfo=UTC), 0.0, 55.0)
    with pytest.raises(CallError, match="too high"):
        sun_true_deg(datetime.datetime(2026, 3, 20, 12, 0, tzinfo=UTC), 0.0, 0.0)
