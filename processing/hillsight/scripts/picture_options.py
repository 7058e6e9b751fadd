"""Options of photographs: the marks, the file, and what is told of the lens."""

from __future__ import annotations

import click

from hillsight.scripts.options import NUMBER, PATH, TEXT, stack

most_megapixels = click.option(
    "--most-megapixels",
    type=NUMBER,
    default=100.0,
    show_default=True,
    help="Refuse larger pictures, millions of pixels.",
)

marked_picture = stack(
    click.option(
        "--marks", required=True, type=TEXT, metavar="FILE.json", help="What is marked on the photograph."
    ),
    click.option(
        "--photo",
        type=TEXT,
        metavar="FILE",
        help="The photograph itself: checked against the marks, and its focal length taken where the file "
        "tells it. Without it the marks alone are used.",
    ),
    click.option(
        "--width",
        type=NUMBER,
        metavar="DEGREES",
        help="Angle between the picture's left and right sides, if known to a twentieth of it.",
    ),
    click.option(
        "--cropped",
        is_flag=True,
        help="The picture was cut from a larger one, so that its axis need not lie in its middle. Found out "
        "by itself where the file tells.",
    ),
    most_megapixels,
)

picks_and_overlays = stack(
    click.option(
        "--pick",
        multiple=True,
        type=TEXT,
        metavar="X,Y",
        help="A pixel whose ground is asked for; may be repeated. From the picture's upper left corner.",
    ),
    click.option(
        "--pick-line",
        multiple=True,
        type=TEXT,
        metavar="LINE",
        help='A line whose ground is asked for: skyline or brow as traced in the marks, or pixels "X,Y X,Y '
        '..."; may be repeated.',
    ),
    click.option(
        "--camera-of",
        type=TEXT,
        metavar="STATION",
        help="Station to pick and to draw from. Without it: the one that the marks fit best.",
    ),
    click.option(
        "--overlay",
        type=PATH,
        metavar="FILE",
        help="Draw the photograph with the terrain laid over it: a name that ends in .png, .svg or .pdf.",
    ),
    click.option(
        "--pictures", type=PATH, metavar="FOLDER", help="Draw such an overlay of each station into a folder."
    ),
)
