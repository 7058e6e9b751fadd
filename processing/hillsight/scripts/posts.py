"""hillsight posts: where marshals stand along a course, and what of it nobody sees."""

from __future__ import annotations

import sys
from typing import Any

import click

from hillsight.scripts import cover_options, options, trust_options
from hillsight.scripts.running import UNDECIDED, script


def _print(what: str) -> Any:
    def show(ctx: click.Context, _: click.Parameter, wanted: bool) -> None:
        if wanted and not ctx.resilient_parsing:
            if what == "template":
                from hillsight.plan.posts.writing import template

                click.echo(template(), nl=False)
            else:
                import json

                from hillsight.plan.posts.json_schema import json_schema

                click.echo(json.dumps(json_schema(), indent=2))
            ctx.exit()

    return show


@script(
    "posts",
    title="Where marshals stand along a course, and what of it nobody sees",
    outputs={
        "out": "application/geopackage+sqlite3; GeoPackage: unseen stretches, gaps, posts, sight and radio",
        "gpx": "application/gpx+xml; GPX: posts and unseen stretches",
        "sheets": "application/pdf; folder: a sheet of each post, and all of them",
        "map_file": "application/pdf; map of all posts, or image/svg+xml, image/png",
    },
)
@click.argument("plan", type=options.TEXT, metavar="PLAN")
@click.option(
    "--template",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_print("template"),
    help="Print a plan to fill in, and stop.",
)
@click.option(
    "--schema",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_print("schema"),
    help="Print the JSON schema of plans, for editors, and stop.",
)
@click.option(
    "--terrain",
    type=options.TEXT,
    metavar="FILE",
    help="Terrain model, instead of the one that the plan names.",
)
@options.terrain_file
@cover_options.cover
@options.map_features("Map features, instead of those that the plan names")
@options.feature_layer
@options.evidence
@options.refraction
@trust_options.terrain_errors
@click.option(
    "--draws",
    type=click.IntRange(16, 1_024),
    default=128,
    show_default=True,
    help="Draws of the terrain's errors, for the chances of being seen.",
)
@options.output(required=False)
@click.option("--gpx", type=options.PATH, metavar="FILE", help="Write posts and unseen stretches as GPX too.")
@click.option("--sheets", type=options.PATH, metavar="FOLDER", help="Draw a sheet for each post, as PDF.")
@click.option(
    "--map",
    "map_file",
    type=options.PATH,
    metavar="FILE",
    help="Draw the map of all posts: .pdf, .svg or .png.",
)
@options.quiet
def command(quiet: bool, **given: Any) -> None:
    """Choose where marshals stand along the course of PLAN.toml, and tell what of it nobody sees.

    The fewest posts for the cover wanted, or the most cover for so many. Unseen stretches come first,
    then gaps between posts, then the posts with their times and walks.

    A plan aid: look from each post before the event. The safety plan, local rules, land access and
    qualified leaders decide.

    Ends with exit code 3 if less is seen than is wanted, or a pair does not reach each other.
    """
    from hillsight.jobs.posts.run import posts
    from hillsight.scripts.report import Terminal

    with Terminal(quiet=quiet) as terminal:
        result = posts(**given, listener=terminal)
    terminal.say(result.lines, result)
    if result.is_short:
        sys.exit(UNDECIDED)


if __name__ == "__main__":
    command()
