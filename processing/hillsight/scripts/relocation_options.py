"""Options of relocation: the sighting, how it is weighed, and what is written of the verdict."""

from __future__ import annotations

import click

from hillsight.scripts import cover_options, landform_options, options, picture_options
from hillsight.scripts.options import NUMBER, PATH, TEXT, stack

places_and_things = stack(
    options.terrain,
    cover_options.cover,
    options.stations,
    options.eye_height,
    options.reach,
    options.refraction,
    options.map_features("Map features that may be seen or named"),
    options.feature_layer,
    options.evidence,
    landform_options.in_view,
)

view = stack(
    click.option(
        "--looks",
        type=TEXT,
        metavar="DIRECTION",
        help="Which way the view looks: a point of the compass or true degrees. Without it: all round.",
    ),
    click.option(
        "--width", type=NUMBER, default=60.0, show_default=True, help="How wide the view is, degrees."
    ),
)

photograph = stack(
    click.option(
        "--marks", type=TEXT, metavar="FILE.json", help="What was marked and traced on the photograph."
    ),
    click.option("--photo", type=TEXT, metavar="PICTURE", help="The photograph that the marks were made on."),
    click.option(
        "--width",
        type=NUMBER,
        metavar="DEGREES",
        help="Angle between the photograph's sides, where its file does not tell it.",
    ),
    picture_options.most_megapixels,
)

weighing = stack(
    click.option(
        "--prior",
        "priors",
        type=NUMBER,
        multiple=True,
        metavar="NUMBER",
        help="How likely each candidate is before anything is said, in their order; equal if not given.",
    ),
    click.option(
        "--none-prior",
        type=NUMBER,
        default=0.2,
        show_default=True,
        help="Probability, before anything is said, that the picture is from none of them.",
    ),
    click.option(
        "--decide-from",
        type=NUMBER,
        default=0.95,
        show_default=True,
        help="Probability from which a candidate is decided for.",
    ),
    click.option(
        "--elsewhere",
        type=click.IntRange(0, 5_000),
        default=360,
        show_default=True,
        help="Number of nearby places sampled to represent none of these.",
    ),
    click.option(
        "--elsewhere-within",
        type=NUMBER,
        default=2_000.0,
        show_default=True,
        help="How far about the candidates those places are drawn, m on the grid.",
    ),
    click.option(
        "--observer",
        type=TEXT,
        metavar="FILE",
        help="How people misjudge (TOML), instead of the built-in figures (docs/verdict.md lists them).",
    ),
)

everywhere = stack(
    click.option(
        "--everywhere",
        type=NUMBER,
        metavar="METRES",
        help="Also weigh a lattice of places with this spacing, and write a raster of probability.",
    ),
    click.option(
        "--everywhere-within",
        type=NUMBER,
        default=1_000.0,
        show_default=True,
        help="How far about the candidates that raster goes, m on the grid.",
    ),
)

written = stack(
    click.option("--report", type=PATH, metavar="FILE", help="Write the verdict as .html or .md too."),
    click.option("--json", "json_file", type=PATH, metavar="FILE", help="Write the verdict as JSON too."),
    options.pictures("a map of each candidate"),
)
