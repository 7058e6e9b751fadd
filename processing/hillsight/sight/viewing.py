"""How somebody looks: the eye's place on the lattice and what is asked of the view."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import CallError
from hillsight.ground.grid import on_lines

if TYPE_CHECKING:
    from hillsight.ground.grid import Grid

#: A sight line crossing a grid line this near to a post (in spacings) passes over the post itself.
CROSSING_SNAP = 1e-9

#: A clearance this little below the grazing line (m) is a tie, and a tie is visible.
TIE_M = 1e-6


@dataclass(frozen=True)
class Viewing:
    """What is asked of a view.

    Parameters
    ----------
    eye_height_m : metres of the eye above the ground at the station, 0 to 500
    target_height_m : metres of the target above the ground at each post, 0 to 500
    reach_m : metres on the grid, > 0
    refraction : ray curvature over earth curvature; 0.13 light, 0.25 radio, 1 neither curve counts

    Raises
    ------
    CallError : a value outside these bounds, or not a number
    """

    eye_height_m: float = 1.6
    target_height_m: float = 0.0
    reach_m: float = 10_000.0
    refraction: float = 0.13

    def __post_init__(self) -> None:
        for what, value in (("eye", self.eye_height_m), ("target", self.target_height_m)):
            if not 0 <= value <= 500:
                raise CallError(
                    f"the {what} is {value:g} m above the ground",
                    remedy="Give metres from 0 to 500",
                    parameters=(f"{what}_height",),
                )
        if not (math.isfinite(self.reach_m) and self.reach_m > 0):
            raise CallError(
                f"the reach is {self.reach_m:g} m",
                remedy="Give a distance in metres above 0",
                parameters=("reach",),
            )
        if not -20 <= self.refraction <= 20:
            raise CallError(
                f"the refraction is {self.refraction:g}",
                remedy="Give ray over earth curvature: 0.13 for light, 0.25 for radio, 1 for neither curve",
                parameters=("refraction",),
            )


@dataclass(frozen=True)
class Eye:
    """An eye over a lattice of posts.

    Parameters
    ----------
    row, column : fractional position on the lattice, whole numbers are posts
    level_m : metres, height of the eye in the terrain's datum
    drop_per_m : (1 - refraction) / 2 R; a post at d metres stands lower by this times d squared
    """

    row: float
    column: float
    level_m: float
    drop_per_m: float = 0.0

    def __post_init__(self) -> None:
        for name in ("row", "column"):
            object.__setattr__(self, name, float(on_lines(np.asarray(getattr(self, name), float))))

    @classmethod
    def on(cls, grid: Grid, easting_m: float, northing_m: float, level_m: float, drop_per_m: float) -> Eye:
        """The eye at a map position."""
        row, column = grid.to_array(easting_m, northing_m)
        return cls(float(row), float(column), level_m, drop_per_m)
