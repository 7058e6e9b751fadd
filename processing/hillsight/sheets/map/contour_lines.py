"""Contours of a map sheet, from the bilinear surface as it is, and the heights written along them."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, degrees, floor, hypot
from typing import TYPE_CHECKING

import numpy as np

from hillsight.sheets.paper.labels import Box

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Flags, Floats
    from hillsight.ground.grid import Surface
    from hillsight.sheets.paper.labels import Placer

#: Every how many contours one is an index contour.
INDEX_EVERY = 5

_INTERVALS_M = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)
# Contours on steep ground keep so far apart, mm, to be told one from another. Common practice, no source.
_LEAST_APART_MM = 0.45
# Nor is an interval finer than the scale's denominator over this: 5 m at 1:25,000 and 10 m at 1:50,000, as
# published hill maps of these scales have it (robertsoutdoornavigation.co.uk; docs.os.uk).
_FINEST = 5_000.0
_STEEP_SHARE = 0.90  # of the ground is gentler than what counts as steep
_MOST_FOR_RELIEF = 5  # contours at least, where the ground is so level that its steepness asks for fewer
# Lines are those of ground so little higher, m, that no post has just that height: several lines would run
# through such a post, and level ground would have none or many.
_LIFT_M = 0.0007
_LABEL_EVERY_PX, _LEAST_LINE_PX = 620.0, 130.0
_TRIES = 14
_STRAIGHT = 0.985  # chord over arc below which a line bends too much to be written on


@dataclass(frozen=True)
class Contour:
    """One contour line: its height, and (n, 2) metres on the grid; higher ground on its left."""

    height_m: float
    points_m: Floats


@dataclass(frozen=True)
class Figure:
    """A height to be written on a contour: middle in pixels, turned anticlockwise by degrees; its box."""

    text: str
    x: float
    y: float
    turned_deg: float
    box: Box
    width: float


def window_of(surface: Surface, limits: Box, beyond: int = 1) -> Surface | None:
    """The posts within some limits and so many beyond them; None where there are not two by two."""
    from hillsight.ground.grid import Surface

    grid = surface.grid
    top, left = (float(v) for v in grid.to_array(limits.left, limits.top))
    bottom, right = (float(v) for v in grid.to_array(limits.right, limits.bottom))
    row, column = max(floor(top) - beyond, 0), max(floor(left) - beyond, 0)
    rows = min(ceil(bottom) + beyond, grid.rows - 1) - row + 1
    columns = min(ceil(right) + beyond, grid.columns - 1) - column + 1
    if rows < 2 or columns < 2:
        return None
    height_m = surface.height_m[row : row + rows, column : column + columns]
    return Surface(grid.part(row, column, rows, columns), height_m)


def chosen_interval_m(surface: Surface, scale: float) -> float | None:
    """The finest usual interval that keeps contours on steep ground 0.45 mm apart; None on level ground.

    Parameters
    ----------
    surface : the ground of all sheets, so that they have one interval
    scale : the map's denominator
    """
    height = surface.height_m.astype(np.float64)
    known = height[np.isfinite(height)]
    if not known.size or min(height.shape) < 2:
        return None
    relief_m = float(known.max() - known.min())
    if relief_m < _INTERVALS_M[0]:
        return None
    southward, eastward = np.gradient(height, surface.grid.spacing_y_m, surface.grid.spacing_x_m)
    slope = np.hypot(southward, eastward)
    slope = slope[np.isfinite(slope)]
    steep = float(np.quantile(slope, _STEEP_SHARE)) if slope.size else 0.0
    least_m = max(steep * _LEAST_APART_MM * 0.001 * scale, scale / _FINEST)
    fitting = next((i for i in _INTERVALS_M if i >= least_m), _INTERVALS_M[-1])
    while fitting > _INTERVALS_M[0] and relief_m / fitting < _MOST_FOR_RELIEF:
        fitting = _INTERVALS_M[_INTERVALS_M.index(fitting) - 1]
    return fitting


def is_index(height_m: float, interval_m: float) -> bool:
    """Whether a contour of that height is drawn thicker and bears figures."""
    return round(height_m / interval_m) % INDEX_EVERY == 0


def contour_lines(surface: Surface, interval_m: float) -> list[Contour]:
    """Contours of the ground between posts, lowest first.

    Cells are cut into four triangles about their middle, whose height is the mean of the corners, as bilinear
    ground has it there: lines are exact on grid lines and in the middles of cells and straight between, and
    nothing is smoothed. As contours of one continuous surface they cannot cross. Voids interrupt them.
    """
    import contourpy

    height = surface.height_m.astype(np.float64)
    known = height[np.isfinite(height)]
    if not known.size:
        return []
    grid = surface.grid
    easting_m, _ = grid.to_map(np.zeros(grid.columns), np.arange(float(grid.columns)))
    _, northing_m = grid.to_map(np.arange(float(grid.rows)), np.zeros(grid.rows))
    generator = contourpy.contour_generator(
        easting_m,
        northing_m[::-1],
        np.ma.masked_invalid(height[::-1]),
        name="serial",
        line_type=contourpy.LineType.Separate,
        quad_as_tri=True,
    )
    found = []
    for number in range(ceil(known.min() / interval_m), floor(known.max() / interval_m) + 1):
        level = number * interval_m
        lines: Sequence[Floats] = generator.lines(level + _LIFT_M)  # type: ignore[assignment,unused-ignore]
        found += [Contour(level, np.asarray(line)) for line in lines if len(line) > 1]
    return found


def fewer_corners(
    surface: Surface, contours: Sequence[Contour], interval_m: float, off_m: float
) -> list[Contour]:
    """Contours without the corners that lie so near the line through the others, which stay in place.

    They cannot cross: lines of two heights lie farther apart than they are moved, by the ground's steepest
    slope; of those of one height it is tried, and where they would, they keep all corners.

    Parameters
    ----------
    surface : that they are of; interval_m : between their heights
    off_m : farthest that a corner left out may lie off the line, m on the grid

    Source of the choice of corners: Douglas and Peucker (1973), as GEOS has it.
    """
    import shapely

    steepest = _steepest(surface)
    if steepest > 0:
        # Two heights are at least interval over slope apart. About a void, the way over known ground may be
        # half as long again.
        off_m = min(off_m, 0.3 * interval_m / steepest)
    lines = [shapely.linestrings(line.points_m) for line in contours]
    straighter = shapely.simplify(np.array(lines, dtype=object), off_m, preserve_topology=False)
    by_height: dict[float, list[int]] = {}
    for i, line in enumerate(contours):
        by_height.setdefault(line.height_m, []).append(i)
        is_ring = bool((line.points_m[0] == line.points_m[-1]).all())
        if shapely.get_num_coordinates(straighter[i]) < (4 if is_ring else 2):
            straighter[i] = lines[i]
    found = list(contours)
    for height_m, which in by_height.items():
        apart = shapely.is_simple(shapely.multilinestrings([straighter[i] for i in which]))
        for i in which if apart else ():
            found[i] = Contour(height_m, shapely.get_coordinates(straighter[i]))
    return found


def _steepest(surface: Surface) -> float:
    """No ground between posts is steeper than this: rise over run."""
    height = surface.height_m.astype(np.float64)
    steps = (
        np.diff(height, axis=0) / surface.grid.spacing_y_m,
        np.diff(height, axis=1) / surface.grid.spacing_x_m,
    )
    return hypot(*(float(np.nanmax(np.abs(step), initial=0.0)) for step in steps))


def place_figures(
    contours: Sequence[tuple[float, Floats]], size_of: Sequence[tuple[str, float, float]], placer: Placer
) -> list[Figure]:
    """Heights along index contours, their heads uphill, where a line is straight enough and there is room.

    Parameters
    ----------
    contours : height and (n, 2) pixels of each index contour, higher ground on its left
    size_of : text, width and height in pixels for each of them
    placer : its boxes are kept off; grows
    """
    figures = []
    order = sorted(range(len(contours)), key=lambda i: -_length(contours[i][1]))
    for i in order:
        points = contours[i][1]
        text, width, height = size_of[i]
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
        if along[-1] < max(_LEAST_LINE_PX, 2 * width):
            continue
        wanted = max(1, round(along[-1] / _LABEL_EVERY_PX))
        for n in range(wanted):
            figure = _figure(points, along, (n, wanted), (text, width, height), placer)
            if figure is not None:
                placer.taken.append(figure.box)
                figures.append(figure)
    return figures


def _figure(
    points: Floats,
    along: Floats,
    which: tuple[int, int],
    label: tuple[str, float, float],
    placer: Placer,
) -> Figure | None:
    """The straightest free place of one stretch of a line."""
    text, width, height = label
    stretch = along[-1] / which[1]
    best: tuple[float, Figure] | None = None
    for k in range(_TRIES):
        middle = (which[0] + (k + 0.5) / _TRIES) * stretch
        if middle < width or middle > along[-1] - width:
            continue
        ends = [
            (float(np.interp(at, along, points[:, 0])), float(np.interp(at, along, points[:, 1])))
            for at in (middle - width / 2, middle + width / 2)
        ]
        (x0, y0), (x1, y1) = ends
        straight = hypot(x1 - x0, y1 - y0) / width
        if straight < _STRAIGHT or (best is not None and straight <= best[0]):
            continue
        # Higher ground is on the line's left: letters that run along it have it above their heads.
        turned = degrees(np.arctan2(y1 - y0, x1 - x0))
        x, y = (x0 + x1) / 2, (y0 + y1) / 2
        across, up = (
            abs(x1 - x0) + height * abs(y1 - y0) / width,
            abs(y1 - y0) + height * abs(x1 - x0) / width,
        )
        box = Box(x - across / 2, y - up / 2, x + across / 2, y + up / 2)
        if placer.free(box):
            best = (straight, Figure(text, x, y, turned, box, width))
    return None if best is None else best[1]


def _length(points: Floats) -> float:
    return float(np.hypot(*np.diff(points, axis=0).T).sum())


def cut_at(points: Floats, figures: Sequence[Figure], gap: float) -> list[Floats]:
    """A line in pixels without the stretches under figures; ``gap`` pixels more at each end."""
    if not figures:
        return [points]
    # Points every two pixels or so, so that the gaps have clean ends; their corners stay.
    fine, is_corner = _filled(points, 2.0)
    keep = np.ones(len(fine), bool)
    for figure in figures:
        dx, dy = (fine - (figure.x, figure.y)).T
        turned = np.radians(figure.turned_deg)
        across = dx * np.cos(turned) + dy * np.sin(turned)
        up = dy * np.cos(turned) - dx * np.sin(turned)
        keep &= ~((np.abs(across) < figure.width / 2 + gap) & (np.abs(up) < figure.width / 3))
    if keep.all():
        return [points]
    edges = np.flatnonzero(np.diff(np.concatenate([[False], keep, [False]]).astype(int)))
    # Between the ends of a piece its corners are all it needs.
    needed = is_corner.copy()
    needed[edges[::2]] = needed[edges[1::2] - 1] = True
    return [fine[a:b][needed[a:b]] for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a > 1]


def _filled(points: Floats, step: float) -> tuple[Floats, Flags]:
    """A line with more points on it, and which of them were there."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    more = np.union1d(along, np.arange(0.0, along[-1], step))
    filled = np.column_stack([np.interp(more, along, points[:, 0]), np.interp(more, along, points[:, 1])])
    return filled, np.isin(more, along)
