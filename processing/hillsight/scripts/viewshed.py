"""hillsight viewshed: the state of every post as a raster, and the depth of dead ground."""

from __future__ import annotations

from typing import Any

from hillsight.scripts import options
from hillsight.scripts.running import script


@script(
    "viewshed",
    title="Viewshed and depth rasters from stations",
    outputs={
        "out": "application/geopackage+sqlite3; GeoPackage: stations and rasters",
        "rasters": "image/tiff; cloud-optimised GeoTIFFs: viewshed and depth of each station",
    },
)
@options.terrain
@options.stations
@options.viewing
@options.output()
@options.rasters
@options.quiet
def command(**given: Any) -> None:
    """Write which posts each station sees, and how deep the hidden ones lie.

    Two rasters a station: viewshed (0 beyond the reach, 1 hidden, 2 uncertain, 3 visible, 4 unknown) and
    depth, the metres a thing must stand tall to show.
    """
    from hillsight.scripts.job import run_job

    run_job("viewshed", given, layers=("stations",), rasters=True)


if __name__ == "__main__":
    command()
