"""Pictures of what hillsight found: the ground of a station, its bearing list, its rasters."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from hillsight.ground.transform import middle_of
from hillsight.layers.atomic import made_folder
from hillsight.layers.package import raster_table
from hillsight.sheets.paper.saving import AS_DRAWN, Printing, save_page
from hillsight.sheets.station.bearing_strip import draw_bearings
from hillsight.sheets.station.ground_sheet import draw_ground
from hillsight.sheets.station.raster_sheet import draw_rasters

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    import geopandas

    from hillsight.ground.grid import Surface
    from hillsight.layers.contents import Content
    from hillsight.sheets.paper.page import Page

_AREA_LAYERS = ("visible_ground", "dead_ground", "uncertain_ground", "unknown_ground", "crest_lines")


def preview_all(
    contents: Iterable[Content],
    surface: Surface | Callable[[str], Surface],
    folder: Path,
    *,
    features: geopandas.GeoDataFrame | None = None,
    printing: Printing = AS_DRAWN,
) -> list[Path]:
    """Every picture that each station's layers allow, in a folder that is made if need be.

    Returns the files, named ``<station>_ground.png``, ``_rasters.png`` and ``_bearings.png``.

    Parameters
    ----------
    contents : layers and rasters of each station, such as ``layers.contents.read_contents`` gives
    surface : the terrain, or a function that gives the terrain around a station by its label

    Raises
    ------
    HillsightError : a picture cannot be written
    """
    folder = made_folder(Path(folder))

    def saved(page: Page, stem: str) -> Path:
        return save_page(page, printing.named(folder, stem), printing=printing)

    written = []
    taken: set[str] = set()
    for given in contents:
        start = raster_table("station", given.label, taken).removeprefix("station_")
        around = surface(given.label) if callable(surface) else surface
        content = given.in_crs(around.grid.crs, middle_of(around.grid))
        if content.rasters or any(layer in content.frames for layer in _AREA_LAYERS):
            page = draw_ground(content, around, features=features)
            written.append(saved(page, f"{start}_ground"))
        if content.rasters:
            written.append(saved(draw_rasters(content, around), f"{start}_rasters"))
        if "bearing_list" in content.frames or "skyline_bearings" in content.frames:
            written.append(saved(draw_bearings(content), f"{start}_bearings"))
    return written
