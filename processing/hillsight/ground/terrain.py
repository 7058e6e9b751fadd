"""Terrain files as heights on a north-up metric grid, read a window at a time."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass, replace
from math import ceil, floor
from typing import TYPE_CHECKING

import numpy as np
import pyproj

from hillsight.errors import HillsightError, TerrainError
from hillsight.ground.cell_posts import CellPosts, Posts, rotated
from hillsight.ground.crs import (
    from_own_degrees,
    horizontal_crs,
    is_metric,
    own_degrees,
    vertical_axis,
)
from hillsight.ground.grid import Grid, Surface
from hillsight.ground.heights import settle_vertical_unit
from hillsight.ground.metric import (
    MOST_SCALE_ERROR,
    check_plane,
    local_grid,
    named_grid,
    plane_notes,
    scale_error,
)
from hillsight.ground.raster import Band, describe, opened
from hillsight.ground.terrain_options import TerrainOptions, settled_crs
from hillsight.ground.transform import Operation, operation_between
from hillsight.ground.warp import FARTHEST_M, full_turn, lay_lattice, to_places
from hillsight.words.quantities import per_cent

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from hillsight.arrays import Floats, Floats32
    from hillsight.ground.covering import Covering

MARGIN_POSTS = 3
_AS_STATED = TerrainOptions()
# A view of that many posts takes some 8 GB.
MOST_POSTS = 60_000_000


@dataclass(frozen=True)
class Terrain:
    """A terrain on its working grid; no file is held open.

    Parameters
    ----------
    path : as given
    source_crs : what the file (or the user) says, vertical part included
    posts : the grid of all posts and the way to read them
    notes : plain sentences on what was done to the file's numbers, for the report
    near : longitude and latitude of the work, degrees: every coordinate operation of a run is chosen there
    operation : from the file's CRS to the working one; None where the file is on its grid already
    cover : what stands on the ground; None where nothing is known of it
    """

    path: str
    source_crs: pyproj.CRS
    posts: Posts
    notes: tuple[str, ...]
    near: tuple[float, float]
    operation: Operation | None = None
    cover: Covering | None = None

    @property
    def grid(self) -> Grid:
        """All posts."""
        return self.posts.grid

    @property
    def bare(self) -> Terrain:
        """The same ground with nothing on it."""
        return self if self.cover is None else replace(self, cover=None)

    @property
    def crs(self) -> pyproj.CRS:
        """Working CRS: projected, metres, no vertical part."""
        return self.posts.grid.crs

    @property
    def to_wgs84(self) -> Operation:
        """From the working CRS to longitude and latitude, WGS 84.

        Raises
        ------
        HillsightError : there is no way that takes account of the datums
        """
        return operation_between(self.crs, pyproj.CRS.from_epsg(4326), self.near)

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
        TerrainError : nothing of the square is on the terrain, all of it is void, it holds numbers that are
            no heights, or distances within it are off by over 1 % on this grid
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
        self._check_plane(
            max(west, grid.west_m),
            min(east, grid.east_m),
            *(max(south, grid.south_m), min(north, grid.north_m)),
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

    def _check_plane(self, west: float, east: float, south: float, north: float) -> None:
        easting_m, northing_m = np.meshgrid(np.linspace(west, east, 3), np.linspace(south, north, 3))
        remedy = "Look less far, or name a working grid of that part of the world"
        check_plane(self.crs, easting_m.ravel(), northing_m.ravel(), self.path, remedy)

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
                remedy="Ask for less",
                parameters=("reach",),
            )
        with opened(self.path) as dataset:
            height_m = self.posts.read(dataset, top, left, rows, columns)
        if np.isnan(height_m).all():
            raise TerrainError(
                f"there is no height {around}: all {rows:,} x {columns:,} posts are void",
                where=self.path,
                remedy="Give a terrain that covers the place",
            )
        return self.surface(top, left, height_m)

    def surface(self, row: int, column: int, height_m: Floats32) -> Surface:
        """Heights that were read from a row and column of the grid on, with what stands on them.

        Raises
        ------
        TerrainError : the cover cannot be read
        """
        grid = self.grid.part(row, column, *height_m.shape)
        return Surface(grid, height_m, None if self.cover is None else self.cover.on(grid, height_m))

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
        """Longitude and latitude (degrees, on the file's own datum) of the file's middle.

        Raises
        ------
        TerrainError : PROJ cannot tell where on the Earth that is
        """
        flat = horizontal_crs(self.source_crs, self.path)
        x, y = to_places(
            self.band, np.array([(self.band.rows - 1) / 2]), np.array([(self.band.columns - 1) / 2])
        )
        longitude, latitude = own_degrees(flat, x, y)
        if not (np.isfinite(longitude[0]) and abs(latitude[0]) <= 90):
            raise TerrainError(
                f"its middle at {x[0]:g}, {y[0]:g} is no place on the Earth in {flat.name}",
                where=self.path,
                remedy="State the CRS it is in",
                parameters=("terrain_crs",),
            )
        return float(longitude[0]), float(latitude[0])

    def on_metric_grid(self, longitude: float, latitude: float) -> Terrain:
        """The terrain on a north-up metric grid that fits the stations.

        A file that is one already is taken as it is. Degrees, feet, rotated cells and grids whose distances
        are off by more than 1 % at the place (such as a world-wide Mercator) are warped, as the notes say.

        Parameters
        ----------
        longitude, latitude : degrees, near the stations; they choose the grid and the coordinate operations,
            not the extent, so that some hundred metres do not matter

        Raises
        ------
        TerrainError : the terrain lies nowhere near, or no grid can be laid over it
        """
        if not (np.isfinite(longitude) and abs(latitude) <= 90):
            raise ValueError(f"longitude {longitude}, latitude {latitude} is no place on the Earth")
        near = (longitude, latitude)
        flat = horizontal_crs(self.source_crs, self.path)
        reasons = self._reasons_to_change(flat, near)
        if reasons:
            metric = self.grid_crs if self.grid_crs is not None else local_grid(flat, longitude, latitude)
            return self._warped(flat, metric, ", ".join(reasons), near)
        if rotated(self.band):
            return self._warped(flat, flat, "cells turned against the grid", near)
        return self._as_it_is(flat, near)

    def _reasons_to_change(self, flat: pyproj.CRS, near: tuple[float, float]) -> list[str]:
        if self.grid_crs is not None:
            same = flat.equals(self.grid_crs, ignore_axis_order=True)
            return [] if same else [f"in {flat.name} where {self.grid_crs.name} was asked for"]
        if flat.is_geographic:
            return [f"in {flat.axis_info[0].unit_name}s"]
        if not is_metric(flat):
            return [f"in {flat.axis_info[0].unit_name}"]
        error = abs(float(scale_error(flat, *_place_m(flat, near))[0]))
        if MOST_SCALE_ERROR < error < np.inf:
            return [f"on a grid whose distances here are off by {per_cent(error)}"]
        return []

    def _plane_notes(self, metric: pyproj.CRS, near: tuple[float, float]) -> tuple[str, ...]:
        """Notes on the grid at the place; one that the user named must be true enough there."""
        place_m = _place_m(metric, near)
        if self.grid_crs is None:
            return plane_notes(metric, near, float(scale_error(metric, *place_m)[0]))
        remedy = "Name a grid of that part of the world, such as its UTM zone, or leave it out"
        return plane_notes(metric, near, check_plane(metric, *place_m, self.path, remedy))

    def _as_it_is(self, flat: pyproj.CRS, near: tuple[float, float]) -> Terrain:
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
        notes += self._plane_notes(flat, near)
        return Terrain(self.path, self.source_crs, CellPosts(band, grid, self.metres_per_unit), notes, near)

    def _warped(
        self, flat: pyproj.CRS, metric: pyproj.CRS, reason: str, near: tuple[float, float]
    ) -> Terrain:
        operation = None
        if metric is not flat:
            try:
                operation = operation_between(flat, metric, near)
            except HillsightError as error:
                raise TerrainError(
                    error.what, where=self.path, remedy=error.remedy, parameters=("terrain_crs", "grid_crs")
                ) from error
        place_m = _place_m(metric, near)
        if not np.isfinite(place_m).all():
            raise TerrainError(
                f"{metric.name} does not reach longitude {near[0]:.4f}, latitude {near[1]:.4f}",
                where=self.path,
                remedy="Name a working grid of that part of the world",
                parameters=("grid_crs",),
            )
        grid_notes = self._plane_notes(metric, near)
        turn = full_turn(flat) if not rotated(self.band) else 0.0
        middle_m = float(place_m[0][0]), float(place_m[1][0])
        lattice = lay_lattice(self.band, operation, metric, turn, self.metres_per_unit, middle_m)
        notes = (
            *self.notes,
            f"Warped ({reason}) from {flat.name} to {metric.name}, bilinear, to square posts "
            f"{lattice.grid.spacing_x_m:g} m apart.",
            *grid_notes,
        )
        if lattice.cut:
            notes += (f"Only the terrain within {FARTHEST_M / 1000:.0f} km of the stations is used.",)
        if operation is not None and operation.note:
            notes += (operation.note,)
        return Terrain(self.path, self.source_crs, lattice, notes, near, operation)


def _place_m(crs: pyproj.CRS, near: tuple[float, float]) -> tuple[Floats, Floats]:
    """Easting and northing, (1,) each, of a longitude and latitude; infinite where there are none."""
    return from_own_degrees(crs, np.array([near[0]]), np.array([near[1]]))


def open_terrain(path: str, options: TerrainOptions = _AS_STATED) -> TerrainSource:
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
    crs, notes = settled_crs(band, options)
    try:
        flat = horizontal_crs(crs, path)
    except HillsightError as error:
        raise TerrainError(
            error.what, where=path, remedy=error.remedy, parameters=("terrain_crs",)
        ) from error
    metres_per_unit, unit_notes = settle_vertical_unit(
        options.vertical_unit, band.unit, vertical_axis(crs, path), where=band.where
    )
    notes += unit_notes
    if "metres assumed" in " ".join(unit_notes) and flat.is_projected and not is_metric(flat):
        notes += ("Its grid is in feet; if its heights are too, state their unit.",)
    if vertical_axis(crs, path) is not None:
        name = crs.sub_crs_list[-1].name if crs.is_compound else crs.name
        notes += (f"Heights are kept on the file's own vertical datum: {name}.",)
    if (band.scale, band.offset) != (1.0, 0.0):
        notes += (f"Stored numbers are scaled: times {band.scale:g} plus {band.offset:g}.",)
    if options.nodata is not None:
        notes += (f"Cells of {options.nodata:g} are taken as void, as told.",)
    return TerrainSource(path, crs, notes, band, metres_per_unit, grid_crs)
