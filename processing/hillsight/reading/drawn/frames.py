"""A drawn view as layers: every line and landmark on the ground, and where it lies on each picture."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from hillsight.reading.drawn.clipping import along, inside_runs, may_be_on
from hillsight.reading.drawn.fan import places_of
from hillsight.schema.frames import BUT_STATION, frame_of_rows
from hillsight.sight.cylinder import Cylinder
from hillsight.sight.points import ground_between_posts
from hillsight.words.angles import wrap_deg

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    import geopandas

    from hillsight.arrays import Floats
    from hillsight.reading.drawn.drawn_view import DrawnView
    from hillsight.reading.drawn.landmarks import Landmark
    from hillsight.sight.cylinder import Projection

#: Corners of a sector's outline for each so many degrees.
_OUTLINE_STEP_DEG = 2.0

#: A line's vertices may be thinned where it stays so near its true place on the picture (pixels).
_TOLERANCE_PX = 0.05


@dataclass(frozen=True)
class Laid:
    """A picture as it was drawn.

    sheet_x_px, sheet_y_px : its upper left corner on the page, from the page's upper left corner
    angles : of a camera: heading_grid_deg, tilt_deg, roll_deg, focal_px; empty for a cylinder
    """

    projection: Projection
    sheet_x_px: float = 0.0
    sheet_y_px: float = 0.0
    angles: Mapping[str, float] | None = None


@dataclass(frozen=True)
class _Line:
    """A line of the view: (n,) each; points are (n, 3) on the ground."""

    values: dict[str, Any]
    bearing_grid_deg: Floats
    angle_deg: Floats
    points: Floats


def panorama_frames(
    view: DrawnView, pictures: Sequence[Laid], found: Sequence[Landmark], first: int = 1
) -> dict[str, geopandas.GeoDataFrame]:
    """Layers ``panorama_frames``, ``panorama_lines`` and ``panorama_points`` but for ``station``.

    Parameters
    ----------
    found : landmarks of the view
    first : number of the first picture; the others count on
    """
    lines = list(_lines(view))
    rows: dict[str, list[dict[str, Any]]] = {"frames": [], "lines": [], "points": []}
    shapes: dict[str, list[Any]] = {"frames": [], "lines": [], "points": []}
    for number, laid in enumerate(pictures, first):
        rows["frames"].append(_frame_row(view, laid, number))
        shapes["frames"].append(_sector(view, laid.projection))
        count = 0
        for line in lines:
            for row, shape in _on_picture(view, line, laid.projection):
                count += 1
                rows["lines"].append({"picture": number, "line": count, **row})
                shapes["lines"].append(shape)
        for landmark in found:
            placed = _point_row(landmark, laid.projection)
            if placed is not None:
                rows["points"].append({"picture": number, **placed})
                shapes["points"].append(
                    shapely.Point(landmark.easting_m, landmark.northing_m, landmark.height_m)
                )
    crs = view.lines.grid.crs
    return {
        f"panorama_{kind}": frame_of_rows(f"panorama_{kind}", rows[kind], shapes[kind], crs, but=BUT_STATION)
        for kind in rows
    }


def _lines(view: DrawnView) -> Iterator[_Line]:
    """All lines of a view that has somewhere to run on the ground."""
    fan = view.fan
    for piece in view.sky:
        points = _ground(view, fan.bearing_grid_deg[piece.at], fan.sky_m[piece.at])
        yield _Line({"role": "skyline"}, fan.bearing_grid_deg[piece.at], fan.sky_deg[piece.at], points)
    for track in view.crests:
        bearing = fan.bearing_grid_deg[track.at]
        lost = track.lost_m[np.isfinite(track.lost_m)]
        values = {
            "role": track.role,
            "dead_ground_max_m": float(lost.max()) if lost.size else None,
            "depth_max_m": float(np.nanmax(track.depth_m)),
        }
        yield _Line(values, bearing, track.angle_deg, _ground(view, bearing, track.distance_m))
    for trace in view.traces:
        assert view.features is not None
        feature = view.features.iloc[trace.place]
        values = {"role": trace.sort, **{name: feature[name] for name in ("name", "kind", "evidence_class")}}
        yield _Line(values, trace.bearing_grid_deg, trace.angle_deg, trace.points)


def _ground(view: DrawnView, bearing_deg: Floats, distance_m: Floats) -> Floats:
    east, north = places_of(view.lines, bearing_deg, distance_m)
    surface = view.lines.far.surface if view.lines.far is not None else view.lines.surface
    return np.column_stack((east, north, ground_between_posts(surface, east, north)))


def _on_picture(view: DrawnView, line: _Line, projection: Projection) -> Iterator[tuple[dict[str, Any], Any]]:
    """The pieces of a line on a picture, each as a row and its shape on the ground."""
    if not may_be_on(projection, line.bearing_grid_deg):
        return
    x, y = projection.pixels(line.bearing_grid_deg, line.angle_deg)
    for places in inside_runs(x, y, projection.width_px, projection.height_px):
        there = np.column_stack((along(x, places), along(y, places)))
        kept = _thinned(there)
        if kept.size < 2:
            continue
        places, there = places[kept], there[kept]
        points = np.column_stack([along(line.points[:, i], places) for i in range(3)])
        angle = along(line.angle_deg, places)
        distance_m = view.lines.measure(points[:, 0], points[:, 1])[1]
        row = {
            **line.values,
            "distance_min_m": float(distance_m.min()),
            "distance_max_m": float(distance_m.max()),
            "vertical_angle_min_deg": float(angle.min()),
            "vertical_angle_max_deg": float(angle.max()),
            "picture_wkt": shapely.to_wkt(shapely.linestrings(there), rounding_precision=2),
        }
        yield row, shapely.linestrings(points)


def _thinned(there: Floats) -> Any:
    """Indices of the vertices that a line on the picture needs."""
    # Simplifying keeps vertices as they are.
    simple = shapely.get_coordinates(shapely.simplify(shapely.linestrings(there), _TOLERANCE_PX))
    return np.flatnonzero(np.isin(there @ (1.0, 1.0j), simple @ (1.0, 1.0j)))


def _frame_row(view: DrawnView, laid: Laid, number: int) -> dict[str, Any]:
    projection, lines = laid.projection, view.lines
    left, right = edges_deg(projection)
    row: dict[str, Any] = {
        "picture": number,
        "projection": "camera",
        "width_px": projection.width_px,
        "height_px": projection.height_px,
        "sheet_x_px": laid.sheet_x_px,
        "sheet_y_px": laid.sheet_y_px,
        "bearing_from_true_deg": float(wrap_deg(left + view.convergence_deg)),
        "bearing_to_true_deg": float(wrap_deg(right + view.convergence_deg)),
        "bearing_left_grid_deg": float(wrap_deg(left)),
        "exaggeration": 1.0,
        "easting_m": lines.easting_m,
        "northing_m": lines.northing_m,
        "eye_level_m": lines.eye.level_m,
        "drop_per_m": lines.eye.drop_per_m,
        **(laid.angles or {}),
    }
    if isinstance(projection, Cylinder):
        row |= {
            "projection": "cylinder",
            "degrees_per_px": projection.degrees_per_px,
            "vertical_degrees_per_px": projection.vertical_degrees_per_px,
            "horizon_y_px": projection.horizon_y_px,
            "exaggeration": projection.exaggeration,
        }
    return row


def edges_deg(projection: Projection) -> tuple[float, float]:
    """Grid bearings of a picture's left and right edge, the second counting on from the first, degrees.

    Of a camera those at its farthest corners to either side.
    """
    if isinstance(projection, Cylinder):
        left = projection.left_bearing_grid_deg
        return left, left + projection.span_deg
    width, height = float(projection.width_px), float(projection.height_px)
    y = np.linspace(0.0, height, 65)
    middle = float(projection.directions(width / 2, height / 2)[0])
    turn = [
        (np.asarray(projection.directions(np.full(y.size, x), y)[0]) - middle + 180.0) % 360.0 - 180.0
        for x in (0.0, width)
    ]
    return middle + float(np.nanmin(turn[0])), middle + float(np.nanmax(turn[1]))


def _sector(view: DrawnView, projection: Projection) -> Any:
    left, right = edges_deg(projection)
    lines, fan = view.lines, view.fan
    far_m = float(np.nanmax(fan.sky_m)) if np.isfinite(fan.sky_m).any() else lines.viewing.reach_m
    count = max(2, int(np.ceil((right - left) / _OUTLINE_STEP_DEG)) + 1)
    bearing = np.linspace(left, right, count)
    east, north = places_of(lines, bearing, np.full(count, far_m))
    ring = list(zip(east, north, strict=True))
    if right - left < 360.0 - 1e-9:
        ring = [(lines.easting_m, lines.northing_m), *ring]
    return shapely.Polygon(ring)


def _point_row(landmark: Landmark, projection: Projection) -> dict[str, Any] | None:
    if not landmark.is_on(projection):
        return None
    x, y = (float(v) for v in projection.pixels(landmark.bearing_grid_deg, landmark.angle_deg))
    return {
        "number": landmark.number or None,
        "rank": landmark.rank,
        "name": landmark.name or None,
        "kind": landmark.kind or None,
        "evidence_class": landmark.evidence_class,
        "state": landmark.state,
        "x_px": x,
        "y_px": y,
        "bearing_true_deg": landmark.bearing_true_deg,
        "bearing_grid_deg": landmark.bearing_grid_deg,
        "bearing_magnetic_deg": landmark.bearing_magnetic_deg,
        "vertical_angle_deg": landmark.angle_deg,
        "distance_m": landmark.distance_m,
        "height_m": landmark.height_m,
        "height_difference_m": landmark.above_eye_m,
        "hidden_by_m": landmark.hidden_by_m,
    }
