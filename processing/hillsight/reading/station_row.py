"""The row of a station in the layer ``stations``, whichever job writes it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import shapely

from hillsight.schema.frames import frame_of_rows
from hillsight.words.quantities import per_cent

if TYPE_CHECKING:
    from collections.abc import Mapping

    import geopandas

    from hillsight.ground.geodesy import Geodesy
    from hillsight.ground.magnetic import Declination
    from hillsight.ground.stations import Station
    from hillsight.sight.viewing import Viewing


def areas_of_states(
    visible_ha: float, hidden_ha: float, unknown_ha: float, uncertain_ha: float
) -> dict[str, float]:
    """Areas within a reach as ``stations`` and the index of a batch tell them, hectares.

    Whoever measures them, by outlines or by counting posts, hands over the four states apart: ground that is
    uncertain is neither seen nor hidden.
    """
    return {
        "reach_ha": visible_ha + hidden_ha + unknown_ha + uncertain_ha,
        "visible_ha": visible_ha,
        "hidden_ha": hidden_ha,
        "unknown_ha": unknown_ha,
        "uncertain_ha": uncertain_ha,
    }


def station_frame(
    station: Station,
    geodesy: Geodesy,
    viewing: Viewing,
    *,
    ground_height_m: float,
    eye_level_m: float,
    longitude: float,
    latitude: float,
    areas_ha: Mapping[str, float],
    magnetic: Declination | None = None,
) -> geopandas.GeoDataFrame:
    """One row with the layer's columns, in order.

    Parameters
    ----------
    areas_ha : those of :func:`areas_of_states`; unlisted_hidden_ha, 0 where it is not given;
        the expected_visible ones, null where they are not given
    magnetic : null where it was not asked for
    """
    place = station.easting_m, station.northing_m
    row = {
        "station": station.label,
        "name": station.name,
        "easting_m": station.easting_m,
        "northing_m": station.northing_m,
        "longitude": longitude,
        "latitude": latitude,
        "ground_height_m": ground_height_m,
        "eye_level_m": eye_level_m,
        "convergence_deg": float(geodesy.convergence_deg(*place)),
        "declination_deg": None if magnetic is None else magnetic.declination_deg,
        "declination_uncertainty_deg": None if magnetic is None else magnetic.uncertainty_deg,
        "declination_date": None if magnetic is None else magnetic.date.isoformat(),
        "reach_m": viewing.reach_m,
        "unlisted_hidden_ha": 0.0,
        **areas_ha,
    }
    return frame_of_rows("stations", [row], [shapely.Point(*place)], geodesy.crs)


def reach_notes(label: str, viewing: Viewing, spacing_m: float, unknown_share: float) -> list[str]:
    """What is worth a word of a station's reach: too short for the terrain, or partly unknown.

    spacing_m : the wider of the terrain's two post spacings
    unknown_share : of the area within the reach
    """
    notes = []
    if viewing.reach_m < spacing_m:
        notes.append(
            f"{label}: the reach of {viewing.reach_m:g} m (metres, not kilometres) is less than the "
            f"terrain's post spacing of {spacing_m:g} m"
        )
    if unknown_share > _MOST_UNKNOWN_SHARE:
        notes.append(
            f"{label}: {per_cent(unknown_share, 1)} of the reach is unknown: off the terrain, on a void or "
            "seen only across one"
        )
    return notes


#: A share of unknown ground that is too small to show in a sentence.
_MOST_UNKNOWN_SHARE = 0.0005
