"""What the user says of a terrain file beyond what it says itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from hillsight.errors import TerrainError
from hillsight.ground.crs import parse_crs

if TYPE_CHECKING:
    import pyproj

    from hillsight.ground.raster import Band


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


def settled_crs(band: Band, options: TerrainOptions) -> tuple[pyproj.CRS, tuple[str, ...]]:
    """The CRS of a file, and what there is to say of it.

    Raises
    ------
    TerrainError : neither the file nor the user names one
    """
    if options.crs is None:
        if band.crs is None:
            raise TerrainError(
                "the file does not say in which coordinate reference system it is",
                where=band.path,
                remedy="State it, for example EPSG:27700",
                parameters=("terrain_crs",),
            )
        return band.crs, ()
    crs = parse_crs(options.crs, "the CRS of the terrain", ("terrain_crs",))
    if band.crs is None:
        return crs, (f"The file states no CRS: taken as {crs.name}, as told.",)
    if crs.equals(band.crs, ignore_axis_order=True):
        return band.crs, ()
    return crs, (f"The file's CRS {band.crs.name} is overridden: taken as {crs.name}, as told.",)
