"""hillsight exercise check: has an exercise exactly one defensible answer?"""

from __future__ import annotations

import sys
from typing import Any

import click

from hillsight.scripts import exercise_options, options
from hillsight.scripts.running import UNDECIDED, script


def _print(what: str) -> Any:
    def show(ctx: click.Context, _: click.Parameter, wanted: bool) -> None:
        if wanted and not ctx.resilient_parsing:
            if what == "template":
                from hillsight.plan.exercise.writing import template

                click.echo(template(), nl=False)
            else:
                import json

                from hillsight.plan.exercise.json_schema import json_schema

                click.echo(json.dumps(json_schema(), indent=2))
            ctx.exit()

    return show


@script(
    "exercise-check",
    title="Whether an exercise has exactly one defensible answer, and what decides it",
    outputs={
        "stdout": "text/plain; The check in words",
        "report": "text/html; Report: the check in words, as HTML or Markdown",
        "json_file": "application/json; Check: the same for machines",
    },
)
@click.option(
    "--template",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_print("template"),
    help="Print an exercise file to fill in, and stop.",
)
@click.option(
    "--schema",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_print("schema"),
    help="Print the JSON schema of exercise files, for editors, and stop.",
)
@exercise_options.ground
@exercise_options.effort
@click.option("--report", type=options.PATH, metavar="FILE", help="Write the check as .html or .md too.")
@click.option("--json", "json_file", type=options.PATH, metavar="FILE", help="Write the check as JSON too.")
@options.quiet
def command(quiet: bool, **given: Any) -> None:
    """Check that EXERCISE.toml has exactly one defensible answer.

    Against each wrong place two facts of the ground, of different matters, must tell the true one apart in
    nine draws of ten: the terrain model errs, and the picture was taken some metres beside its spot. Water
    and man-made features only second them. Says what decides, what could mislead, how far off the
    photographer may stand, and how many of 500 simulated learners are right.

    Ends with exit code 3 if the exercise is not sound, and says why.
    """
    from hillsight.jobs.exercise.check import exercise_check
    from hillsight.scripts.report import Terminal
    from hillsight.sheets.exercise.soundness_text import lines

    with Terminal(quiet=quiet) as report:
        result = exercise_check(**given, listener=report)
    report.say(lines(result.judged.exercise, result.judged.soundness), result)
    if not result.is_sound:
        sys.exit(UNDECIDED)


if __name__ == "__main__":
    command()
