"""hillsight landforms: tops, saddles, ridges, valleys, spurs, re-entrants and more, as features."""

from __future__ import annotations

from typing import Any

from hillsight.scripts import landform_options, options
from hillsight.scripts.running import script


@script(
    "landforms",
    title="Landforms read from a terrain model at several scales, as features with figures",
    outputs={
        "out": "application/geopackage+sqlite3; GeoPackage: one layer for each kind of landform",
        "pictures": "image/png; a map of the landforms at each scale",
    },
)
@options.terrain
@options.stations
@landform_options.around
@landform_options.landforms
@landform_options.map_names
@options.output()
@options.pictures("a map of the landforms at each scale")
@options.quiet
def command(quiet: bool, **given: Any) -> None:
    """Read the shape of the ground: what a hill navigator argues from.

    Tops with their prominence, saddles, ridges, valley lines, spurs, re-entrants, breaks of slope, level and
    steep ground, hollows. Terrain models are smoothed and wrong by metres in places: a landform smaller than
    a few of their posts may be missing, and a crag is gentler in them than on the hill.
    """
    from hillsight.jobs.landforms import landforms
    from hillsight.scripts.report import LandformReport

    with LandformReport(quiet=quiet) as report:
        result = landforms(**given, listener=report)
    report.tell(result)


if __name__ == "__main__":
    command()
