"""Options of what stands on the ground: woods, buildings, walls, hedges."""

from __future__ import annotations

import click

from hillsight.scripts.options import TEXT, stack

cover = stack(
    click.option(
        "--surface",
        type=TEXT,
        metavar="FILE",
        help="Surface model beside the terrain: tree tops and roofs hide too. Any raster GDAL opens.",
    ),
    click.option(
        "--cover",
        multiple=True,
        type=TEXT,
        metavar="FILE",
        help="Woods, buildings, walls, hedges that hide: any vector file; may be repeated.",
    ),
    click.option(
        "--cover-layer",
        multiple=True,
        type=TEXT,
        metavar="NAME",
        help="Layer of --cover to take; may be repeated.",
    ),
    click.option(
        "--cover-heights",
        type=TEXT,
        metavar="FILE.toml",
        help="Table of heights by kind instead of the built-in one (docs/cover.md shows it).",
    ),
    click.option(
        "--leaf",
        type=click.Choice(["on", "off"]),
        default="on",
        show_default=True,
        help="Whether leafy woods are in leaf: how much sight they let through.",
    ),
)
