"""hillsight viewshed: the state of every post as a raster, and the depth of dead ground."""

from __future__ import annotations

from typing import Any

import click

from hillsight.scripts import cover_options, options, trust_options
from hillsight.scripts.running import script


@script(
    "viewshed",
    title="Viewshed and depth rasters from stations",
    outputs={
        "out": "application/geopackage+sqlite3; GeoPackage: stations and rasters",
        "rasters": "image/tiff; cloud-optimised GeoTIFFs: the same rasters",
    },
    by_station="hillsight.jobs.viewshed:viewshed",
)
@options.terrain
@cover_options.cover
@options.stations
@options.field_of_view
@click.option(
    "--only-states",
    is_flag=True,
    help="No depths: several times quicker, and for terrain of any size.",
)
@click.option(
    "--count",
    is_flag=True,
    help="One raster of how many stations see each post, instead of one raster per station.",
)
@click.option(
    "--probability",
    is_flag=True,
    help="Also write a raster of how likely each post is seen by the error model, and mark uncertain posts.",
)
@trust_options.ground_trust
@options.output()
@options.rasters
@options.quiet
def command(quiet: bool, **given: Any) -> None:
    """Write which posts each station sees, and how deep the hidden ones lie.

    Two rasters a station: viewshed (0 beyond the reach, 1 hidden, 2 uncertain, 3 visible, 4 unknown) and
    depth, the metres a thing must stand tall to show; of several target heights, a viewshed for each and the
    depth for the first. With --probability one more: how likely each post is seen if the terrain model errs
    as it is known to. Trees, walls and buildings that it leaves out are not modelled.
    """
    from hillsight.jobs.viewshed import viewshed
    from hillsight.scripts.report import StationReport
    from hillsight.scripts.summary_lines import field_words

    with StationReport(quiet=quiet, field=field_words(**given)) as report:
        result = viewshed(**given, listener=report)
    report.tell(result)


if __name__ == "__main__":
    command()
