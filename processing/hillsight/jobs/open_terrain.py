"""Opens a terrain for Python, on the metric grid that all jobs work on."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from hillsight.ground import terrain as ground
from hillsight.jobs.inputs import terrain_options
from hillsight.jobs.requests import TerrainInput

if TYPE_CHECKING:
    from hillsight.ground.terrain import Terrain


def open_terrain(
    terrain: str | Path,
    *,
    terrain_crs: str | None = None,
    band: int | None = None,
    vertical_unit: str | None = None,
    nodata: float | None = None,
    grid_crs: str | None = None,
) -> Terrain:
    """A terrain file on its working grid: metres, north up, heights in metres, voids NaN.

    ``window(easting_m, northing_m, reach_m)`` and ``whole()`` give its heights as an array with its grid. A
    terrain in degrees or feet is warped to a grid in metres at its middle; ``notes`` says so.

    Parameters
    ----------
    terrain : a raster file, anything GDAL opens
    terrain_crs, band, vertical_unit, nodata, grid_crs : as the jobs have them

    Raises
    ------
    TerrainError : it cannot be read, or does not say what is needed
    """
    request = TerrainInput.of(locals())
    source = ground.open_terrain(request.terrain, terrain_options(request))
    return source.on_metric_grid(*source.middle())
