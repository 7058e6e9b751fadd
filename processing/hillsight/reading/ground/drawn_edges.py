"""How far crests and edges of dead ground may be out, how deep it may be, and how sure all that is.

The view is looked at again over ground, place, eye and air drawn from the error model (Monte Carlo
propagation of error: JCGM 101, from memory). Of 79 draws, the 2nd smallest to the 2nd greatest make an
interval of 95 %, the 76th smallest difference a plus-minus: one more draw is as likely to fall into any of
the 80 gaps between them, and 76 of these lie inside (order statistics, closed form).

What is asked of a draw must have an answer in every draw. So an edge is not sought again among all the edges
of the drawn ground. A place of hidden ground behind it is held fixed, and the edge is the crest that hides
that place. In some draws that is another crest, mostly some slight rise near the feet. How often it is the
same one is told as a chance, and the plus-minus is that of the draws in which it is.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import shapely

from hillsight.ground.error_fields import ErrorFields
from hillsight.ground.roughness import rough_scale_m
from hillsight.reading.ground.behind_crests import posts_of
from hillsight.reading.ground.brows import first_brows
from hillsight.reading.ground.first_ground import sector_words
from hillsight.schema.frames import texts
from hillsight.sight.bearings import see_bearings
from hillsight.sight.doubt import Doubtful, on_terrain, targets_of
from hillsight.sight.points import see_points
from hillsight.sight.viewing import Eye

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    import geopandas

    from hillsight.arrays import Flags, Floats, Objects
    from hillsight.ground.accuracy import ErrorModel
    from hillsight.ground.grid import Surface
    from hillsight.reading.doubt.trust import Limits
    from hillsight.reading.view import View

DRAWS, _LEFT_OUT = 79, 1

#: A crest of a draw is the one reported if it lies this near, in spacings, or as a share of its distance.
#: Common practice, no source.
_SAME_POSTS, _SAME_SHARE = 3.0, 0.1

#: Places looked at for the deepest ground behind an edge.
_PLACES_BEHIND = 24

#: Mean radius (m) that the spread of refraction is reckoned with.
_EARTH_M = 6_371_000.0


@dataclass(frozen=True)
class HiddenPlaces:
    """Places of hidden ground, each (n,); NaN where there is none to ask about.

    row, column : on the lattice
    stated_m : the figure that is asked about, as the reading states it
    """

    row: Floats
    column: Floats
    stated_m: Floats


def drawn_views(view: View, errors: ErrorModel, draws: int = DRAWS) -> Iterator[tuple[Surface, Eye]]:
    """Ground and eye as they may be, one after another; a station astray stands on the ground where it is."""
    grid, eye = view.grid, view.eye
    fields = ErrorFields(grid, errors, rough_scale_m(view.surface.height_m))
    random = np.random.default_rng(7)
    for number in range(draws):
        drawn = replace(view.surface, height_m=view.surface.height_m + fields.drawn(number))
        down_m, right_m = random.normal(0.0, errors.station_position_m, 2)
        more_m = random.normal(0.0, errors.eye_height_m)
        drop = eye.drop_per_m + random.normal(0.0, errors.refraction) / (2.0 * _EARTH_M)
        surveyed_m = random.normal(0.0, errors.station_height_m or 0.0)
        row, column = eye.row + down_m / grid.spacing_y_m, eye.column + right_m / grid.spacing_x_m
        level_m = eye.level_m + surveyed_m
        if errors.station_height_m is None:
            ground_m = _height_m(drawn, row, column)
            if not np.isfinite(ground_m):  # off the terrain or on a void, where the station is not
                row, column = eye.row, eye.column
                ground_m = _height_m(drawn, row, column)
            # An eye that stood above or below its terrain's own ground goes on doing so.
            level_m = ground_m + (eye.level_m - _height_m(view.surface, eye.row, eye.column))
        yield drawn, Eye(row, column, level_m + more_m, drop)


def _height_m(surface: Surface, row: float, column: float) -> float:
    easting_m, northing_m = surface.grid.to_map(row, column)
    return surface.height_at_m(float(easting_m), float(northing_m))


def interval_m(values_m: Floats) -> tuple[Floats, Floats]:
    """Least and greatest of an interval of 95 %, each (n,), of values (n, draws).

    NaN where fewer than half of the values are known.
    """
    count = np.isfinite(values_m).sum(axis=1)
    ordered = np.sort(
        np.where(np.isfinite(values_m), values_m, np.inf), axis=1
    )  # what is not known comes last
    # The share that is left out at either end stays the same where values are missing.
    out = np.round((_LEFT_OUT + 1) / (DRAWS + 1) * (count + 1)).astype(int) - 1
    rows = np.arange(len(ordered))
    low_m, high_m = (ordered[rows, np.clip(at, 0, DRAWS - 1)] for at in (out, count - 1 - out))
    enough = 2 * count >= values_m.shape[1]
    return np.where(enough, low_m, np.nan), np.where(enough, high_m, np.nan)


def plus_minus_m(values_m: Floats, stated_m: Floats) -> Floats:
    """Half widths about what is stated (n,) that hold 95 % of values (n, draws); NaN as above."""
    off_m = np.abs(values_m - stated_m[:, None])
    count = np.isfinite(off_m).sum(axis=1)
    ordered = np.sort(np.where(np.isfinite(off_m), off_m, np.inf), axis=1)
    held = np.ceil((1.0 - 2.0 * (_LEFT_OUT + 1) / (DRAWS + 1)) * (count + 1)).astype(int) - 1
    half_m = ordered[np.arange(len(ordered)), np.clip(held, 0, DRAWS - 1)]
    return np.where(2 * count >= values_m.shape[1], half_m, np.nan)


def same_crest(distance_m: Floats, stated_m: Floats, spacing_m: float) -> Flags:
    """Whether crests so far off (n, draws) are those stated (n,)."""
    within_m = np.maximum(_SAME_SHARE * stated_m, _SAME_POSTS * spacing_m)[:, None]
    with np.errstate(invalid="ignore"):
        same: Flags = np.abs(distance_m - stated_m[:, None]) <= within_m
    return same


def add_ground_doubt(
    view: View, frames: Mapping[str, geopandas.GeoDataFrame], errors: ErrorModel, limits: Limits
) -> None:
    """Fill the columns of doubt of ``dead_ground_by_crest``, ``dead_ground``, ``crest_lines`` and
    ``first_ground``, frames without ``station``.

    No plus-minus of an edge is below the posts' spacing. (First brows on 100 m posts against those on the
    50 m posts that these were thinned from, 8,102 bearings in the Highlands of OS Terrain 50: where it is the
    same brow, 68 % lay within 0.53 spacings of each other, 90 % within 1.02.)
    """
    behind, pockets = frames["dead_ground_by_crest"], frames["dead_ground"]
    crests, sectors = frames["crest_lines"], frames["first_ground"]
    deepest = deepest_places(view, behind)
    edges = [
        behind_edges(view, *_nearest(view, frame.geometry.to_numpy())) for frame in (behind, pockets)
    ] + [behind_edges(view, *_end(view, crests.geometry.to_numpy(), far=far)) for far in (False, True)]
    every = [deepest, *edges]
    brows = _Brows(view, sectors)
    starts = np.cumsum([0] + [one.row.size for one in every])
    row, column, stated_m = (
        np.concatenate([getattr(one, name) for one in every]) for name in ("row", "column", "stated_m")
    )
    clearance_m, crest_m = (np.full((row.size, DRAWS), np.nan) for _ in range(2))
    asked = np.isfinite(row)
    for number, (ground, eye) in enumerate(drawn_views(view, errors)):
        if asked.any():
            seen = see_points(ground, eye, row[asked], column[asked], view.viewing.target_height_m)
            clearance_m[asked, number] = seen.clearance_m
            crest_m[asked, number] = np.where(seen.clearance_m < 0, seen.crest_distance_m, np.nan)
        brows.look(number, ground, eye)
    depths, *of_edges = (slice(first, last) for first, last in pairwise(starts))
    spacing_m = max(view.grid.spacing_x_m, view.grid.spacing_y_m)
    _write(behind, "depth_max_m", interval_m(np.maximum(-clearance_m[depths], 0.0)))
    same = same_crest(crest_m, stated_m, spacing_m)
    half_m = np.maximum(plus_minus_m(np.where(same, crest_m, np.nan), stated_m), spacing_m)
    behind["nearest_plus_minus_m"], pockets["nearest_plus_minus_m"] = half_m[of_edges[0]], half_m[of_edges[1]]
    crests["distance_min_plus_minus_m"] = half_m[of_edges[2]]
    crests["distance_max_plus_minus_m"] = half_m[of_edges[3]]
    near, far = (np.where(asked[part], same[part].mean(axis=1), np.nan) for part in of_edges[2:])
    crests["hides_probability"] = np.fmax(near, far)
    behind["hidden_probability"] = _hidden(view, errors, deepest)
    _of_deepest_part(behind, pockets)
    for frame in (behind, pockets):
        states = [
            "uncertain" if limits.state_word(1.0 - chance) == "uncertain" else "hidden"
            for chance in frame["hidden_probability"]
        ]
        frame["state"] = texts(states, frame.index)
    chance_of = behind.loc[behind.groupby("crest")["depth_max_m"].idxmax()].set_index("crest")
    crests["hidden_probability"] = crests["crest"].map(chance_of["hidden_probability"]).astype(float)
    brows.fill(spacing_m)


def _write(frame: geopandas.GeoDataFrame, name: str, interval: tuple[Floats, Floats]) -> None:
    """Write an interval beside a figure."""
    for end, values in zip(("low", "high"), interval, strict=True):
        frame[f"{name.removesuffix('_m')}_{end}_m"] = values


def _hidden(view: View, errors: ErrorModel, places: HiddenPlaces) -> Floats:
    """Chance that each place is hidden, (n,), as a viewshed's probability has it."""
    chance = np.full(places.row.size, np.nan)
    targets = targets_of(places.row, places.column, view.viewing.target_height_m)
    asked = on_terrain(view.grid, targets)
    if asked.any():
        doubtful = Doubtful.of(view.surface, view.eye, errors)
        chance[asked] = 1.0 - doubtful.chances(targets[asked]).chance
    return chance


def _of_deepest_part(behind: geopandas.GeoDataFrame, pockets: geopandas.GeoDataFrame) -> None:
    """Give each pocket the doubt of its deepest ground: rows of ``dead_ground_by_crest`` are its parts."""
    parts = behind.loc[behind.groupby("pocket")["depth_max_m"].idxmax()].set_index("pocket")
    for name in ("depth_max_low_m", "depth_max_high_m", "hidden_probability"):
        pockets[name] = pockets["pocket"].map(parts[name]).astype(float)


def deepest_places(view: View, behind: geopandas.GeoDataFrame) -> HiddenPlaces:
    """Where each part of the dead ground is deepest; a part without posts is asked about inside."""
    polygons = behind.geometry.to_numpy()
    owner = posts_of(view, polygons).ravel()
    row, column = np.full(len(polygons), np.nan), np.full(len(polygons), np.nan)
    at = np.flatnonzero(owner >= 0)
    depth_m = view.depth_m.ravel()[at]
    greatest_m = np.full(len(polygons), -np.inf, np.float32)
    np.maximum.at(greatest_m, owner[at], depth_m)
    found = at[depth_m == greatest_m[owner[at]]]
    row[owner[found]], column[owner[found]] = np.divmod(found, view.grid.columns)
    without = np.isnan(row)
    if without.any():
        inside = shapely.get_coordinates(shapely.point_on_surface(polygons[without]))
        row[without], column[without] = view.grid.to_array(inside[:, 0], inside[:, 1])
    return HiddenPlaces(row, column, behind["depth_max_m"].to_numpy(np.float64))


def _nearest(view: View, polygons: Objects) -> tuple[Floats, Floats]:
    """Nearest place of each polygon."""
    lines = shapely.shortest_line(shapely.Point(view.easting_m, view.northing_m), polygons)
    near = shapely.get_coordinates(lines)[1::2]
    return near[:, 0], near[:, 1]


def _end(view: View, lines: Objects, *, far: bool) -> tuple[Floats, Floats]:
    """Nearest or farthest vertex of each line."""
    coordinates, index = shapely.get_coordinates(lines, return_index=True)
    away_m = view.grid_distance_m(coordinates[:, 0], coordinates[:, 1])
    order = np.lexsort((away_m if far else -away_m, index))
    chosen = np.zeros(len(lines), np.int64)
    chosen[index[order]] = order
    return coordinates[chosen, 0], coordinates[chosen, 1]


def behind_edges(view: View, easting_m: Floats, northing_m: Floats) -> HiddenPlaces:
    """The deepest ground that each edge hides on its bearing; NaN where the edge hides none."""
    edge_m = view.grid_distance_m(easting_m, northing_m)
    count = edge_m.size
    none = np.full(count, np.nan)
    if not count:
        return HiddenPlaces(none, none, none)
    spacing_m = max(view.grid.spacing_x_m, view.grid.spacing_y_m)
    along = np.geomspace(
        0.5 * spacing_m, max(view.viewing.reach_m - float(edge_m.min()), spacing_m), _PLACES_BEHIND
    )
    with np.errstate(invalid="ignore", divide="ignore"):
        share = 1.0 + along[None, :] / edge_m[:, None]
    east = view.easting_m + share * (easting_m - view.easting_m)[:, None]
    north = view.northing_m + share * (northing_m - view.northing_m)[:, None]
    row, column = view.grid.to_array(east.ravel(), north.ravel())
    seen = see_points(view.surface, view.eye, row, column, view.viewing.target_height_m, view.maxima)
    depth_m = -seen.clearance_m.reshape(share.shape)
    crest_m = seen.crest_distance_m.reshape(share.shape)
    within = edge_m[:, None] + along[None, :] <= view.viewing.reach_m
    with np.errstate(invalid="ignore"):
        ours = within & (np.abs(crest_m - edge_m[:, None]) <= _SAME_POSTS * spacing_m) & (depth_m > 0)
    best = np.argmax(np.where(ours, depth_m, -np.inf), axis=1)
    at = np.arange(count), best
    there = ours[at]
    return HiddenPlaces(
        np.where(there, row.reshape(share.shape)[at], np.nan),
        np.where(there, column.reshape(share.shape)[at], np.nan),
        edge_m,
    )


class _Brows:
    """The first brow on the bearing of each sector's figures, draw by draw."""

    def __init__(self, view: View, sectors: geopandas.GeoDataFrame):
        self.view, self.sectors = view, sectors
        self.met = np.flatnonzero(sectors["brow_distance_m"].notna())
        self.stated_m = sectors["brow_distance_m"].to_numpy(np.float64)[self.met]
        true_deg = sectors["brow_bearing_true_deg"].to_numpy(np.float64)[self.met]
        convergence = float(view.geodesy.convergence_deg(view.easting_m, view.northing_m))
        self.grid_deg = np.asarray(true_deg - convergence, np.float64)
        self.found = np.full((3, self.met.size, DRAWS), np.nan)

    def look(self, number: int, ground: Surface, eye: Eye) -> None:
        """Look along the bearings in one draw."""
        if self.met.size:
            along = see_bearings(ground, eye, self.view.viewing.reach_m, self.grid_deg)
            brows = first_brows(along.crests)
            self.found[:, :, number] = np.stack((brows.brow_m, brows.out_again_m, brows.depth_m))

    def fill(self, spacing_m: float) -> None:
        """Write what the draws tell of every figure."""
        brow_m, out_again_m, depth_m = self.found
        same = same_crest(brow_m, self.stated_m, spacing_m)
        half_m = np.maximum(plus_minus_m(np.where(same, brow_m, np.nan), self.stated_m), spacing_m)
        self._write("brow_probability", same.mean(axis=1))
        self._write("brow_distance_plus_minus_m", half_m)
        for name, values_m in (("out_again", out_again_m), ("depth_max", depth_m)):
            for end, ends_m in zip(
                ("low", "high"), interval_m(np.where(same, values_m, np.nan)), strict=True
            ):
                self._write(f"{name}_{end}_m", ends_m)
        # The words say no more than the figures now do.
        rows = self.sectors.drop(columns="geometry").to_dict("records")
        told = [sector_words(row, spacing_m) for row in rows]
        self.sectors["description"] = texts(told, self.sectors.index)

    def _write(self, name: str, values: Floats) -> None:
        full = np.full(len(self.sectors), np.nan)
        full[self.met] = values
        self.sectors[name] = full
