"""A surface model beside the terrain: its heights brought to the terrain's posts.

A finer model comes by the maximum over each post's cell of what its cells stand above the ground under them,
so that no tree is lost and no slope is taken for one. One as coarse or coarser comes by bilinear
interpolation at the post. A post depends on nothing but its place, as terrain does.
"""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass
from math import ceil, floor
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.errors import HillsightError, TerrainError
from hillsight.ground.crs import horizontal_crs, vertical_axis
from hillsight.ground.grid import between_posts
from hillsight.ground.raster import describe, opened
from hillsight.ground.terrain import open_terrain
from hillsight.ground.terrain_options import TerrainOptions
from hillsight.ground.transform import operation_between
from hillsight.ground.warp import bilinear, to_cells, to_places
from hillsight.words.quantities import per_cent

if TYPE_CHECKING:
    from collections.abc import Iterator

    from hillsight.arrays import Floats, Floats32
    from hillsight.ground.grid import Grid, Surface
    from hillsight.ground.raster import Band
    from hillsight.ground.terrain import Terrain
    from hillsight.ground.transform import Operation

#: A surface this far below the terrain is taken for noise; common practice, no source.
TOLERANCE_M = 2.0
#: Of a coarse surface: so much of the side of its cells.
_TOLERANCE_SHARE = 0.2
#: Refused where a larger share of posts lies deeper than the tolerance, or more than half stand taller than
#: any wood does over a whole landscape. Common sense, no source.
_MOST_BELOW, _MOST_MEDIAN_M = 0.2, 40.0
#: Where even the lowest tenth stands higher, the vertical datum may be another.
_LEAST_SUSPECT_M = 0.5
_STANDS_M, _NOTHING_M = 0.5, 0.05
_FINER = 0.99
#: Dips on steep ground that are told: so deep on average, and so many times those on level ground.
_LEAST_DIP_M, _MORE_THAN_LEVEL, _LEAST_POSTS = 0.3, 2.0, 400
_ROWS = 256  # posts worked at once
_MOST_CELLS = 1_000_000
_NODE = 16  # cells between exact coordinate transformations
_ABOUT = ("surface",)

#: Parameters that the terrain is read by, and the surface model is not.
_ONLY_THE_TERRAINS = {"vertical_unit", "terrain_crs", "band", "grid_crs"}


@dataclass(frozen=True)
class SurfaceModel:
    """A surface model, by its file.

    Parameters
    ----------
    band, metres_per_unit : its heights
    operation : from its CRS to the working grid's
    cell_m : side of its cells on the working grid, m
    finer : whether the highest of the cells about each post counts; else it is interpolated at the post
    """

    band: Band
    metres_per_unit: float
    operation: Operation
    cell_m: float
    finer: bool

    @property
    def tolerance_m(self) -> float:
        """How far below the terrain counts as noise."""
        return max(TOLERANCE_M, _TOLERANCE_SHARE * self.cell_m)

    def above_ground_m(self, grid: Grid, ground: Surface) -> Floats32:
        """How high it stands above the ground at the posts of a grid, (rows, columns) float32 metres.

        Below 0 where it lies below the ground; NaN where either has no height.

        Parameters
        ----------
        ground : the terrain at the same posts and, so far as it goes, one more on each side

        Raises
        ------
        TerrainError : the file cannot be read, or holds numbers that are no heights
        """
        above_m = np.full((grid.rows, grid.columns), np.nan, np.float32)
        with _about_the_surface(), opened(self.band.path) as dataset:
            for top in range(0, grid.rows, _ROWS):
                part = grid.part(top, 0, min(_ROWS, grid.rows - top), grid.columns)
                here = self._highest(dataset, part, ground) if self.finer else None
                if here is None or np.isnan(here).any():
                    between = self._between(dataset, part, ground)
                    here = between if here is None else np.where(np.isnan(here), between, here)
                above_m[top : top + part.rows] = here
        return above_m

    def _cells(self, easting_m: Floats, northing_m: Floats) -> tuple[Floats, Floats]:
        return to_cells(self.band, *self.operation.backward(easting_m, northing_m))

    def _between(self, dataset: Any, grid: Grid, ground: Surface) -> Floats32:
        rows, columns = np.meshgrid(
            np.arange(float(grid.rows)), np.arange(float(grid.columns)), indexing="ij"
        )
        row, column = self._cells(*grid.to_map(rows, columns))
        height_m = bilinear(self.band, dataset, row, column, self.metres_per_unit, wraps=False)
        top, left = (round(float(v)) for v in ground.grid.to_array(grid.west_m, grid.north_m))
        return height_m - ground.height_m[top : top + grid.rows, left : left + grid.columns]

    def _highest(self, dataset: Any, grid: Grid, ground: Surface) -> Floats32:
        """The most that cells stand above the ground whose centres lie in each post's own cell; else NaN."""
        above_m = np.full((grid.rows, grid.columns), np.nan, np.float32)
        top, left, bottom, right = self._window(grid)
        if bottom < top or right < left:
            return above_m
        offset = [float(v) for v in ground.grid.to_array(grid.west_m, grid.north_m)]
        rows = max(1, _MOST_CELLS // (right - left + 1))
        for first in range(top, bottom + 1, rows):
            count = min(rows, bottom + 1 - first)
            block = self.band.heights_m(dataset, first, left, count, right - left + 1, self.metres_per_unit)
            at = self._places(grid, first, left, block.shape)
            if self._is_aligned:
                _raise_aligned(above_m, block, at[0][:, 0], at[1][0], ground.height_m, offset)
            else:
                _raise_anywhere(above_m, block, at, ground.height_m, offset)
        return above_m

    @property
    def _is_aligned(self) -> bool:
        """Whether its rows and columns run as those of the posts do."""
        return not self.operation.pipeline and self.band.transform[1] == self.band.transform[3] == 0.0

    def _window(self, grid: Grid) -> tuple[int, int, int, int]:
        """First and last row and column of the cells that may lie under the cells of the posts."""
        west, south, east, north = grid.cell_edges_m
        x, y = np.linspace(west, east, 33), np.linspace(south, north, 33)
        at_x = np.r_[x, x, np.full(33, west), np.full(33, east)]
        at_y = np.r_[np.full(33, south), np.full(33, north), y, y]
        row, column = self._cells(at_x, at_y)
        good = np.isfinite(row) & np.isfinite(column)
        if not good.any():
            return 0, 0, -1, -1
        return (
            max(floor(row[good].min()) - 1, 0),
            max(floor(column[good].min()) - 1, 0),
            min(ceil(row[good].max()) + 1, self.band.rows - 1),
            min(ceil(column[good].max()) + 1, self.band.columns - 1),
        )

    def _places(self, grid: Grid, first: int, left: int, shape: tuple[int, ...]) -> tuple[Floats, Floats]:
        """Fractional row and column on the posts of the centre of each cell of a block."""
        rows, columns = (np.arange(0, count + _NODE, _NODE) for count in shape)
        at_row, at_column = np.meshgrid(first + rows, left + columns, indexing="ij")
        x, y = self.operation.forward(*to_places(self.band, at_row.astype(float), at_column.astype(float)))
        post_row, post_column = grid.to_array(x, y)
        # Straight between: over 16 cells a change of grid bends by far less than a cell.
        down, across = (_between_nodes(count) for count in shape)
        with np.errstate(invalid="ignore"):
            return down @ post_row @ across.T, down @ post_column @ across.T


def _posts_of(at: Floats) -> Floats:
    """The post in whose cell a place lies; one on the border belongs to the next, whatever the rounding."""
    return np.floor(np.round(at + 0.5, 6))


def _raise_anywhere(
    above_m: Floats32, block: Floats32, at: tuple[Floats, Floats], ground_m: Floats32, offset: list[float]
) -> None:
    """Raise each post's height above the ground to that of the tallest cell in its own."""
    row, column = (_posts_of(v) for v in at)
    with np.errstate(invalid="ignore"):
        inside = ~np.isnan(block) & (row >= 0) & (row < above_m.shape[0])
        inside &= (column >= 0) & (column < above_m.shape[1])
    under = [
        np.clip(v[inside] + shift, 0, size - 1)
        for v, shift, size in zip(at, offset, ground_m.shape, strict=True)
    ]
    above = block[inside] - between_posts(ground_m, under[0], under[1])
    post = (row[inside] * above_m.shape[1] + column[inside]).astype(np.int64)
    np.fmax.at(above_m.reshape(-1), post, above.astype(np.float32))


def _raise_aligned(
    above_m: Floats32, block: Floats32, row: Floats, column: Floats, ground_m: Floats32, offset: list[float]
) -> None:
    """The same for cells whose rows and columns run as those of the posts; many times quicker."""
    ground = _along(_along(ground_m, row + offset[0]).T, column + offset[1]).T
    above = (block - ground).astype(np.float32)
    for axis, at in enumerate((row, column)):
        above = np.moveaxis(above, axis, 0)
        post = _posts_of(at).astype(np.int64)
        if post[0] > post[-1]:
            post, above = post[::-1], above[::-1]
        wanted = (post >= 0) & (post < above_m.shape[axis])
        post, above = post[wanted], above[wanted]
        if not post.size:
            return
        posts, starts = np.unique(post, return_index=True)
        most = np.full((above_m.shape[axis], above.shape[1]), np.nan, np.float32)
        most[posts] = np.fmax.reduceat(above, starts, axis=0)
        above = np.moveaxis(most, 0, axis)
    np.fmax(above_m, above, out=above_m)


def _along(values: Any, at: Floats) -> Any:
    """Rows of an array, linear between, at fractional rows; beyond its ends as at them."""
    at = np.clip(at, 0, values.shape[0] - 1)
    first = np.minimum(np.floor(at).astype(np.int64), max(values.shape[0] - 2, 0))
    share = (at - first)[:, None]
    after = np.minimum(first + 1, values.shape[0] - 1)
    return values[first] * (1 - share) + values[after] * share


def _between_nodes(count: int) -> Floats:
    """(count, nodes) weights of linear interpolation from every 16th cell."""
    at = np.arange(count)
    weights = np.zeros((count, len(range(0, count + _NODE, _NODE))))
    share = (at % _NODE) / _NODE
    weights[at, at // _NODE] = 1 - share
    ahead = share > 0
    weights[at[ahead], at[ahead] // _NODE + 1] = share[ahead]
    return weights


@contextmanager
def _about_the_surface() -> Iterator[None]:
    """Errors are those of the surface model: what is said of the terrain alone does not help it."""
    try:
        yield
    except HillsightError as error:
        remedy = error.remedy
        if error.remedy and _ONLY_THE_TERRAINS & set(error.parameters):
            remedy += ", in the surface model's file itself"
        shared = [name for name in error.parameters if name == "nodata"]
        parameters = (*_ABOUT, *shared)
        raise TerrainError(error.what, where=error.where, remedy=remedy, parameters=parameters) from error


def open_surface(
    path: str, terrain: Terrain, nodata: float | None = None
) -> tuple[SurfaceModel, list[str], list[Operation]]:
    """A surface model beside a terrain, what there is to say of it, and the coordinate operations used.

    A file that names no CRS, or no unit of its heights, is taken to have the terrain's.

    Raises
    ------
    TerrainError : it cannot be read or does not say what is needed
    """
    with _about_the_surface():
        band = describe(path, None, nodata)
        own_crs = band.crs
        source = open_terrain(
            path,
            TerrainOptions(crs=None if own_crs is not None else terrain.source_crs.to_wkt(), nodata=nodata),
        )
        operation = operation_between(horizontal_crs(source.source_crs, path), terrain.crs, terrain.near)
    notes = []
    if own_crs is None:
        notes.append("The surface model states no CRS: taken to be in the terrain's.")
    metres = source.metres_per_unit
    if not band.unit and vertical_axis(source.source_crs, path) is None:
        metres = float(getattr(terrain.posts, "metres_per_unit", 1.0))
        notes.append(
            "The surface model does not state the unit of its heights: taken to be "
            + ("metres." if metres == 1.0 else f"the terrain's ({metres:g} m).")
        )
    elif metres != 1.0:
        notes.append(f"Heights of the surface model converted to metres (times {metres:g}).")
    ours, theirs = (vertical_axis(crs, path) for crs in (terrain.source_crs, source.source_crs))
    if ours is not None and theirs is not None:
        datums = [
            crs.sub_crs_list[-1].name if crs.is_compound else crs.name
            for crs in (terrain.source_crs, source.source_crs)
        ]
        if datums[0] != datums[1]:
            notes.append(
                f"The terrain's heights are on {datums[0]}, the surface model's on {datums[1]}: "
                "not converted."
            )
    cell_m = _cell_m(band, operation, terrain.grid)
    finer = cell_m < _FINER * min(terrain.spacing_x_m, terrain.spacing_y_m)
    posts = f"the terrain's posts ({max(terrain.spacing_x_m, terrain.spacing_y_m):g} m apart)"
    notes.append(
        f"The surface model's cells ({cell_m:.3g} m) are finer than {posts}: the tallest about each counts."
        if finer
        else f"The surface model (cells of {cell_m:.3g} m) is brought to {posts} by bilinear interpolation."
    )
    if operation.note:
        notes.append(operation.note)
    model = SurfaceModel(source.band, metres, operation, cell_m, finer)
    return model, notes, [operation]


def _cell_m(band: Band, operation: Operation, grid: Grid) -> float:
    """Side of a square as large as a cell, m on the working grid, amid the terrain if it can be."""
    at = to_cells(band, *operation.backward(*grid.to_map((grid.rows - 1) / 2, (grid.columns - 1) / 2)))
    sizes = (band.rows, band.columns)
    row, column = (
        float(np.clip(v, 0, size - 1)) if np.isfinite(v) else (size - 1) / 2
        for v, size in zip((float(at[0]), float(at[1])), sizes, strict=True)
    )
    x, y = operation.forward(
        *to_places(band, np.array([row, row, row + 1]), np.array([column, column + 1, column]))
    )
    area = abs((x[1] - x[0]) * (y[2] - y[0]) - (x[2] - x[0]) * (y[1] - y[0]))
    return float(np.sqrt(area))


def stepped_note(above_m: Floats32, slope: Floats32) -> str | None:
    """A warning where a surface model follows the slopes badly; None where it does not.

    One that was resampled to the nearest cell, or lies beside the terrain, is out by the slope times the
    shift: it dips below the terrain more on steep ground than on level ground, and stands as much too high
    elsewhere. Noise and rounding dip alike everywhere. Bounds are ours, tried on made ground.

    Parameters
    ----------
    above_m : (n,) how high it stands above the ground; slope : (n,) rise over run of the ground there
    """
    known = np.isfinite(slope)
    if int(known.sum()) < _LEAST_POSTS:
        return None
    dip_m, slope = np.maximum(-above_m[known], 0.0), slope[known]
    gentle, steep = np.quantile(slope, (0.25, 0.75))
    level_m, steep_m = float(dip_m[slope <= gentle].mean()), float(dip_m[slope >= steep].mean())
    if steep_m < _LEAST_DIP_M or steep_m < _MORE_THAN_LEVEL * level_m:
        return None
    return (
        f"The surface model does not follow the slopes: on the steepest quarter of the ground it dips "
        f"{steep_m:.1f} m below the terrain on average, on the gentlest {level_m:.1f} m. It may have been "
        "resampled to the nearest cell, or lie beside the terrain. Where it stands too high it hides ground "
        "that is open: give it on its own grid, or resample it by interpolation."
    )


def judged(above_m: Floats32, posts: int, model: SurfaceModel, where: str) -> list[str]:
    """What there is to say of a surface model against its terrain.

    Parameters
    ----------
    above_m : (n,) how high it stands above the ground at posts where both have heights
    posts : number of those posts where the terrain has one

    Raises
    ------
    TerrainError : they share no post, or it lies so far below or above that it cannot be of that ground
    """
    if not above_m.size:
        raise TerrainError(
            "the surface model has no height on any post of the terrain that was looked at",
            where=where,
            remedy="Give a surface model of the same ground, and check its CRS",
            parameters=_ABOUT,
        )
    tolerance_m = model.tolerance_m
    below, deep = above_m < -_NOTHING_M, above_m < -tolerance_m
    median_m = float(np.median(above_m))
    cause = "Its vertical datum or the unit of its heights may be another, or it is of other ground"
    if deep.mean() > _MOST_BELOW:
        raise TerrainError(
            f"the surface model lies more than {tolerance_m:.3g} m below the terrain at "
            f"{per_cent(float(deep.mean()))} of the posts (middle difference {median_m:+,.1f} m)",
            where=where,
            remedy=cause,
            parameters=_ABOUT,
        )
    if median_m > _MOST_MEDIAN_M:
        raise TerrainError(
            f"the surface model stands {median_m:,.1f} m above the terrain at the middle of all posts, "
            "taller than woods do",
            where=where,
            remedy=cause,
            parameters=_ABOUT,
        )
    notes = []
    if above_m.size < posts:
        share = 1 - above_m.size / posts
        notes.append(f"The surface model has no height at {per_cent(share)} of the posts: none known there.")
    if below.any():
        text = (
            f"The surface model lies below the terrain at {per_cent(float(below.mean()))} of the posts, "
            f"at most {-float(above_m.min()):.2g} m: taken as bare ground there"
        )
        if deep.any():
            text += f" ({per_cent(float(deep.mean()))} by more than {tolerance_m:.3g} m, which is not noise)"
        notes.append(f"{text}.")
    stands = above_m > _STANDS_M
    notes.append(
        f"By the surface model, cover of more than {_STANDS_M:g} m stands on "
        f"{per_cent(float(stands.mean()))} of the posts, at most {max(0, float(above_m.max())):,.0f} m tall."
    )
    lowest_m = float(np.quantile(above_m, 0.1))
    if lowest_m > _LEAST_SUSPECT_M:
        notes.append(
            f"Even the lowest tenth of the surface model stands {lowest_m:.1f} m above the terrain: unless "
            "all of the ground is wooded, its vertical datum may be another."
        )
    return notes
