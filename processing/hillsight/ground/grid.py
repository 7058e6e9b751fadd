"""Lattice of terrain posts and the heights that stand on it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from pyproj import CRS

    from hillsight.arrays import Floats, Floats32


@dataclass(frozen=True)
class Grid:
    """North-up lattice of terrain posts in a projected CRS whose unit is the metre.

    A post is a cell's centre. Row 0 is the northernmost row, column 0 the westernmost column.

    Parameters
    ----------
    crs : projected CRS, easting then northing, metres
    west_m, north_m : easting of column 0 and northing of row 0, at the posts
    spacing_x_m, spacing_y_m : metres > 0 between posts along a row and along a column
    rows, columns : number of posts, each >= 1
    """

    crs: CRS
    west_m: float
    north_m: float
    spacing_x_m: float
    spacing_y_m: float
    rows: int
    columns: int

    def __post_init__(self) -> None:
        numbers = (self.west_m, self.north_m, self.spacing_x_m, self.spacing_y_m)
        if not all(np.isfinite(numbers)) or self.spacing_x_m <= 0 or self.spacing_y_m <= 0:
            raise ValueError(f"a grid needs finite corners and positive spacings, not {numbers}")
        if self.rows < 1 or self.columns < 1:
            raise ValueError(f"a grid needs at least one post, not {self.rows} x {self.columns}")

    @property
    def east_m(self) -> float:
        """Easting of the easternmost column of posts."""
        return self.west_m + (self.columns - 1) * self.spacing_x_m

    @property
    def south_m(self) -> float:
        """Northing of the southernmost row of posts."""
        return self.north_m - (self.rows - 1) * self.spacing_y_m

    @property
    def cell_edges_m(self) -> tuple[float, float, float, float]:
        """West, south, east, north edges of the cells, half a spacing outside the outermost posts."""
        half_x, half_y = self.spacing_x_m / 2, self.spacing_y_m / 2
        return (self.west_m - half_x, self.south_m - half_y, self.east_m + half_x, self.north_m + half_y)

    def to_array(self, easting_m: Floats | float, northing_m: Floats | float) -> tuple[Floats, Floats]:
        """Fractional row and column of map positions; whole numbers are posts."""
        row = (self.north_m - np.asarray(northing_m, float)) / self.spacing_y_m
        column = (np.asarray(easting_m, float) - self.west_m) / self.spacing_x_m
        return row, column

    def to_map(self, row: Floats | float, column: Floats | float) -> tuple[Floats, Floats]:
        """Easting and northing of (fractional) rows and columns."""
        easting_m = self.west_m + np.asarray(column, float) * self.spacing_x_m
        northing_m = self.north_m - np.asarray(row, float) * self.spacing_y_m
        return easting_m, northing_m

    def part(self, row: int, column: int, rows: int, columns: int) -> Grid:
        """The posts from a row and column on, as a lattice of their own."""
        return Grid(
            self.crs,
            self.west_m + column * self.spacing_x_m,
            self.north_m - row * self.spacing_y_m,
            self.spacing_x_m,
            self.spacing_y_m,
            rows,
            columns,
        )

    def holds(self, easting_m: float, northing_m: float) -> bool:
        """Whether a position lies within the outermost posts, edges included."""
        return self.west_m <= easting_m <= self.east_m and self.south_m <= northing_m <= self.north_m


@dataclass(frozen=True)
class Surface:
    """Heights at the posts of a grid.

    Parameters
    ----------
    grid : the posts
    height_m : (rows, columns) float32, metres; NaN is a void
    """

    grid: Grid
    height_m: Floats32

    def __post_init__(self) -> None:
        if self.height_m.shape != (self.grid.rows, self.grid.columns):
            raise ValueError(
                f"heights {self.height_m.shape} do not fit {self.grid.rows} x {self.grid.columns}"
            )

    def height_at_m(self, easting_m: float, northing_m: float) -> float:
        """Ground height by bilinear interpolation between the four posts around; NaN on or beside a void.

        Raises
        ------
        ValueError : the position lies outside the outermost posts
        """
        if not self.grid.holds(easting_m, northing_m):
            raise ValueError(f"E {easting_m:.1f} N {northing_m:.1f} lies outside the terrain posts")
        row, column = (float(v) for v in self.grid.to_array(easting_m, northing_m))
        top, left = min(int(row), max(self.grid.rows - 2, 0)), min(int(column), max(self.grid.columns - 2, 0))
        down, right = row - top, column - left
        height = 0.0
        for r, weight_r in ((top, 1 - down), (top + 1, down)):
            for c, weight_c in ((left, 1 - right), (left + 1, right)):
                if weight_r * weight_c > 0:
                    height += weight_r * weight_c * float(self.height_m[r, c])
        return height
