"""hillsight describe: the sighting that a careful observer would write of a view."""

from __future__ import annotations

from typing import Any

import click

from hillsight.scripts import options, relocation_options, trust_options
from hillsight.scripts.running import script


@script(
    "describe",
    title="The sighting that a careful observer would write of a view",
    outputs={"out": "application/toml; Sighting: what the view shows, as relocate reads it"},
)
@relocation_options.places_and_things
@relocation_options.view
@trust_options.terrain_errors
@click.option(
    "--statements",
    type=click.INT,
    metavar="NUMBER",
    default=10,
    show_default=True,
    help="How many to write at most, the most telling first.",
)
@click.option("--prose", is_flag=True, help="Print it as sentences instead.")
@click.option("--out", type=options.PATH, metavar="FILE.toml", help="Write it here instead of printing it.")
@options.quiet
def command(quiet: bool, prose: bool, **given: Any) -> None:
    """Write what would be said of the view from a station, looking one way: near ground, skyline, things.

    It is a sighting file as relocate reads it: to teach with, to start an exercise from, to try one out.
    What the terrain model leaves out (trees, walls that are not on the map, buildings) it does not know.
    """
    from hillsight.jobs.describe import describe
    from hillsight.scripts.report import Terminal
    from hillsight.scripts.running import show

    with Terminal(quiet=quiet) as report:
        result = describe(**given, listener=report)
    if prose:
        show(result.prose)
    elif not result.files:
        click.echo(result.text, nl=False)
    report.say((), result)


if __name__ == "__main__":
    command()
