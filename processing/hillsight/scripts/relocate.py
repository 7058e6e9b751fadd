"""hillsight relocate: from which of these places was the picture taken, and how do we know?"""

from __future__ import annotations

import sys
from typing import Any

import click

from hillsight.scripts import options, relocation_options, trust_options
from hillsight.scripts.running import UNDECIDED, script


def _print(what: str) -> Any:
    def show(ctx: click.Context, _: click.Parameter, wanted: bool) -> None:
        if wanted and not ctx.resilient_parsing:
            if what == "template":
                from hillsight.plan.sighting.template import template

                click.echo(template(), nl=False)
            else:
                import json

                from hillsight.plan.sighting.json_schema import json_schema

                click.echo(json.dumps(json_schema(), indent=2))
            ctx.exit()

    return show


@script(
    "relocate",
    title="Which of several places a picture was taken from, by what it shows",
    outputs={
        "out": "application/geopackage+sqlite3; GeoPackage: candidates, evidence, sight lines, views",
        "report": "text/html; Report: the verdict and its argument",
        "json_file": "application/json; Verdict: the same for machines",
        "pictures": "image/png; Maps: each candidate with what decides",
    },
)
@click.option(
    "--template",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_print("template"),
    help="Print a sighting file to fill in, and stop.",
)
@click.option(
    "--schema",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_print("schema"),
    help="Print the JSON schema of sighting files, for editors, and stop.",
)
@click.option("--sighting", type=options.TEXT, metavar="FILE.toml", help="What the picture shows.")
@relocation_options.photograph
@relocation_options.places_and_things
@relocation_options.weighing
@relocation_options.everywhere
@trust_options.terrain_errors
@options.output(required=False)
@relocation_options.written
@options.quiet
def command(quiet: bool, **given: Any) -> None:
    """Weigh candidate viewpoints against what an observer says a picture shows.

    Stations are the candidates. The sighting holds statements: how soon the ground falls away, what lies
    left of what, what stands against the sky. Ground shape comes first; walls and fences only second it.

    Ends with exit code 3 if the verdict is undecided, and tells what to look at next.
    """
    from hillsight.errors import CallError
    from hillsight.jobs.relocate import relocate
    from hillsight.scripts.report import Terminal
    from hillsight.sheets.verdict.verdict_text import summary_lines

    if given["everywhere"] is not None and given["out"] is None:
        raise CallError(
            "the raster of places needs a file to hold it",
            remedy="Name a GeoPackage to write",
            parameters=("out",),
        )
    with Terminal(quiet=quiet) as report:
        result = relocate(**given, listener=report)
    report.say(summary_lines(result.verdict), result)
    if result.is_undecided:
        sys.exit(UNDECIDED)


if __name__ == "__main__":
    command()
