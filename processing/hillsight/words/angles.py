"""Angles as they are said everywhere alike: bearings in [0, 360), turns in [-180, 180), the narrowest arc."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from hillsight.arrays import Floats


def signed_deg(angle_deg: ArrayLike) -> Floats:
    """Angle in degrees brought into [-180, 180): as a turn, clockwise positive."""
    return np.asarray((np.asarray(angle_deg, np.float64) + 180.0) % 360.0 - 180.0)


def wrap_deg(angle_deg: ArrayLike) -> Floats:
    """Angle in degrees brought into [0, 360); never 360 itself, however small the negative angle."""
    wrapped = np.mod(np.asarray(angle_deg, np.float64), 360.0)
    return np.where(wrapped == 360.0, 0.0, wrapped)


def clockwise_deg(from_deg: ArrayLike, to_deg: ArrayLike) -> Floats:
    """Degrees to turn clockwise from one bearing to another, in [0, 360)."""
    return wrap_deg(np.asarray(to_deg, np.float64) - np.asarray(from_deg, np.float64))


def bearing_words(bearing_deg: float) -> str:
    """A bearing as three figures.

    >>> [bearing_words(value) for value in (7.2, 359.6, -10.0)]
    ['007°', '000°', '350°']
    """
    return f"{round(bearing_deg) % 360:03d}°"
