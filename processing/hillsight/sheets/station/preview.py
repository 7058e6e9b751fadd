"""Pictures of what hillsight wrote: the ground of a station, its bearing list, its rasters."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from hillsight.errors import OutputError
from hillsight.layers.contents import read_content, station_labels
from hillsight.layers.package import raster_table
from hillsight.sheets.station.bearing_strip import draw_bearings
from hillsight.sheets.station.ground_sheet import draw_ground
from hillsight.sheets.station.raster_sheet import draw_rasters

if TYPE_CHECKING:
    from collections.abc import Callable

    import geopandas

    from hillsight.ground.grid import Surface

_AREA_LAYERS = ("visible_ground", "dead_ground", "unknown_ground", "crest_lines")


def preview_ground(
    package_path: Path,
    station: str,
    surface: Surface,
    out: Path,
    *,
    features: geopandas.GeoDataFrame | None = None,
    title: str | None = None,
) -> Path:
    """Map of the ground about one station as PNG, A4 upright at 150 dots an inch.

    Parameters
    ----------
    package_path : GeoPackage that hillsight wrote; layers that it lacks are left out of the picture
    station : the station's label
    surface : the terrain, in metres; need not cover the reach
    out : file to make or replace
    features : map features to draw: name, kind, evidence_class, geometry; any CRS
    title : instead of the usual one

    Raises
    ------
    HillsightError : no such file or station, or the picture cannot be written
    """
    content = read_content(package_path, station, surface.grid.crs)
    return draw_ground(content, surface, features=features, title=title).save(out)


def preview_bearings(package_path: Path, station: str, out: Path) -> Path:
    """The bearing list and the skyline of one station from left to right as PNG, A4 lengthwise.

    Raises
    ------
    HillsightError : no such file or station, or the picture cannot be written
    """
    return draw_bearings(read_content(package_path, station)).save(out)


def preview_rasters(package_path: Path, station: str, surface: Surface, out: Path) -> Path:
    """States and depths of the ground about one station side by side as PNG, A4 lengthwise.

    Raises
    ------
    HillsightError : no such file or station, or the picture cannot be written
    """
    return draw_rasters(read_content(package_path, station, surface.grid.crs), surface).save(out)


def preview_all(
    package_path: Path,
    surface: Surface | Callable[[str], Surface],
    folder: Path,
    *,
    features: geopandas.GeoDataFrame | None = None,
) -> list[Path]:
    """Every picture that each station's layers allow, in a folder that is made if need be.

    Returns the files, named ``<station>_ground.png``, ``_rasters.png`` and ``_bearings.png``.

    Parameters
    ----------
    surface : the terrain, or a function that gives the terrain around a station by its label

    Raises
    ------
    HillsightError : no such file, or a picture cannot be written
    """
    folder = Path(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"the folder cannot be made ({error.strerror})", where=str(folder)) from error
    written = []
    taken: set[str] = set()
    for label in station_labels(package_path):
        start = raster_table("station", label, taken).removeprefix("station_")
        around = surface(label) if callable(surface) else surface
        content = read_content(package_path, label, around.grid.crs)
        if content.rasters or any(layer in content.frames for layer in _AREA_LAYERS):
            page = draw_ground(content, around, features=features)
            written.append(page.save(folder / f"{start}_ground.png"))
        if content.rasters:
            written.append(draw_rasters(content, around).save(folder / f"{start}_rasters.png"))
        if "bearing_list" in content.frames or "skyline_bearings" in content.frames:
            page = draw_bearings(read_content(package_path, label))
            written.append(page.save(folder / f"{start}_bearings.png"))
    return written
