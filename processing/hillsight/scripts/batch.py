"""hillsight batch: thousands of stations over terrain larger than memory."""

from __future__ import annotations

import sys
from typing import Any

import click

from hillsight.scripts import options
from hillsight.scripts.running import UNDECIDED, script


def _print(what: str) -> Any:
    def show(ctx: click.Context, _: click.Parameter, wanted: bool) -> None:
        if wanted and not ctx.resilient_parsing:
            from hillsight.jobs.batch import job_file

            if what == "template":
                click.echo(job_file.template(), nl=False)
            else:
                import json

                click.echo(json.dumps(job_file.json_schema(), indent=2))
            ctx.exit()

    return show


@script(
    "batch",
    title="Many stations over terrain of any size: how many see each cell, who sees it, shares, sight",
    outputs={"out": "inode/directory; folder: GeoPackage index, cloud-optimised GeoTIFFs, tables, STAC"},
)
@click.argument("job", type=options.TEXT, metavar="JOB")
@click.option(
    "--template",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_print("template"),
    help="Print a job to fill in, and stop.",
)
@click.option(
    "--schema",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_print("schema"),
    help="Print the JSON schema of jobs, for editors, and stop.",
)
@click.option(
    "--out",
    required=True,
    type=options.PATH,
    metavar="FOLDER",
    help="Folder for the results.",
)
@click.option(
    "--workers",
    type=click.IntRange(1, 1024),
    metavar="N",
    help="Processes; the cores if not given.",
)
@click.option(
    "--scheduler",
    type=options.TEXT,
    metavar="ADDRESS",
    help="Scheduler of a dask.distributed cluster, as tcp://host:8786, instead of processes.",
)
@click.option("--afresh", is_flag=True, help="Throw away what an earlier run left in the folder.")
@options.quiet
def command(quiet: bool, **given: Any) -> None:
    """See from the many stations of JOB.toml, and put together what they see.

    Or do the work of another script, such as outlook, for all of them.

    A run that was stopped goes on where it was; what is there is verified first. The number of
    workers does not show in the results.

    Ends with exit code 3 if a station could not be used; all others are done.
    """
    from hillsight.jobs.batch.run import batch
    from hillsight.scripts.report import Terminal

    with Terminal(quiet=quiet) as terminal:
        result = batch(**given, listener=terminal)
    terminal.say(result.lines, result)
    if result.refused:
        sys.exit(UNDECIDED)


if __name__ == "__main__":
    command()
