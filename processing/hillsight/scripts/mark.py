"""hillsight mark: a page to mark landmarks, skyline and near brow of a photograph on."""

from __future__ import annotations

from typing import Any

import click

from hillsight.scripts import options, picture_options
from hillsight.scripts.running import script


@script(
    "mark",
    title="A page on which landmarks, skyline and near brow of a photograph are marked",
    outputs={"out": "text/html; Page: the photograph, and all that is needed to mark it"},
)
@click.argument("photo", type=options.TEXT, metavar="PHOTO")
@options.map_features("Map features whose names the page offers for landmarks")
@options.feature_layer
@click.option(
    "--panorama",
    "panoramas",
    multiple=True,
    type=options.TEXT,
    metavar="PICTURE",
    help="Picture to show below the photograph, such as a candidate's panorama; may be repeated.",
)
@click.option(
    "--marks",
    type=options.TEXT,
    metavar="FILE.json",
    help="Marks of this photograph to begin with.",
)
@picture_options.most_megapixels
@click.option(
    "--page-megapixels",
    type=options.NUMBER,
    default=12.0,
    show_default=True,
    help="Shrink a larger photograph in the page, millions of pixels. Marks stay in the pixels of the file.",
)
@click.option("--out", type=options.PATH, required=True, metavar="PAGE.html", help="Page to write.")
@options.quiet
def command(quiet: bool, **given: Any) -> None:
    """Write a page on which PHOTO is marked: landmarks, the skyline, the edge of the near brow.

    Open the page in a browser, on a desk or a telephone; nothing in it is fetched or sent. It saves a file
    of marks, in pixels of the picture as shown. Where and when the photograph was taken stays out of both.
    """
    from hillsight.jobs.mark import mark
    from hillsight.scripts.report import Terminal

    with Terminal(quiet=quiet) as report:
        result = mark(**given, listener=report)
    offered = f"{result.names:,} names of the map are offered." if result.names else ""
    report.say([offered] if offered else [], result)


if __name__ == "__main__":
    command()
