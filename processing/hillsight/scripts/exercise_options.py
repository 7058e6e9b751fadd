"""Options about exercises: the file, and the ground it is about."""

from __future__ import annotations

import click

from hillsight.scripts import cover_options, landform_options, options, trust_options
from hillsight.scripts.options import stack

#: The ground of an exercise; the exercise names what is not given.
ground = stack(
    click.argument("exercise", type=options.TEXT, metavar="EXERCISE"),
    click.option(
        "--terrain",
        type=options.TEXT,
        metavar="FILE",
        help="Terrain model, instead of the one that the exercise names.",
    ),
    options.terrain_file,
    cover_options.cover,
    options.reach,
    options.refraction,
    options.map_features("Map features, instead of those that the exercise names"),
    options.feature_layer,
    options.evidence,
    landform_options.in_view,
    trust_options.terrain_errors,
)

#: How thoroughly it is checked.
effort = stack(
    click.option(
        "--draws",
        type=click.IntRange(16, 1_024),
        default=128,
        show_default=True,
        help="In how many draws of terrain errors, spot and eye a fact is tried.",
    ),
    click.option(
        "--learners",
        type=click.IntRange(50, 20_000),
        default=500,
        show_default=True,
        help="How many learners are simulated.",
    ),
)
