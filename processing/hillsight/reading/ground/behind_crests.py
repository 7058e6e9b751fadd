"""Dead ground by what hides it: each pocket cut up among the crest lines at its near edges.

On one bearing, one crest hides all of a pocket up to the re-emergence. So what different crest lines hide
is parted by straight lines that run outwards, away from the station, from where crest lines end.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas
import numpy as np
import shapely
from rasterio.features import rasterize

from hillsight.reading.ground.cover import cell_transform
from hillsight.reading.ground.pockets import figures_of_posts
from hillsight.reading.ground.regions import HIDDEN
from hillsight.reading.things.extent import line_extent_deg, scattered_extent_deg
from hillsight.schema.frames import BUT_STATION, frame_of_rows

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Integers, Objects
    from hillsight.reading.ground.crest_lines import CrestLines
    from hillsight.reading.view import View


def behind_crests(
    view: View, pockets: geopandas.GeoDataFrame, lines: CrestLines, *, follow_cells: bool = False
) -> geopandas.GeoDataFrame:
    """Dead ground behind each crest line; the rows of one pocket tile it.

    Parameters
    ----------
    pockets : as ``reading.ground.pockets.pockets`` gives them
    lines : the view's crest lines
    follow_cells : whether the pockets are outlines of cells, which crest lines do not touch

    Returns
    -------
    frame with the columns of the layer ``dead_ground_by_crest`` but for ``station``, in its order, crest by
    crest; specks that no crest line is near to come last, with a null crest
    """
    polygons = pockets.geometry.to_numpy()
    faces, pocket = _faces(polygons, _cuts(view, lines, follow_cells=follow_cells))
    face_of_post = posts_of(view, faces)
    crest = _crest_of_faces(view, lines, faces, face_of_post)
    keys = np.column_stack((np.where(crest == 0, np.iinfo(np.int64).max, crest), pocket))
    groups, of_face = np.unique(keys, axis=0, return_inverse=True)
    of_face = of_face.ravel()
    ground = np.empty(len(groups), object)
    for i in range(len(groups)):
        ground[i] = shapely.multipolygons(shapely.get_parts(shapely.union_all(faces[of_face == i])))
    ground_of_post = np.append(of_face, -1)[face_of_post]  # a post in no face stays in none
    mean_m, greatest_m, _ = figures_of_posts(view, lines, ground_of_post, ground)
    role_of = dict(zip(lines.frame["crest"], lines.frame["role"], strict=True))
    numbers = pockets["pocket"].to_numpy(np.int64)
    coordinates, index = shapely.get_coordinates(ground, return_index=True)
    bearing, distance_m = view.measure(coordinates[:, 0], coordinates[:, 1])
    starts = np.searchsorted(index, np.arange(len(groups) + 1))
    rows = []
    for i, (number, in_pocket) in enumerate(groups.tolist()):
        known = number in role_of
        part = slice(starts[i], starts[i + 1])
        left, right = _extent_deg(ground[i], bearing[part])
        rows.append(
            {
                "crest": number if known else None,
                "role": role_of[number] if known else None,
                "pocket": int(numbers[in_pocket]),
                "area_ha": float(shapely.area(ground[i])) / 10_000,
                "nearest_m": float(distance_m[part].min()),
                "farthest_m": float(distance_m[part].max()),
                "bearing_from_true_deg": left,
                "bearing_to_true_deg": right,
                "depth_mean_m": float(mean_m[i]),
                "depth_max_m": float(greatest_m[i]),
                "state": "hidden",
            }
        )
    return frame_of_rows("dead_ground_by_crest", rows, ground, view.grid.crs, but=BUT_STATION)


def _cuts(view: View, lines: CrestLines, *, follow_cells: bool) -> Objects:
    """Lines outwards from both ends of each crest line, as far as it hides ground.

    Outlines of cells may lie a cell nearer than the crest: there the lines begin that much nearer.
    """
    reach_m = np.zeros(len(lines.frame) + 1)
    np.maximum.at(reach_m, lines.crest_of_post.ravel(), view.distance_m.ravel())  # of crest 0: not used
    spacing_m = 2 * max(view.grid.spacing_x_m, view.grid.spacing_y_m)
    eye = np.array([view.easting_m, view.northing_m])
    begins, ends = [], []
    for crest, geometry in zip(lines.frame["crest"], lines.frame.geometry, strict=True):
        for x, y, *_ in (geometry.coords[0], geometry.coords[-1]):
            place = np.array([x, y])
            away_m = float(np.hypot(*(place - eye)))
            until_m = reach_m[crest] + spacing_m
            if until_m > away_m > 0:
                nearer = max(0.0, 1 - spacing_m / away_m)
                begins.append(eye + nearer * (place - eye) if follow_cells else place)
                ends.append(eye + until_m / away_m * (place - eye))
    # Neighbouring crest lines may share an end.
    both = np.unique(np.hstack((np.array(begins).reshape(-1, 2), np.array(ends).reshape(-1, 2))), axis=0)
    cuts: Objects = shapely.linestrings(both.reshape(-1, 2, 2))
    return cuts


def _faces(polygons: Objects, cuts: Objects) -> tuple[Objects, Integers]:
    """Pieces that the cuts make of the pockets, and the index of the pocket each lies in."""
    if polygons.size == 0:
        return np.empty(0, object), np.empty(0, np.int64)
    noded = shapely.union_all(np.concatenate((shapely.boundary(polygons), cuts)))
    pieces = shapely.get_parts(shapely.polygonize(shapely.get_parts(noded)))
    tree = shapely.STRtree(shapely.point_on_surface(pieces))
    pocket, piece = tree.query(polygons, predicate="contains")
    return pieces[piece], pocket


def posts_of(view: View, polygons: Objects) -> Integers:
    """Index of the polygon that each hidden post within the reach lies in, -1 for none."""
    hidden = (view.classes == HIDDEN) & view.within_reach
    if polygons.size == 0:
        return np.full(hidden.shape, -1)
    painted = rasterize(
        ((polygon, i + 1) for i, polygon in enumerate(polygons)),
        out_shape=hidden.shape,
        transform=cell_transform(view.grid),
        dtype=np.int32,
    )
    return np.where(hidden, painted.astype(np.int64) - 1, -1)


def _crest_of_faces(view: View, lines: CrestLines, faces: Objects, face_of_post: Integers) -> Integers:
    """Crest line that hides most posts of each piece; of one without posts, the crest at its near edge."""
    _, _, crest = figures_of_posts(view, lines, face_of_post, faces, depths=False)
    for i in np.flatnonzero(crest == 0):
        xy = shapely.get_coordinates(faces[i])
        near = xy[np.argmin(view.grid_distance_m(xy[:, 0], xy[:, 1]))]
        within_m = 3 * float(np.hypot(view.grid.spacing_x_m, view.grid.spacing_y_m))
        crest[i] = lines.nearest(near[:1], near[1:], within_m)[0]
    return crest


def _extent_deg(ground: shapely.MultiPolygon, bearing_deg: Floats) -> tuple[float, float]:
    """Left and right edge of a piece, or of all its parts together."""
    if shapely.get_num_geometries(ground) > 1:
        return scattered_extent_deg(bearing_deg)
    outer = shapely.get_num_coordinates(shapely.get_exterior_ring(shapely.get_geometry(ground, 0)))
    return line_extent_deg(bearing_deg[:outer])
