"""Visible, hidden, uncertain and unknown ground as polygons that tile the disc of the reach."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from rasterio.features import shapes
from rasterio.transform import Affine

from hillsight.reading.ground.regions import HIDDEN, UNCERTAIN, UNKNOWN, VISIBLE, Tiling

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Integers, Objects
    from hillsight.ground.grid import Grid
    from hillsight.reading.ground.regions import Rings
    from hillsight.reading.view import View

#: Sides of the polygon that stands for the reach; its area is the circle's.
REACH_SIDES = 720

#: In the order of the fields of ``Cover``.
_CLASSES = (HIDDEN, VISIBLE, UNKNOWN, UNCERTAIN)

#: The padding of one unknown post on every side of the window.
_PAD = 1


@dataclass(frozen=True)
class Patches:
    """Connected patches of one class of ground.

    polygons : (n,) shapely polygons in the grid's CRS
    pieces : (n,) int64; patches that the reach cuts from one connected piece share its number
    """

    polygons: Objects
    pieces: Integers


@dataclass(frozen=True)
class Cover:
    """Polygons of all ground within the reach.

    reach : polygon of the reach; the four classes tile it
    hidden, visible, unknown, uncertain : patches; the last of what cover leaves nobody sure of
    post_pieces : (rows, columns) int64, piece number of every post, as in ``Patches.pieces``
    """

    reach: shapely.Polygon
    hidden: Patches
    visible: Patches
    unknown: Patches
    uncertain: Patches
    post_pieces: Integers


def reach_polygon(easting_m: float, northing_m: float, reach_m: float) -> shapely.Polygon:
    """Regular polygon about a station with exactly the area of the circle of the reach."""
    turn = 2 * np.pi / REACH_SIDES
    radius_m = reach_m * np.sqrt(turn / np.sin(turn))
    angles = np.arange(REACH_SIDES) * turn
    return shapely.Polygon(
        np.column_stack((easting_m + radius_m * np.cos(angles), northing_m + radius_m * np.sin(angles)))
    )


def tile(view: View) -> Tiling:
    """Tiling of a view's posts, with one ring of unknown posts all round for the ground off the terrain."""
    clearance = view.posts.clearance_m.astype(np.float64)
    # Where no ground is nearer the clearance is boundless; the eye's height is as good a finite stand-in
    # as any for drawing an edge, since such posts lie at the station's feet.
    clearance[np.isposinf(clearance)] = max(view.viewing.eye_height_m, 0.1)
    return Tiling.of(
        np.pad(view.classes, _PAD, constant_values=UNKNOWN),
        np.pad(clearance, _PAD, constant_values=np.nan),
    )


def places_on_map(view: View, tiling: Tiling, vertices: Integers) -> tuple[Floats, Floats]:
    """Easting and northing of a tiling's vertices."""
    row, column = tiling.place(vertices)
    return view.grid.to_map(row - _PAD, column - _PAD)


def vertex_posts(
    view: View, tiling: Tiling, vertices: Integers
) -> tuple[Integers, Integers, Integers, Integers]:
    """Row and column of both posts of each vertex's edge on the view's surface, cut to its bounds."""
    row_a, column_a, row_b, column_b = tiling.edge_posts(vertices)
    last_row, last_column = view.grid.rows - 1, view.grid.columns - 1
    return (
        np.clip(row_a - _PAD, 0, last_row),
        np.clip(column_a - _PAD, 0, last_column),
        np.clip(row_b - _PAD, 0, last_row),
        np.clip(column_b - _PAD, 0, last_column),
    )


def contoured(view: View, tiling: Tiling) -> Cover:
    """Polygons whose edges are the zero line of the clearance between posts."""
    reach = reach_polygon(view.easting_m, view.northing_m, view.viewing.reach_m)
    patches = {c: _polygons(view, tiling, tiling.rings(c)) for c in _CLASSES}
    clipped = _clip(view, reach, patches)
    inner = tiling.pieces[1 + _PAD : -1 - _PAD, 1 + _PAD : -1 - _PAD]
    hidden, visible, unknown, uncertain = (clipped[c] for c in _CLASSES)
    return Cover(reach, hidden, visible, unknown, uncertain, inner)


def _polygons(view: View, tiling: Tiling, rings: Rings) -> Patches:
    """One polygon with its holes for each connected piece."""
    if rings.pieces.size == 0:
        return Patches(np.empty(0, object), np.empty(0, np.int64))
    row, column = tiling.place(rings.vertices)
    easting, northing = view.grid.to_map(row - _PAD, column - _PAD)
    # The frame round the window stands for all ground off the terrain: move it out beyond any reach.
    far_m = 10 * (
        view.viewing.reach_m + view.grid.east_m - view.grid.west_m + view.grid.north_m - view.grid.south_m
    )
    rows, columns = tiling.classes.shape
    easting = easting - far_m * (column < 0) + far_m * (column > columns - 3)
    northing = northing + far_m * (row < 0) - far_m * (row > rows - 3)
    starts, ends = rings.offsets[:-1], rings.offsets[1:]
    following = np.arange(rings.vertices.size) + 1
    following[ends - 1] = starts
    # Shoelace about the station keeps the sums small.
    x, y = easting - view.easting_m, northing - view.northing_m
    doubled = np.add.reduceat(x * y[following] - x[following] * y, starts)
    order = np.lexsort((doubled < 0, rings.pieces))  # each piece's shell first, then its holes
    lengths = (ends - starts)[order] + 1
    closed = np.concatenate([np.r_[np.arange(starts[i], ends[i]), starts[i]] for i in order])
    ring_offsets = np.r_[0, np.cumsum(lengths)]
    pieces, firsts = np.unique(rings.pieces[order], return_index=True)
    polygons = shapely.from_ragged_array(
        shapely.GeometryType.POLYGON,
        np.column_stack((easting[closed], northing[closed])),
        (ring_offsets, np.r_[firsts, order.size]),
    )
    return Patches(polygons, pieces)


def _clip(view: View, reach: shapely.Polygon, patches: dict[int, Patches]) -> dict[int, Patches]:
    """Cut patches to the reach."""
    inner_m = view.viewing.reach_m * np.cos(np.pi / REACH_SIDES)
    clipped = {}
    for of_class, patch in patches.items():
        coordinates, index = shapely.get_coordinates(patch.polygons, return_index=True)
        distance_m = view.grid_distance_m(coordinates[:, 0], coordinates[:, 1])
        farthest_m = np.zeros(patch.polygons.size)
        np.maximum.at(farthest_m, index, distance_m)
        inside = farthest_m < inner_m
        cut = shapely.intersection(patch.polygons[~inside], reach)
        parts, part_of = shapely.get_parts(cut, return_index=True)
        areal = (shapely.get_dimensions(parts) == 2) & (shapely.area(parts) > 0)
        clipped[of_class] = Patches(
            np.concatenate((patch.polygons[inside], parts[areal])),
            np.concatenate((patch.pieces[inside], patch.pieces[~inside][part_of[areal]])),
        )
    return clipped


def cell_transform(grid: Grid) -> Affine:
    """Affine transform from cell corners to the map, as GDAL-based libraries want it."""
    west, _, _, north = grid.cell_edges_m
    return Affine(grid.spacing_x_m, 0, west, 0, -grid.spacing_y_m, north)


def celled(view: View) -> Cover:
    """Polygons that follow the outlines of the cells whose posts lie within the reach.

    Off the terrain there are no cells: the unknown ground there is bounded by the circle of the reach.
    """
    from scipy import ndimage  # slow to import, and most runs follow the zero line

    pieces = np.full(view.classes.shape, -1, np.int32)
    count = 0
    of_piece: dict[int, int] = {}
    for of_class in _CLASSES:
        labels, found = ndimage.label((view.classes == of_class) & view.within_reach)
        pieces[labels > 0] = labels[labels > 0] + (count - 1)
        of_piece.update({count + i: of_class for i in range(found)})
        count += found
    rings: dict[int, list[tuple[int, shapely.Polygon]]] = {c: [] for c in _CLASSES}
    for outline, value in shapes(
        pieces, mask=pieces >= 0, connectivity=4, transform=cell_transform(view.grid)
    ):
        rings[of_piece[int(value)]].append((int(value), shapely.geometry.shape(outline)))
    patches = {
        c: Patches(_as_array([p for _, p in found]), np.array([n for n, _ in found], np.int64))
        for c, found in rings.items()
    }
    disc = reach_polygon(view.easting_m, view.northing_m, view.viewing.reach_m)
    off_terrain = shapely.get_parts(shapely.difference(disc, shapely.box(*view.grid.cell_edges_m)))
    off_terrain = off_terrain[shapely.area(off_terrain) > 0]
    patches[UNKNOWN] = Patches(
        np.concatenate((patches[UNKNOWN].polygons, off_terrain)),
        np.concatenate((patches[UNKNOWN].pieces, count + np.arange(off_terrain.size))),
    )
    reach = shapely.union_all(np.concatenate([p.polygons for p in patches.values()]))
    hidden, visible, unknown, uncertain = (patches[c] for c in _CLASSES)
    return Cover(reach, hidden, visible, unknown, uncertain, pieces.astype(np.int64))


def _as_array(polygons: list[shapely.Polygon]) -> Objects:
    array = np.empty(len(polygons), object)
    array[:] = polygons
    return array
