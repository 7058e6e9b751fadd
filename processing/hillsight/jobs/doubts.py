"""The error model of a request: how far terrain, places, eye and air may be wrong."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from hillsight.ground.accuracy import ErrorModel
from hillsight.jobs.requests import Doubts, SightDoubts
from hillsight.reading.doubt.trust import Limits

if TYPE_CHECKING:
    from hillsight.jobs.requests import TerrainDoubts


def error_model(request: TerrainDoubts, spacing_m: float) -> ErrorModel:
    """The error model of a request; what it does not say is guessed from the terrain's post spacing.

    Raises
    ------
    CallError : an unknown product, or a figure that is negative or absurd
    """
    if request.terrain_product is not None:
        model = ErrorModel.of_product(request.terrain_product)
    else:
        model = ErrorModel.guessed_from_spacing(spacing_m)
    rmse_m, length_m = request.terrain_error, request.error_correlation
    words = []
    if rmse_m is not None:
        words.append(f"RMSE {rmse_m:g} m")
    if length_m is not None:
        words.append(f"alike over {length_m:g} m")
    if words:
        rest = "" if len(words) == 2 else f"; the rest {model.source}"
        model = replace(
            model,
            terrain_rmse_m=model.terrain_rmse_m if rmse_m is None else rmse_m,
            correlation_length_m=model.correlation_length_m if length_m is None else length_m,
            source=f"as told: {', '.join(words)}{rest}",
            is_guess=False,
        )
    if isinstance(request, SightDoubts):
        model = replace(
            model,
            station_position_m=request.station_error,
            eye_height_m=request.eye_height_error,
            refraction=request.refraction_error,
        )
    if isinstance(request, Doubts):
        model = replace(model, feature_position_m=request.feature_error)
    return model


def uncertain_limits(request: SightDoubts) -> Limits:
    """Between which probabilities an answer is uncertain.

    Raises
    ------
    CallError : no two probabilities in order
    """
    return Limits(*request.uncertain_between)


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
