"""Places of exercises as a table for their layer."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from hillsight.schema.frames import frame_of_rows

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas
    import pyproj

    from hillsight.arrays import Floats
    from hillsight.plan.exercise.exercise import Exercise
    from hillsight.plan.exercise.look_alikes import LookAlike


def exercise_places_frame(
    found: Sequence[tuple[str, Exercise, Sequence[LookAlike], Sequence[str]]],
    ground_m: Sequence[Floats],
    crs: pyproj.CRS,
) -> geopandas.GeoDataFrame:
    """The layer ``exercise_places``.

    Parameters
    ----------
    found : each a file's name, the exercise, its wrong places in the order of its places, and what is said
        that tells most against each
    ground_m : for each exercise the height of the ground at its places
    """
    rows, shapes = list[dict[str, Any]](), []
    for (name, exercise, wrong, told_by), heights_m in zip(found, ground_m, strict=True):
        true = exercise.places[exercise.truth()]
        others = iter(zip(wrong, told_by, strict=True))
        for place, letter, height_m in zip(exercise.places, exercise.letters(), heights_m, strict=True):
            one, says = (None, "") if place.is_true else next(others)
            rows.append(
                {
                    "exercise": name,
                    "theme": exercise.theme,
                    "letter": letter,
                    "role": "true" if place.is_true else "wrong",
                    "name": place.name,
                    "easting_m": place.easting_m,
                    "northing_m": place.northing_m,
                    "ground_height_m": float(height_m),
                    "looks_true_deg": exercise.picture.looks_deg,
                    "width_deg": exercise.picture.width_deg,
                    "distance_to_true_m": float(
                        np.hypot(place.easting_m - true.easting_m, place.northing_m - true.northing_m)
                    ),
                    "grade": exercise.grade,
                    "judgement": "" if one is None else one.judgement,
                    "unlike": 0.0 if one is None else one.unlike,
                    "matters": 0 if one is None else one.telling,
                    "bits": 0.0 if one is None else one.bits,
                    "told_by": says,
                }
            )
            shapes.append(shapely.Point(place.easting_m, place.northing_m))
    return frame_of_rows("exercise_places", rows, shapes, crs)
