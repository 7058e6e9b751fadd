"""The seen parts of line and area features as shapes, with what is seen, hidden and unknown of each."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import geopandas
import numpy as np
import shapely
from shapely.ops import substring

from hillsight.reading.ground import cover
from hillsight.reading.things.samples import places_along
from hillsight.schema.frames import BUT_STATION, frame_of

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Objects
    from hillsight.reading.view import SightLines, View
    from hillsight.sight.posts import PostSight


_SHARED = ("rank", "name", "kind", "evidence_class", "source")
_LINE_FIGURES = ("seen_length_m", "hidden_length_m", "unknown_length_m")
_AREA_FIGURES = ("seen_ha", "hidden_ha", "unknown_ha")

#: Of a line without end no more places than this are looked at.
_MOST_PLACES = 4_000

#: Posts taken around an area, so that its edges never meet those of the window.
_MARGIN = 3

_SEEN, _HIDDEN, _UNKNOWN = 0, 1, 2


def seen_lines(
    view: SightLines, features: geopandas.GeoDataFrame, listed: geopandas.GeoDataFrame
) -> geopandas.GeoDataFrame:
    """Seen parts of the line features of a bearing list, within the reach.

    Lines are looked at every half post spacing and cut where clearance, taken as straight between two
    places, crosses zero; halfway where one of the two is unknown.

    Parameters
    ----------
    features : as for ``bearing_list``
    listed : a bearing list of them, each row's index the place of its feature

    Returns
    -------
    frame with the columns of the layer ``seen_lines`` but for ``station``, in the order of the list
    """
    reach = cover.reach_polygon(view.easting_m, view.northing_m, view.viewing.reach_m)
    spacing_m = min(view.grid.spacing_x_m, view.grid.spacing_y_m) / 2
    owners, lines, places = [], [], []
    for row, position in enumerate(listed.index):
        shape = features.geometry.iloc[position]
        if shapely.get_dimensions(shape) != 1:
            continue
        within = shapely.get_parts(shapely.get_parts(shapely.intersection(shape, reach)))
        within = [part for part in within if part.geom_type == "LineString" and part.length > 0]
        total_m = sum(part.length for part in within)
        for part in within:
            step_m = max(spacing_m, total_m / _MOST_PLACES)
            owners.append(row)
            lines.append(part)
            places.append(np.linspace(0.0, part.length, max(1, int(np.ceil(part.length / step_m))) + 1))
    clearances = _clearances(view, features, listed, owners, lines, places)
    found: dict[int, tuple[list[Any], Floats]] = {}
    for row, line, at_m, clearance_m in zip(owners, lines, places, clearances, strict=True):
        shapes, lengths_m = found.setdefault(row, ([], np.zeros(3)))
        for state, start_m, end_m in _stretches(at_m, clearance_m):
            lengths_m[state] += end_m - start_m
            if state == _SEEN:
                shapes.append(substring(line, start_m, end_m))
    rows = [(row, shapely.MultiLineString(shapes), m) for row, (shapes, m) in found.items() if shapes]
    return _frame("seen_lines", view, listed, rows, _LINE_FIGURES)


def _clearances(
    view: SightLines,
    features: geopandas.GeoDataFrame,
    listed: geopandas.GeoDataFrame,
    owners: list[int],
    lines: list[Any],
    places: list[Floats],
) -> list[Floats]:
    """Clearance at the places along each line, all looked up at once."""
    if not lines:
        return []
    points = np.concatenate([places_along(line, at_m) for line, at_m in zip(lines, places, strict=True)])
    counts = [at_m.size for at_m in places]
    heights_m = [_target_height_m(view, features, listed.index[row]) for row in owners]
    clearance_m = view.at(points[:, 0], points[:, 1], np.repeat(heights_m, counts)).clearance_m
    # No nearer ground: boundless, and for the cut as good as the eye's height, as in reading/ground/cover.py.
    clearance_m = np.where(np.isposinf(clearance_m), max(view.viewing.eye_height_m, 0.1), clearance_m)
    return np.split(clearance_m, np.cumsum(counts)[:-1])


def _target_height_m(view: SightLines, features: geopandas.GeoDataFrame, position: int) -> float:
    height_m = float(features["target_height_m"].iloc[position])
    return view.viewing.target_height_m if np.isnan(height_m) else height_m


def _stretches(at_m: Floats, clearance_m: Floats) -> list[tuple[int, float, float]]:
    """State, start and end of each stretch of one state along a line."""
    with np.errstate(invalid="ignore"):
        state = np.where(np.isnan(clearance_m), _UNKNOWN, np.where(clearance_m < 0, _HIDDEN, _SEEN))
    changes = np.flatnonzero(np.diff(state))
    cuts_m = []
    for i in changes:
        share = 0.5
        if _UNKNOWN not in (state[i], state[i + 1]):
            share = clearance_m[i] / (clearance_m[i] - clearance_m[i + 1])
        cuts_m.append(float(at_m[i] + share * (at_m[i + 1] - at_m[i])))
    bounds_m = [float(at_m[0]), *cuts_m, float(at_m[-1])]
    states = [int(state[0]), *(int(state[i + 1]) for i in changes)]
    pieces = zip(states, bounds_m[:-1], bounds_m[1:], strict=True)
    return [(which, start_m, end_m) for which, start_m, end_m in pieces if end_m > start_m]


def seen_areas(
    view: View, features: geopandas.GeoDataFrame, listed: geopandas.GeoDataFrame, ground: cover.Cover
) -> geopandas.GeoDataFrame:
    """Seen parts of the area features of a bearing list, within the reach.

    Edges are the zero line of the clearance of things as tall as the feature, as those of visible ground are
    for the view's own target height.

    Parameters
    ----------
    features, listed : as in ``seen_lines``
    ground : of the view; used for the areas that take up much of it

    Returns
    -------
    frame with the columns of the layer ``seen_areas`` but for ``station``, in the order of the list
    """
    reach = cover.reach_polygon(view.easting_m, view.northing_m, view.viewing.reach_m)
    rows = []
    for row, position in enumerate(listed.index):
        shape = features.geometry.iloc[position]
        if shapely.get_dimensions(shape) != 2:
            continue
        within = shapely.intersection(shape, reach)
        if shapely.is_empty(within) or shapely.area(within) == 0:
            continue
        around = _ground_around(view, within, _target_height_m(view, features, position), ground)
        cut = [
            _areal(shapely.intersection(patches.polygons, within))
            for patches in (around.visible, around.hidden, around.unknown)
        ]
        areas_ha = np.array([float(shapely.area(parts).sum()) / 10_000 for parts in cut])
        if areas_ha[_SEEN] > 0:
            rows.append((row, shapely.multipolygons(cut[_SEEN]), areas_ha))
    return _frame("seen_areas", view, listed, rows, _AREA_FIGURES)


def _areal(shapes: Objects) -> Objects:
    parts = shapely.get_parts(shapely.get_parts(shapes))
    polygons: Objects = parts[(shapely.get_type_id(parts) == 3) & (shapely.area(parts) > 0)]
    return polygons


def _ground_around(
    view: View, shape: shapely.Geometry, target_height_m: float, ground: cover.Cover
) -> cover.Cover:
    """What is seen, hidden, uncertain and unknown for things of a height, around a shape within the reach."""
    rows, columns = view.classes.shape
    west, south, east, north = shape.bounds
    (top, bottom), (left, right) = view.grid.to_array(np.array([west, east]), np.array([north, south]))
    first_row, last_row = _cut(top - _MARGIN, rows), _cut(bottom + _MARGIN, rows)
    first_column, last_column = _cut(left - _MARGIN, columns), _cut(right + _MARGIN, columns)
    part = (slice(first_row, last_row + 1), slice(first_column, last_column + 1))
    raised_m = target_height_m - view.viewing.target_height_m
    if raised_m == 0 and 4 * view.classes[part].size > view.classes.size:
        return ground
    size = last_row - first_row + 1, last_column - first_column + 1
    local = replace(
        view,
        surface=view.surface.part(first_row, first_column, *size),
        posts=_raised(view, part, raised_m, target_height_m),
        maxima=None,
    )
    return cover.contoured(local, cover.tile(local))


def _cut(place: float, size: int) -> int:
    return int(np.clip(round(float(place)), 0, size - 1))


def _raised(view: View, part: tuple[slice, slice], raised_m: float, target_height_m: float) -> PostSight:
    """Answers of some posts for a target that stands so much taller than the view's own."""
    clearance_m = view.posts.clearance_m[part]
    raised = clearance_m + np.float32(raised_m)
    if raised_m > 0 and np.isnan(view.surface.height_m).any():
        # What now rises into view may do so across a void, which nobody told of what was hidden.
        row, column = np.nonzero((clearance_m < 0) & (raised >= 0))
        if row.size:
            east, north = view.grid.to_map(row + part[0].start, column + part[1].start)
            raised[row, column] = view.at(east, north, target_height_m).clearance_m
    return replace(
        view.posts,
        clearance_m=raised.astype(np.float32),
        crest_distance_m=view.posts.crest_distance_m[part],
        light=view.posts.light[part] if view.posts.light.size else view.posts.light,
    )


def _frame(
    layer: str,
    view: SightLines,
    listed: geopandas.GeoDataFrame,
    rows: list[tuple[int, Any, Floats]],
    figures: tuple[str, ...],
) -> geopandas.GeoDataFrame:
    at = [row for row, _, _ in rows]
    amounts = np.array([found for _, _, found in rows], float).reshape(-1, len(figures))
    columns: dict[str, Any] = {name: listed[name].iloc[at] for name in _SHARED}
    columns |= {name: amounts[:, i] for i, name in enumerate(figures)}
    return frame_of(layer, columns, [shape for _, shape, _ in rows], view.grid.crs, but=BUT_STATION)
