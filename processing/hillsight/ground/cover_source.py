"""What stands on a terrain, from a surface model and from map files: told for any part of its posts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from rasterio import Affine
from rasterio.features import rasterize

from hillsight.ground.cover import Cover, Screens
from hillsight.ground.cover_shapes import CoverShapes, read_cover, touching
from hillsight.ground.cover_surface import SurfaceModel, judged, open_surface, stepped_note
from hillsight.ground.grid import Surface
from hillsight.words.cover import SURFACE_KIND

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from pyproj import CRS

    from hillsight.arrays import Bytes, Floats32
    from hillsight.ground.cover_table import CoverTable
    from hillsight.ground.grid import Grid
    from hillsight.ground.terrain import Terrain
    from hillsight.ground.transform import Operation

# How far the edge of cover on a map may be out, and how far a surface model's heights err, one standard
# deviation, m. Common practice, no source.
_MAPPED_EDGE_M = 5.0
_SURFACE_ERROR_M = 1.0
_TILE, _MOST_TILES, _FEWEST = 128, 25, 2


@dataclass(frozen=True, eq=False)
class CoverSource:
    """Cover that can be told for any part of a terrain's posts; it pickles.

    Parameters
    ----------
    terrain : the bare ground
    surface : a surface model, or None
    shapes : cover of map files, or None
    passing_m : how far into leafy woods sight dies away to 1/e; 0 none passes
    """

    terrain: Terrain
    surface: SurfaceModel | None
    shapes: CoverShapes | None
    passing_m: float

    @property
    def kinds(self) -> tuple[str, ...]:
        """Names of kinds; the first, empty, is bare ground, and the last the surface model's."""
        mapped = ("",) if self.shapes is None else self.shapes.kinds
        return mapped if self.surface is None else (*mapped, SURFACE_KIND)

    def on(self, grid: Grid, height_m: Floats32) -> Cover:
        """The cover of some posts, a part of the terrain's.

        Parameters
        ----------
        height_m : (rows, columns) of the bare ground; NaN voids have no cover

        Raises
        ------
        TerrainError : the surface model cannot be read there
        """
        shape = (grid.rows, grid.columns)
        solid_m, wood_m = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
        kind = np.zeros(shape, np.uint8)
        screens = Screens.none()
        if self.shapes is not None:
            solid_m, wood_m, kind = _painted(self.shapes, grid)
            screens = _screens(self.shapes, grid)
        if self.surface is not None:
            above_m = self.surface.above_ground_m(grid, self._ground(grid, height_m))
            known = ~np.isnan(above_m)
            # What a map calls a wood stays one: the surface model tells its height better.
            leafy = known & (wood_m > 0) & (solid_m == 0)
            wood_m[leafy] = np.maximum(above_m[leafy], 0)
            kind[leafy & (wood_m == 0)] = 0
            taller = known & ~leafy & (np.nan_to_num(above_m) > solid_m)
            solid_m[taller] = above_m[taller]
            kind[taller & (kind == 0)] = len(self.kinds) - 1
        for tall_m in (solid_m, wood_m):
            tall_m[np.isnan(height_m)] = 0
        kind[np.maximum(solid_m, wood_m) == 0] = 0
        return Cover(
            solid_m,
            wood_m,
            kind,
            kinds=self.kinds,
            screens=screens,
            passing_m=self.passing_m,
            height_sigma_m=max(
                0.0 if self.shapes is None else self.shapes.height_sigma_m,
                0.0 if self.surface is None else _SURFACE_ERROR_M,
            ),
            screen_sigma_m=None if self.shapes is None else self.shapes.screen_sigma_m,
            edge_sigma_m=_MAPPED_EDGE_M if self.surface is None else self.surface.cell_m / 2,
        )

    def _ground(self, grid: Grid, height_m: Floats32) -> Surface:
        """The bare ground at some posts; with one more on each side where the surface model is finer."""
        if self.surface is None or not self.surface.finer:
            return Surface(grid, height_m)
        return _with_rim(self.terrain, grid)


def _with_rim(terrain: Terrain, grid: Grid) -> Surface:
    """The posts of a part of the terrain and one more on each side, so far as it goes."""
    top, left = (round(float(v)) for v in terrain.grid.to_array(grid.west_m, grid.north_m))
    bottom, right = (
        min(top + grid.rows + 1, terrain.grid.rows),
        min(left + grid.columns + 1, terrain.grid.columns),
    )
    top, left = max(top - 1, 0), max(left - 1, 0)
    with terrain.reading() as read:
        return Surface(
            terrain.grid.part(top, left, bottom - top, right - left),
            read(top, left, bottom - top, right - left),
        )


def _painted(shapes: CoverShapes, grid: Grid) -> tuple[Floats32, Floats32, Bytes]:
    """Heights of what is solid and of woods, and kinds, at the posts inside areas; the tallest wins."""
    shape = (grid.rows, grid.columns)
    west, south, east, north = grid.cell_edges_m
    solid_m, wood_m = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    kind = np.zeros(shape, np.uint8)
    near = touching(shapes.area_bounds_m, west, south, east, north)
    if not near.any():
        return solid_m, wood_m, kind
    transform = Affine(grid.spacing_x_m, 0, west, 0, -grid.spacing_y_m, north)

    def painted(chosen: Any, values: Any, dtype: str) -> Any:
        pairs = list(zip(shapes.areas[chosen], values[chosen].tolist(), strict=True))
        if not pairs:
            return np.zeros(shape, dtype)
        return rasterize(pairs, out_shape=shape, transform=transform, dtype=dtype)

    # Later shapes are painted over earlier ones, and areas are sorted by height.
    solid_m = painted(near & ~shapes.area_passes, shapes.area_height_m, "float32")
    wood_m = painted(near & shapes.area_passes, shapes.area_height_m, "float32")
    kind = painted(near, shapes.area_kind, "uint8")
    return solid_m, wood_m, kind


def _screens(shapes: CoverShapes, grid: Grid) -> Screens:
    """The screens that may stand within the outermost posts."""
    west, south, east, north = grid.west_m, grid.south_m, grid.east_m, grid.north_m
    near = touching(shapes.screen_bounds_m, west, south, east, north)
    x, y = shapes.ends_m[near][:, [0, 2]], shapes.ends_m[near][:, [1, 3]]
    (row, to_row), (column, to_column) = (axis.T for axis in grid.to_array(x, y))
    return Screens(
        np.ascontiguousarray(row),
        np.ascontiguousarray(column),
        np.ascontiguousarray(to_row),
        np.ascontiguousarray(to_column),
        shapes.screen_height_m[near],
        shapes.screen_kind[near],
    )


def open_cover(
    terrain: Terrain,
    *,
    surface: str | None,
    paths: Sequence[Any],
    layers: Sequence[str],
    table: CoverTable,
    leaf: str,
    default_crs: CRS | None,
    nodata: float | None = None,
    around: Iterable[tuple[float, float, float, float]] = (),
) -> tuple[CoverSource, list[str], list[Operation]]:
    """Cover of a terrain, what there is to say of it, and the coordinate operations used.

    Parameters
    ----------
    surface : file of a surface model; None for none
    paths, layers : map files of cover, and their layers; empty for all
    table : heights by kind
    leaf : "on" or "off"
    default_crs : CRS of map files that do not state one
    nodata : a further value that marks voids of the surface model
    around : west, south, east, north of the ground that is looked over; none for all of the terrain

    Raises
    ------
    TerrainError, FeatureError : a file that cannot be read, or cannot be cover of this terrain
    """
    notes: list[str] = []
    operations: list[Operation] = []
    model = shapes = None
    if surface is not None:
        model, notes, operations = open_surface(surface, terrain, nodata)
        above_m, slope, posts = _sampled(terrain, model, list(around))
        notes += judged(above_m, posts, model, surface)
        if stepped := stepped_note(above_m, slope):
            notes.append(stepped)
    if paths:
        shapes, more, used = read_cover(
            paths, layers, table, terrain.grid, default_crs=default_crs, near=terrain.near
        )
        notes += more
        operations = [*operations, *used]
    passing_m = table.passing_m(leaf)
    if shapes is not None and shapes.area_passes.any():
        leafy = "in leaf" if leaf == "on" else "without leaves"
        notes.append(
            f"Woods {leafy}: sight dies away to 37 % over {passing_m:g} m of leafy wood (common practice)."
        )
    return CoverSource(terrain, model, shapes, passing_m), notes, operations


def _of(ground: Surface, grid: Grid) -> Floats32:
    """Heights of some posts of a surface."""
    top, left = (round(float(v)) for v in ground.grid.to_array(grid.west_m, grid.north_m))
    return ground.height_m[top : top + grid.rows, left : left + grid.columns]


def _sampled(
    terrain: Terrain, model: SurfaceModel, around: list[tuple[float, float, float, float]]
) -> tuple[Floats32, Floats32, int]:
    """How high a surface model stands on posts spread over the ground, slopes there; of how many posts."""
    grid = terrain.grid
    top, left, bottom, right = 0, 0, grid.rows, grid.columns
    if around:
        edges = np.array(around)
        north_row, west_column = grid.to_array(edges[:, 0].min(), edges[:, 3].max())
        south_row, east_column = grid.to_array(edges[:, 2].max(), edges[:, 1].min())
        top, bottom = (int(np.clip(v, 0, grid.rows)) for v in (north_row, south_row + 1))
        left, right = (int(np.clip(v, 0, grid.columns)) for v in (west_column, east_column + 1))
        if bottom <= top or right <= left:
            top, left, bottom, right = 0, 0, grid.rows, grid.columns
    rows, columns = (np.arange(first, last, _TILE) for first, last in ((top, bottom), (left, right)))
    tiles = [(int(r), int(c)) for r in rows for c in columns]
    if len(tiles) > _MOST_TILES:
        tiles = [tiles[i] for i in np.linspace(0, len(tiles) - 1, _MOST_TILES).round().astype(int)]
    above, slopes, posts = [], [], 0
    for row, column in tiles:
        part = grid.part(row, column, min(_TILE, bottom - row), min(_TILE, right - column))
        ground = _with_rim(terrain, part)
        above_m = model.above_ground_m(part, ground)
        known, height_m = ~np.isnan(above_m), _of(ground, part)
        above.append(above_m[known])
        slopes.append(_slope(height_m, part)[known])
        posts += int((~np.isnan(height_m)).sum())
    return np.concatenate(above), np.concatenate(slopes), posts


def _slope(height_m: Floats32, grid: Grid) -> Floats32:
    """Rise over run at some posts; NaN beside voids and where there are fewer than two rows or columns."""
    if min(height_m.shape) < _FEWEST:
        return np.full(height_m.shape, np.nan, np.float32)
    down, right = np.gradient(height_m, grid.spacing_y_m, grid.spacing_x_m)
    slope: Floats32 = np.hypot(down, right).astype(np.float32)
    return slope
