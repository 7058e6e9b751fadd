"""Options of photographs: the marks, the file, and what is told of the lens."""

from __future__ import annotations

import click

from hillsight.scripts.options import NUMBER, TEXT, stack

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
        help="The picture was cut from a larger one: solve for where its axis lies. Found out by itself "
        "where the file tells.",
    ),
)
