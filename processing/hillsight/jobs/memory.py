"""Terrain and map data that are in memory, given to a job in place of files."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.errors import HillsightError, TerrainError
from hillsight.ground.vector import IN_MEMORY
from hillsight.layers.provenance import InputFile

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from hillsight.arrays import Floats

_COORDINATES = (("x", "y"), ("easting", "northing"), ("longitude", "latitude"), ("lon", "lat"))


@dataclass(frozen=True, eq=False)
class Raster:
    """An array with its place on the map.

    Parameters
    ----------
    array : (rows, columns) numbers; NaN is a void
    transform : (a, b, c, d, e, f), the affine transform from column and row to x and y, at cell corners:
        x = a column + b row + c, y = d column + e row + f. An ``affine.Affine`` will do
    crs : anything PROJ understands: "EPSG:27700", WKT, a pyproj CRS
    nodata : a further value that marks voids, as stored; or None
    scale, offset : a height is the stored number times the one plus the other
    unit : of the heights, such as "m" or "ft"; empty where it is not known
    """

    array: NDArray[Any]
    transform: Any
    crs: Any
    nodata: float | None = None
    scale: float = 1.0
    offset: float = 0.0
    unit: str = ""

    def __post_init__(self) -> None:
        if np.ndim(self.array) != 2:
            raise TerrainError(
                f"the array has {np.ndim(self.array)} dimensions",
                where=IN_MEMORY,
                remedy="Give (rows, columns)",
            )
        object.__setattr__(self, "array", np.asarray(self.array))
        object.__setattr__(self, "transform", tuple(float(v) for v in tuple(self.transform)[:6]))


def as_raster(given: Any) -> Raster:
    """A raster from what a job takes for one: a ``Raster``, or an xarray ``DataArray`` with its georeference.

    A DataArray's CRS is that of its ``rio`` accessor, of its ``spatial_ref`` coordinate or of its attribute
    ``crs``; its place is that of its coordinates, which are cell centres, and its dimensions may stand in any
    order. Its attributes ``scale_factor``, ``add_offset``, ``units`` and ``_FillValue`` count as those of a
    file's band do (CF conventions, "packed data").

    Raises
    ------
    TerrainError : neither of them, or it does not say where it lies
    """
    if isinstance(given, Raster):
        return given
    if not (hasattr(given, "dims") and hasattr(given, "coords") and hasattr(given, "values")):
        raise TerrainError(
            f"a {type(given).__name__} is not a terrain",
            where=IN_MEMORY,
            remedy="Give a file's name, a hillsight.Raster or an xarray DataArray",
        )
    x, y = _coordinates(given)
    wanted = (*y.dims, *x.dims)
    alone = [dim for dim in given.dims if given.sizes[dim] == 1 and dim not in wanted]
    flat = given.squeeze(dim=alone, drop=True)
    if len(wanted) != 2 or len(set(wanted)) != 2 or set(flat.dims) != set(wanted):
        raise TerrainError(
            f"its dimensions are {_listed(given.dims)}; those of its coordinates, {_listed(wanted)}",
            where=IN_MEMORY,
            remedy="Give one layer with a dimension for y and one for x",
        )
    unit = given.attrs.get("units", "")
    return Raster(
        flat.transpose(*wanted).values,
        _transform_of(np.asarray(x.values, float), np.asarray(y.values, float)),
        _crs_of(given),
        _number_of(given, None, "_FillValue", "missing_value", "nodata"),
        _number_of(given, 1.0, "scale_factor"),
        _number_of(given, 0.0, "add_offset"),
        unit if isinstance(unit, str) else "",
    )


def _listed(dims: Any) -> str:
    return ", ".join(str(dim) for dim in dims) or "none"


def _number_of(given: Any, otherwise: Any, *names: str) -> Any:
    """The first of some attributes that is there, a number."""
    for name in names:
        if given.attrs.get(name) is not None:
            try:
                return float(given.attrs[name])
            except (TypeError, ValueError):
                raise TerrainError(
                    f"its attribute {name} is {given.attrs[name]!r}, which is not a number", where=IN_MEMORY
                ) from None
    return otherwise


def _crs_of(given: Any) -> Any:
    crs = getattr(getattr(given, "rio", None), "crs", None)
    if crs is None and "spatial_ref" in given.coords:
        about = given.coords["spatial_ref"].attrs
        crs = about.get("crs_wkt", about.get("spatial_ref"))
    crs = given.attrs.get("crs") if crs is None else crs
    return crs if crs is None or not hasattr(crs, "to_wkt") else crs.to_wkt()


def _coordinates(given: Any) -> tuple[Any, Any]:
    """The coordinates to the east and to the north."""
    for x_name, y_name in _COORDINATES:
        if x_name in given.coords and y_name in given.coords:
            return given.coords[x_name], given.coords[y_name]
    raise TerrainError(
        "the DataArray has no coordinates x and y", where=IN_MEMORY, remedy="Give it coordinates"
    )


def _transform_of(x: Floats, y: Floats) -> tuple[float, ...]:
    if min(x.size, y.size) < 2:
        raise TerrainError(
            f"it has {y.size} rows and {x.size} columns", where=IN_MEMORY, remedy="Give at least two of each"
        )
    steps = [(axis[-1] - axis[0]) / (axis.size - 1) for axis in (x, y)]
    for axis, step in zip((x, y), steps, strict=True):
        if not np.abs(np.diff(axis) - step).max() <= 1e-3 * abs(step) or step == 0:
            raise TerrainError("its coordinates are not evenly spaced", where=IN_MEMORY)
    return (steps[0], 0.0, x[0] - steps[0] / 2, 0.0, steps[1], y[0] - steps[1] / 2)


@contextmanager
def raster_file(raster: Raster) -> Iterator[str]:
    """A name by which GDAL reads a raster in memory, until the block ends.

    Raises
    ------
    TerrainError : its numbers or its CRS are such as no raster file can hold
    HillsightError : whatever the block raises; the raster goes by the name "in memory" there
    """
    import rasterio
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    array = raster.array.astype(np.uint8) if raster.array.dtype == bool else raster.array
    try:
        crs = None if raster.crs is None else CRS.from_user_input(raster.crs).to_wkt()
    except CRSError as error:
        raise TerrainError(f"{raster.crs!r} is not a CRS that PROJ knows", where=IN_MEMORY) from error
    with rasterio.MemoryFile(ext=".tif") as memory:
        try:
            with memory.open(
                driver="GTiff",
                height=array.shape[0],
                width=array.shape[1],
                count=1,
                dtype=array.dtype,
                crs=crs,
                transform=rasterio.Affine(*raster.transform),
                nodata=raster.nodata,
                BIGTIFF="IF_SAFER",
            ) as file:
                file.write(array, 1)
                if (raster.scale, raster.offset) != (1.0, 0.0):
                    file.scales, file.offsets = (raster.scale,), (raster.offset,)
                if raster.unit:
                    file.units = (raster.unit,)
        except (rasterio.errors.RasterioError, TypeError, ValueError) as error:
            raise TerrainError(
                f"the array cannot be taken as a terrain ({error})", where=IN_MEMORY
            ) from error
        try:
            yield memory.name
        except HillsightError as error:
            if memory.name not in str(error):
                raise
            what, where, remedy = (
                text.replace(memory.name, IN_MEMORY) for text in (error.what, error.where, error.remedy)
            )
            raise type(error)(what, where=where, remedy=remedy, parameters=error.parameters) from error


def raster_checksum(raster: Raster) -> InputFile:
    """A raster in memory as an input: the checksum is of its numbers, row by row, and all told of them.

    ``raster`` has a CRS that PROJ knows, or none.
    """
    from pyproj import CRS

    content = np.ascontiguousarray(raster.array)
    crs = None if raster.crs is None else CRS.from_user_input(raster.crs).to_wkt()
    told = (raster.transform, crs, raster.nodata, raster.scale, raster.offset, raster.unit)
    about = repr((content.dtype.str, content.shape, *told)).encode()
    return _in_memory(content.tobytes(), about, size_bytes=content.nbytes)


def frame_checksum(frame: Any) -> InputFile:
    """A table in memory as an input: the checksum is of its rows as CSV, geometry as WKB, and CRS."""
    shapes, crs, rest = b"", "", frame
    if getattr(frame, "active_geometry_name", None) is not None:
        import shapely

        shapes = b"".join(shapely.to_wkb(one) or b"" for one in frame.geometry)
        crs = "" if frame.crs is None else frame.crs.to_wkt()
        rest = frame.drop(columns=frame.geometry.name)
    rows = rest.to_csv().encode("utf-8", "surrogatepass")
    return _in_memory(shapes, rows, crs.encode(), size_bytes=len(shapes) + len(rows))


def frames_checksum(frames: Mapping[str, Any]) -> InputFile:
    """Layers in memory as one input: the checksum is of their names and of what ``frame_checksum`` says."""
    each = {name: frame_checksum(frame) for name, frame in frames.items()}
    told = repr([(name, one.sha256) for name, one in each.items()]).encode()
    return _in_memory(told, size_bytes=sum(one.size_bytes or 0 for one in each.values()))


def _in_memory(*parts: bytes, size_bytes: int) -> InputFile:
    digest = hashlib.sha256()
    for part in parts:
        digest.update(len(part).to_bytes(8))
        digest.update(part)
    return InputFile(IN_MEMORY, None, digest.hexdigest(), size_bytes)
