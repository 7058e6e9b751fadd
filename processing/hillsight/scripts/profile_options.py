"""Options of a section of the ground: where it goes, and how it is drawn."""

from __future__ import annotations

import click

from hillsight.scripts import options
from hillsight.scripts.options import NUMBER, PATH, TEXT, stack

section = stack(
    click.option(
        "--to",
        multiple=True,
        type=TEXT,
        metavar='"E,N[,NAME]"',
        help="What to look at; may be repeated. In the CRS of --at.",
    ),
    click.option(
        "--to-feature",
        multiple=True,
        type=TEXT,
        metavar="NAME",
        help="A named feature of --features to look at; may be repeated.",
    ),
    click.option(
        "--bearing",
        multiple=True,
        type=NUMBER,
        metavar="DEGREES",
        help="True bearing to look along instead, 0 to 360; may be repeated.",
    ),
    click.option(
        "--reach",
        type=NUMBER,
        metavar="METRES",
        help="How far to look along --bearing, m on the grid. Without it: 10000.",
    ),
    options.eye_height,
    click.option(
        "--target-height",
        type=NUMBER,
        metavar="METRES",
        help="Target above the ground, m. Without it: 0, or what a feature says of itself.",
    ),
    options.refraction,
    options.map_features("Map features to tell of along the section"),
    options.feature_layer,
    options.evidence,
    click.option(
        "--beside",
        type=NUMBER,
        metavar="METRES",
        help="Tell of features that stand so near beside the section too, m. Without it: two posts.",
    ),
    click.option("--csv", type=PATH, metavar="FILE", help="Write every sample of the ground as CSV too."),
    click.option(
        "--drawing",
        type=PATH,
        metavar="FILE",
        help="Draw the section for a handout, A4 lengthwise: a name that ends in .svg, .png or .pdf.",
    ),
    options.pictures("each section"),
    click.option(
        "--exaggeration",
        type=NUMBER,
        metavar="NUMBER",
        help="Draw heights so many times as tall as distances wide. Without it: what fits, 10 at most.",
    ),
)
