"""hillsight outlook: everything that is seen, hidden and listed from each station."""

from __future__ import annotations

from typing import Any

from hillsight.scripts import landform_options, options, trust_options
from hillsight.scripts.running import script

LAYERS = (
    "stations",
    "visible_ground",
    "dead_ground",
    "dead_ground_by_crest",
    "unknown_ground",
    "crest_lines",
    "skyline",
    "skyline_bearings",
    "bearing_list",
    "first_ground",
    "seen_lines",
    "seen_areas",
    "relations",
)


@script(
    "outlook",
    title="Visible ground, dead ground, crest lines, skyline and bearing list from stations",
    outputs={
        "out": "application/geopackage+sqlite3; GeoPackage: all layers, rasters, styles and provenance",
        "rasters": "image/tiff; cloud-optimised GeoTIFFs: viewshed and depth of each station",
        "pictures": "image/png; Pictures: ground, rasters and bearing list of each station",
        "csv": "text/csv; Bearing list: the same rows as the layer",
    },
)
@options.terrain
@options.stations
@options.viewing
@options.features()
@options.pockets
@options.first_ground
@landform_options.in_view
@trust_options.trust
@options.output()
@options.rasters
@options.pictures
@options.quiet
def command(**given: Any) -> None:
    """Write all that each station sees: ground, dead ground, crests, skyline and features by bearing.

    Dead ground comes in pockets, each with the crest line that hides it. Map features are listed from left
    to right with bearing, distance, height from the eye and how much of each is seen.

    Terrain models leave out trees, walls and buildings and are wrong by metres in places: treat every edge
    as approximate and check on the ground where safety depends on it.
    """
    from hillsight.scripts.job import run_job

    run_job("outlook", given, layers=LAYERS, rasters=True)


if __name__ == "__main__":
    command()
