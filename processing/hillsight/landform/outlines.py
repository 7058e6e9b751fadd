"""Outlines of ground within limits of some figure: slope, height; as polygons on the map."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, cast

import contourpy
import numpy as np
import shapely

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from hillsight.arrays import Floats, Integers
    from hillsight.ground.grid import Grid

    _OuterOffset = tuple[list[Floats], list[NDArray[np.uint32]]]

#: Bound for "no upper limit".
_NO_LIMIT = 1e12


def areas_between(
    values: Floats,
    grid: Grid,
    lower: float,
    upper: float | None,
    *,
    least_m2: float,
    least_hole_m2: float = 0.0,
) -> list[shapely.Polygon]:
    """Connected ground whose values lie between two limits, drawn between the posts.

    Parameters
    ----------
    values : (rows, columns); NaN is not drawn
    lower, upper : limits; None for no upper one
    least_m2 : smaller pieces are left out
    least_hole_m2 : smaller holes are filled
    """
    if min(values.shape) < 2 or not np.isfinite(values).any():
        return []
    east, _ = grid.to_map(np.zeros(grid.columns), np.arange(grid.columns, dtype=np.float64))
    _, north = grid.to_map(np.arange(grid.rows, dtype=np.float64), np.zeros(grid.rows))
    generator = contourpy.contour_generator(
        east,
        north,
        np.ma.masked_invalid(values),
        name="serial",
        fill_type=contourpy.FillType.OuterOffset,
    )
    points, offsets = cast("_OuterOffset", generator.filled(lower, _NO_LIMIT if upper is None else upper))
    found: list[shapely.Polygon] = []
    for ring_points, ring_offsets in zip(points, offsets, strict=True):
        rings = [ring_points[a:b] for a, b in pairwise(ring_offsets)]
        holes = [ring for ring in rings[1:] if len(ring) > 3 and _area_m2(ring) >= least_hole_m2]
        shape = shapely.make_valid(shapely.Polygon(rings[0], holes))
        parts = shapely.get_parts(shape)
        found += [part for part in parts if shapely.get_type_id(part) == 3 and part.area >= least_m2]
    return found


def posts_inside(area: shapely.Polygon, grid: Grid) -> tuple[Integers, Integers]:
    """Rows and columns of the posts in an area; of the nearest one where it holds none."""
    west, south, east, north = area.bounds
    top, left = (int(np.floor(v)) for v in grid.to_array(west, north))
    bottom, right = (int(np.ceil(v)) for v in grid.to_array(east, south))
    rows = np.arange(max(top, 0), min(bottom, grid.rows - 1) + 1)
    columns = np.arange(max(left, 0), min(right, grid.columns - 1) + 1)
    at_rows, at_columns = (v.ravel() for v in np.meshgrid(rows, columns, indexing="ij"))
    eastings, northings = grid.to_map(at_rows.astype(float), at_columns.astype(float))
    inside = shapely.contains_xy(area, eastings, northings)
    if not inside.any():
        middle = area.representative_point()
        inside[int(np.argmin(np.hypot(eastings - middle.x, northings - middle.y)))] = True
    return at_rows[inside], at_columns[inside]


def _area_m2(ring: Floats) -> float:
    x, y = ring[:, 0], ring[:, 1]
    return abs(float(np.dot(x[:-1], y[1:]) - np.dot(x[1:], y[:-1]))) / 2
