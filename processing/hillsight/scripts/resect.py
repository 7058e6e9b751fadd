"""hillsight resect: which way did the camera look, how was it held, and how wide is the picture?"""

from __future__ import annotations

import sys
from typing import Any

import click

from hillsight.scripts import cover_options, options, picture_options, trust_options
from hillsight.scripts.running import UNDECIDED, script


def _print_schema(ctx: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted and not ctx.resilient_parsing:
        import json

        from hillsight.plan.picture.marks_schema import marks_schema

        click.echo(json.dumps(marks_schema(), indent=2))
        ctx.exit()


@script(
    "resect",
    title="How a photograph's camera was turned, from landmarks marked on it",
    outputs={
        "out": "application/geopackage+sqlite3; GeoPackage: cameras, how they show the marks, picked ground",
        "overlay": "image/png; Overlay: the photograph with the terrain laid over it, as PNG, SVG or PDF",
        "pictures": "image/png; Overlays: one a station",
    },
)
@click.option(
    "--schema",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_print_schema,
    help="Print the JSON schema of files of marks, and stop.",
)
@options.terrain
@cover_options.cover
@options.stations
@picture_options.marked_picture
@click.option(
    "--solve-place",
    is_flag=True,
    help="Solve for where the camera stood too, starting from each station.",
)
@options.eye_height
@options.refraction
@options.map_features("Map features that the marks name")
@options.feature_layer
@options.date
@trust_options.trust
@picture_options.picks_and_overlays
@options.output(required=False)
@options.quiet
def command(quiet: bool, **given: Any) -> None:
    """Work out which way a photograph's camera looked, how it was held, and how wide the picture is.

    Each landmark marked on the photograph is a place on the map by name or coordinates. Every number comes
    with its plus-minus, by the errors of clicks, landmarks, terrain and place together. Of several stations
    it tells which one the marks fit.

    Ends with exit code 3 if the marks fit no station, or do not fix the camera.
    """
    from hillsight.jobs.resect import resect
    from hillsight.scripts.report import Terminal

    with Terminal(quiet=quiet) as terminal:
        result = resect(**given, listener=terminal)
    terminal.say(result.lines, result)
    if result.is_undecided:
        sys.exit(UNDECIDED)


if __name__ == "__main__":
    command()
