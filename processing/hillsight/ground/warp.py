"""Terrain posts on a north-up metric lattice, interpolated between the cells of a file on other axes.

Done here and not by GDAL's warper, so that a post depends on nothing but its place (every window gives the
same numbers to the last bit), no position is off by the warper's tolerance, and a post is void exactly where
one of the cells it rests on is.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor, pi
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.errors import TerrainError
from hillsight.ground.grid import Grid, between_posts, on_lines
from hillsight.words.posts import ON_LINE

if TYPE_CHECKING:
    import pyproj
    from numpy.typing import NDArray

    from hillsight.arrays import Floats, Floats32
    from hillsight.ground.raster import Band
    from hillsight.ground.transform import Operation


# How far from the place asked for a warped terrain goes: beyond, a local grid is no longer metric.
FARTHEST_M = 500_000.0
_CUT_MARGIN_M = 10_000.0
_TILE = 256  # posts; tiles lie at multiples of this, so that a post is worked in the same tile every time
_NODE = 16  # posts between exact coordinate transformations inside a tile
_NODE_TOLERANCE = 1e-4  # cells


@dataclass(frozen=True)
class Lattice:
    """Posts at whole multiples of a spacing in a metric CRS, over a band on other axes.

    Parameters
    ----------
    band : the cells
    operation : terrain CRS to metric CRS; None if they are one
    turn : a full turn in the terrain CRS's units if it is geographic, else 0
    grid : all posts; row 0 is lattice row ``first_row`` (counted southwards from northing 0)
    metres_per_unit : of the band's heights
    cut : whether the band goes on beyond the grid, 500 km from the place asked for
    """

    band: Band
    operation: Operation | None
    turn: float
    grid: Grid
    first_row: int
    first_column: int
    metres_per_unit: float
    cut: bool = False

    def read(self, dataset: Any, top: int, left: int, rows: int, columns: int) -> Floats32:
        """(rows, columns) heights of the posts from grid row ``top`` and column ``left`` on; NaN voids."""
        height_m = np.full((rows, columns), np.nan, np.float32)
        row_0, column_0 = self.first_row + top, self.first_column + left
        for tile_row in range(row_0 // _TILE, (row_0 + rows - 1) // _TILE + 1):
            for tile_column in range(column_0 // _TILE, (column_0 + columns - 1) // _TILE + 1):
                r, c = tile_row * _TILE - row_0, tile_column * _TILE - column_0
                r_from, r_to = max(r, 0), min(r + _TILE, rows)
                c_from, c_to = max(c, 0), min(c + _TILE, columns)
                tile = self._tile(dataset, tile_row * _TILE, tile_column * _TILE)
                height_m[r_from:r_to, c_from:c_to] = tile[r_from - r : r_to - r, c_from - c : c_to - c]
        return height_m

    def cells(
        self, lattice_row: Floats, lattice_column: Floats, reference: float | None = None
    ) -> tuple[Floats, Floats]:
        """Fractional row and column of the cells (0 = centre of the first) under lattice posts, exactly.

        reference : column that a geographic terrain's columns are counted near to, a whole turn apart
        """
        x, y = lattice_column * self.grid.spacing_x_m, -lattice_row * self.grid.spacing_y_m
        if self.operation is not None:
            x, y = self.operation.backward(x, y)
        row, column = to_cells(self.band, x, y)
        if self.turn:
            turn = self.turn / abs(self.band.transform[0])
            middle = (self.band.columns - 1) / 2 if reference is None else reference
            with np.errstate(invalid="ignore"):
                column = column - np.round((column - middle) / turn) * turn
        return row, column

    def _tile(self, dataset: Any, row_0: int, column_0: int) -> Floats32:
        row, column = self._tile_cells(row_0, column_0)
        return bilinear(self.band, dataset, row, column, self.metres_per_unit, wraps=self._wraps)

    @property
    def _wraps(self) -> bool:
        """Whether the band goes once round the Earth, so that its last column neighbours its first."""
        return bool(self.turn) and abs(self.band.columns * abs(self.band.transform[0]) / self.turn - 1) < 1e-9

    def _tile_cells(self, row_0: int, column_0: int) -> tuple[Floats, Floats]:
        everywhere = _square(row_0, column_0, np.arange(_TILE))
        if self.operation is None:
            return self.cells(*everywhere)
        middle = self.cells(np.array([row_0 + _TILE / 2]), np.array([column_0 + _TILE / 2]))
        reference = float(middle[1][0]) if np.isfinite(middle[1][0]) else None
        nodes = _square(row_0, column_0, np.arange(-_NODE, _TILE + _NODE + 1, _NODE))
        at_nodes = self.cells(*nodes, reference)
        if np.isfinite(at_nodes).all():
            origin = [np.round(v[0, 0]) for v in at_nodes]
            between = [_all_posts(v - o) + o for v, o in zip(at_nodes, origin, strict=True)]
            probe = np.arange(_NODE // 2, _TILE, 3 * _NODE)
            exact = self.cells(*_square(row_0, column_0, probe), reference)
            error = max(
                float(np.abs(b[np.ix_(probe, probe)] - e).max()) for b, e in zip(between, exact, strict=True)
            )
            if error < _NODE_TOLERANCE:
                return between[0], between[1]
        return self.cells(*everywhere, reference)


def _square(row_0: int, column_0: int, steps: NDArray[np.signedinteger[Any]]) -> tuple[Floats, Floats]:
    """Rows and columns of a square of lattice posts."""
    row, column = np.meshgrid(row_0 + steps.astype(float), column_0 + steps.astype(float), indexing="ij")
    return row, column


def _cubic_weights() -> Floats:
    """(posts, nodes) weights of cubic Lagrange interpolation from every 16th post (with one node beyond)."""
    weights = np.zeros((_TILE, _TILE // _NODE + 3))
    for post in range(_TILE):
        node, t = post // _NODE, (post % _NODE) / _NODE
        weights[post, node : node + 4] = (
            -t * (t - 1) * (t - 2) / 6,
            (t + 1) * (t - 1) * (t - 2) / 2,
            -(t + 1) * t * (t - 2) / 2,
            (t + 1) * t * (t - 1) / 6,
        )
    return weights


_WEIGHTS = _cubic_weights()


def _all_posts(at_nodes: Floats) -> Floats:
    """(posts, posts) values from (nodes, nodes); without BLAS: its threads cost more than they bring."""
    along = np.einsum("pn,nm->pm", _WEIGHTS, at_nodes)
    between: Floats = np.einsum("pm,qm->pq", along, _WEIGHTS)
    return between


def to_cells(band: Band, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Fractional row and column of places in the terrain's CRS; whole numbers are cell centres."""
    a, b, c, d, e, f = band.transform
    determinant = a * e - b * d
    with np.errstate(invalid="ignore"):
        column = (e * (x - c) - b * (y - f)) / determinant - 0.5
        row = (a * (y - f) - d * (x - c)) / determinant - 0.5
    return row, column


def to_places(band: Band, row: Floats, column: Floats) -> tuple[Floats, Floats]:
    """Places in the terrain's CRS of fractional rows and columns; the inverse of :func:`to_cells`."""
    a, b, c, d, e, f = band.transform
    return a * (column + 0.5) + b * (row + 0.5) + c, d * (column + 0.5) + e * (row + 0.5) + f


def bilinear(
    band: Band, dataset: Any, row: Floats, column: Floats, metres_per_unit: float, *, wraps: bool
) -> Floats32:
    """Heights between the four cells around each place; NaN off the band or where one that counts is void."""
    with np.errstate(invalid="ignore"):
        row, column = on_lines(row), on_lines(column)
        inside = np.isfinite(row) & np.isfinite(column) & (row >= 0) & (row <= band.rows - 1)
        if not wraps:
            inside &= (column >= 0) & (column <= band.columns - 1)
    height_m = np.full(row.shape, np.nan, np.float32)
    if not inside.any():
        return height_m
    if not inside.all():
        row, column = row[inside], column[inside]
    top, left = floor(row.min()), floor(column.min())
    bottom, right = ceil(row.max()), ceil(column.max())
    source = _columns_read(band, dataset, top, left, bottom - top + 1, right - left + 1, metres_per_unit)
    height_m[inside] = between_posts(source, row - top, column - left).ravel()
    return height_m


def _columns_read(
    band: Band, dataset: Any, top: int, left: int, rows: int, columns: int, metres_per_unit: float
) -> Floats32:
    """Heights of a window whose columns may run on past the end of a band that goes round the Earth."""
    parts, done = [], 0
    while done < columns:
        start = (left + done) % band.columns
        width = min(columns - done, band.columns - start)
        parts.append(band.heights_m(dataset, top, start, rows, width, metres_per_unit))
        done += width
    return parts[0] if len(parts) == 1 else np.hstack(parts)


def lay_lattice(
    band: Band,
    operation: Operation | None,
    metric: pyproj.CRS,
    turn: float,
    metres_per_unit: float,
    place_m: tuple[float, float],
) -> Lattice:
    """Lattice over a band, with square posts at about the cells' own spacing.

    The spacing is the side of a square as large as a cell, to three figures, taken at the middle of the band,
    or at the place where the band goes farther than 500 km from it.

    Parameters
    ----------
    place_m : easting, northing near which the terrain is wanted

    Raises
    ------
    TerrainError : the band lies nowhere within 500 km of the place
    """

    def to_metric(row: Floats, column: Floats) -> tuple[Floats, ...]:
        x, y = to_places(band, row, column)
        return operation.forward(x, y) if operation is not None else (x, y)

    rows, columns = np.linspace(0, band.rows - 1, 65), np.linspace(0, band.columns - 1, 65)
    at_row, at_column = np.meshgrid(rows, columns, indexing="ij")
    x, y = to_metric(at_row, at_column)
    near = (np.abs(x - place_m[0]) <= FARTHEST_M) & (np.abs(y - place_m[1]) <= FARTHEST_M)
    cut = operation is not None and not near.all()
    middle_row, middle_column = (band.rows - 1) / 2, (band.columns - 1) / 2
    if cut:
        step = FARTHEST_M * np.linspace(-1, 1, 201)
        at_x, at_y = np.meshgrid(place_m[0] + step, place_m[1] + step)
        row, column = _probe(band, operation, turn, at_x, at_y)
        inside = (row >= 0) & (row <= band.rows - 1) & (column >= -0.5) & (column <= band.columns - 0.5)
        x, y = np.append(x[near], at_x[inside]), np.append(y[near], at_y[inside])
        if not x.size:
            raise TerrainError(
                "the terrain lies nowhere within 500 km of the stations",
                where=band.path,
                remedy="Check the stations' coordinates (longitude before latitude) and the terrain's CRS",
            )
        # Both samples are coarse: some void posts beyond the edge do less harm than ground left out.
        x, y = (
            np.clip((v.min() - _CUT_MARGIN_M, v.max() + _CUT_MARGIN_M), at - FARTHEST_M, at + FARTHEST_M)
            for v, at in ((x, place_m[0]), (y, place_m[1]))
        )
        row_at, column_at = _probe(band, operation, turn, np.array([place_m[0]]), np.array([place_m[1]]))
        # To whole hundreds of cells, so that stations close together share one lattice.
        middle_row = float(np.clip(np.round(row_at[0], -2), 0, band.rows - 1))
        middle_column = float(np.clip(np.round(column_at[0], -2), 0, band.columns - 1))
    corner = to_metric(
        np.array([middle_row, middle_row, middle_row + 1]),
        np.array([middle_column, middle_column + 1, middle_column]),
    )
    (x0, x1, x2), (y0, y1, y2) = corner
    spacing_m = float(f"{np.sqrt(abs((x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0))):.3g}")
    first_column, last_column = ceil(x.min() / spacing_m - ON_LINE), floor(x.max() / spacing_m + ON_LINE)
    first_row, last_row = ceil(-y.max() / spacing_m - ON_LINE), floor(-y.min() / spacing_m + ON_LINE)
    if last_column < first_column or last_row < first_row:
        raise TerrainError("the raster is too small to be warped", where=band.path)
    grid = Grid(
        metric,
        first_column * spacing_m,
        -first_row * spacing_m,
        spacing_m,
        spacing_m,
        last_row - first_row + 1,
        last_column - first_column + 1,
    )
    return Lattice(band, operation, turn, grid, first_row, first_column, metres_per_unit, cut)


def _probe(
    band: Band, operation: Operation | None, turn: float, x: Floats, y: Floats
) -> tuple[Floats, Floats]:
    at_x, at_y = operation.backward(x, y) if operation is not None else (x, y)
    row, column = to_cells(band, at_x, at_y)
    if turn:
        whole = turn / abs(band.transform[0])
        with np.errstate(invalid="ignore"):
            column = column - np.round((column - (band.columns - 1) / 2) / whole) * whole
    return row, column


def full_turn(crs: pyproj.CRS) -> float:
    """A full turn in a geographic CRS's own unit (360 degrees, 400 grads); 0 for a projected CRS."""
    return 2 * pi / float(crs.axis_info[0].unit_conversion_factor) if crs.is_geographic else 0.0
