"""Outlines of ground within limits of some figure: slope, height; as polygons on the map."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING, cast

import contourpy
import numpy as np
import shapely

from hillsight.kernels.compiled import compiled

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from hillsight.arrays import Flags, Floats, Integers
    from hillsight.ground.grid import Grid

    _OneChunk = tuple[list[Floats | None], list[NDArray[np.uint32] | None], list[NDArray[np.uint32] | None]]

#: Bound for "no upper limit".
_NO_LIMIT = 1e12

#: A ring of less than this share of an area holds less, whatever is lost to rounding.
_SURELY_LESS = 0.999


def contours(values: Floats, grid: Grid) -> contourpy.ContourGenerator:
    """What draws lines and areas of values between the posts, on the map: all of them in one chunk."""
    east, _ = grid.to_map(np.zeros(grid.columns), np.arange(grid.columns, dtype=np.float64))
    _, north = grid.to_map(np.arange(grid.rows, dtype=np.float64), np.zeros(grid.rows))
    return contourpy.contour_generator(
        east,
        north,
        np.ma.masked_invalid(values, copy=False),
        name="serial",
        line_type=contourpy.LineType.ChunkCombinedOffset,
        fill_type=contourpy.FillType.ChunkCombinedOffsetOffset,
    )


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
    generator = contours(values, grid)
    (points,), (starts,), (outer,) = cast(
        "_OneChunk", generator.filled(lower, _NO_LIMIT if upper is None else upper)
    )
    if points is None or starts is None or outer is None:
        return []
    area_m2 = _areas_m2(points, starts)
    found: list[shapely.Polygon] = []
    for first, last in pairwise(outer.tolist()):
        if area_m2[first] < _SURELY_LESS * least_m2:  # its parts, made valid, are no larger
            continue
        holes = [
            points[starts[ring] : starts[ring + 1]]
            for ring in range(first + 1, last)
            if starts[ring + 1] - starts[ring] > 3 and area_m2[ring] >= least_hole_m2
        ]
        shape = shapely.make_valid(shapely.Polygon(points[starts[first] : starts[first + 1]], holes))
        parts = shapely.get_parts(shape)
        found += [part for part in parts if shapely.get_type_id(part) == 3 and part.area >= least_m2]
    return found


def posts_inside(area: shapely.Polygon, grid: Grid) -> tuple[Integers, Integers]:
    """Rows and columns of the posts in an area; of the nearest one where it holds none."""
    west, south, east, north = area.bounds
    top, left = (max(int(np.floor(v)), 0) for v in grid.to_array(west, north))
    bottom, right = (int(np.ceil(v)) for v in grid.to_array(east, south))
    shape = min(bottom, grid.rows - 1) + 1 - top, min(right, grid.columns - 1) + 1 - left
    inside, outline = np.zeros(shape, bool), np.zeros(shape, bool)
    places, ring = shapely.get_coordinates(shapely.get_rings(area), return_index=True)
    _fill(
        places,
        ring,
        grid.west_m,
        grid.north_m,
        grid.spacing_x_m,
        grid.spacing_y_m,
        top,
        left,
        inside,
        outline,
    )
    rows, columns = np.nonzero(inside)
    if not rows.size:
        middle = area.representative_point()
        at_rows, at_columns = (v.ravel() for v in np.indices(shape))
        eastings, northings = grid.to_map((at_rows + top).astype(float), (at_columns + left).astype(float))
        nearest = int(np.argmin(np.hypot(eastings - middle.x, northings - middle.y)))
        rows, columns = at_rows[nearest : nearest + 1], at_columns[nearest : nearest + 1]
    return rows + top, columns + left


@compiled
def _fill(
    places: Floats,
    ring: Integers,
    west_m: float,
    north_m: float,
    spacing_x_m: float,
    spacing_y_m: float,
    top: int,
    left: int,
    inside: Flags,
    outline: Flags,
) -> None:
    """Mark the posts within rings, those on a ring left out: a row goes in and out where it crosses one.

    Parameters
    ----------
    places, ring : corners of the rings, and to which each belongs
    top, left : row and column of the first post of ``inside``
    inside, outline : (rows, columns) all False; the latter is scratch
    """
    rows, columns = inside.shape
    for k in range(ring.size - 1):
        if ring[k] != ring[k + 1]:
            continue
        x0, y0, x1, y1 = places[k, 0], places[k, 1], places[k + 1, 0], places[k + 1, 1]
        low, high = min(y0, y1), max(y0, y1)
        first = max(math.floor((north_m - high) / spacing_y_m) - top, 0)
        last = min(math.ceil((north_m - low) / spacing_y_m) - top, rows - 1)
        for row in range(first, last + 1):
            y = north_m - float(top + row) * spacing_y_m
            if not low <= y <= high:
                continue
            if y == y0:
                x = x0
            elif y == y1:
                x = x1
            else:
                x = x0 + (y - y0) / (y1 - y0) * (x1 - x0)
            ends = x1 if y0 == y1 else x  # of an edge along the row
            column = max(math.ceil((min(x, ends) - west_m) / spacing_x_m) - left - 1, 0)
            while column < columns and west_m + float(left + column) * spacing_x_m < min(x, ends):
                column += 1
            if low <= y < high and column < columns:
                inside[row, column] = not inside[row, column]
            while column < columns and west_m + float(left + column) * spacing_x_m <= max(x, ends):
                outline[row, column] = True
                column += 1
    for row in range(rows):
        within = False
        for column in range(columns):
            within = within != inside[row, column]
            inside[row, column] = within and not outline[row, column]


def _areas_m2(points: Floats, starts: NDArray[np.uint32]) -> Floats:
    """Area within each closed ring, holes or not."""
    x, y = (points - points[0]).T
    twice = np.zeros(len(points))
    twice[:-1] = x[:-1] * y[1:] - x[1:] * y[:-1]
    twice[starts[1:] - 1] = 0.0  # from the end of one ring to the next
    found: Floats = np.abs(np.add.reduceat(twice, starts[:-1])) / 2
    return found
