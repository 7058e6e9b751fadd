"""The command ``hillsight``: finds the scripts that are installed and runs the one asked for."""

from __future__ import annotations

import sys

import click

from hillsight import __version__
from hillsight.scripts.script_group import ScriptGroup


@click.group(cls=ScriptGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="hillsight")
def main() -> None:
    """Work out what can be seen from points in hill country.

    Each script reads a terrain model and places to look from, and writes layers that any desktop GIS
    opens. Run `hillsight SCRIPT --help` for its options.

    On the hill the ground decides: use results together with a map, local rules and qualified leaders.
    """


if __name__ == "__main__":
    sys.exit(main())
