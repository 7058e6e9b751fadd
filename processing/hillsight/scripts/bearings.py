"""hillsight bearings: map features from left to right, as a table, a layer or CSV."""

from __future__ import annotations

from typing import Any

from hillsight.scripts import cover_options, landform_options, options, trust_options
from hillsight.scripts.running import script


@script(
    "bearings",
    title="Map features in order of bearing, with what is seen of each",
    outputs={
        "out": "application/geopackage+sqlite3; GeoPackage: stations and bearing list",
        "csv": "text/csv; Bearing list: the same rows as the layer",
    },
    by_station="hillsight.jobs.bearings:bearings",
)
@options.terrain
@cover_options.cover
@options.stations
@options.viewing
@options.features()
@landform_options.in_view
@trust_options.trust
@options.output(required=False)
@options.quiet
def command(quiet: bool, show_hidden: bool, **given: Any) -> None:
    """List map features from left to right: bearing, distance, height from the eye, how much is seen.

    Prints a table; --out and --csv write it to files. Features are judged against bare ground: what trees
    and buildings hide is not known.
    """
    from hillsight.jobs.bearings import bearings
    from hillsight.scripts.report import StationReport, check_shown

    check_shown(show_hidden, **given)
    with StationReport(quiet=quiet, show_hidden=show_hidden) as report:
        result = bearings(**given, listener=report)
    report.tell(result)


if __name__ == "__main__":
    command()
