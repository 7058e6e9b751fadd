"""Pockets of dead ground: connected ground that a station cannot see, with what hides it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas
import numpy as np
import pandas as pd
import shapely
from rasterio.features import rasterize

from hillsight.reading.ground.cover import cell_transform
from hillsight.reading.ground.regions import HIDDEN
from hillsight.reading.things.extent import line_extent_deg
from hillsight.schema.frames import BUT_STATION, frame_of_rows

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Integers, Objects
    from hillsight.reading.ground.cover import Cover
    from hillsight.reading.ground.crest_lines import CrestLines
    from hillsight.reading.view import View


def pockets(
    view: View, cover: Cover, lines: CrestLines, least_area_ha: float = 0.0
) -> geopandas.GeoDataFrame:
    """Pockets of at least an area, numbered nearest first.

    Columns of the layer ``dead_ground`` but for ``station``, in its order, with geometry. Depths are
    those of the posts inside; a pocket too narrow to hold a post has the depth found at a point inside.
    """
    area_ha = shapely.area(cover.hidden.polygons) / 10_000
    keep = area_ha >= least_area_ha
    polygons, pieces, area_ha = cover.hidden.polygons[keep], cover.hidden.pieces[keep], area_ha[keep]
    owner = _post_owner(view, cover, polygons, pieces)
    mean_m, greatest_m, crest = figures_of_posts(view, lines, owner, polygons)
    rows = []
    coordinates, index = shapely.get_coordinates(polygons, return_index=True)
    bearing, distance_m = view.measure(coordinates[:, 0], coordinates[:, 1])
    starts = np.searchsorted(index, np.arange(polygons.size + 1))
    # The farthest place of a polygon is a vertex; the nearest may lie between two.
    to_near_edge = shapely.shortest_line(shapely.Point(view.easting_m, view.northing_m), polygons)
    near_e, near_n = shapely.get_coordinates(to_near_edge)[1::2].T
    _, nearest_m = view.measure(near_e, near_n)
    for i in range(polygons.size):
        part = slice(starts[i], starts[i + 1])
        outer = shapely.get_num_coordinates(shapely.get_exterior_ring(polygons[i]))
        left, right = line_extent_deg(bearing[part][:outer])
        rows.append(
            {
                "area_ha": area_ha[i],
                "nearest_m": nearest_m[i],
                "farthest_m": distance_m[part].max(),
                "bearing_from_true_deg": left,
                "bearing_to_true_deg": right,
                "depth_mean_m": mean_m[i],
                "depth_max_m": greatest_m[i],
                "state": "hidden",
                "crest": crest[i] or None,
            }
        )
    order = sorted(range(len(rows)), key=lambda i: (rows[i]["nearest_m"], rows[i]["bearing_from_true_deg"]))
    ordered = [{"pocket": number, **rows[i]} for number, i in enumerate(order, 1)]
    return frame_of_rows("dead_ground", ordered, polygons[order], view.grid.crs, but=BUT_STATION)


def _post_owner(view: View, cover: Cover, polygons: Objects, pieces: Integers) -> Integers:
    """Index of the pocket each post belongs to, -1 for none, (rows, columns)."""
    piece_count = int(max(cover.post_pieces.max(initial=0), pieces.max(initial=0))) + 1
    parts = np.bincount(cover.hidden.pieces, minlength=piece_count)
    pocket_of_piece = np.full(piece_count, -1)
    pocket_of_piece[pieces] = np.arange(pieces.size)
    hidden = (view.classes == HIDDEN) & view.within_reach
    owner = np.where(hidden, pocket_of_piece[cover.post_pieces], -1)
    # The reach may cut one piece of ground into several pockets: there the place of the post decides.
    split = np.flatnonzero(parts > 1)
    if split.size:
        candidates = np.flatnonzero(parts[pieces] > 1)
        painted = rasterize(
            ((polygons[i], i + 1) for i in candidates),
            out_shape=owner.shape,
            transform=cell_transform(view.grid),
            dtype=np.int32,
        )
        of_split = hidden & np.isin(cover.post_pieces, split)
        owner[of_split] = painted[of_split].astype(np.int64) - 1
    return owner


def figures_of_posts(
    view: View,
    lines: CrestLines,
    owner: Integers,
    polygons: Objects,
    *,
    depths: bool = True,
) -> tuple[Floats, Floats, Integers]:
    """Mean and greatest depth of each polygon's posts, and the crest line that hides most of them.

    Parameters
    ----------
    owner : (rows, columns), index of the polygon each hidden post lies in, -1 for none
    polygons : (n,) hidden ground; one without posts gets the depth at a point inside
    depths : False leaves the depths of polygons without posts out, as NaN and -inf

    Returns
    -------
    mean depth, greatest depth (metres), number of the crest line (0 if no post has one), each (n,)
    """
    n = polygons.size
    at = np.flatnonzero(owner.ravel() >= 0)
    of_pocket, depth_m = owner.ravel()[at], view.depth_m.ravel()[at].astype(np.float64)
    count = np.bincount(of_pocket, minlength=n)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean_m = np.bincount(of_pocket, weights=depth_m, minlength=n) / count
    greatest_m = np.full(n, -np.inf)
    np.maximum.at(greatest_m, of_pocket, depth_m)
    without = np.flatnonzero(count == 0)
    if depths and without.size:
        # All at once: each look at single places lowers all posts anew.
        inside = shapely.get_coordinates(shapely.point_on_surface(polygons[without]))
        seen = view.at(inside[:, 0], inside[:, 1], view.viewing.target_height_m)
        mean_m[without] = greatest_m[without] = np.maximum(0.0, -np.nan_to_num(seen.clearance_m))
    crest = np.zeros(n, np.int64)
    crest_of_post = lines.crest_of_post.ravel()[at]
    known = crest_of_post > 0
    crest_count = int(crest_of_post.max(initial=0)) + 1
    pair_of_post, pairs = pd.factorize(of_pocket[known] * crest_count + crest_of_post[known])
    hits = np.bincount(pair_of_post, minlength=pairs.size)
    # Ascending hits, and the nearer crest last among equals: the last written stands.
    for k in np.lexsort((-pairs, hits)):
        crest[pairs[k] // crest_count] = pairs[k] % crest_count
    return mean_m, greatest_m, crest
