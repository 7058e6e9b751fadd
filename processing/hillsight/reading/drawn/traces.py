"""Map features as traces on a drawn view: along their ground, as far as they are seen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from hillsight.ground.geodesy import grid_bearing_deg
from hillsight.reading.drawn.fan import apparent_angle_deg
from hillsight.reading.things.seen_outlines import seen_lines
from hillsight.sight.points import ground_between_posts

if TYPE_CHECKING:
    import geopandas

    from hillsight.arrays import Floats
    from hillsight.reading.view import SightLines

#: Vertices are put so near each other (of a post spacing) that a trace bends as the ground does.
_EVERY_POSTS = 0.5

#: A trace that takes more vertices than this is drawn with fewer.
_MOST_VERTICES = 20_000


@dataclass(frozen=True)
class FeatureTrace:
    """One seen piece of a line feature, or of an area's outline; each array (n,), n >= 2.

    place : of the feature among those given
    sort : "line" or "outline"
    points : (n, 3) easting, northing, height of the feature's top there, in the terrain's datum
    bearing_grid_deg, angle_deg, distance_m : as the eye sees it
    """

    place: int
    sort: str
    points: Floats
    bearing_grid_deg: Floats
    angle_deg: Floats
    distance_m: Floats


def feature_traces(
    lines: SightLines, features: geopandas.GeoDataFrame, listed: geopandas.GeoDataFrame
) -> list[FeatureTrace]:
    """Seen pieces of lines and of areas' outlines, by the rule of the layer ``seen_lines``.

    Parameters
    ----------
    features : as for ``bearing_list``
    listed : a bearing list of them, each row's index the place of its feature
    """
    outlines = features.copy(deep=False)
    dimensions = shapely.get_dimensions(features.geometry.to_numpy())
    shapes = features.geometry.to_numpy().copy()
    shapes[dimensions == 2] = shapely.boundary(shapes[dimensions == 2])
    outlines[outlines.geometry.name] = shapes
    seen = seen_lines(lines, outlines, listed)
    place_of = dict(zip(listed["rank"].astype(int), listed.index, strict=True))
    every_m = _EVERY_POSTS * min(lines.grid.spacing_x_m, lines.grid.spacing_y_m)
    found = []
    for rank, shape in zip(seen["rank"].astype(int), seen.geometry, strict=True):
        place = int(place_of[rank])
        sort = "outline" if dimensions[place] == 2 else "line"
        height_m = float(features["target_height_m"].iloc[place])
        height_m = lines.viewing.target_height_m if np.isnan(height_m) else height_m
        step_m = max(every_m, shape.length / _MOST_VERTICES)
        for part in shapely.get_parts(shapely.segmentize(shape, step_m)):
            trace = _trace(lines, place, sort, shapely.get_coordinates(part), height_m)
            if trace is not None:
                found.append(trace)
    return found


def _trace(lines: SightLines, place: int, sort: str, xy: Floats, height_m: float) -> FeatureTrace | None:
    ground_m = ground_between_posts(lines.surface, xy[:, 0], xy[:, 1])
    distance_m = lines.grid_distance_m(xy[:, 0], xy[:, 1])
    known = np.isfinite(ground_m) & (distance_m > 0)
    if known.sum() < 2:
        return None
    xy, top_m, distance_m = xy[known], ground_m[known] + height_m, distance_m[known]
    bearing = np.unwrap(grid_bearing_deg(lines.easting_m, lines.northing_m, xy[:, 0], xy[:, 1]), period=360.0)
    angle = apparent_angle_deg(lines, top_m, distance_m)
    return FeatureTrace(place, sort, np.column_stack((xy, top_m)), bearing, angle, distance_m)
