"""hillsight doctor: what is installed, what would fail, and the cure."""

from __future__ import annotations

import json
import sys
from dataclasses import asdict

import click

from hillsight.scripts.running import UNDECIDED, script


@script(
    "doctor",
    title="Check of the installation",
    outputs={"stdout": "text/plain; Findings: one line each, or JSON with --json"},
)
@click.option("--json", "as_json", is_flag=True, help="Print the findings as JSON.")
def command(as_json: bool) -> None:
    """Say what is installed, which GDAL and PROJ data are used, what would fail, and the cure.

    Ends with exit code 3 if a check fails.
    """
    from hillsight.scripts.checkup import check_up

    findings = check_up(click.get_current_context().obj)
    if as_json:
        click.echo(json.dumps([asdict(finding) for finding in findings], indent=2))
    else:
        for finding in findings:
            click.echo(f"{'ok  ' if finding.good else 'FAIL'}  {finding.subject}: {finding.found}")
            if not finding.good and finding.cure:
                click.echo(f"      cure: {finding.cure}.")
        failed = sum(not finding.good for finding in findings)
        click.echo("All is well." if not failed else f"{failed} of {len(findings)} checks failed.")
    if not all(finding.good for finding in findings):
        sys.exit(UNDECIDED)


if __name__ == "__main__":
    command()
