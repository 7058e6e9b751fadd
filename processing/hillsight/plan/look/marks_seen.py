"""Landmarks marked on a photograph, looked for from many places."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.look.drawn import EYE_M, PLACE_M
from hillsight.plan.look.skies import GroundAbout
from hillsight.plan.picture.marks_match import seen_marks
from hillsight.sight.points import see_points
from hillsight.sight.viewing import Eye

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Floats
    from hillsight.plan.look.drawn import Place
    from hillsight.plan.look.looking import Looker
    from hillsight.plan.picture.measuring import MarkedThings

#: Ground that stands nearer than this before a landmark is its own hill.
_OWN_M = 1.5


def marks_seen(looker: Looker, places: Sequence[Place], marked: MarkedThings) -> Floats:
    """Marks as places have them, (p, m, 12): see ``marks_match.seen_marks``."""
    found = np.zeros((len(places), len(marked.labels), 12))
    for k, place in enumerate(places):
        far = looker.far(place)
        surface, grid = far.surface, far.surface.grid
        easting_m, northing_m = place.easting_m, place.northing_m
        around = surface.heights_at_m(
            easting_m + PLACE_M * np.array([0.0, 1.0, -1.0, 0.0, 0.0]),
            northing_m + PLACE_M * np.array([0.0, 0.0, 0.0, 1.0, -1.0]),
        )
        level_m = float(around[0]) + place.surveyed_m + looker.viewing.eye_height_m
        eye = Eye.on(grid, easting_m, northing_m, level_m, place.drop_per_m)
        rows, columns = grid.to_array(marked.easting_m, marked.northing_m)
        stands_m = surface.heights_at_m(marked.easting_m, marked.northing_m)
        above_m = np.where(np.isnan(marked.height_m), marked.above_ground_m, marked.height_m - stands_m)
        tall_m = np.maximum(np.nan_to_num(above_m), _OWN_M)
        seen = see_points(surface, eye, rows, columns, tall_m, far.maxima)
        east_m, north_m = marked.easting_m - easting_m, marked.northing_m - northing_m
        distance_m = np.maximum(np.hypot(east_m, north_m), 1.0)
        crest_share = np.nan_to_num(seen.crest_distance_m / distance_m, nan=1.0, posinf=1.0)
        erring = looker.erring(easting_m, northing_m)
        here = np.array([easting_m]), np.array([northing_m])
        about = GroundAbout.of(erring.surface, erring.rough_m, looker.errors, *here, PLACE_M)
        height_m = np.where(np.isnan(marked.height_m), seen.ground_m + marked.above_ground_m, marked.height_m)
        rise_m = height_m - place.drop_per_m * distance_m**2 - level_m
        slopes = np.nan_to_num((around[[1, 3]] - around[[2, 4]]) / (2.0 * PLACE_M))
        found[k] = seen_marks(
            east_m,
            north_m,
            np.degrees(np.arctan(np.nan_to_num(rise_m) / distance_m)),
            seen.clearance_m,
            crest_share,
            about.rough_at_m(easting_m + crest_share * east_m, northing_m + crest_share * north_m),
            (float(slopes[0]), float(slopes[1])),
            PLACE_M,
            float(np.hypot(EYE_M, 2.0)),
            looker.errors.feature_position_m,
            marked.height_error_m,
        )
    return found
