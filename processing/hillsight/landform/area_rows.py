"""Breaks of slope, level ground, steep ground and hollows of one scale as rows."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from hillsight.landform.along import Bundle
from hillsight.landform.axes import lines_of, with_heights
from hillsight.landform.breaks import find_breaks
from hillsight.landform.hollows import depth_plus_minus_m, find_hollows
from hillsight.landform.level_ground import find_level_ground
from hillsight.landform.limits import cut_by
from hillsight.landform.naming import compass_point, first_columns, identifiers
from hillsight.landform.steep_ground import find_steep_ground

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Floats
    from hillsight.ground.geodesy import Geodesy
    from hillsight.landform.scale import Worked

    Rows = list[dict[str, Any]]


def break_rows(worked: Worked, least_change_deg: float, taken: set[str]) -> Rows:
    """Rows of the layer breaks_of_slope."""
    found = find_breaks(worked, least_change_deg)
    lines = Bundle.of([line.places for line in found])
    solids = with_heights(worked, [line.places for line in found])
    shapes = lines_of(solids)
    names = identifiers("break", lines.middles(), worked.scale_m, taken)
    rows: Rows = []
    for name, line, along_m, solid, shape, reason in zip(
        names, found, lines.length_m.tolist(), solids, shapes, cut_by(shapes, worked), strict=True
    ):
        rows.append(
            {
                **first_columns(name, worked.scale_m),
                "kind": line.kind,
                "slope_above_deg": line.above_deg,
                "slope_below_deg": line.below_deg,
                "sharpness_deg": abs(line.below_deg - line.above_deg),
                "length_m": along_m,
                "height_min_m": float(np.nanmin(solid[:, 2])),
                "height_max_m": float(np.nanmax(solid[:, 2])),
                "cut_by": reason,
                "geometry": shape,
            }
        )
    return rows


def level_rows(worked: Worked, below_deg: float, tops: Rows, taken: set[str]) -> Rows:
    """Rows of the layer level_ground; flat tops name the highest top that stands on them."""
    found = find_level_ground(worked, below_deg)
    points = shapely.STRtree([row["geometry"] for row in tops]) if tops else None
    rows: Rows = []
    names = _names("level", _middles(found), worked, taken)
    reasons = cut_by([level.area for level in found], worked)
    for name, level, reason in zip(names, found, reasons, strict=True):
        on_it = [] if points is None else sorted(points.query(level.area, predicate="intersects").tolist())
        rows.append(
            {
                **first_columns(name, worked.scale_m),
                "kind": level.kind,
                "top": tops[on_it[0]]["landform"] if on_it else None,
                "area_ha": level.area.area / 10_000,
                "height_mean_m": level.height_mean_m,
                "slope_mean_deg": level.slope_mean_deg,
                "falling_share": level.falling_share,
                "cut_by": reason,
                "geometry": level.area,
            }
        )
    return rows


def steep_rows(worked: Worked, bands_deg: Sequence[float], geodesy: Geodesy, taken: set[str]) -> Rows:
    """Rows of the layer steep_ground."""
    found = find_steep_ground(worked, bands_deg)
    middles = _middles(found)
    convergence_deg = np.atleast_1d(geodesy.convergence_deg(middles[:, 0], middles[:, 1]))
    names = _names("steep", middles, worked, taken)
    reasons = cut_by([steep.area for steep in found], worked)
    rows: Rows = []
    for name, steep, turned_deg, reason in zip(names, found, convergence_deg.tolist(), reasons, strict=True):
        true_deg = steep.faces_grid_deg + turned_deg
        rows.append(
            {
                **first_columns(name, worked.scale_m),
                "slope_from_deg": steep.slope_from_deg,
                "slope_to_deg": steep.slope_to_deg,
                "faces_towards": compass_point(true_deg % 360.0),
                "area_ha": steep.area.area / 10_000,
                "height_min_m": steep.height_min_m,
                "height_max_m": steep.height_max_m,
                "cut_by": reason,
                "geometry": steep.area,
            }
        )
    return rows


def hollow_rows(worked: Worked, filled_m: Floats, taken: set[str]) -> Rows:
    """Rows of the layer hollows."""
    found = find_hollows(worked, filled_m)
    error_m = depth_plus_minus_m(worked)
    names = _names("hollow", _middles(found), worked, taken)
    reasons = cut_by([hollow.area for hollow in found], worked)
    return [
        {
            **first_columns(name, worked.scale_m),
            "area_ha": hollow.area.area / 10_000,
            "depth_m": hollow.rim_height_m - hollow.floor_height_m,
            "depth_plus_minus_m": error_m,
            "state": "hollow" if hollow.rim_height_m - hollow.floor_height_m > error_m else "uncertain",
            "floor_height_m": hollow.floor_height_m,
            "rim_height_m": hollow.rim_height_m,
            "cut_by": reason,
            "geometry": hollow.area,
        }
        for name, hollow, reason in zip(names, found, reasons, strict=True)
    ]


def _middles(found: Sequence[Any]) -> Floats:
    """A place inside each area, (n, 2)."""
    places = shapely.point_on_surface(np.array([piece.area for piece in found], object))
    middles: Floats = shapely.get_coordinates(places).reshape(-1, 2)
    return middles


def _names(kind: str, middles: Floats, worked: Worked, taken: set[str]) -> list[str]:
    return identifiers(kind, middles, worked.scale_m, taken)
