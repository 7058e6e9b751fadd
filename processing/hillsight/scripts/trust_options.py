"""Options of the error model: how far terrain, places, eye and air may be wrong."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from hillsight.scripts.options import NUMBER, TEXT, stack

if TYPE_CHECKING:
    from collections.abc import Mapping

    from hillsight.ground.accuracy import ErrorModel
    from hillsight.reading.doubt.trust import Limits

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
        help="RMSE of the terrain's heights, m. Default: the product's, or a tenth of the post spacing.",
    ),
    click.option(
        "--error-correlation",
        type=NUMBER,
        metavar="METRES",
        help="Correlation length of terrain errors, m. Default: the product's, or three post spacings.",
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


def error_model(given: Mapping[str, Any], spacing_m: float) -> ErrorModel:
    """The error model of a call; what it does not say is guessed from the terrain's post spacing.

    Raises
    ------
    CallError : an unknown product, or a figure that is negative or absurd
    """
    from dataclasses import replace

    from hillsight.ground.accuracy import ErrorModel

    if given["terrain_product"] is not None:
        model = ErrorModel.of_product(given["terrain_product"])
    else:
        model = ErrorModel.guessed_from_spacing(spacing_m)
    told = {
        "terrain_rmse_m": given["terrain_error"],
        "correlation_length_m": given["error_correlation"],
    }
    told = {name: value for name, value in told.items() if value is not None}
    if told:
        words = [f"RMSE {told['terrain_rmse_m']:g} m"] if "terrain_rmse_m" in told else []
        words += [f"alike over {told['correlation_length_m']:g} m"] if "correlation_length_m" in told else []
        rest = "" if len(told) == 2 else f"; the rest {model.source}"
        model = replace(model, **told, source=f"as told: {', '.join(words)}{rest}", is_guess=False)
    return replace(
        model,
        **{
            figure: given[option]
            for figure, option in (
                ("station_position_m", "station_error"),
                ("feature_position_m", "feature_error"),
                ("eye_height_m", "eye_height_error"),
                ("refraction", "refraction_error"),
            )
            if option in given
        },
    )


def uncertain_limits(given: Mapping[str, Any]) -> Limits:
    """Between which probabilities an answer is uncertain.

    Raises
    ------
    CallError : no two probabilities in order
    """
    from hillsight.reading.doubt.trust import Limits

    return Limits(*given["uncertain_between"])


def error_note(model: ErrorModel) -> str:
    """What is reported of the error model, always."""
    figures = (
        ""
        if model.is_guess
        else (f" (RMSE {model.terrain_rmse_m:.3g} m, alike over {model.correlation_length_m:.3g} m)")
    )
    return (
        f"errors of the terrain model: {model.source}{figures}. Trees, walls and buildings that it leaves "
        "out are not modelled"
    )
