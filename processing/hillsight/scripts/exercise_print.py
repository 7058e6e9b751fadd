"""hillsight exercise print: question and answer sheets, and booklets of exercises."""

from __future__ import annotations

import sys
from typing import Any

import click

from hillsight.scripts import exercise_options, options
from hillsight.scripts.running import UNDECIDED, script


@script(
    "exercise-print",
    title="Question and answer of an exercise as sheets of paper; a folder of exercises as a booklet",
    outputs={"out": "application/pdf; Sheets: question and answer, or all pages in one file"},
)
@exercise_options.ground
@exercise_options.effort
@click.option(
    "--out",
    type=options.PATH,
    required=True,
    metavar="FOLDER|FILE.pdf",
    help="Folder for question and answer sheets, or one PDF for all pages, the answers at the back.",
)
@click.option(
    "--format",
    "sheet_format",
    type=click.Choice(["pdf", "svg", "png"]),
    default="pdf",
    show_default=True,
    help="What sheets in a folder are written as; SVG and PNG have a file for each page.",
)
@click.option(
    "--map-scale",
    type=options.NUMBER,
    metavar="NUMBER",
    help="Of the map extracts, from 10000 to 50000; 25000 is 1:25,000. Chosen by how far off landmarks "
    "are if not given.",
)
@click.option("--title", default="Exercises", show_default=True, help="Of a booklet.")
@click.option("--pages", is_flag=True, help="Write each exercise as an HTML page into the folder too.")
@click.option(
    "--unsound", is_flag=True, help="Print an exercise too that has more than one defensible answer."
)
@options.quiet
def command(quiet: bool, **given: Any) -> None:
    """Print EXERCISE.toml, or all exercises of a folder, on A4.

    The question sheet shows the picture and a map extract for each place, and nothing that gives the answer
    away. The answer sheet shows the views from all places, dead ground, brows and sight lines on the same
    extracts, and a guide to mark by.

    Ends with exit code 3 if an exercise is not sound. Nothing is printed then, unless --unsound asks for it.
    """
    from hillsight.jobs.exercise.print import exercise_print
    from hillsight.scripts.report import Terminal

    with Terminal(quiet=quiet) as report:
        result = exercise_print(**given, listener=report)
    report.say([], result)
    if not result.is_sound:
        sys.exit(UNDECIDED)


if __name__ == "__main__":
    command()
