"""hillsight dead-ground: pockets that cannot be seen, and the crest lines that hide them."""

from __future__ import annotations

from typing import Any

from hillsight.scripts import cover_options, options
from hillsight.scripts.running import script


@script(
    "dead-ground",
    title="Pockets of dead ground and the crest lines that hide them",
    outputs={"out": "application/geopackage+sqlite3; GeoPackage: pockets, crest lines and visible ground"},
    by_station="hillsight.jobs.dead_ground:dead_ground",
)
@options.terrain
@cover_options.cover
@options.stations
@options.viewing
@options.pockets
@options.output()
@options.quiet
def command(quiet: bool, **given: Any) -> None:
    """Write the ground that each station cannot see, pocket by pocket, with what hides it.

    A pocket's depth is how tall a thing must stand in it to show. Before relying on a view for anybody's
    safety, check it on the ground.
    """
    from hillsight.jobs.dead_ground import dead_ground
    from hillsight.scripts.report import StationReport

    with StationReport(quiet=quiet) as report:
        result = dead_ground(**given, listener=report)
    report.tell(result)


if __name__ == "__main__":
    command()
