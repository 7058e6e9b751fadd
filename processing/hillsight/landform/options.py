"""Thresholds of the reading of landforms, which nothing else of it need be loaded for."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class LandformOptions:
    """Thresholds that a user may move.

    level_below_deg : ground gentler than this is level
    steep_bands_deg : where bands of steep ground begin, ascending; the last has no upper end
    least_change_deg : least change of slope that makes a break of slope
    """

    level_below_deg: float = 5.0
    steep_bands_deg: tuple[float, ...] = (20.0, 30.0, 40.0)
    least_change_deg: float = 8.0
