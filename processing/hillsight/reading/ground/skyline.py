"""The skyline: bearing by bearing, and as lines that follow the ground."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import geopandas
import numpy as np
import shapely

from hillsight.reading.ground.brows import goes_on
from hillsight.reading.things.extent import line_extent_deg
from hillsight.schema.frames import BUT_STATION, frame_of, frame_of_rows
from hillsight.sight.bearings import SKYLINE_ENDS

if TYPE_CHECKING:
    from hillsight.arrays import Bytes, Flags, Floats
    from hillsight.reading.view import View


@dataclass(frozen=True)
class Skyline:
    """The skyline of a view.

    pieces : columns of the layer ``skyline`` but for ``station``, with geometry
    bearings : columns of the layer ``skyline_bearings`` but for ``station``, with geometry
    """

    pieces: geopandas.GeoDataFrame
    bearings: geopandas.GeoDataFrame


def skyline(view: View, step_deg: float = 0.1) -> Skyline:
    """Skyline of a view at equal steps of grid bearing, clockwise from grid north."""
    count = round(360.0 / step_deg)
    bearing_grid = np.arange(count, dtype=np.float64) * np.float64(360.0 / count)
    along = view.along(bearing_grid)
    found = np.isfinite(along.skyline_distance_m)
    bearing_grid, distance_m = bearing_grid[found], along.skyline_distance_m[found]
    height_m, end = along.skyline_height_m[found], along.skyline_end[found]
    easting = view.easting_m + distance_m * np.sin(np.radians(bearing_grid))
    northing = view.northing_m + distance_m * np.cos(np.radians(bearing_grid))
    bearing_true, ground_m = view.measure(easting, northing)
    state = np.array(SKYLINE_ENDS, object)[end]
    bearings = frame_of(
        "skyline_bearings",
        {
            "bearing_true_deg": bearing_true,
            "bearing_grid_deg": bearing_grid,
            "angle_deg": np.degrees(np.arctan(along.skyline_slope[found])),
            "distance_m": ground_m,
            "height_m": height_m,
            "state": state,
            "edge_distance_m": along.edge_distance_m[found],
            "edge_height_m": along.edge_height_m[found],
            "brow_distance_m": along.brow_distance_m[found],
            "brow_angle_deg": _brow_angle_deg(view, bearing_grid, along.brow_distance_m[found]),
        },
        shapely.points(easting, northing, height_m),
        view.grid.crs,
        but=BUT_STATION,
    )
    follows = np.diff(np.r_[np.flatnonzero(found), np.flatnonzero(found)[:1] + count]) == 1
    return Skyline(_pieces(view, bearings, distance_m, end, follows), bearings)


def _brow_angle_deg(view: View, bearing_grid_deg: Floats, distance_m: Floats) -> Floats:
    """Apparent vertical angle of the ground at a distance on each bearing; NaN where the distance is."""
    angles = np.full(distance_m.size, np.nan)
    there = np.flatnonzero(np.isfinite(distance_m))
    turn = np.radians(bearing_grid_deg[there])
    easting = view.easting_m + distance_m[there] * np.sin(turn)
    northing = view.northing_m + distance_m[there] * np.cos(turn)
    angles[there] = np.degrees(np.arctan(view.at(easting, northing, 0.0).slope))
    return angles


def _pieces(
    view: View,
    bearings: geopandas.GeoDataFrame,
    distance_m: Floats,
    end: Bytes,
    follows: Flags,
) -> geopandas.GeoDataFrame:
    """Lines through skyline points of neighbouring bearings, broken where the distance jumps.

    follows : (n,) whether the next point, after the last the first, is that of the very next bearing
    """
    n = distance_m.size
    spacing_m = max(view.grid.spacing_x_m, view.grid.spacing_y_m)
    after = np.roll(distance_m, -1)
    breaks = ~goes_on(distance_m, after, spacing_m) | (np.roll(end, -1) != end) | ~follows
    cuts = np.flatnonzero(breaks)
    if n == 0:
        runs = []
    elif cuts.size == 0:
        runs = [np.r_[np.arange(n), 0]]
    else:
        begins = (cuts + 1) % n
        ends = np.roll(cuts, -1)
        runs = [np.arange(a, b + 1 if b >= a else b + n + 1) % n for a, b in zip(begins, ends, strict=True)]
    points = shapely.get_coordinates(bearings.geometry.to_numpy(), include_z=True)
    true = bearings["bearing_true_deg"].to_numpy()
    ground_m, state = bearings["distance_m"].to_numpy(), bearings["state"].to_numpy()
    rows: list[dict[str, object]] = []
    lines = []
    for run in sorted((r for r in runs if r.size >= 2), key=lambda r: true[r[0]]):
        left, right = line_extent_deg(true[run])
        rows.append(
            {
                "piece": len(rows) + 1,
                "state": state[run[0]],
                "bearing_from_true_deg": left,
                "bearing_to_true_deg": right,
                "distance_min_m": ground_m[run].min(),
                "distance_max_m": ground_m[run].max(),
                "height_min_m": points[run, 2].min(),
                "height_max_m": points[run, 2].max(),
            }
        )
        lines.append(shapely.linestrings(points[run]))
    return frame_of_rows("skyline", rows, lines, view.grid.crs, but=BUT_STATION)
