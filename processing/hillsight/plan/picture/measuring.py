"""From marks in pixels and what is known of the lens to what is matched."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.picture import perspective
from hillsight.plan.picture.skyline_match import PictureErrors, PictureSkyline

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Floats
    from hillsight.ground.accuracy import ErrorModel
    from hillsight.plan.picture.camera import Lens
    from hillsight.plan.picture.mark_ground import GroundAt
    from hillsight.plan.picture.marks import Marks
    from hillsight.plan.picture.photograph import LensBelief


#: How far a trace is out, degrees, where nobody says; and at least, whatever is said: of lenses that are not
#: quite true, of the air, of what grows on a ridge. Common practice, no source.
_UNTOLD_DEG, _LEAST_DEG = 0.3, 0.12

#: What the terrain errs alike over so much, metres, is no error between a landmark and the eye.
_APART_M = 1_000.0


@dataclass(frozen=True)
class MarkedThings:
    """Where the marked landmarks are, (m,) each, in the terrain's grid.

    height_m : NaN for the ground's, and then above_ground_m is how far above it the mark is
    height_error_m : one standard deviation
    """

    labels: tuple[str, ...]
    easting_m: Floats
    northing_m: Floats
    height_m: Floats
    above_ground_m: Floats
    height_error_m: Floats

    @classmethod
    def on(
        cls,
        labels: Sequence[str],
        easting_m: Floats,
        northing_m: Floats,
        height_m: Floats,
        above_ground_m: Floats,
        grounds: Sequence[GroundAt | None],
        errors: ErrorModel,
    ) -> MarkedThings:
        """Landmarks with what is known of the ground under them.

        Parameters
        ----------
        grounds : (m,), None under one whose height is given; that is taken as exact, as ``resect`` takes it
        """
        lift_m, error_m = np.zeros(len(labels)), np.zeros(len(labels))
        alike_m2 = errors.covariance_m2(np.array([_APART_M]))[0]
        for k, ground in enumerate(grounds):
            if ground is not None:
                slope_m = errors.feature_position_m * np.hypot(*ground.slope)
                terrain_m2 = max(errors.terrain_rmse_m**2 - float(alike_m2), 0.0)
                lift_m[k] = ground.lift_m
                error_m[k] = np.sqrt(ground.rough_m2 + slope_m**2 + terrain_m2)
        return cls(tuple(labels), easting_m, northing_m, height_m, above_ground_m + lift_m, error_m)


def picture_skyline(marks: Marks, belief: LensBelief, ground_over_m: float) -> PictureSkyline:
    """What is measured on a photograph, its lens taken to be as told.

    Parameters
    ----------
    ground_over_m : see ``PictureErrors``
    """
    lens = belief.lens
    pieces = [on_plane(lens, trace.x_px, trace.y_px) for trace in marks.skyline]
    landmarks = marks.landmarks
    right, up = on_plane(
        lens, np.array([one.x_px for one in landmarks]), np.array([one.y_px for one in landmarks])
    )
    px_deg = float(np.degrees(1.0 / lens.focal_px))
    click_px = float(np.mean([one.give_or_take_px for one in landmarks])) if landmarks else 2.0
    each_deg = trace_deg(marks, px_deg) * np.sqrt(0.5)
    errors = PictureErrors(
        white_deg=each_deg, alike_deg=each_deg, ground_over_m=ground_over_m, click_deg=click_px * px_deg
    )
    return PictureSkyline.of_pieces(pieces, belief.focal_share, errors, np.column_stack((right, up)))


def trace_deg(marks: Marks, px_deg: float) -> float:
    """How far a traced skyline is out, one standard deviation: half of its variance is alike along it.

    Parameters
    ----------
    px_deg : degrees to a pixel in the middle of the picture
    """
    if not marks.skyline or any(trace.give_or_take_px is None for trace in marks.skyline):
        return _UNTOLD_DEG
    points = [trace.x_px.size for trace in marks.skyline]
    told_px = float(np.average([trace.spread_px for trace in marks.skyline], weights=points))
    return float(np.hypot(told_px * px_deg, _LEAST_DEG))


def on_plane(lens: Lens, x_px: Floats, y_px: Floats) -> tuple[Floats, Floats]:
    """Right and up of the optical axis as shares of the focal length, the radial term taken out."""
    x = (np.asarray(x_px, np.float64) - lens.principal_x_px) / lens.focal_px
    y = (np.asarray(y_px, np.float64) - lens.principal_y_px) / lens.focal_px
    x, y = perspective.undistorted(x, y, lens.radial)
    return x, -y
