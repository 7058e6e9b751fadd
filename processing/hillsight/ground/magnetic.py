"""Magnetic declination by the World Magnetic Model."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from hillsight.errors import CallError
from hillsight.words.angles import wrap_deg

# Model name, first decimal year, decimal year it ends before, figures of its declination error: the constant
# part in degrees and the part that grows as the horizontal field weakens, in degrees * nT (as in pygeomag).
_MODELS = (
    ("WMM2020", 2020.0, 2025.0, 0.26, 5625.0),
    ("WMM2025", 2025.0, 2030.0, 0.26, 5417.0),
)
_BLACKOUT_NT = 2000.0
_CAUTION_NT = 6000.0
_LOWEST_M, _HIGHEST_M = -1_000.0, 850_000.0  # the model's own range


@dataclass(frozen=True)
class Declination:
    """Where a compass points at one place on one day.

    Parameters
    ----------
    declination_deg : true bearing of magnetic north, east positive: true = magnetic + declination
    uncertainty_deg : one standard deviation of it, by the model's own error figures; local rock not included
    date : the day it is for
    model : "WMM2020" or "WMM2025"
    warning : empty, or a sentence where the horizontal field is too weak to trust a compass
    """

    declination_deg: float
    uncertainty_deg: float
    date: datetime.date
    model: str
    warning: str = ""


def magnetic_bearing_deg(
    bearing_true_deg: Any, declination_deg: float
) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Bearings from magnetic north, [0, 360), of bearings from true north; scalar or array, degrees."""
    return wrap_deg(np.asarray(bearing_true_deg, np.float64) - declination_deg)


def decimal_year(date: datetime.date) -> float:
    """A day as a year with its fraction, at the day's start: 2 July 2020 is 2020.5."""
    first = datetime.date(date.year, 1, 1)
    days_in_year = 366 if date.year % 4 == 0 and (date.year % 100 != 0 or date.year % 400 == 0) else 365
    return date.year + (datetime.date(date.year, date.month, date.day) - first).days / days_in_year


def declination(longitude: float, latitude: float, height_m: float, date: datetime.date) -> Declination:
    """Declination at a place on a day.

    Parameters
    ----------
    longitude, latitude : degrees, WGS 84
    height_m : metres above the ellipsoid or above the sea: the 50 m between them change declination by less
        than 0.001 degrees away from the magnetic poles
    date : a day from 2020-01-01 to 2029-12-31

    Raises
    ------
    CallError : the day lies outside the models' years, or the position is absurd

    Source: NCEI and BGS, World Magnetic Model 2020 and 2025, by way of pygeomag; checked by
    tests/outside/test_magnetic_model.py
    """
    year = decimal_year(date)
    value, uncertainty, model, warning = declination_in_year(longitude, latitude, height_m, year)
    day = datetime.date(date.year, date.month, date.day)
    return Declination(value, uncertainty, day, model, warning)


def declination_in_year(
    longitude: float, latitude: float, height_m: float, year: float
) -> tuple[float, float, str, str]:
    """Declination (deg), uncertainty (deg), model and warning for a decimal year; else as ``declination``."""
    _check_position(longitude, latitude, height_m)
    covering = [model for model in _MODELS if model[1] <= year < model[2]]
    if not covering:
        first_day, last_day = f"{_MODELS[0][1]:.0f}-01-01", f"{_MODELS[-1][2] - 1:.0f}-12-31"
        raise CallError(
            f"the day for magnetic bearings lies in {int(year)}, outside the years of the magnetic models",
            remedy=f"Give a day from {first_day} to {last_day}, or leave magnetic bearings out",
            parameters=("date",),
        )
    name, _, _, constant_deg, weakness_deg_nt = covering[0]
    result = _model(name).calculate(glat=latitude, glon=longitude, alt=height_m / 1000.0, time=year)
    horizontal_nt = float(result.h)
    uncertainty = min(float(np.hypot(constant_deg, weakness_deg_nt / max(horizontal_nt, 1e-9))), 180.0)
    warning = ""
    if horizontal_nt < _BLACKOUT_NT:
        warning = f"a compass is useless here: the horizontal magnetic field is only {horizontal_nt:.0f} nT"
    elif horizontal_nt < _CAUTION_NT:
        warning = (
            f"a compass is sluggish and doubtful here: the horizontal field is only {horizontal_nt:.0f} nT"
        )
    return float(result.d), uncertainty, name, warning


def _check_position(longitude: float, latitude: float, height_m: float) -> None:
    if not all(np.isfinite((longitude, latitude, height_m))):
        raise CallError(f"no declination for longitude {longitude}, latitude {latitude}, height {height_m} m")
    if abs(latitude) > 90 or abs(longitude) > 360:
        raise CallError(
            f"{longitude:.10g}, {latitude:.10g} is no longitude and latitude",
            where="declination",
            remedy="Longitude comes first, both in degrees",
        )
    if not _LOWEST_M <= height_m <= _HIGHEST_M:
        raise CallError(
            f"{height_m:.10g} m lies outside the magnetic model's {_LOWEST_M:.0f} to {_HIGHEST_M:.0f} m",
            where="declination",
        )


@lru_cache(maxsize=2)
def _model(name: str) -> Any:
    # Imported late: only runs that ask for magnetic bearings need it.
    from pygeomag import GeoMag

    if name == "WMM2020":
        from pygeomag.wmm.wmm_2020 import WMM_2020 as COEFFICIENTS
    else:
        from pygeomag.wmm.wmm_2025 import WMM_2025 as COEFFICIENTS
    return GeoMag(coefficients_data=COEFFICIENTS)
