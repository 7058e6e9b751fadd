"""Lattice of terrain posts and the heights that stand on it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.words.posts import ON_LINE

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray
    from pyproj import CRS

    from hillsight.arrays import Floats, Floats32
    from hillsight.ground.cover import Cover


def on_lines(places: Floats) -> Floats:
    """Fractional rows or columns brought onto a grid line that they all but touch."""
    whole = np.round(places)
    with np.errstate(invalid="ignore"):
        return np.where(np.abs(places - whole) < ON_LINE, whole, places)


def corner_posts(
    row: ArrayLike, column: ArrayLike, shape: tuple[int, ...]
) -> tuple[NDArray[np.intp], NDArray[np.intp], Floats]:
    """The four posts around places, and how much each weighs in the bilinear ground there.

    ``kernels.corners.corner_posts`` is the same for compiled code.

    Parameters
    ----------
    row, column : (...) fractional, whole numbers are posts
    shape : rows and columns of posts

    Returns
    -------
    rows, columns, weights : (4, ...) each; north-west, north-east, south-west, south-east. Weights add up to
        1; off the posts, and where a place is NaN, they are NaN (and the posts are some that exist)
    """
    row, column = (
        on_lines(v) for v in np.broadcast_arrays(np.asarray(row, np.float64), np.asarray(column, np.float64))
    )
    last_row, last_column = shape[0] - 1, shape[1] - 1
    inside = (row >= 0) & (row <= last_row) & (column >= 0) & (column <= last_column)
    row, column = np.where(inside, row, 0.0), np.where(inside, column, 0.0)
    top = np.minimum(row.astype(np.intp), max(last_row - 1, 0))
    left = np.minimum(column.astype(np.intp), max(last_column - 1, 0))
    down, right = np.where(inside, row - top, np.nan), np.where(inside, column - left, np.nan)
    bottom, beside = np.minimum(top + 1, last_row), np.minimum(left + 1, last_column)
    return (
        np.stack((top, top, bottom, bottom)),
        np.stack((left, beside, left, beside)),
        np.stack(((1 - down) * (1 - right), (1 - down) * right, down * (1 - right), down * right)),
    )


def between_posts(values: NDArray[np.floating[Any]], row: ArrayLike, column: ArrayLike) -> Floats:
    """Values at fractional places, bilinear between the posts: the one rule for ground between posts.

    Parameters
    ----------
    values : (rows, columns) at the posts; NaN is a void
    row, column : (...) fractional, whole numbers are posts

    Returns
    -------
    (...) float64; NaN off the posts, where a place is NaN, and where a void has a weight. A void of no
    weight does not count: a post beside a void keeps its height
    """
    rows, columns, weights = corner_posts(row, column, values.shape)
    total = np.zeros(weights.shape[1:])
    for at_row, at_column, weight in zip(rows, columns, weights, strict=True):
        total += np.where(weight == 0, 0.0, weight * values[at_row, at_column])
    return total


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

    def sampled(
        self, values: NDArray[np.floating[Any]], easting_m: ArrayLike, northing_m: ArrayLike
    ) -> Floats:
        """Values that stand on the posts, (rows, columns), read at map positions by :func:`between_posts`."""
        row, column = self.to_array(np.asarray(easting_m, np.float64), np.asarray(northing_m, np.float64))
        return between_posts(values, row, column)

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
    """Heights at the posts of a grid, and what stands on them.

    Parameters
    ----------
    grid : the posts
    height_m : (rows, columns) float32, metres, of the bare ground; NaN is a void
    cover : what stands on the ground; None where nothing is known of it
    """

    grid: Grid
    height_m: Floats32
    cover: Cover | None = None

    def __post_init__(self) -> None:
        shape = (self.grid.rows, self.grid.columns)
        if self.height_m.shape != shape:
            raise ValueError(
                f"heights {self.height_m.shape} do not fit {self.grid.rows} x {self.grid.columns}"
            )
        if self.cover is not None and self.cover.shape != shape:
            raise ValueError(f"cover {self.cover.shape} does not fit {self.grid.rows} x {self.grid.columns}")

    @cached_property
    def blocking_m(self) -> Floats32:
        """(rows, columns) float32, metres: what blocks sight, ground or the cover on it; screens apart."""
        return self.height_m if self.cover is None else self.height_m + self.cover.tallest_m

    @cached_property
    def opaque_m(self) -> Floats32:
        """(rows, columns) float32, metres: what blocks all sight, which woods that let some pass do not."""
        if self.cover is None or not self.cover.lets_pass:
            return self.blocking_m
        return self.height_m + self.cover.solid_m

    def part(self, row: int, column: int, rows: int, columns: int) -> Surface:
        """The posts from a row and column on, as a surface of their own."""
        return Surface(
            self.grid.part(row, column, rows, columns),
            self.height_m[row : row + rows, column : column + columns],
            None if self.cover is None else self.cover.part(row, column, rows, columns),
        )

    def heights_at_m(self, easting_m: ArrayLike, northing_m: ArrayLike) -> Floats:
        """Ground heights at map positions, by :func:`between_posts`.

        Parameters
        ----------
        easting_m, northing_m : (...) metres on the grid, or one position

        Returns
        -------
        (...) float64, metres; NaN off the terrain, where a position is NaN, and where a void has a weight
        """
        return self.grid.sampled(self.height_m, easting_m, northing_m)

    def height_at_m(self, easting_m: float, northing_m: float) -> float:
        """Ground height at one position that must be on the terrain; NaN where a void has a weight.

        Raises
        ------
        ValueError : the position lies outside the outermost posts
        """
        if not self.grid.holds(easting_m, northing_m):
            raise ValueError(f"E {easting_m:.1f} N {northing_m:.1f} lies outside the terrain posts")
        return float(self.heights_at_m(easting_m, northing_m))
