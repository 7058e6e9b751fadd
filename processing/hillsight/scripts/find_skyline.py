"""hillsight find-skyline: the sky's edge in a photograph, where it is sure, as marks."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from hillsight.scripts import options, picture_options
from hillsight.scripts.running import UNDECIDED, script


@script(
    "find-skyline",
    title="The sky's edge in a photograph, where it is sure, as marks",
    outputs={"out": "application/json; Marks: the sky's edge, as mark, resect and relocate read it"},
)
@click.argument("photo", type=options.TEXT, metavar="PHOTO")
@click.option("--out", type=options.PATH, metavar="MARKS.json", help="File of marks to write.")
@picture_options.most_megapixels
@options.quiet
def command(quiet: bool, photo: str, most_megapixels: float, out: Path | None) -> None:
    """Find where ground meets sky in PHOTO, and write it as marks.

    It leaves out what it is not sure of: trees and people before the skyline, cloud on the tops, snow under a
    white sky. Where it finds no skyline it says why, writes nothing and ends with exit code 3. Look at the
    line
    before you rely on it.
    """
    from hillsight.jobs.find_skyline import find_skyline
    from hillsight.scripts.report import Terminal
    from hillsight.scripts.skyline_lines import found_lines

    with Terminal(quiet=quiet) as terminal:
        result = find_skyline(photo, most_megapixels=most_megapixels, out=out, listener=terminal)
    terminal.say(found_lines(result), result)
    if result.skyline.failed:
        sys.exit(UNDECIDED)


if __name__ == "__main__":
    command()
