"""One band of a raster file: opened, checked, and read as heights a window at a time."""

from __future__ import annotations

import warnings
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pyproj
import rasterio
from rasterio.enums import ColorInterp, MaskFlags, WktVersion
from rasterio.errors import NotGeoreferencedWarning, RasterioError
from rasterio.windows import Window

from hillsight.errors import HillsightError, TerrainError
from hillsight.ground.crs import tidy
from hillsight.ground.heights import check_plausible, is_number, to_metres
from hillsight.ground.network import asking, settings, shut
from hillsight.ground.raster_sources import check_window
from hillsight.ground.text_grid import check_text_grid

if TYPE_CHECKING:
    from collections.abc import Iterator

    from hillsight.arrays import AnyArray, Floats32

#: Text grids of one family of drivers, which find a row by reading all above it.
_TEXT_DRIVERS = {"AAIGrid", "GRASSASCIIGrid", "ISG"}
#: Least side of a cell, as a part of the largest coordinate: some thousand steps of a 64-bit number.
_FINEST = 1e-12
_COLOURS = {ColorInterp.red, ColorInterp.green, ColorInterp.blue}


@dataclass(frozen=True)
class Band:
    """Where a band's heights are and how its stored numbers become metres; holds no open file.

    Parameters
    ----------
    path, number : file (any name GDAL opens) and band, 1-based
    alpha : number of the alpha band, None without one
    rows, columns : size
    transform : (a, b, c, d, e, f); x = a column + b row + c, y = d column + e row + f, at cell corners
    crs : as the file states it, None if it does not
    unit : the band's own unit string, "" if none
    nodata : stored numbers to take as voids besides NaN and the mask
    """

    path: str
    number: int
    alpha: int | None
    rows: int
    columns: int
    transform: tuple[float, float, float, float, float, float]
    crs: pyproj.CRS | None
    unit: str
    scale: float
    offset: float
    masked: bool
    nodata: tuple[float, ...]

    @property
    def where(self) -> str:
        """The band's name for messages."""
        return f"{self.path}, band {self.number}"

    def heights_m(
        self, dataset: Any, top: int, left: int, rows: int, columns: int, metres_per_unit: float
    ) -> Floats32:
        """Heights of the cells of a window, in the file's own order of rows and columns; NaN voids.

        Raises
        ------
        TerrainError : the cells cannot be read, or hold numbers that are no heights
        """
        window = Window(left, top, columns, rows)
        for number in (self.number, *([] if self.alpha is None else [self.alpha])):
            check_window(self.path, dataset, number, top, left, rows, columns)
        try:
            with asking(self.path):
                raw: AnyArray = dataset.read(self.number, window=window)
                void = np.zeros(raw.shape, np.bool_)
                if self.masked:
                    void |= dataset.read_masks(self.number, window=window) == 0
                if self.alpha is not None:
                    void |= dataset.read(self.alpha, window=window) == 0
        except RasterioError as fault:
            raise TerrainError(
                f"rows {top} to {top + rows - 1} cannot be read ({_reason(fault)})",
                where=self.where,
                remedy="The file may be damaged or cut short: fetch it again",
            ) from fault
        if raw.dtype.kind == "f":
            void |= np.isnan(raw)
        for value in self.nodata:
            void |= is_number(raw, value)
        height_m = to_metres(raw, void, scale=self.scale, offset=self.offset, metres_per_unit=metres_per_unit)
        check_plausible(
            height_m,
            raw,
            metres_per_step=self.scale * metres_per_unit,
            first_row=top,
            first_column=left,
            where=self.where,
        )
        return height_m


@contextmanager
def opened(path: str) -> Iterator[Any]:
    """The raster dataset of a path, closed afterwards.

    Side files (.aux.xml) are read, since units and no-data values may stand only there; nothing here asks for
    statistics, which is what would write them.

    Raises
    ------
    TerrainError : missing, empty, or nothing GDAL reads as a raster
    NetworkError : it leads to an address that was not asked for
    """
    local = not path.startswith("/vsi") and "://" not in path
    if local and not Path(path).exists() and ":" not in path[2:]:
        raise TerrainError("no such file", where=path, remedy="Check the name and the folder")
    with shut(path), rasterio.Env(**settings(path)), warnings.catch_warnings():
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        try:
            with asking(path):
                dataset = rasterio.open(path)
        except (RasterioError, OSError, ValueError) as fault:
            raise _unreadable(path, fault) from fault
        with dataset:
            yield dataset


def describe(path: str, band: int | None, nodata: float | None) -> Band:
    """Check a raster's header and choose its band.

    Parameters
    ----------
    path : any name GDAL opens
    band : 1-based, None to take the only one
    nodata : further stored number to take as void

    Raises
    ------
    TerrainError : the file does not hold one band of heights placed on the ground
    """
    with opened(path) as dataset, _header_of(path):
        if dataset.count == 0:
            raise _no_bands(path, list(dataset.subdatasets))
        number = _chosen_band(path, dataset, band)
        _check_geometry(path, dataset)
        kind = (
            np.dtype(dataset.dtypes[number - 1]).kind if "complex" not in dataset.dtypes[number - 1] else "c"
        )
        where = f"{path}, band {number}"
        if dataset.driver in _TEXT_DRIVERS:
            if dataset.driver == "AAIGrid":
                check_text_grid(path, dataset.height, dataset.width)
            _walk_rows(where, dataset, number)
        if kind not in "iuf":
            raise TerrainError(
                f"the cells are {dataset.dtypes[number - 1]} numbers, not heights",
                where=where,
                remedy="Give a terrain model with whole or decimal numbers",
            )
        flags = dataset.mask_flag_enums[number - 1]
        declared = dataset.nodatavals[number - 1]
        numbers = tuple(v for v in (declared, nodata) if v is not None and not np.isnan(v))
        scale, offset = float(dataset.scales[number - 1]), float(dataset.offsets[number - 1])
        if not (np.isfinite(scale) and np.isfinite(offset) and scale != 0):
            raise TerrainError(f"the band's scale {scale} and offset {offset} make no heights", where=where)
        alphas = [i + 1 for i, c in enumerate(dataset.colorinterp) if c == ColorInterp.alpha]
        crs = None
        if dataset.crs:
            crs = tidy(pyproj.CRS.from_wkt(dataset.crs.to_wkt(version=WktVersion.WKT2_2019)))
        a, b, c, d, e, f = dataset.transform[:6]
        return Band(
            path=path,
            number=number,
            alpha=alphas[0] if alphas else None,
            rows=dataset.height,
            columns=dataset.width,
            transform=(a, b, c, d, e, f),
            crs=crs,
            unit=(dataset.units[number - 1] or "").strip(),
            scale=scale,
            offset=offset,
            masked=MaskFlags.all_valid not in flags,
            nodata=numbers,
        )


@contextmanager
def _header_of(path: str) -> Iterator[None]:
    """Whatever breaks while a header is read (colour table, CRS, names): the file is damaged."""
    try:
        yield
    except (HillsightError, MemoryError):
        raise
    except Exception as fault:
        raise TerrainError(
            f"the file's header cannot be understood ({_reason(fault)})",
            where=path,
            remedy="The file may be damaged: fetch it again",
        ) from fault


def _walk_rows(where: str, dataset: Any, number: int) -> None:
    """Read a text grid once from the top down, and stop at the first row that is not there.

    Asked for a row of a file that is cut short, GDAL tries each row above it, and for each of these all above
    it again: twice as often with every row, which never ends.

    Raises
    ------
    TerrainError : a row cannot be read
    """
    for row in range(dataset.height):
        try:
            dataset.read(number, window=Window(0, row, 1, 1))
        except RasterioError as fault:
            raise TerrainError(
                f"row {row} of {dataset.height} cannot be read ({_reason(fault)})",
                where=where,
                remedy="The file may be damaged or cut short: fetch it again",
            ) from fault


def _chosen_band(path: str, dataset: Any, band: int | None) -> int:
    colours = dataset.colorinterp
    picture = dataset.count in (3, 4) and set(dataset.dtypes) == {"uint8"}
    if picture or ColorInterp.palette in colours or _COLOURS.issubset(colours):
        raise TerrainError(
            "this is a picture (colour bands or a palette), not heights",
            where=path,
            remedy="Give the terrain model itself, not a rendering of it",
        )
    heights = [i + 1 for i, c in enumerate(colours) if c != ColorInterp.alpha]
    if band is not None:
        if not 1 <= band <= dataset.count:
            raise TerrainError(f"there is no band {band}: the file has {dataset.count}", where=path)
        if band not in heights:
            raise TerrainError(f"band {band} is a transparency mask, not heights", where=path)
        return band
    if len(heights) != 1:
        names = ", ".join(
            f"{n} ({dataset.descriptions[n - 1] or dataset.dtypes[n - 1]})" for n in heights[:12]
        )
        more = f" and {len(heights) - 12} more" if len(heights) > 12 else ""
        raise TerrainError(
            f"the file has {len(heights)} bands: {names}{more}"
            if heights
            else "the file has only a mask band",
            where=path,
            remedy="Say which holds the heights",
            parameters=("band",),
        )
    return heights[0]


def _check_geometry(path: str, dataset: Any) -> None:
    a, b, c, d, e, f = dataset.transform[:6]
    if dataset.transform.is_identity:
        points = len(dataset.gcps[0])
        has = f"it has only {points} ground control points" if points else "it has no geotransform"
        raise TerrainError(
            f"the raster does not say where it lies: {has}",
            where=path,
            remedy="Give a georeferenced terrain model, or its world file beside it",
        )
    if not np.isfinite([a, b, c, d, e, f]).all() or a * e - b * d == 0:
        raise TerrainError(f"the raster's geotransform is degenerate: {(a, b, c, d, e, f)}", where=path)
    far = abs(c) + abs(f) + (abs(a) + abs(d)) * dataset.width + (abs(b) + abs(e)) * dataset.height
    if not far * _FINEST < min(np.hypot(a, d), np.hypot(b, e)):
        raise TerrainError(
            "the raster's cells are too small to be told apart so far out: its geotransform is "
            f"{(a, b, c, d, e, f)}",
            where=path,
            remedy="The file may be damaged: fetch it again",
        )


def _no_bands(path: str, parts: list[str]) -> TerrainError:
    if not parts:
        return TerrainError("the file holds no raster band", where=path, remedy="Give a terrain model")
    listed = "; ".join(parts[:12]) + (f"; and {len(parts) - 12} more" if len(parts) > 12 else "")
    return TerrainError(
        f"the file is a container of {len(parts)} rasters: {listed}",
        where=path,
        remedy="Give one of these names as the terrain",
    )


def _unreadable(path: str, fault: Exception) -> TerrainError:
    place = Path(path)
    if place.is_file() and place.stat().st_size == 0:
        return TerrainError("the file is empty (0 bytes)", where=path, remedy="Fetch or write it again")
    if place.is_dir():
        return TerrainError("this is a folder, not a raster", where=path, remedy="Name the file within it")
    layers = _vector_layers(path) if place.exists() else 0
    if layers:
        return TerrainError(
            f"the file holds {layers} vector layer(s) and no raster",
            where=path,
            remedy="Give the terrain as a raster, such as GeoTIFF; this file may hold map features",
            parameters=("features",),
        )
    return TerrainError(
        f"not a raster that can be opened ({_reason(fault)})",
        where=path,
        remedy="Give a terrain model in a raster format, such as GeoTIFF, VRT, ASC or HGT",
    )


def _vector_layers(path: str) -> int:
    import pyogrio  # only to word a message

    try:
        with shut(path), asking(path):
            return len(pyogrio.list_layers(path))
    except Exception:  # whatever it is, it is no vector file either
        return 0


def _reason(fault: BaseException) -> str:
    while fault.__cause__ is not None:  # rasterio's outer message says only that something failed
        fault = fault.__cause__
    return " ".join(str(fault).split()).rstrip(".")
