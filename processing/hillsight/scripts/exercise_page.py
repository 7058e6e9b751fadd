"""hillsight exercise page: an exercise as one page that a club can put on its site."""

from __future__ import annotations

import sys
from typing import Any

import click

from hillsight.scripts import exercise_options, options
from hillsight.scripts.running import UNDECIDED, script


@script(
    "exercise-page",
    title="An exercise as one HTML page: question first, then the answer with linked map and view",
    outputs={"out": "text/html; Page: the question, and the answer packed"},
)
@exercise_options.ground
@exercise_options.effort
@click.option("--out", type=options.PATH, required=True, metavar="PAGE.html", help="Page to write.")
@options.quiet
def command(quiet: bool, **given: Any) -> None:
    """Write a page on which EXERCISE, a TOML file, is answered, and then explained.

    Whoever opens it sees picture, map and places, picks one and ticks reasons. Then come the answer, the dead
    ground, and what each reason is worth. All is in one file; nothing is fetched or sent.

    Ends with exit code 3 if the exercise is not sound; the page is written, and says so with the answer.
    """
    from hillsight.jobs.exercise.page import exercise_page
    from hillsight.scripts.report import Terminal

    with Terminal(quiet=quiet) as report:
        result = exercise_page(**given, listener=report)
    report.say([f"{len(result.html.encode()) / 1e6:.2f} MB"], result)
    if not result.is_sound:
        sys.exit(UNDECIDED)


if __name__ == "__main__":
    command()
