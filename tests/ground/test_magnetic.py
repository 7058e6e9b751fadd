"""Declination by day: which model, which years, which warnings."""

from __future__ import annotations

import datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hillsight.errors import CallError
from hillsight.ground.magnetic import decimal_year, declination, magnetic_bearing_deg
from hillsight.words.angles import wrap_deg


@pytest.mark.parametrize(
    ("day", "model"),
    [
        ("2020-01-01", "WMM2020"),
        ("2024-12-31", "WMM2020"),
        ("2025-01-01", "WMM2025"),
        ("2029-12-31", "WMM2025"),
    ],
)
def test_the_model_that_covers_the_day(day: str, model: str) -> None:
    assert declination(-3.2, 54.5, 900.0, datetime.date.fromisoformat(day)).model == model


@pytest.mark.parametrize("day", ["2019-12-31", "2030-01-01", "1900-06-01"])
def test_days_outside_the_models_are_refused(day: str) -> None:
    with pytest.raises(CallError, match="2020-01-01 to 2029-12-31") as caught:
        declination(-3.2, 54.5, 900.0, datetime.date.fromisoformat(day))
    assert caught.value.exit_code == 2


def test_sign_changes_as_magnetic_north_crosses_true_north() -> None:
    """In the west of Britain magnetic north passes true north within these years."""
    before = declination(-3.21, 54.45, 978.0, datetime.date(2025, 1, 1))
    after = declination(-3.21, 54.45, 978.0, datetime.date(2029, 12, 1))
    assert before.declination_deg < 0 < after.declination_deg
    assert before.uncertainty_deg == pytest.approx(0.40, abs=0.01)
    assert before.warning == ""


def test_the_two_models_meet() -> None:
    old = declination(-3.2, 54.5, 900.0, datetime.date(2024, 12, 31))
    new = declination(-3.2, 54.5, 900.0, datetime.date(2025, 1, 1))
    assert abs(old.declination_deg - new.declination_deg) < 2 * old.uncertainty_deg


def test_warnings_near_the_magnetic_poles() -> None:
    useless = declination(140.0, 85.8, 0.0, datetime.date(2026, 1, 1))
    assert "useless" in useless.warning
    assert 2.5 < useless.uncertainty_deg <= 180.0
    doubtful = declination(-96.0, 76.0, 0.0, datetime.date(2026, 1, 1))
    assert "doubtful" in doubtful.warning


def test_height_datum_hardly_matters() -> None:
    day = datetime.date(2026, 1, 1)
    low, high = declination(-5.0, 56.8, 1295.0, day), declination(-5.0, 56.8, 1345.0, day)
    assert abs(low.declination_deg - high.declination_deg) < 0.001


@pytest.mark.parametrize(
    ("longitude", "latitude", "height_m"),
    [
        (216_671.0, 771_281.0, 0.0),
        (0.0, 91.0, 0.0),
        (float("nan"), 50.0, 0.0),
        (0.0, 50.0, float("inf")),
        (0.0, 50.0, 1e7),
        (0.0, 50.0, -20_000.0),
    ],
)
def test_absurd_positions_are_refused(longitude: float, latitude: float, height_m: float) -> None:
    with pytest.raises(CallError):
        declination(longitude, latitude, height_m, datetime.date(2026, 1, 1))


def test_decimal_year() -> None:
    assert decimal_year(datetime.date(2020, 7, 2)) == 2020.5  # a leap year's 184th day
    assert decimal_year(datetime.date(2025, 1, 1)) == 2025.0
    assert decimal_year(datetime.date(2025, 12, 31)) == pytest.approx(2025 + 364 / 365)
    assert decimal_year(datetime.datetime(2025, 1, 1, 18, 0)) == 2025.0


@given(st.floats(0, 359.999), st.floats(-180, 180))
def test_true_is_magnetic_plus_declination(bearing_deg: float, declination_deg: float) -> None:
    magnetic = float(magnetic_bearing_deg(bearing_deg, declination_deg))
    assert 0.0 <= magnetic < 360.0
    there = abs(float(wrap_deg(magnetic + declination_deg - bearing_deg + 180.0)) - 180.0)
    assert there < 1e-9


def test_magnetic_bearings_of_an_array() -> None:
    found = magnetic_bearing_deg(np.array([0.0, 90.0, 359.0]), -2.0)
    assert found.tolist() == [2.0, 92.0, 1.0]
