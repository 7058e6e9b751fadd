"""How high a thing stands as a person would say it: above us, level with us, below us.

Said of the top of its highest part that is seen: of a wood on a slope or of a path that climbs it is the one
place that everybody looks for, while the middle of what is seen lies anywhere. Every word for a height, in a
bearing list as in what is weighed of a picture, comes from here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import CallError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

#: A thing whose height differs from the eye's by no more (m) stands level with us: the ground at our own feet
#: does. Common practice, no source.
LEVEL_DIFFERENCE_M = 2.0

#: A thing stands well above or below only if its height differs by more (m): a bank beside the path is steep
#: to look down, but not far down. Common practice, no source.
WELL_DIFFERENCE_M = 10.0

WELL_ABOVE, ABOVE, LEVEL = "well above us", "a little above us", "level with us"
BELOW, WELL_BELOW = "a little below us", "well below us"


@dataclass(frozen=True)
class HeightWords:
    """Where one word ends and the next begins; the defaults are common practice, no source.

    level_within_deg : vertical angles up to this, either way, are level
    well_beyond_deg : angles beyond this are well above or well below

    Raises
    ------
    CallError : an angle out of its bounds, or the first not below the second
    """

    level_within_deg: float = 0.5
    well_beyond_deg: float = 3.0

    def __post_init__(self) -> None:
        if not 0 <= self.level_within_deg < 90:
            raise CallError(
                f"things up to {self.level_within_deg:g} degrees above or below us cannot all be level",
                remedy="Give an angle of 0 to below 90 degrees",
                parameters=("level_within",),
            )
        if not self.level_within_deg < self.well_beyond_deg < 90:
            raise CallError(
                f"things cannot be level up to {self.level_within_deg:g} degrees and well above us from "
                f"{self.well_beyond_deg:g} degrees on",
                remedy="Let the second angle be the greater one, and below 90 degrees",
                parameters=("level_within", "well_beyond"),
            )

    def word(self, vertical_angle_deg: float | None, height_difference_m: float | None) -> str | None:
        """Word for a thing by its apparent vertical angle and its height above the eye; None if not known."""
        if vertical_angle_deg is None or height_difference_m is None:
            return None
        if not (np.isfinite(vertical_angle_deg) and np.isfinite(height_difference_m)):
            return None
        steep = abs(vertical_angle_deg)
        if steep <= self.level_within_deg or abs(height_difference_m) <= LEVEL_DIFFERENCE_M:
            return LEVEL
        above = vertical_angle_deg > 0
        if steep > self.well_beyond_deg and abs(height_difference_m) > WELL_DIFFERENCE_M:
            return WELL_ABOVE if above else WELL_BELOW
        return ABOVE if above else BELOW

    def angles_deg(self, stands: str, distance_m: ArrayLike = np.inf) -> tuple[Floats, Floats]:
        """Vertical angles between which a thing stands so: the rule of ``word`` with a distance for metres.

        Parameters
        ----------
        stands : a word without "us" ("well above", "level"), or "above" or "below" for both of a side
        distance_m : horizontal, to the thing

        Returns
        -------
        lowest and highest angle, degrees, in the shape of the distance; infinite where there is no bound
        """
        away_m = np.asarray(distance_m, np.float64)
        with np.errstate(divide="ignore"):
            slopes = np.divide((LEVEL_DIFFERENCE_M, WELL_DIFFERENCE_M), away_m[..., None])
        near = np.degrees(np.arctan(slopes))
        level = np.maximum(self.level_within_deg, near[..., 0])
        well = np.maximum(self.well_beyond_deg, near[..., 1])
        endless = np.full(away_m.shape, np.inf)
        return {
            "well above": (well, endless),
            "a little above": (level, well),
            "above": (level, endless),
            "level": (-level, level),
            "a little below": (-well, -level),
            "well below": (-endless, -well),
            "below": (-endless, -level),
        }[stands]
