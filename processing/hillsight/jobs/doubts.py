"""The error model of a request: how far terrain, places, eye and air may be wrong."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from hillsight.ground.accuracy import ErrorModel, word_between_posts
from hillsight.jobs.listener import ERRORS_NOTE
from hillsight.jobs.requests import Doubts, SightDoubts
from hillsight.reading.doubt.trust import Limits

if TYPE_CHECKING:
    from hillsight.jobs.requests import TerrainDoubts


#: What is said of the ground between posts.
_BETWEEN = {
    "unknown": "roughness between posts estimated from the ground",
    "points": "roughness between posts, which are heights of points, estimated from the ground",
    "means": "roughness between posts, which are means of the ground about them, estimated from the ground",
    "straight": "ground taken as straight between posts",
}

_COVERED = (
    "Trees, walls and buildings count as the cover given tells them; they grow, are felled and are built"
)


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
    if model.is_guess and not (rmse_m is None and length_m is None):
        # Errors that somebody tells of may change from post to post.
        guess = f"guessed from posts {spacing_m:g} m apart"
        model = ErrorModel(max(0.1 * spacing_m, 0.15), max(3.0 * spacing_m, 10.0), source=guess)
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
    model = replace(model, between_posts=word_between_posts(request.between_posts))
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


def error_note(model: ErrorModel, *, covered: bool = False) -> str:
    """What is reported of the error model, always.

    covered : whether cover is given, what stands on the ground
    """
    figures = (
        ""
        if model.is_guess
        else (f" (RMSE {model.terrain_rmse_m:.3g} m, alike over {model.correlation_length_m:,.6g} m)")
    )
    return f"{ERRORS_NOTE}{model.source}{figures}; {_BETWEEN[model.between_posts]}. " + (
        _COVERED if covered else "Trees, walls and buildings that it leaves out are not modelled"
    )
