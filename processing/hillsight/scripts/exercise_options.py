"""Options about exercises: the file, and the ground it is about."""

from __future__ import annotations

import click

from hillsight.scripts import landform_options, options, trust_options
from hillsight.scripts.options import stack

#: The ground of an exercise; the exercise names what is not given.
ground = stack(
    click.argument("exercise", type=options.TEXT, metavar="EXERCISE.toml"),
    click.option(
        "--terrain",
        type=options.TEXT,
        metavar="FILE",
        help="Terrain model, instead of the one that the exercise names.",
    ),
    options.terrain_file,
    options.reach,
    options.refraction,
    options.map_features("Map features, instead of those that the exercise names"),
    options.feature_layer,
    options.evidence,
    landform_options.in_view,
    trust_options.terrain_errors,
)
