"""How long a leg takes on foot: Tobler's hiking function, and the hill rule of Naismith and Langmuir."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from hillsight.arrays import Floats

#: Off paths Tobler's speed is taken times this.
OFF_PATH = 0.6

#: Ground that falls less than the first is gentle enough not to matter to Langmuir, more than the second is
#: steep (degrees).
_EASY_DEG, _STEEP_DEG = 5.0, 12.0


def tobler_minutes(length_m: ArrayLike, rise_m: ArrayLike, on_path: ArrayLike = True) -> Floats:
    """Minutes for legs by Tobler's hiking function: 6 exp(-3.5 |slope + 0.05|) km/h, off paths times 0.6.

    Parameters
    ----------
    length_m : (...) metres on the grid, > 0
    rise_m : (...) metres, positive uphill
    on_path : (...) whether a leg runs along a path

    Source: W. Tobler, Three presentations on geographical analysis and modeling, 1993 (from memory; its table
    as an encyclopedia has it is checked in tests/outside/test_walking_tables.py)
    """
    length, rise = np.asarray(length_m, np.float64), np.asarray(rise_m, np.float64)
    km_per_hour = 6.0 * np.exp(-3.5 * np.abs(rise / length + 0.05))
    km_per_hour = np.where(on_path, km_per_hour, km_per_hour * OFF_PATH)
    return np.asarray(length / 1000.0 / km_per_hour * 60.0)


def hill_rule_minutes(length_m: ArrayLike, rise_m: ArrayLike) -> Floats:
    """Minutes for legs by Naismith's rule with Langmuir's corrections for descent.

    12 minutes a kilometre (5 km/h) and 10 minutes for 100 m of climb; for 300 m of descent 10 minutes less
    between 5 and 12 degrees, and 10 minutes more where it is steeper.

    Parameters
    ----------
    length_m : (...) metres on the grid, > 0
    rise_m : (...) metres, positive uphill

    Source: W. W. Naismith 1892, E. Langmuir, Mountaincraft and Leadership (both from memory, the angles too)
    """
    length, rise = np.asarray(length_m, np.float64), np.asarray(rise_m, np.float64)
    fall_deg = np.degrees(np.arctan2(-rise, length))
    climb, descent = np.maximum(rise, 0.0), np.maximum(-rise, 0.0)
    corrected = np.where(fall_deg > _STEEP_DEG, descent, np.where(fall_deg >= _EASY_DEG, -descent, 0.0))
    return np.asarray(length * 0.012 + climb * 0.1 + corrected * 10.0 / 300.0)
