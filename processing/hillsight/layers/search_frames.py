"""What a search found as a table for its layer."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import shapely

from hillsight.ground.geodesy import Geodesy
from hillsight.plan.picture.camera import Lens
from hillsight.schema.frames import frame_of_rows

if TYPE_CHECKING:
    import geopandas
    import pyproj

    from hillsight.arrays import Floats
    from hillsight.plan.search.ranking import Ranking
    from hillsight.plan.search.searching import Found


def possible_places_frame(
    ranking: Ranking, found: Found, ground_m: Floats, lens: Lens, crs: pyproj.CRS
) -> geopandas.GeoDataFrame:
    """The layer ``possible_places``.

    Parameters
    ----------
    ground_m : (r,) height of the ground at each place of the ranking
    lens : of the photograph, its focal length as told
    """
    geodesy = Geodesy(crs)
    close, rows, shapes = found.close, list[dict[str, Any]](), []
    for rank, one in enumerate(ranking.places, 1):
        east = float(found.places.easting_m[one.number])
        north = float(found.places.northing_m[one.number])
        heading_deg = float(close.heading_grid_deg[one.at])
        own = Lens(lens.width_px, lens.height_px, lens.focal_px * float(close.focal_share[one.at]))
        rows.append(
            {
                "rank": rank,
                "easting_m": east,
                "northing_m": north,
                "ground_height_m": float(ground_m[rank - 1]),
                "probability": one.share,
                "distance_to_best_m": one.apart_m,
                "heading_true_deg": (heading_deg + float(geodesy.convergence_deg(east, north))) % 360.0,
                "heading_grid_deg": heading_deg,
                "heading_plus_minus_deg": float(close.spread[one.at, 0]),
                "tilt_deg": float(close.tilt_deg[one.at]),
                "roll_deg": float(close.roll_deg[one.at]),
                "width_deg": own.width_deg,
                "misfit_deg": float(close.misfit_deg[one.at]),
                "hidden_share": float(close.hidden[one.at]),
                "within_100_m": ranking.about[0],
                "within_500_m": ranking.about[1],
                "state": ranking.state,
            }
        )
        shapes.append(shapely.Point(east, north))
    return frame_of_rows("possible_places", rows, shapes, crs)
