"""hillsight exercise find: places that look like a true one, or whole exercises on a piece of ground."""

from __future__ import annotations

from typing import Any

import click

from hillsight.scripts import cover_options, landform_options, options, trust_options
from hillsight.scripts.options import NUMBER, PATH, TEXT
from hillsight.scripts.running import script


@script(
    "exercise-find",
    title="Look-alikes for an exercise, or exercises proposed on a piece of ground",
    outputs={
        "out": "application/toml; A folder: exercise files, a GeoPackage of their places, a report",
        "stdout": "text/plain; What was tried, and what is sound",
    },
)
@options.terrain
@cover_options.cover
@click.option(
    "--true", type=TEXT, metavar='"E,N[,NAME]"', help="The place that the picture is from, as with --at."
)
@click.option("--exercise", type=TEXT, metavar="FILE.toml", help="An exercise file that tells it instead.")
@click.option(
    "--looks", type=TEXT, metavar="DIRECTION", help="Where the picture looks: compass point or true degrees."
)
@click.option("--width", type=NUMBER, default=60.0, show_default=True, help="How wide it is, degrees.")
@click.option(
    "--pool",
    type=TEXT,
    default="grid",
    show_default=True,
    metavar="WORD|FILE",
    help="Where wrong places are taken from: tops, paths (of --features), grid, or any vector file.",
)
@click.option("--pool-layer", type=TEXT, metavar="NAME", help="Layer of that file to take.")
@click.option(
    "--every", type=NUMBER, default=100.0, show_default=True, help="Between spots on lines or a grid, m."
)
@click.option(
    "--within",
    type=NUMBER,
    default=3_000.0,
    show_default=True,
    help="How far from the true place, or about --at, places may lie, m on the grid.",
)
@click.option(
    "--wrong", type=click.INT, default=3, show_default=True, help="How many wrong places an exercise has."
)
@click.option("--grade", type=TEXT, metavar="WORD", help="How hard: easy, moderate or hard. Default: any.")
@click.option(
    "--area", type=TEXT, metavar='"W,S,E,N"', help="Propose exercises in this part of the terrain's grid."
)
@options.stations
@click.option(
    "--theme",
    type=TEXT,
    multiple=True,
    metavar="NAME",
    help="What they are about; may be repeated. Default: any.",
)
@click.option("--count", type=click.INT, default=5, show_default=True, help="How many to propose.")
@click.option(
    "--seed",
    type=click.INT,
    default=1,
    show_default=True,
    help="The same gives the same, another gives others.",
)
@click.option(
    "--steepest",
    type=NUMBER,
    default=35.0,
    show_default=True,
    help="Ground steeper than this, degrees, is no place to stand.",
)
@options.eye_height
@options.reach
@options.refraction
@options.map_features("Map features: tops, streams, water, paths")
@options.feature_layer
@options.evidence
@landform_options.in_view
@trust_options.terrain_errors
@click.option("--out", type=PATH, metavar="FOLDER", help="Folder to write exercises, places and a report to.")
@options.quiet
def command(quiet: bool, **given: Any) -> None:
    """Find wrong places that look like a true one, or propose whole exercises on a piece of ground.

    Every exercise passes `hillsight exercise check`. A person must check that its places can be reached and
    that it is lawful to stand there.
    """
    from hillsight.jobs.exercise.find import exercise_find
    from hillsight.scripts.report import Terminal

    with Terminal(quiet=quiet) as report:
        result = exercise_find(**given, listener=report)
    report.say(result.lines, result)


if __name__ == "__main__":
    command()
