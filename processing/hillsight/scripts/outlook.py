"""hillsight outlook: everything that is seen, hidden and listed from each station."""

from __future__ import annotations

from typing import Any

from hillsight.scripts import cover_options, landform_options, options, trust_options
from hillsight.scripts.running import script


@script(
    "outlook",
    title="Visible ground, dead ground, crest lines, skyline and bearing list from stations",
    outputs={
        "out": "application/geopackage+sqlite3; GeoPackage: all layers, rasters, styles and provenance",
        "rasters": "image/tiff; cloud-optimised GeoTIFFs: viewshed and depth of each station",
        "pictures": "image/png; Pictures: ground, rasters and bearing list of each station",
        "csv": "text/csv; Bearing list: the same rows as the layer",
    },
    by_station="hillsight.jobs.outlook:outlook",
)
@options.terrain
@cover_options.cover
@options.stations
@options.viewing
@options.features()
@options.pockets
@options.first_ground
@landform_options.in_view
@trust_options.trust
@options.output()
@options.rasters
@options.pictures("each station's ground, rasters and bearing list")
@options.quiet
def command(quiet: bool, show_hidden: bool, **given: Any) -> None:
    """Write all that each station sees: ground, dead ground, crests, skyline and features by bearing.

    Dead ground comes in pockets, each with the crest line that hides it. Map features are listed from left
    to right with bearing, distance, height from the eye and how much of each is seen.

    Terrain models leave out trees, walls and buildings and are wrong by metres in places: treat every edge
    as approximate and check on the ground where safety depends on it.
    """
    from hillsight.jobs.outlook import outlook
    from hillsight.scripts.report import StationReport, check_shown

    check_shown(show_hidden, **given)
    with StationReport(quiet=quiet, first_ground=True, show_hidden=show_hidden) as report:
        result = outlook(**given, listener=report)
    report.tell(result)


if __name__ == "__main__":
    command()
