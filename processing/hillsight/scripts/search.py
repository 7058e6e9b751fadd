"""hillsight search: where on this map could this photograph have been taken?"""

from __future__ import annotations

import sys
from typing import Any

import click

from hillsight.scripts import cover_options, options, picture_options, trust_options
from hillsight.scripts.options import NUMBER, TEXT
from hillsight.scripts.running import UNDECIDED, script


@script(
    "search",
    title="Where on a map a photograph may have been taken, by its skyline",
    outputs={
        "out": "application/geopackage+sqlite3; GeoPackage: possible places and a raster of probability",
        "rasters": "image/tiff; cloud-optimised GeoTIFF: the same raster",
    },
)
@options.terrain
@cover_options.cover
@picture_options.marked_picture
@click.option("--area", type=TEXT, metavar="FILE", help="Polygons to search. Without any: the whole terrain.")
@click.option("--area-layer", type=TEXT, metavar="NAME", help="Layer of --area to take.")
@click.option("--lines", type=TEXT, metavar="FILE", help="Search along lines, such as paths, instead.")
@click.option("--line-layer", type=TEXT, metavar="NAME", help="Layer of --lines to take.")
@options.stations
@click.option(
    "--within",
    type=NUMBER,
    default=2_000.0,
    show_default=True,
    help="How far about stations to search, m on the grid.",
)
@click.option(
    "--apart", type=NUMBER, default=50.0, show_default=True, help="Distance between places, m on the grid."
)
@click.option(
    "--decide-from",
    type=NUMBER,
    default=0.95,
    show_default=True,
    help="Probability within 500 m of the best place from which it is decided for.",
)
@options.eye_height
@options.refraction
@trust_options.terrain_errors
@options.output(required=False)
@options.rasters
@options.quiet
def command(quiet: bool, **given: Any) -> None:
    """Search a map for where a photograph may have been taken, by the skyline traced on it.

    Every place of the area, or along the lines, is held against the trace in every direction; the likeliest
    are looked at closely. The direction need not be known.

    This is no rescue tool: where somebody may be in danger, call the emergency services.

    Ends with exit code 3 if no place is decided for.
    """
    from hillsight.jobs.search import search
    from hillsight.scripts.report import Terminal

    with Terminal(quiet=quiet) as terminal:
        result = search(**given, listener=terminal)
    terminal.say(result.lines, result)
    if result.is_undecided:
        sys.exit(UNDECIDED)


if __name__ == "__main__":
    command()
