"""The camera of an exercise's photograph, as its marks have it at the true place."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hillsight.jobs.resect import resect
from hillsight.plan.picture.marks import Marks

if TYPE_CHECKING:
    from collections.abc import Callable

    from hillsight.jobs.exercise.scene import ExerciseScene
    from hillsight.plan.picture.camera import Camera

#: Fewer landmarks fix no camera whose width is known but for some per cent.
_LEAST_MARKS = 3


def photograph_camera(made: ExerciseScene, tell: Callable[[str], None]) -> Camera | None:
    """The camera; None where there is no photograph with marks, or they do not fix it.

    Parameters
    ----------
    tell : hears why a marked photograph has none

    Raises
    ------
    HillsightError : marks or photograph cannot be read, do not belong together, or name what is on no map
    """
    exercise, request, inputs = made.exercise, made.request, made.scene.inputs
    picture = exercise.picture
    if picture.photo is None or picture.marks is None:
        return None
    marks = Marks.read(exercise.beside(picture.marks))
    if len(marks.landmarks) < _LEAST_MARKS:
        tell(f"{len(marks.landmarks)} marked landmarks fix no camera: the photograph shows these alone")
        return None
    station = inputs.stations[exercise.truth()]
    found = resect(
        request.terrain,
        marks=marks,
        photo=exercise.beside(picture.photo),
        width=picture.width_deg,
        terrain_crs=request.terrain_crs,
        band=request.band,
        vertical_unit=request.vertical_unit,
        nodata=request.nodata,
        grid_crs=request.grid_crs,
        at=((station.easting_m, station.northing_m, "the true place"),),
        at_crs=inputs.terrain.crs.to_wkt(),
        eye_height=picture.eye_height_m,
        refraction=request.refraction,
        features=request.features,
        feature_layer=request.feature_layer,
        terrain_product=request.terrain_product,
        terrain_error=request.terrain_error,
        error_correlation=request.error_correlation,
        between_posts=request.between_posts,
    ).cameras[0]
    if found.resection is None or found.state != "fits":
        tell("the marks do not fit the true place: the photograph shows marked landmarks alone")
        return None
    return found.resection.camera
