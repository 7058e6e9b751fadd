"""Terrain files as heights on a north-up metric grid, read a window at a time."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass
from math import ceil, floor
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
import pyproj

from hillsight.errors import TerrainError
from hillsight.ground.grid import Grid, Surface
from hillsight.ground.heights import settle_vertical_unit
from hillsight.ground.metric import (
    MOST_SCALE_ERROR,
    horizontal_part,
    is_metric,
    local_grid,
    named_crs,
    named_grid,
    operation_between,
    scale_error,
    vertical_axis,
)
from hillsight.ground.raster import Band, describe, opened
from hillsight.ground.transform import transformer
from hillsight.ground.warp import FARTHEST_M, full_turn, lay_lattice, to_places
from hillsight.words.quantities import per_cent

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from hillsight.arrays import Floats32

MARGIN_POSTS = 3
# A view of that many posts takes some 8 GB.
MOST_POSTS = 60_000_000


@dataclass(frozen=True)
class TerrainOptions:
    """What the user says of a terrain file beyond what it says itself.

    Parameters
    ----------
    band : 1-based
    crs : for files that carry none, or instead of what they carry
    vertical_unit : 'm', 'dm', 'cm', 'mm', 'km', 'ft' or 'us-ft'
    nodata : further value to take as void, in the file's own numbers
    grid_crs : metric CRS to work on, instead of the local UTM zone
    """

    band: int | None = None
    crs: str | None = None
    vertical_unit: str | None = None
    nodata: float | None = None
    grid_crs: str | None = None


class _Posts(Protocol):
    @property
    def grid(self) -> Grid: ...

    def read(self, dataset: Any, top: int, left: int, rows: int, columns: int) -> Floats32: ...


@dataclass(frozen=True)
class _CellPosts:
    """Posts that are the file's own cells, turned north-up where the file is not."""

    band: Band
    grid: Grid
    metres_per_unit: float

    def read(self, dataset: Any, top: int, left: int, rows: int, columns: int) -> Floats32:
        south_up, east_first = self.band.transform[4] > 0, self.band.transform[0] < 0
        if south_up:
            top = self.band.rows - top - rows
        if east_first:
            left = self.band.columns - left - columns
        height_m = self.band.heights_m(dataset, top, left, rows, columns, self.metres_per_unit)
        if south_up:
            height_m = height_m[::-1]
        if east_first:
            height_m = height_m[:, ::-1]
        return np.ascontiguousarray(height_m)


@dataclass(frozen=True)
class Terrain:
    """A terrain on its working grid; no file is held open.

    Parameters
    ----------
    path : as given
    source_crs : what the file (or the user) says, vertical part included
    posts : the grid of all posts and the way to read them
    notes : plain sentences on what was done to the file's numbers, for the report
    crs_operation : PROJ's description of the operation the warp used; empty without one
    crs_operation_accuracy_m : metres by PROJ's tables; None if not warped or not known
    """

    path: str
    source_crs: pyproj.CRS
    posts: _Posts
    notes: tuple[str, ...]
    crs_operation: str = ""
    crs_operation_accuracy_m: float | None = None

    @property
    def grid(self) -> Grid:
        """All posts."""
        return self.posts.grid

    @property
    def crs(self) -> pyproj.CRS:
        """Working CRS: projected, metres, no vertical part."""
        return self.posts.grid.crs

    @property
    def spacing_x_m(self) -> float:
        """Metres between posts along a row."""
        return self.posts.grid.spacing_x_m

    @property
    def spacing_y_m(self) -> float:
        """Metres between posts along a column."""
        return self.posts.grid.spacing_y_m

    @property
    def bounds_m(self) -> tuple[float, float, float, float]:
        """West, south, east, north of the outermost posts."""
        grid = self.posts.grid
        return (grid.west_m, grid.south_m, grid.east_m, grid.north_m)

    def window(self, easting_m: float, northing_m: float, reach_m: float) -> Surface:
        """Posts of the square of a reach around a place, three more on each side, cut at the terrain's edge.

        Raises
        ------
        TerrainError : nothing of the square is on the terrain, all of it is void, or it holds numbers that
            are no heights
        """
        if not np.isfinite([easting_m, northing_m, reach_m]).all() or reach_m < 0:
            raise ValueError(f"no window at E {easting_m} N {northing_m} with reach {reach_m}")
        grid = self.posts.grid
        west, east = easting_m - reach_m, easting_m + reach_m
        south, north = northing_m - reach_m, northing_m + reach_m
        if east < grid.west_m or west > grid.east_m or north < grid.south_m or south > grid.north_m:
            raise TerrainError(
                f"nothing within {reach_m:,.0f} m of E {easting_m:.0f} N {northing_m:.0f} is on the terrain, "
                f"which spans {self._span()}",
                where=self.path,
                remedy="Give a terrain that holds the place, or correct the place",
            )
        (top, left), (bottom, right) = (
            (float(v) for v in grid.to_array(easting, northing))
            for easting, northing in ((west, north), (east, south))
        )
        first_row = max(floor(top) - MARGIN_POSTS, 0)
        first_column = max(floor(left) - MARGIN_POSTS, 0)
        last_row = min(ceil(bottom) + MARGIN_POSTS, grid.rows - 1)
        last_column = min(ceil(right) + MARGIN_POSTS, grid.columns - 1)
        around = f"around E {easting_m:.0f} N {northing_m:.0f}"
        return self._read(first_row, first_column, last_row, last_column, around)

    def whole(self) -> Surface:
        """All posts.

        Raises
        ------
        TerrainError : as for a window, or more posts than a machine can be asked to hold
        """
        return self._read(0, 0, self.grid.rows - 1, self.grid.columns - 1, "anywhere on the terrain")

    @contextmanager
    def reading(self) -> Iterator[Callable[[int, int, int, int], Floats32]]:
        """Heights of any part of the grid, for terrain that is not held at once.

        Yields ``read(row, column, rows, columns)``, which gives (rows, columns) float32 metres, NaN void, the
        same to the last bit as any window has there. The file is held open until the block ends.

        Raises
        ------
        TerrainError : the file cannot be read, or holds numbers that are no heights
        """
        with opened(self.path) as dataset:

            def read(row: int, column: int, rows: int, columns: int) -> Floats32:
                inside = 0 <= row <= row + rows <= self.grid.rows and column >= 0
                if not inside or column + columns > self.grid.columns or rows < 1 or columns < 1:
                    raise ValueError(f"{rows} x {columns} posts at {row}, {column} are not all on the grid")
                return self.posts.read(dataset, row, column, rows, columns)

            yield read

    def _read(self, top: int, left: int, bottom: int, right: int, around: str) -> Surface:
        rows, columns = bottom - top + 1, right - left + 1
        if rows * columns > MOST_POSTS:
            raise TerrainError(
                f"{rows:,} x {columns:,} posts are more than can be held at once ({MOST_POSTS:,})",
                where=self.path,
                remedy="Ask for less with --reach METRES",
            )
        with opened(self.path) as dataset:
            height_m = self.posts.read(dataset, top, left, rows, columns)
        if np.isnan(height_m).all():
            raise TerrainError(
                f"there is no height {around}: all {rows:,} x {columns:,} posts are void",
                where=self.path,
                remedy="Give a terrain that covers the place",
            )
        return Surface(self.grid.part(top, left, rows, columns), height_m)

    def _span(self) -> str:
        west, south, east, north = self.bounds_m
        return f"E {west:.0f} to {east:.0f}, N {south:.0f} to {north:.0f} in {self.crs.name}"


@dataclass(frozen=True)
class TerrainSource:
    """A terrain file that was opened and checked; only its header has been read.

    Parameters
    ----------
    path : as given
    source_crs : what the file (or the user) says, vertical part included
    notes : plain sentences on what was assumed or overridden
    """

    path: str
    source_crs: pyproj.CRS
    notes: tuple[str, ...]
    band: Band
    metres_per_unit: float
    grid_crs: pyproj.CRS | None = None

    def middle(self) -> tuple[float, float]:
        """Longitude and latitude (WGS 84, degrees) of the file's middle.

        Raises
        ------
        TerrainError : PROJ cannot tell where on the Earth that is
        """
        flat = horizontal_part(self.source_crs, self.path)
        x, y = to_places(
            self.band, np.array([(self.band.rows - 1) / 2]), np.array([(self.band.columns - 1) / 2])
        )
        longitude, latitude = transformer(flat, pyproj.CRS.from_epsg(4326)).attempt(x, y)
        if not (np.isfinite(longitude[0]) and abs(latitude[0]) <= 90):
            raise TerrainError(
                f"its middle at {x[0]:g}, {y[0]:g} is no place on the Earth in {flat.name}",
                where=self.path,
                remedy="State the CRS it is in with --terrain-crs",
            )
        return float(longitude[0]), float(latitude[0])

    def on_metric_grid(self, longitude: float, latitude: float) -> Terrain:
        """The terrain on a north-up metric grid that fits the stations.

        A file that is one already is taken as it is. Degrees, feet, rotated cells and grids whose distances
        are off by more than 2 % at the place (such as a world-wide Mercator) are warped, as the notes say.

        Parameters
        ----------
        longitude, latitude : degrees, WGS 84, near the stations; they choose the grid, not the extent

        Raises
        ------
        TerrainError : the terrain lies nowhere near, or no grid can be laid over it
        """
        if not (np.isfinite(longitude) and abs(latitude) <= 90):
            raise ValueError(f"longitude {longitude}, latitude {latitude} is no place on the Earth")
        flat = horizontal_part(self.source_crs, self.path)
        reasons = self._reasons_to_change(flat, longitude, latitude)
        if reasons:
            metric = self.grid_crs if self.grid_crs is not None else local_grid(flat, longitude, latitude)
            return self._warped(flat, metric, ", ".join(reasons), longitude, latitude)
        if _rotated(self.band):
            return self._warped(flat, flat, "cells turned against the grid", longitude, latitude)
        return self._as_it_is(flat)

    def _reasons_to_change(self, flat: pyproj.CRS, longitude: float, latitude: float) -> list[str]:
        if self.grid_crs is not None:
            same = flat.equals(self.grid_crs, ignore_axis_order=True)
            return [] if same else [f"in {flat.name} where {self.grid_crs.name} was asked for"]
        if flat.is_geographic:
            return [f"in {flat.axis_info[0].unit_name}s"]
        if not is_metric(flat):
            return [f"in {flat.axis_info[0].unit_name}"]
        error = scale_error(flat, longitude, latitude)
        if error is not None and error > MOST_SCALE_ERROR:
            return [f"on a grid whose distances here are off by {per_cent(error)}"]
        return []

    def _as_it_is(self, flat: pyproj.CRS) -> Terrain:
        band = self.band
        a, _, _, _, e, _ = band.transform
        rows, columns = np.array([0.0, band.rows - 1.0]), np.array([0.0, band.columns - 1.0])
        x, y = to_places(band, rows, columns)
        grid = Grid(flat, float(x.min()), float(y.max()), abs(a), abs(e), band.rows, band.columns)
        notes = self.notes
        if e > 0:
            notes += ("The file's rows run from south to north: flipped.",)
        if a < 0:
            notes += ("The file's columns run from east to west: flipped.",)
        return Terrain(self.path, self.source_crs, _CellPosts(band, grid, self.metres_per_unit), notes)

    def _warped(
        self, flat: pyproj.CRS, metric: pyproj.CRS, reason: str, longitude: float, latitude: float
    ) -> Terrain:
        operation = None if metric is flat else operation_between(flat, metric, longitude, latitude)
        wgs84 = pyproj.CRS.from_epsg(4326)
        place = operation_between(wgs84, metric, longitude, latitude).forward(
            np.array([longitude]), np.array([latitude])
        )
        place_m = (float(place[0][0]), float(place[1][0]))
        if not np.isfinite(place_m).all():
            raise TerrainError(
                f"{metric.name} does not reach longitude {longitude:.4f}, latitude {latitude:.4f}",
                where=self.path,
                remedy="Name a CRS of that part of the world with --grid-crs",
            )
        turn = full_turn(flat) if not _rotated(self.band) else 0.0
        lattice = lay_lattice(self.band, operation, metric, turn, self.metres_per_unit, place_m)
        notes = (
            *self.notes,
            f"Warped ({reason}) from {flat.name} to {metric.name}, bilinear, to square posts "
            f"{lattice.grid.spacing_x_m:g} m apart.",
        )
        if lattice.cut:
            notes += (f"Only the terrain within {FARTHEST_M / 1000:.0f} km of the stations is used.",)
        if operation is not None and operation.missing:
            missing = ", ".join(operation.missing)
            notes += (f"A better coordinate operation needs a grid that is not installed: {missing}.",)
        return Terrain(
            self.path,
            self.source_crs,
            lattice,
            notes,
            operation.description if operation is not None else "",
            operation.accuracy_m if operation is not None else None,
        )


def open_terrain(path: str, options: TerrainOptions = TerrainOptions()) -> TerrainSource:
    """Open a terrain file and check that it says all that is needed; reads the header only.

    Parameters
    ----------
    path : anything GDAL opens as a raster: files, /vsizip/ and other virtual paths, zip://, subdataset names
    options : what the user says of it

    Raises
    ------
    TerrainError : what is wrong with the file, and what to do
    """
    path = str(path)
    grid_crs = named_grid(options.grid_crs) if options.grid_crs is not None else None
    band = describe(path, options.band, options.nodata)
    crs, notes = _settled_crs(band, options)
    flat = horizontal_part(crs, path)
    metres_per_unit, unit_notes = settle_vertical_unit(
        options.vertical_unit, band.unit, vertical_axis(crs, path), where=band.where
    )
    notes += unit_notes
    if "metres assumed" in " ".join(unit_notes) and flat.is_projected and not is_metric(flat):
        notes += ("Its grid is in feet; if its heights are too, say so with --vertical-unit.",)
    if vertical_axis(crs, path) is not None:
        name = crs.sub_crs_list[-1].name if crs.is_compound else crs.name
        notes += (f"Heights are kept on the file's own vertical datum: {name}.",)
    if (band.scale, band.offset) != (1.0, 0.0):
        notes += (f"Stored numbers are scaled: times {band.scale:g} plus {band.offset:g}.",)
    if options.nodata is not None:
        notes += (f"Cells of {options.nodata:g} are taken as void, as told.",)
    return TerrainSource(path, crs, notes, band, metres_per_unit, grid_crs)


def _settled_crs(band: Band, options: TerrainOptions) -> tuple[pyproj.CRS, tuple[str, ...]]:
    if options.crs is None:
        if band.crs is None:
            raise TerrainError(
                "the file does not say in which coordinate reference system it is",
                where=band.path,
                remedy="State it with --terrain-crs, for example --terrain-crs EPSG:27700",
            )
        return band.crs, ()
    crs = named_crs(options.crs, "--terrain-crs")
    if band.crs is None:
        return crs, (f"The file states no CRS: taken as {crs.name}, as told.",)
    if crs.equals(band.crs, ignore_axis_order=True):
        return band.crs, ()
    return crs, (f"The file's CRS {band.crs.name} is overridden: taken as {crs.name}, as told.",)


def _rotated(band: Band) -> bool:
    """Whether rows or columns leave the grid's directions by more than a thousandth of a cell in all."""
    a, b, _, d, e, _ = band.transform
    return abs(b) * band.rows > 1e-3 * abs(a) or abs(d) * band.columns > 1e-3 * abs(e)
