"""Options of map sheets: what they are of, their paper and scale, what is drawn."""

from __future__ import annotations

import click

from hillsight.scripts import options
from hillsight.scripts.options import NUMBER, PATH, TEXT, Day, stack

content = stack(
    click.option(
        "--layers",
        multiple=True,
        type=TEXT,
        metavar="FILE.gpkg",
        help="Layers to draw: a GeoPackage that hillsight wrote, or any vector file; may be repeated.",
    ),
    click.option(
        "--station",
        type=TEXT,
        metavar="LABEL",
        help="Draw the rows of --layers that are of this station. Without it: those of all.",
    ),
    options.map_features("Map features to draw"),
    options.feature_layer,
    options.evidence,
    click.option(
        "--show",
        multiple=True,
        type=TEXT,
        metavar="NAME",
        help="Draw this alone: a layer, or hillshade, contours, grid, features, places, names; "
        "may be repeated.",
    ),
    click.option(
        "--hide",
        multiple=True,
        type=TEXT,
        metavar="NAME",
        help="Leave such a layer or part out; may be repeated.",
    ),
)

area = stack(
    click.option(
        "--extent",
        type=TEXT,
        metavar="W,S,E,N",
        help="Edges of the area. Without it: about the places, that of the layers, or the whole terrain.",
    ),
    click.option(
        "--extent-crs", type=TEXT, metavar="CRS", help="CRS of --extent. Without it: the terrain's."
    ),
)

paper = stack(
    click.option(
        "--scale",
        type=NUMBER,
        default=25_000.0,
        show_default=True,
        help="Denominator of the scale, 10000 to 50000.",
    ),
    click.option("--paper", default="A4", show_default=True, metavar="SIZE", help="Paper: A4 or A3."),
    click.option(
        "--orientation",
        type=TEXT,
        metavar="WAY",
        help="How the paper lies: portrait or landscape. Without it: as takes fewer sheets.",
    ),
    click.option("--one-sheet", is_flag=True, help="Refuse an area that does not fit one sheet."),
    click.option(
        "--overlap",
        type=NUMBER,
        default=20.0,
        show_default=True,
        help="Least overlap of neighbouring sheets, mm of paper.",
    ),
    click.option(
        "--contour-interval",
        type=NUMBER,
        metavar="METRES",
        help="Interval of the contours, m. Without it: by relief and scale.",
    ),
    click.option(
        "--inset",
        type=NUMBER,
        metavar="NUMBER",
        help="Draw the ground near the first place in an inset too, at 1 to this number.",
    ),
    click.option(
        "--date",
        type=Day(),
        metavar="YYYY-MM-DD",
        help="Day for magnetic north (or: today). Without it: the day of writing.",
    ),
    click.option("--title", type=TEXT, metavar="TEXT", help="Title above the map."),
    click.option(
        "--credit",
        multiple=True,
        type=TEXT,
        metavar="TEXT",
        help="Credit of the data, as its licence asks; may be repeated.",
    ),
)

out = click.option(
    "--out",
    type=PATH,
    required=True,
    metavar="FILE",
    help="Sheet to write: a name that ends in .pdf, .svg or .png. Of several sheets a PDF has one page each.",
)
