"""A camera solved from marks: where it stood, and as it may have been instead, its errors drawn together."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hillsight.plan.picture.picking import Drawn, Stand, drawn_cameras
from hillsight.plan.picture.resection_model import AIR, EYE

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.ground.grid import Surface
    from hillsight.plan.picture.resection import Resection
    from hillsight.plan.picture.resection_model import State


def resected_stand(resection: Resection, surface: Surface) -> Stand:
    """Where the camera stood by its marks.

    Raises
    ------
    ValueError : off the surface
    """
    easting_m, northing_m, level_m = resection.eye
    above_m = level_m - surface.height_at_m(easting_m, northing_m)
    return Stand(easting_m, northing_m, above_m, 0.0, _drop_per_m(resection, resection.state))


def resected_draws(resection: Resection) -> list[Drawn]:
    """The camera with all that its marks leave open, drawn together: a place that is off goes with a heading
    that is off, so that what stands near the marks is known better than either."""
    model, state = resection.model, resection.state
    here = model.eye(state.values)

    def moved(step: Floats, number: int) -> Drawn:
        there = state.moved(step)
        east, north, _ = model.eye(there.values) - here
        # The ground's rise towards a place that is off is read from the ground itself.
        up_m = float(there.values[EYE] - state.values[EYE])
        return Drawn(
            model.camera(there), float(east), float(north), up_m, _drop_per_m(resection, there), number
        )

    return drawn_cameras(resection.covariance, moved)


def _drop_per_m(resection: Resection, state: State) -> float:
    standing = resection.model.standing
    return float((1.0 - standing.refraction - state.values[AIR]) / (2.0 * standing.radius_m))
