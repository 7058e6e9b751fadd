"""First ground: sector by sector, the ground from the feet out to where it turns out of view."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas
import numpy as np
import shapely

from hillsight.errors import CallError
from hillsight.reading.ground.brows import brow_slopes, first_brows
from hillsight.schema.frames import BUT_STATION, frame_of_rows
from hillsight.words.quantities import distance_as_known, per_cent, rough_distance_words

if TYPE_CHECKING:
    from collections.abc import Mapping

    from hillsight.arrays import AnyArray, Floats, Integers
    from hillsight.reading.ground.brows import Brows
    from hillsight.reading.view import View
    from hillsight.sight.bearings import BearingSight


#: Bearings looked along are at most this far apart.
STEP_DEG = 0.5

#: Places looked at for the lowest ground of a pocket, on each bearing.
_MOST_PLACES = 400


def check_sector_width(width_deg: float) -> None:
    """Refuse sectors that do not go round.

    Raises
    ------
    CallError : the width is not a whole part of a turn, or below one degree
    """
    sectors = 360.0 / width_deg if width_deg > 0 else 0.0
    if width_deg < 1 or width_deg > 360 or abs(sectors - round(sectors)) > 1e-9:
        raise CallError(
            f"sectors {width_deg:g} degrees wide do not go round",
            remedy="Give degrees that divide 360 evenly, 1 or more: 5, 10, 30, 45 ...",
            parameters=("sector_width",),
        )


def first_ground(view: View, sector_width_deg: float = 10.0) -> geopandas.GeoDataFrame:
    """The ground before the first brow of each sector, clockwise from true north.

    A brow is the nearest place on a bearing behind which ground is hidden by a metre or more (``brows``). The
    figures of a sector are those of one of its bearings, that with the middle brow distance, so that they
    belong together; the nearest and the farthest brow are told too. The polygon is the ground itself, from
    the feet out to the brow on every bearing, or where there is none to the end of what is seen: it has a
    shape in every sector, brow or not.

    Returns
    -------
    frame with the columns of the layer ``first_ground`` but for ``station``
    """
    check_sector_width(sector_width_deg)
    sectors = round(360.0 / sector_width_deg)
    steps = max(2, int(np.ceil(sector_width_deg / STEP_DEG)))
    true_deg = np.arange(sectors * steps) * (360.0 / (sectors * steps))
    grid_deg = true_deg - float(view.geodesy.convergence_deg(view.easting_m, view.northing_m))
    along = view.along(np.asarray(grid_deg, np.float64))
    brows = first_brows(along.crests)
    spacing_m = max(view.grid.spacing_x_m, view.grid.spacing_y_m)
    there = np.isfinite(brows.brow_m)
    until_m = np.maximum(np.where(there, brows.brow_m, _end_m(along)), spacing_m / 100)
    east, north = np.sin(np.radians(grid_deg)), np.cos(np.radians(grid_deg))
    rim = np.column_stack((view.easting_m + until_m * east, view.northing_m + until_m * north))
    figures = _figures(view, brows, east, north, spacing_m)
    rows, shapes = [], []
    for sector in range(sectors):
        at = np.arange(sector * steps, (sector + 1) * steps + 1) % true_deg.size
        rows.append(_sector(sector, sectors, at, true_deg, brows, figures, spacing_m))
        corner = [] if sectors == 1 else [(view.easting_m, view.northing_m)]
        ring = rim[at[:-1]] if sectors == 1 else rim[at]
        shapes.append(shapely.Polygon([*corner, *ring]))
    return frame_of_rows("first_ground", rows, shapes, view.grid.crs, but=BUT_STATION)


def _end_m(along: BearingSight) -> Floats:
    """Where the ground ends on a bearing without a brow.

    It rises to the eye all the way: its end stands highest, or small dips follow.
    """
    ends = np.column_stack((along.skyline_distance_m, along.crests[:, :, 1]))
    end_m: Floats = np.max(np.where(np.isfinite(ends), ends, 0.0), axis=1)
    return end_m


def _figures(view: View, brows: Brows, east: Floats, north: Floats, spacing_m: float) -> dict[str, Floats]:
    """Slopes and heights on every bearing; NaN where there is no brow."""

    def height_m(distance_m: Floats) -> Floats:
        return view.surface.heights_at_m(
            view.easting_m + distance_m * east, view.northing_m + distance_m * north
        )

    reach_m = view.viewing.reach_m
    slopes = brow_slopes(brows, view.ground_height_m, height_m, spacing_m, reach_m)
    until_m = np.where(np.isfinite(brows.out_again_m), brows.out_again_m, reach_m)
    floor_m = np.full(east.size, np.nan)
    there = np.flatnonzero(np.isfinite(brows.brow_m))
    if there.size:
        spacing_m = min(view.grid.spacing_x_m, view.grid.spacing_y_m)
        longest_m = float((until_m - brows.brow_m)[there].max())
        places = int(np.clip(np.ceil(2 * longest_m / spacing_m), 2, _MOST_PLACES))
        share = np.linspace(0.0, 1.0, places)
        length_m = (until_m - brows.brow_m)[there]
        where_m = brows.brow_m[there, None] + share[None, :] * length_m[:, None]
        heights_m = view.surface.heights_at_m(
            view.easting_m + where_m * east[there, None],
            view.northing_m + where_m * north[there, None],
        )
        floor_m[there] = np.nanmin(np.column_stack((heights_m, slopes.height_m[there])), axis=1)
    return {
        "before": slopes.before_deg,
        "behind": slopes.beyond_deg,
        "brow_height": slopes.height_m,
        "floor": floor_m,
    }


def _sector(
    sector: int,
    sectors: int,
    at: Integers,
    true_deg: AnyArray,
    brows: Brows,
    figures: dict[str, Floats],
    spacing_m: float,
) -> dict[str, Any]:
    """One row: the bearing with the middle brow distance speaks for the sector."""
    met = at[np.isfinite(brows.brow_m[at])]
    row: dict[str, Any] = {
        "sector": sector + 1,
        "bearing_from_true_deg": sector * 360.0 / sectors,
        "bearing_to_true_deg": 360.0 if sectors == 1 else (sector + 1) % sectors * 360.0 / sectors,
        "brow_share": met.size / at.size,
    }
    names = (
        "brow_bearing_true_deg",
        "brow_distance_m",
        "brow_nearest_m",
        "brow_farthest_m",
        "slope_to_brow_deg",
        "slope_beyond_deg",
        "depth_max_m",
        "drop_m",
        "out_again_m",
    )
    if met.size == 0:
        row |= dict.fromkeys(names, np.nan)
        row["description"] = sector_words(row, spacing_m)
        return row
    order = met[np.argsort(brows.brow_m[met], kind="stable")]
    one = int(order[(order.size - 1) // 2])
    values = (
        true_deg[one],
        brows.brow_m[one],
        brows.brow_m[order[0]],
        brows.brow_m[order[-1]],
        figures["before"][one],
        figures["behind"][one],
        brows.depth_m[one],
        figures["brow_height"][one] - figures["floor"][one],
        brows.out_again_m[one],
    )
    row |= {name: float(value) for name, value in zip(names, values, strict=True)}
    row["description"] = sector_words(row, spacing_m)
    return row


def sector_words(row: Mapping[str, Any], spacing_m: float) -> str:
    """A sector in plain words: how the ground runs to its brow, how far off that is, what lies behind.

    Parameters
    ----------
    row : a row of the layer ``first_ground``, with or without what may be out
    spacing_m : the wider spacing of the posts
    """
    distance_m, slope = row["brow_distance_m"], row["slope_to_brow_deg"]
    if np.isnan(distance_m):
        return "no brow: ground stays in view"
    brow = "to a brow " + ("" if distance_m < spacing_m else "at ")
    brow += distance_as_known(distance_m, spacing_m, _number(row, "brow_distance_plus_minus_m"))
    if np.isnan(slope):
        before = f"runs {brow}"
    elif abs(slope) < 0.5:
        before = f"level {brow}"
    else:
        degrees = f"{abs(slope):.0f} {'degree' if round(abs(slope)) == 1 else 'degrees'}"
        before = f"{'falls' if slope < 0 else 'rises'} {degrees} {brow}"
    some = "" if row["brow_share"] > 0.995 else f" ({per_cent(row['brow_share'])} of the sector)"
    chance = _number(row, "brow_probability")
    unless = "; some slight rise may hide ground before that" if chance is not None and chance < 0.5 else ""
    again = row["out_again_m"]
    after = "no ground shows again within reach"
    if not np.isnan(again):
        after = f"ground shows again at {rough_distance_words(again)}"
    return f"{before}{some}{unless}; behind it dead ground up to {row['depth_max_m']:.0f} m deep, {after}"


def _number(row: Mapping[str, Any], name: str) -> float | None:
    """A figure that a row may lack."""
    value = row.get(name)
    return None if value is None or np.isnan(value) else float(value)
