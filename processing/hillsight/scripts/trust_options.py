"""Options of the error model: how far terrain, places, eye and air may be wrong."""

from __future__ import annotations

import click

from hillsight.scripts.options import NUMBER, TEXT, stack

terrain_errors = stack(
    click.option(
        "--terrain-product",
        type=TEXT,
        metavar="NAME",
        help="Kind of terrain model, for its documented errors (docs/trust.md lists them).",
    ),
    click.option(
        "--terrain-error",
        type=NUMBER,
        metavar="METRES",
        help="RMSE of the terrain's heights, m. Default: the product's, or guessed from the post spacing.",
    ),
    click.option(
        "--error-correlation",
        type=NUMBER,
        metavar="METRES",
        help="Correlation length of terrain errors, m. Default: the product's, or guessed from the spacing.",
    ),
    click.option(
        "--between-posts",
        type=TEXT,
        metavar="WORD",
        default="unknown",
        show_default=True,
        help="What the posts are, and so how rough the ground is between them: points, means (of the ground "
        "about each), unknown (either) or straight (nothing lies between).",
    ),
)

station_error = click.option(
    "--station-error",
    type=NUMBER,
    default=5.0,
    show_default=True,
    help="Error of a station's easting and of its northing, m (one standard deviation).",
)
feature_error = click.option(
    "--feature-error",
    type=NUMBER,
    default=10.0,
    show_default=True,
    help="Error of a map feature's easting and of its northing, m (one standard deviation).",
)
sight_errors = stack(
    click.option(
        "--eye-height-error",
        type=NUMBER,
        default=0.1,
        show_default=True,
        help="Error of the eye's height above the ground, m (one standard deviation).",
    ),
    click.option(
        "--refraction-error",
        type=NUMBER,
        default=0.05,
        show_default=True,
        help="Error of --refraction (one standard deviation).",
    ),
    click.option(
        "--uncertain-between",
        type=NUMBER,
        nargs=2,
        default=(0.1, 0.9),
        show_default=True,
        metavar="LOW HIGH",
        help="Probabilities of being seen between which the answer is: uncertain.",
    ),
)

#: Of ground that may be seen, and with map features.
ground_trust = stack(terrain_errors, station_error, sight_errors)
trust = stack(terrain_errors, station_error, feature_error, sight_errors)
