"""Grids of answers as files: cloud-optimised GeoTIFF, and what both kinds of raster file share."""

from __future__ import annotations

import math
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.errors import OutputError
from hillsight.ground.transform import middle_near, tears
from hillsight.layers.atomic import disk_trouble, replacing
from hillsight.layers.frames import beyond, out_operation, torn
from hillsight.schema.rasters import NO_DATA

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    import pyproj

    from hillsight.arrays import AnyArray
    from hillsight.ground.grid import Grid
    from hillsight.layers.provenance import Provenance

PROVENANCE_ITEM = "HILLSIGHT_PROVENANCE"
_EDGE_POINTS = 21
_BLOCK = 512
_ROWS_AT_ONCE = 256
_CELLS_AT_ONCE = 1 << 25


@dataclass(frozen=True)
class Placed:
    """A raster with its place on the map.

    Parameters
    ----------
    array : (rows, columns) uint8, uint16 or float32, row 0 northernmost
    crs : CRS of the corner
    corner : x and y of the north-west corner of cell (0, 0), in units of the CRS
    cell : width and height of a cell, > 0, in units of the CRS
    """

    array: AnyArray
    crs: pyproj.CRS
    corner: tuple[float, float]
    cell: tuple[float, float]

    def transform(self) -> Any:
        """Affine transform from column and row to x and y."""
        from rasterio.transform import from_origin

        return from_origin(*self.corner, *self.cell)


def placed(
    array: AnyArray,
    grid: Grid,
    out_crs: pyproj.CRS | None = None,
    near: tuple[float, float] | None = None,
) -> Placed:
    """Put an array on its grid, or on a grid in another CRS by the nearest post.

    Cells of the other grid that hold no post of this one get the value that is no data.
    ``near``, the longitude and latitude of the work, is where the way to ``out_crs`` is chosen; the grid's
    middle if not given.

    Raises
    ------
    ValueError : the array is none of uint8, uint16, uint32 and float32, or does not fit the grid
    OutputError : the grid reaches beyond where the CRS asked for is defined
    """
    if array.dtype.name not in ("uint8", "uint16", "uint32", "float32"):
        raise ValueError(f"a raster holds uint8, uint16, uint32 or float32, not {array.dtype}")
    if array.shape != (grid.rows, grid.columns):
        raise ValueError(f"array {array.shape} does not fit {grid.rows} x {grid.columns} posts")
    if out_crs is None or out_crs == grid.crs:
        west, _, _, north = grid.cell_edges_m
        return Placed(
            np.ascontiguousarray(array), grid.crs, (west, north), (grid.spacing_x_m, grid.spacing_y_m)
        )
    return _nearest(array, grid, out_crs, near)


def write_cog(
    path: Path,
    array: AnyArray,
    grid: Grid,
    *,
    nodata: float | None,
    provenance: Provenance,
    meaning: str = "",
    unit: str = "",
    inputs: Sequence[str | Path] = (),
    out_crs: pyproj.CRS | None = None,
    near: tuple[float, float] | None = None,
) -> None:
    """Write a cloud-optimised GeoTIFF: DEFLATE, tiles of 512, overviews, provenance in a metadata item.

    Overviews of bytes hold the commonest code of the cells they cover, others the nearest cell's value, so
    that no value appears that no cell has. The file replaces an older one in one step and is read back and
    compared before that.

    Parameters
    ----------
    path : file to make, suffix .tif
    array : (rows, columns) uint8, uint16 or float32
    grid : the posts of the array
    nodata : value that means "no answer", NaN for floats, or None
    meaning, unit : description and unit of the band
    inputs : files that must not be overwritten
    out_crs, near : CRS to write in, by the nearest post, None for the grid's own; as :func:`placed`

    Raises
    ------
    OutputError : the file cannot be written, or does not read back as it was written
    """
    write_placed_cog(
        path,
        placed(array, grid, out_crs, near),
        nodata=nodata,
        provenance=provenance,
        meaning=meaning,
        unit=unit,
        inputs=inputs,
    )


def write_placed_cog(
    path: Path,
    raster: Placed,
    *,
    nodata: float | None,
    provenance: Provenance,
    meaning: str = "",
    unit: str = "",
    inputs: Sequence[str | Path] = (),
) -> None:
    """As :func:`write_cog`, of a raster that has its place already."""
    import rasterio
    import rasterio.shutil
    from rasterio._err import CPLE_BaseError
    from rasterio.io import MemoryFile

    stamp = provenance.written_at[:19].replace("-", ":").replace("T", " ")
    with replacing(path, inputs=inputs) as temporary, rasterio.Env():
        try:
            with _held(raster, nodata) as file, MemoryFile(ext=".tif") as packed:
                file.update_tags(**{PROVENANCE_ITEM: provenance.as_json(), "TIFFTAG_DATETIME": stamp})
                if meaning:
                    file.set_band_description(1, meaning)
                if unit:
                    file.units = (unit,)
                rasterio.shutil.copy(file, packed.name, **_cog_profile(raster))
                # Not by GDAL: of a full disk it writes lines of its own to the terminal.
                temporary.write_bytes(packed.getbuffer())
            check_raster(temporary, raster, str(path))
        except (rasterio.errors.RasterioError, CPLE_BaseError, RuntimeError) as error:
            raise OutputError(
                disk_trouble(error) or f"cannot be written ({error})", where=str(path)
            ) from error


@contextmanager
def _held(raster: Placed, nodata: float | None) -> Iterator[Any]:
    """A raster with its overviews in memory, not compressed.

    Made by GDAL's COG driver, overviews are compressed into a file of their own first, which takes as long as
    all the rest.
    """
    from rasterio.enums import Resampling
    from rasterio.io import MemoryFile

    how = Resampling.mode if raster.array.dtype == np.uint8 else Resampling.nearest
    profile = {
        **raster_profile(raster),
        "driver": "GTiff",
        "nodata": nodata,
        "tiled": True,
        "blockxsize": _BLOCK,
        "blockysize": _BLOCK,
        "BIGTIFF": "YES",
    }
    with MemoryFile() as memory, memory.open(**profile) as file:
        file.write(raster.array, 1)
        factors = list(_overview_factors(max(raster.array.shape)))
        if factors:
            file.build_overviews(factors, how)
        yield file


def _overview_factors(side: int) -> Iterator[int]:
    """Halvings until the longer side fits into one block."""
    factor = 1
    while -(-side // factor) > _BLOCK:
        factor *= 2
        yield factor


def _cog_profile(raster: Placed) -> dict[str, str]:
    """How a raster is compressed and laid out.

    Measured on counts: differences of neighbours make files of whole numbers larger, and level 6 takes twice
    as long as 5 for a tenth less.
    """
    return {
        "driver": "COG",
        "COMPRESS": "DEFLATE",
        "LEVEL": "5",
        "PREDICTOR": "FLOATING_POINT" if raster.array.dtype == np.float32 else "NO",
        "BLOCKSIZE": str(_BLOCK),
        "OVERVIEWS": "FORCE_USE_EXISTING",
        "OVERVIEW_RESAMPLING": "MODE" if raster.array.dtype == np.uint8 else "NEAREST",
        "BIGTIFF": "IF_SAFER",
        "NUM_THREADS": "1",
    }


def raster_profile(raster: Placed) -> dict[str, Any]:
    """Size, type and place of a raster as rasterio's open() takes them."""
    from rasterio.crs import CRS

    rows, columns = raster.array.shape
    return {
        "width": columns,
        "height": rows,
        "count": 1,
        "dtype": raster.array.dtype.name,
        "crs": CRS.from_wkt(raster.crs.to_wkt()),
        "transform": raster.transform(),
    }


def check_raster(path: Path, raster: Placed, shown_as: str, **options: str) -> None:
    """Read a raster back and compare it bit for bit; NaN equals NaN.

    Raises
    ------
    OutputError : it cannot be read, or has another size, place or value
    """
    import rasterio

    try:
        with rasterio.open(path, **options) as file:
            same_place = file.transform.almost_equals(raster.transform(), precision=1e-6 * min(raster.cell))
            fits = same_place and file.shape == raster.array.shape and file.dtypes[0] == raster.array.dtype
            same = fits and _reads_back(file, raster.array)
    except rasterio.errors.RasterioError as error:
        raise OutputError(disk_trouble(error) or f"cannot be read back ({error})", where=shown_as) from error
    if not same:
        raise OutputError(
            "the raster does not read back as it was written",
            where=shown_as,
            remedy="See whether the disk is full; nothing was written",
        )


def _reads_back(file: Any, array: AnyArray) -> bool:
    """Compare some rows at a time: a second copy of a large raster might not find room."""
    from rasterio.windows import Window

    rows, columns = array.shape
    step = max(_ROWS_AT_ONCE, _CELLS_AT_ONCE // columns // _ROWS_AT_ONCE * _ROWS_AT_ONCE)
    return all(
        _same_bits(
            file.read(1, window=Window(0, top, columns, min(step, rows - top))), array[top : top + step]
        )
        for top in range(0, rows, step)
    )


def _same_bits(one: AnyArray, other: AnyArray) -> bool:
    if one.dtype == np.float32:
        both_nan = np.isnan(one) & np.isnan(other)
        return bool(np.all(both_nan | (one.view(np.uint32) == other.view(np.uint32))))
    return bool(np.array_equal(one, other))


def _nearest(array: AnyArray, grid: Grid, out_crs: pyproj.CRS, near: tuple[float, float] | None) -> Placed:
    """The array on a grid in another CRS, each cell with the value of the nearest post.

    Worked with the operation of the vector layers, so that both lie alike.
    """
    edges = grid.cell_edges_m
    if near is None:
        near = middle_near(grid.crs, edges[::2], edges[1::2])
    operation = out_operation(grid.crs, out_crs, near)
    along = np.linspace(0.0, 1.0, _EDGE_POINTS + 2)
    corners = [(edges[0], edges[1]), (edges[2], edges[1]), (edges[2], edges[3]), (edges[0], edges[3])]
    sides = zip(corners, [*corners[1:], corners[0]], strict=True)
    x, y = np.hstack([[a + (b - a) * along for a, b in zip(*side, strict=True)] for side in sides])
    out_x, out_y = operation.forward(x, y)
    if not (np.isfinite(out_x).all() and np.isfinite(out_y).all()):
        raise beyond("the raster", out_crs)
    if tears(operation, x, y):
        raise torn("the raster", out_crs)
    west, south, east, north = (float(v) for v in (out_x.min(), out_y.min(), out_x.max(), out_y.max()))
    if out_crs.is_geographic:  # a degree of longitude is shorter than one of latitude: one cell a post
        rows, columns = grid.rows, grid.columns
        width, height = (east - west) / columns, (north - south) / rows
    else:  # square cells, as many along the diagonal as before
        width = height = math.hypot(east - west, north - south) / math.hypot(grid.rows, grid.columns)
        rows, columns = max(1, math.ceil((north - south) / height)), max(1, math.ceil((east - west) / width))
    out = np.full((rows, columns), NO_DATA[array.dtype.name], dtype=array.dtype)
    x = west + (np.arange(columns) + 0.5) * width
    for start in range(0, rows, _ROWS_AT_ONCE):
        y = north - (np.arange(start, min(start + _ROWS_AT_ONCE, rows)) + 0.5) * height
        easting_m, northing_m = operation.backward(*(axis.ravel() for axis in np.meshgrid(x, y)))
        row, column = grid.to_array(easting_m, northing_m)
        fine = np.isfinite(row) & np.isfinite(column)
        row, column = (np.floor(np.where(fine, axis, -1) + 0.5) for axis in (row, column))
        inside = fine & (row >= 0) & (row < grid.rows) & (column >= 0) & (column < grid.columns)
        part = out[start : start + len(y)].reshape(-1)
        part[inside] = array[row[inside].astype(np.intp), column[inside].astype(np.intp)]
    return Placed(out, out_crs, (west, north), (width, height))
