"""Made grounds for the tests, and a writer that puts them into raster files.

Heights are (rows, columns) float32, row 0 northernmost, NaN void, unless said otherwise.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from affine import Affine

from hillsight.arrays import AnyArray, Flags, Floats32


def plane(
    rows: int,
    columns: int,
    *,
    height_m: float = 100.0,
    east_slope: float = 0.0,
    north_slope: float = 0.0,
    spacing: float = 10.0,
) -> Floats32:
    """Tilted plane; ``height_m`` stands at row 0, column 0, slopes are rise over run."""
    row, column = np.mgrid[:rows, :columns]
    return (height_m + spacing * (east_slope * column - north_slope * row)).astype(np.float32)


def fractal(
    rows: int,
    columns: int,
    *,
    seed: int,
    relief_m: float = 400.0,
    lowest_m: float = 0.0,
    roughness: float = 2.2,
) -> Floats32:
    """Rough ground by spectral synthesis: white noise, amplitudes falling as frequency to the -roughness.

    Stretched to run from ``lowest_m`` to ``lowest_m + relief_m``; the same seed gives the same ground.
    """
    random = np.random.default_rng(seed)
    noise = np.fft.rfft2(random.standard_normal((rows, columns)))
    frequency = np.hypot(np.fft.fftfreq(rows)[:, None], np.fft.rfftfreq(columns)[None, :])
    frequency[0, 0] = np.inf  # no constant part
    ground = np.fft.irfft2(noise * frequency**-roughness, s=(rows, columns))
    low, high = ground.min(), ground.max()
    return (lowest_m + relief_m * (ground - low) / (high - low)).astype(np.float32)


def with_wall(
    height_m: Floats32, *, row: int | None = None, column: int | None = None, wall_m: float
) -> Floats32:
    """A copy with one row or one column of posts raised."""
    raised = height_m.copy()
    if row is not None:
        raised[row, :] += np.float32(wall_m)
    if column is not None:
        raised[:, column] += np.float32(wall_m)
    return raised


def with_voids(height_m: Floats32, *, seed: int, share: float = 0.05) -> Floats32:
    """A copy with scattered single voids, seeded; at least one."""
    random = np.random.default_rng(seed)
    holed = height_m.copy()
    count = max(1, round(share * holed.size))
    holed.ravel()[random.choice(holed.size, count, replace=False)] = np.nan
    return holed


def with_hole(height_m: Floats32, top: int, left: int, rows: int, columns: int) -> Floats32:
    """A copy with a rectangle of voids."""
    holed = height_m.copy()
    holed[top : top + rows, left : left + columns] = np.nan
    return holed


def write_geotiff(
    path: Path | str,
    height_m: AnyArray,
    *,
    crs: str | None = "EPSG:27700",
    west: float = 300_000.0,
    north: float = 700_000.0,
    spacing: float = 10.0,
    spacing_y: float | None = None,
    transform: Affine | None = None,
    nodata: float | None = None,
    dtype: str | None = None,
    unit: str | None = None,
    scale: float | None = None,
    offset: float | None = None,
    mask: Flags | None = None,
    pixel_is_point: bool = False,
    driver: str = "GTiff",
    **creation: Any,
) -> Path:
    """Write stored numbers as a raster and return its path.

    Parameters
    ----------
    height_m : (rows, columns) or (bands, rows, columns), written as they are: rows in the file's order
    west, north : the outermost *post* of row 0, column 0 (cell centre), in the CRS's units
    spacing, spacing_y : between posts, CRS units; ``spacing_y`` as ``spacing`` unless given
    transform : instead of west, north and spacings: cell corners, as rasterio has it
    nodata : declared no-data value; NaN in the array are written as it if given
    mask : True where valid; written as a mask inside the file
    pixel_is_point : write the AREA_OR_POINT=Point tag
    """
    stack = height_m if height_m.ndim == 3 else height_m[None]
    dy = spacing if spacing_y is None else spacing_y
    place = Affine(spacing, 0, west - spacing / 2, 0, -dy, north + dy / 2) if transform is None else transform
    stored = (
        np.where(np.isnan(stack), nodata, stack) if nodata is not None and stack.dtype.kind == "f" else stack
    )
    stored = stored.astype(dtype or stack.dtype)
    with (
        rasterio.Env(GDAL_TIFF_INTERNAL_MASK=True),
        rasterio.open(
            path,
            "w",
            driver=driver,
            width=stored.shape[2],
            height=stored.shape[1],
            count=stored.shape[0],
            dtype=stored.dtype,
            crs=crs,
            transform=place,
            nodata=nodata,
            **creation,
        ) as out,
    ):
        if pixel_is_point:
            out.update_tags(AREA_OR_POINT="Point")
        if unit is not None:
            out.units = [unit] * stored.shape[0]
        if scale is not None:
            out.scales = [scale] * stored.shape[0]
        if offset is not None:
            out.offsets = [offset] * stored.shape[0]
        out.write(stored)
        if mask is not None:
            out.write_mask(mask)
    return Path(path)
