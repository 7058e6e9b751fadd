"""Which posts a view asks for: between two distances, within a sector of bearings."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled
from hillsight.kernels.threads import in_slices
from hillsight.sight.octants import Window

if TYPE_CHECKING:
    from hillsight.arrays import Bytes, Floats, Floats32
    from hillsight.ground.grid import Grid
    from hillsight.sight.octants import Octant
    from hillsight.sight.viewing import Eye

#: Rows that a thread does at a time.
_ROWS_AT_A_TIME = 256

_HIDDEN, _UNKNOWN = np.uint8(1), np.uint8(4)


@dataclass(frozen=True)
class FieldOfView:
    """The field of view: ground nearer or to the side of it hides what is in it, but is not answered for.

    Parameters
    ----------
    reach_m : metres on the grid, > 0, included; may be infinite
    inner_m : metres on the grid, >= 0, included
    from_bearing_grid_deg, to_bearing_grid_deg : a sector, clockwise, both bearings included; the whole round
        if they are equal

    Raises
    ------
    ValueError : a distance or bearing out of bounds
    """

    reach_m: float
    inner_m: float = 0.0
    from_bearing_grid_deg: float = 0.0
    to_bearing_grid_deg: float = 0.0

    def __post_init__(self) -> None:
        if not (self.reach_m > 0 and 0 <= self.inner_m <= self.reach_m):
            raise ValueError(f"a field from {self.inner_m} m to {self.reach_m} m holds no ground")
        if not (math.isfinite(self.from_bearing_grid_deg) and math.isfinite(self.to_bearing_grid_deg)):
            raise ValueError("a field's bearings must be numbers")

    @property
    def width_deg(self) -> float:
        """Degrees from one side of the sector to the other, 0 < width <= 360."""
        return (self.to_bearing_grid_deg - self.from_bearing_grid_deg) % 360.0 or 360.0

    @property
    def all_round(self) -> bool:
        """Whether the field has no sides."""
        return self.width_deg == 360.0

    def window(self, grid: Grid, eye: Eye) -> Window:
        """The smallest part of a grid's lattice that holds every post within the reach; may be empty."""
        across, down = self.reach_m / grid.spacing_x_m, self.reach_m / grid.spacing_y_m
        top, bottom = max(eye.row - down, 0.0), min(eye.row + down, grid.rows - 1.0)
        left, right = max(eye.column - across, 0.0), min(eye.column + across, grid.columns - 1.0)
        if top > bottom or left > right:
            return Window(0, 0, 0, 0)
        row, column = math.ceil(top - 1e-6), math.ceil(left - 1e-6)
        return Window(row, column, math.floor(bottom + 1e-6) - row + 1, math.floor(right + 1e-6) - column + 1)

    def crosses(self, octant: Octant, first_u: float, last_u: float) -> bool:
        """Whether directions of an octant, from one lateral slope to another, come into the sector."""
        if self.all_round:
            return True
        edges = []
        for u in (first_u, last_u):
            along_m, across_m = octant.along_m, u * octant.across_m
            down_m, right_m = (along_m, across_m) if octant.along_rows else (across_m, along_m)
            edges.append(math.degrees(math.atan2(right_m * octant.column_step, -down_m * octant.row_step)))
        first, last = edges if (edges[1] - edges[0]) % 360.0 <= 180.0 else edges[::-1]
        little = 1e-6  # more than rounding; a wedge too many costs nothing but time
        first, width = first - little, (last - first) % 360.0 + 2 * little
        return (self.from_bearing_grid_deg - first) % 360.0 <= width or (
            first - self.from_bearing_grid_deg
        ) % 360.0 <= self.width_deg

    def ask(
        self,
        grid: Grid,
        eye: Eye,
        asked: Window,
        held: Window,
        heights_m: Floats32,
        any_void: bool,
        states: Bytes,
        values: tuple[Floats32, ...],
        *,
        alone: bool = True,
    ) -> None:
        """Set the posts of the field to HIDDEN, its voids to UNKNOWN, all others to BEYOND (0).

        states : (targets, posts of asked) uint8; heights_m : (posts of held,), which holds all of asked
        values : arrays (posts of asked,) that are filled with NaN
        alone : whether to spread the rows over the cores
        """
        angles = np.radians([self.from_bearing_grid_deg, self.to_bearing_grid_deg])
        sides = np.column_stack([np.sin(angles), np.cos(angles)])

        def rows(first: int, last: int) -> None:
            some = slice(first * asked.columns, last * asked.columns)
            for array in values:
                array[some] = np.nan
            states[:, some] = 0
            _ask_rows(
                asked.row + first,
                asked.row + last,
                asked,
                held,
                heights_m,
                any_void,
                eye.row,
                eye.column,
                grid.spacing_x_m,
                grid.spacing_y_m,
                float(self.inner_m),
                float(self.reach_m),
                self.all_round,
                self.width_deg > 180.0,
                sides,
                states[0],
            )
            states[1:, some] = states[0, some]

        in_slices(rows, asked.rows, _ROWS_AT_A_TIME if alone else asked.rows)


@compiled
def _ask_rows(
    first_row: int,
    last_row: int,
    asked: Window,
    held: Window,
    heights_m: Floats32,
    any_void: bool,
    eye_row: float,
    eye_column: float,
    spacing_x_m: float,
    spacing_y_m: float,
    inner_m: float,
    reach_m: float,
    all_round: bool,
    over_half: bool,
    sides: Floats,
    states: Bytes,
) -> None:
    for row in range(first_row, last_row):
        south_m = (row - eye_row) * spacing_y_m
        if abs(south_m) > reach_m:
            continue
        half = math.sqrt(reach_m * reach_m - south_m * south_m) / spacing_x_m
        first, last = asked.column, asked.column + asked.columns - 1
        if half < asked.columns + abs(eye_column):
            first = max(first, math.floor(eye_column - half) - 1)
            last = min(last, math.ceil(eye_column + half) + 1)
        # The same arithmetic as distance_from_m, so that both draw the reach through the same posts.
        while first <= last and math.sqrt(south_m**2 + ((first - eye_column) * spacing_x_m) ** 2) > reach_m:
            first += 1
        while first <= last and math.sqrt(south_m**2 + ((last - eye_column) * spacing_x_m) ** 2) > reach_m:
            last -= 1
        if last < first:
            continue  # an eye off the terrain may reach past the corner of it only
        place = (row - asked.row) * asked.columns - asked.column
        if all_round and inner_m == 0.0:
            states[place + first : place + last + 1] = _HIDDEN
        else:
            for column in range(first, last + 1):
                east_m = (column - eye_column) * spacing_x_m
                if math.sqrt(south_m**2 + east_m**2) < inner_m:
                    continue
                if not all_round:
                    # A post on a side is in the field, whatever rounding makes of its bearing.
                    rounding_m = 1e-12 * (abs(east_m) + abs(south_m))
                    past_first = east_m * sides[0, 1] + south_m * sides[0, 0] >= -rounding_m
                    before_last = south_m * sides[1, 0] + east_m * sides[1, 1] <= rounding_m
                    if not ((past_first or before_last) if over_half else (past_first and before_last)):
                        continue
                states[place + column] = _HIDDEN
        if any_void:
            ground = (row - held.row) * held.columns - held.column
            for column in range(first, last + 1):
                height = heights_m[ground + column]
                if height != height and states[place + column] == _HIDDEN:
                    states[place + column] = _UNKNOWN
