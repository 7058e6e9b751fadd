"""Crest lines: where ground turns out of view with hidden ground behind it.

Every pocket of dead ground starts at such a line: on any bearing, the last ground seen before a pocket
is the ground that hides all of it up to the re-emergence. So the near edges of the pockets are the
crest lines, and each hidden post belongs to the line through the crossing that sets its grazing line.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING

import geopandas
import numpy as np
import pandas as pd
import shapely
from scipy.spatial import cKDTree

from hillsight.reading.ground.cover import places_on_map, vertex_posts
from hillsight.reading.ground.regions import HIDDEN, UNCERTAIN, VISIBLE
from hillsight.reading.things.extent import line_extent_deg
from hillsight.schema.frames import BUT_STATION, frame_of_rows

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats, Integers
    from hillsight.reading.ground.regions import Tiling
    from hillsight.reading.view import View

#: A hidden post's controlling crest lies this near (in spacings) to the edge that it is hidden behind.
_NEAR_POSTS = 2.0

#: Vertices that may be missing in a crest line before it is taken to end.
_GAP_VERTICES = 3

#: Shorter stretches of another role (vertices) do not split a crest line.
_LEAST_RUN = 8


@dataclass(frozen=True)
class CrestLines:
    """The crest lines of a view.

    frame : columns of the layer ``crest_lines`` but for ``station``, in its order, with geometry
    crest_of_post : (rows, columns) int64, the crest line that hides each hidden post, 0 for none
    """

    frame: geopandas.GeoDataFrame
    crest_of_post: Integers

    @cached_property
    def _tree(self) -> tuple[cKDTree | None, Integers]:
        coordinates, index = shapely.get_coordinates(self.frame.geometry.to_numpy(), return_index=True)
        if not coordinates.size:
            return None, np.empty(0, np.int64)
        return cKDTree(coordinates), self.frame["crest"].to_numpy(np.int64)[index]

    def nearest(self, eastings_m: Floats, northings_m: Floats, within_m: float) -> Integers:
        """Number of the crest line nearest to each place, 0 where none is within the distance."""
        tree, numbers = self._tree
        if tree is None:
            return np.zeros(len(eastings_m), np.int64)
        distance_m, at = tree.query(np.column_stack((eastings_m, northings_m)), distance_upper_bound=within_m)
        found = np.isfinite(distance_m)
        return np.where(found, numbers[np.where(found, at, 0)], 0)


@dataclass(frozen=True)
class _Stretch:
    """One crest line in the making: positions, heights and roles of its vertices, left to right."""

    easting_m: Floats
    northing_m: Floats
    height_m: Floats
    bearing_deg: Floats
    distance_m: Floats
    is_nearest: Flags
    is_sky: Flags


def crest_lines(view: View, tiling: Tiling) -> CrestLines:
    """Crest lines of a view, numbered by their nearest point, nearest first."""
    stretches = _stretches(view, tiling)
    stretches.sort(key=lambda s: (float(s.distance_m.min()), float(s.bearing_deg[0])))
    rows = [_row(number, stretch) for number, stretch in enumerate(stretches, 1)]
    shapes = [_line(s) for s in stretches]
    bare = frame_of_rows("crest_lines", rows, shapes, view.grid.crs, but=(*BUT_STATION, "hidden_ha"))
    empty = np.zeros((view.grid.rows, view.grid.columns), np.int64)
    crest_of_post = _assign_posts(view, CrestLines(bare, empty))
    hidden = crest_of_post[view.within_reach & (view.classes == HIDDEN)]
    posts = np.bincount(hidden, minlength=len(rows) + 1)[1:]
    cell_ha = view.grid.spacing_x_m * view.grid.spacing_y_m / 10_000
    for row, count in zip(rows, posts, strict=True):
        row["hidden_ha"] = count * cell_ha
    frame = frame_of_rows("crest_lines", rows, shapes, view.grid.crs, but=BUT_STATION)
    return CrestLines(frame, crest_of_post)


def _line(stretch: _Stretch) -> shapely.LineString:
    return shapely.linestrings(stretch.easting_m, stretch.northing_m, stretch.height_m)


def _row(number: int, stretch: _Stretch) -> dict[str, object]:
    left, right = line_extent_deg(stretch.bearing_deg)
    turned = np.unwrap(stretch.bearing_deg, period=360.0)
    widths = np.abs(np.gradient(turned)) + 1e-12
    nearest_share = float(np.average(stretch.is_nearest, weights=widths))
    sky_share = float(np.average(stretch.is_sky, weights=widths))
    role = "skyline" if sky_share >= 0.5 else "brow" if nearest_share >= 0.5 else "crest"
    return {
        "crest": number,
        "role": role,
        "nearest_share": nearest_share,
        "sky_share": sky_share,
        "distance_min_m": float(stretch.distance_m.min()),
        "distance_max_m": float(stretch.distance_m.max()),
        "bearing_from_true_deg": left,
        "bearing_to_true_deg": right,
        "height_min_m": float(stretch.height_m.min()),
        "height_max_m": float(stretch.height_m.max()),
        "length_m": float(np.hypot(np.diff(stretch.easting_m), np.diff(stretch.northing_m)).sum()),
    }


def _stretches(view: View, tiling: Tiling) -> list[_Stretch]:
    """Near edges of the pockets, each a run of vertices along a ring of hidden ground.

    Rings keep the hidden ground, here the far side, on their left: so each runs from left to right as
    seen from the station.
    """
    rings = tiling.rings(HIDDEN)
    if rings.vertices.size == 0:
        return []
    easting, northing = places_on_map(view, tiling, rings.vertices)
    row_a, column_a, row_b, column_b = vertex_posts(view, tiling, rings.vertices)
    classes = view.classes
    a_hidden = classes[row_a, column_a] == HIDDEN
    hidden_at = np.where(a_hidden, row_a, row_b), np.where(a_hidden, column_a, column_b)
    seen_at = np.where(a_hidden, row_b, row_a), np.where(a_hidden, column_b, column_a)
    at_m = view.grid_distance_m(easting, northing)
    spacing_m = max(view.grid.spacing_x_m, view.grid.spacing_y_m)
    is_crest = (
        (classes[hidden_at] == HIDDEN)
        & ((classes[seen_at] == VISIBLE) | (classes[seen_at] == UNCERTAIN))
        & (view.distance_m[hidden_at] > view.distance_m[seen_at])
        & (np.abs(view.posts.crest_distance_m[hidden_at] - at_m) <= _NEAR_POSTS * spacing_m)
        & (at_m <= view.viewing.reach_m)
    )
    runs = _runs(is_crest, rings.offsets)
    if not runs:
        return []
    used = np.unique(np.concatenate(runs))
    where = np.full(rings.vertices.size, -1)
    where[used] = np.arange(used.size)
    heights = view.surface.height_m.astype(np.float64)
    seen_height, hidden_height = heights[seen_at][used], heights[hidden_at][used]
    share = _share_from_seen(view, seen_at, easting, northing)[used]
    height = seen_height + share * (hidden_height - seen_height)
    # A meeting point's two posts may be one and the same void: take the highest ground at hand.
    height = np.where(np.isnan(height), np.fmax(seen_height, hidden_height), height)
    bearing, ground_m = view.measure(easting[used], northing[used])
    nearest, sky = _roles(view, easting[used], northing[used], at_m[used], spacing_m)
    stretches = []
    for run in runs:
        for part in _split_by_role(nearest[where[run]], sky[where[run]]):
            if part.stop - part.start < 2:
                continue
            k = where[run][part]
            stretch = _Stretch(
                easting[used][k], northing[used][k], height[k], bearing[k], ground_m[k], nearest[k], sky[k]
            )
            stretches.append(stretch)
    return stretches


def _share_from_seen(
    view: View,
    seen_at: tuple[Integers, Integers],
    easting: Floats,
    northing: Floats,
) -> Floats:
    """How far along its edge, from the seen post, each vertex lies: 0 to 1."""
    east, north = view.grid.to_map(seen_at[0].astype(float), seen_at[1].astype(float))
    share = np.hypot((easting - east) / view.grid.spacing_x_m, (northing - north) / view.grid.spacing_y_m)
    return np.clip(share, 0.0, 1.0)


def _runs(is_crest: Flags, offsets: Integers) -> list[Integers]:
    """Runs of crest vertices along each ring, short gaps bridged, at least two vertices each."""
    runs = []
    for start, end in pairwise(offsets):
        found = np.flatnonzero(is_crest[start:end])
        if found.size < 2:
            continue
        length = end - start
        steps = np.diff(np.r_[found, found[0] + length])
        breaks = np.flatnonzero(steps > _GAP_VERTICES + 1)
        if breaks.size == 0:
            runs.append(start + np.arange(found[0], found[0] + length + 1) % length)
            continue
        begin = found[(breaks + 1) % found.size]
        finish = found[np.roll(breaks, -1)]
        for a, b in zip(begin, finish, strict=True):
            run = start + np.arange(a, b + 1 if b >= a else b + length + 1) % length
            if run.size >= 2:
                runs.append(run)
    return runs


def _roles(
    view: View,
    easting: Floats,
    northing: Floats,
    at_m: Floats,
    spacing_m: float,
) -> tuple[Flags, Flags]:
    """For each crest vertex: whether no nearer ground turns out of view, whether sky stands behind it."""
    bearing_grid = np.degrees(np.arctan2(easting - view.easting_m, northing - view.northing_m))
    along = view.along(bearing_grid)
    tolerance_m = _NEAR_POSTS * spacing_m
    with np.errstate(invalid="ignore"):
        nearest = ~(along.brow_distance_m < at_m - tolerance_m)
        sky = np.abs(along.skyline_distance_m - at_m) <= tolerance_m
    return nearest, sky


def _split_by_role(nearest: Flags, sky: Flags) -> list[slice]:
    """Split a run where its role changes for good; brief changes are left in."""
    role = np.where(sky, 2, np.where(nearest, 1, 0))
    changes = np.r_[0, np.flatnonzero(np.diff(role)) + 1, role.size]
    cuts = [0]
    current = role[0]
    for start, end in pairwise(changes):
        if role[start] != current and end - start >= _LEAST_RUN:
            if start - cuts[-1] >= _LEAST_RUN:
                cuts.append(int(start))
            current = role[start]
    cuts.append(role.size)
    # Neighbouring parts share a vertex, so that the line has no gap.
    return [slice(a, min(b + 1, role.size)) for a, b in pairwise(cuts)]


def _assign_posts(view: View, lines: CrestLines) -> Integers:
    """Crest line that sets the grazing line of each hidden post within the reach, 0 for none near."""
    crest_of_post = np.zeros((view.grid.rows, view.grid.columns), np.int64)
    hidden = np.flatnonzero((view.classes == HIDDEN) & view.within_reach)
    if hidden.size == 0 or len(lines.frame) == 0:
        return crest_of_post
    rows, columns = np.divmod(hidden, view.grid.columns)
    share = view.posts.crest_distance_m.ravel()[hidden] / view.distance_m.ravel()[hidden]
    row = view.eye.row + share * (rows - view.eye.row)
    column = view.eye.column + share * (columns - view.eye.column)
    # Many posts share a crest: look each quarter-spacing place up once.
    row_key, column_key = np.round(row * 4).astype(np.int64), np.round(column * 4).astype(np.int64)
    key = row_key * (4 * view.grid.columns + 8) + column_key
    place_of_post, places = pd.factorize(key)
    first = np.empty(places.size, np.int64)
    first[place_of_post[::-1]] = np.arange(key.size)[::-1]  # of each place's posts the first is written last
    easting, northing = view.grid.to_map(row[first], column[first])
    within_m = 3 * float(np.hypot(view.grid.spacing_x_m, view.grid.spacing_y_m))
    np.put(crest_of_post, hidden, lines.nearest(easting, northing, within_m)[place_of_post])
    return crest_of_post
