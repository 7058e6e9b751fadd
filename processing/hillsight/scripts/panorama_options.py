"""Options of a drawn view: which way it looks, on what sort of picture, and how it is drawn."""

from __future__ import annotations

import click

from hillsight.scripts import options
from hillsight.scripts.options import NUMBER, PATH, TEXT, Day, stack

drawn = stack(
    options.eye_height,
    click.option(
        "--reach",
        type=NUMBER,
        metavar="METRES",
        help="How far to look, m on the grid. Without it: as far as the terrain goes, 80000 at most.",
    ),
    options.refraction,
    options.map_features("Map features to draw"),
    options.feature_layer,
    options.evidence,
    click.option(
        "--date",
        type=Day(),
        metavar="YYYY-MM-DD",
        help="Day for magnetic bearings (or: today). Without it none are given.",
    ),
    click.option(
        "--north",
        type=click.Choice(["true", "grid", "magnetic"]),
        default="true",
        show_default=True,
        help="What the scale of bearings counts from; magnetic needs --date.",
    ),
    click.option(
        "--looks",
        type=TEXT,
        metavar="DIRECTION",
        help="Middle of the view: a point of the compass or degrees from true north. Without it: all round.",
    ),
    click.option(
        "--width",
        type=NUMBER,
        default=60.0,
        show_default=True,
        help="How wide a view is that looks one way, degrees.",
    ),
    click.option(
        "--from-bearing",
        type=NUMBER,
        metavar="DEGREES",
        help="True bearing of the left edge, instead of --looks.",
    ),
    click.option("--to-bearing", type=NUMBER, metavar="DEGREES", help="True bearing of the right edge."),
    click.option(
        "--size",
        type=TEXT,
        metavar="WIDTHxHEIGHT",
        help="Draw what a camera sees whose pictures have so many pixels, e.g. 4000x3000.",
    ),
    click.option("--tilt", type=NUMBER, default=0.0, show_default=True, help="Of the camera, degrees up."),
    click.option(
        "--roll",
        type=NUMBER,
        default=0.0,
        show_default=True,
        help="Of the camera, degrees clockwise as seen from behind.",
    ),
    click.option(
        "--camera",
        type=TEXT,
        metavar="FILE.gpkg",
        help="Draw what each station's camera sees, by the file that resect wrote, instead of --looks.",
    ),
    click.option(
        "--style",
        type=click.Choice(["lines", "relief"]),
        default="lines",
        show_default=True,
        help="Lines alone, or over shaded ground.",
    ),
    click.option(
        "--light",
        type=NUMBER,
        metavar="DEGREES",
        help="True bearing that the light of a relief comes from. Without it: over the left shoulder.",
    ),
    click.option(
        "--exaggeration",
        type=NUMBER,
        metavar="NUMBER",
        help="Draw vertical angles so many times as large as bearings. Without it: what fits, 3 at most.",
    ),
    click.option(
        "--paper",
        type=click.Choice(["A4", "A3"]),
        help="Size of the page. Without it: A3 for more than half of the round.",
    ),
    click.option("--bare", is_flag=True, help="The view alone: no margins, scales, numbers or key."),
    click.option("--beside", is_flag=True, help="All stations on one page, and in what they differ."),
    click.option(
        "--drawing",
        type=PATH,
        metavar="FILE",
        help="Draw the view: a name that ends in .svg, .png or .pdf.",
    ),
    options.pictures("each station's view"),
)
