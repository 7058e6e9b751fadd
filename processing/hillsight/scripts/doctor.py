"""hillsight doctor: what is installed, what would fail, and the cure."""

from __future__ import annotations

import json
import sys
from dataclasses import asdict

import click

from hillsight.scripts.running import UNDECIDED, script, show


@script(
    "doctor",
    title="Check of the installation",
    outputs={"stdout": "text/plain; Findings: one line each, or JSON with --json"},
    reads_files=False,
)
@click.option("--json", "as_json", is_flag=True, help="Print the findings as JSON.")
@click.option("--mend", is_flag=True, help="Remove damaged files of compiled code; they are made anew.")
def command(as_json: bool, mend: bool) -> None:
    """Say what is installed, which GDAL and PROJ data are used, what would fail, and the cure.

    Ends with exit code 3 if a check fails.
    """
    from hillsight.jobs.doctor import doctor

    checkup = doctor(mend=mend)
    if as_json:
        click.echo(json.dumps([asdict(finding) for finding in checkup.findings], indent=2))
    else:
        for line in checkup.lines:
            show(line)
    if not checkup.is_well:
        sys.exit(UNDECIDED)


if __name__ == "__main__":
    command()
