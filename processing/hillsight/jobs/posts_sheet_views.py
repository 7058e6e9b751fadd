"""What a marshal's sheet shows of the view: its sector, the drawn view, dead ground."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from hillsight.ground.magnetic import declination
from hillsight.ground.stations import Station
from hillsight.jobs.posts_shown import frame_of
from hillsight.reading.drawn.drawn_view import drawn_view
from hillsight.reading.drawn.eyes import sight_lines
from hillsight.reading.ground import cover
from hillsight.reading.view import View
from hillsight.sheets.panorama.picture import North
from hillsight.sight.viewing import Viewing

if TYPE_CHECKING:
    import geopandas

    from hillsight.arrays import Floats
    from hillsight.jobs.posts_shown import ShownPosts
    from hillsight.reading.drawn.drawn_view import DrawnView

#: Room beside what is watched, narrowest view, and widest that is not drawn all round; degrees.
_BESIDE_DEG, _NARROWEST_DEG, _WIDEST_DEG = 8.0, 60.0, 320.0
#: Bearings looked along in a view at most, and how far apart at least (degrees).
_MOST_BEARINGS, _STEP_DEG = 1_800, 0.08
#: Dead ground is drawn so much farther than what is watched, and at least so far, metres.
_BEYOND, _LEAST_REACH_M = 1.15, 300.0
#: Degrees between the points of a sector's rim.
_RIM_DEG = 2.0


def view_over(bearing_deg: Floats) -> tuple[float, float]:
    """Left edge and width, degrees, of the view that shows all bearings and leaves out the widest gap.

    All round where they leave no gap, and where there are none.
    """
    if not len(bearing_deg):
        return 0.0, 360.0
    ordered = np.sort(np.mod(bearing_deg, 360.0))
    gaps = np.diff(np.append(ordered, ordered[0] + 360.0))
    widest = int(np.argmax(gaps))
    span = 360.0 - float(gaps[widest])
    left = float(ordered[(widest + 1) % len(ordered)])
    wide = max(span + 2 * _BESIDE_DEG, _NARROWEST_DEG)
    return (0.0, 360.0) if wide > _WIDEST_DEG else ((left + span / 2 - wide / 2) % 360.0, wide)


def reach_over_m(away_m: Floats) -> float:
    """How far dead ground is looked for, metres on the grid, about what is watched so far off."""
    return max(_BEYOND * float(away_m.max(initial=0.0)), _LEAST_REACH_M)


def view_from(found: ShownPosts, k: int, left_deg: float, span_deg: float) -> tuple[DrawnView, float, float]:
    """What is drawn of the view, and the post's longitude and latitude."""
    posts, eyes = found.outcome.posts, found.outcome.plan.eyes
    station = Station(
        posts.name[k], posts.name[k], float(posts.easting_m[k]), float(posts.northing_m[k]), None, "post"
    )
    viewing = Viewing(eyes.eye_height_m, 0.0, 1.0, found.refraction)
    lines, _ = sight_lines(found.terrain, station, viewing, all_there_is=True)
    longitude, latitude = (float(v[0]) for v in found.terrain.to_wgs84(lines.easting_m, lines.northing_m))
    magnetic = None
    if found.start is not None:
        magnetic = declination(longitude, latitude, lines.ground_height_m, found.start.date())
    step_deg = max(_STEP_DEG, span_deg / _MOST_BEARINGS)
    view = drawn_view(lines, left_deg, span_deg, step_deg, features=found.features, declination=magnetic)
    return view, longitude, latitude


def north_of(view: DrawnView) -> North:
    """Magnetic north of the day, for a compass; grid north where no day is told."""
    if view.declination is None:
        return North("grid", 0.0)
    return North("magnetic", view.declination.declination_deg - view.convergence_deg)


def dead_ground(
    found: ShownPosts, view: DrawnView, reach_m: float
) -> tuple[dict[str, geopandas.GeoDataFrame], float]:
    """Ground in a view's sector on which a runner is out of view, and its share of the sector."""
    lines, eyes = view.lines, found.outcome.plan.eyes
    here = View.from_station(
        found.terrain.window(lines.easting_m, lines.northing_m, reach_m),
        lines.easting_m,
        lines.northing_m,
        lines.ground_height_m,
        replace(lines.viewing, reach_m=reach_m, target_height_m=eyes.runner_least_m),
        lines.geodesy,
        far=lines.far,
    )
    ground = cover.contoured(here, cover.tile(here))
    watched = _sector((lines.easting_m, lines.northing_m), view.left_grid_deg, view.span_deg, reach_m)
    layers = {}
    for name, patches in (("dead_ground", ground.hidden), ("unknown_ground", ground.unknown)):
        cut = [one.intersection(watched) for one in patches.polygons]
        layers[name] = frame_of(found, [one for one in cut if not one.is_empty])
    hidden_m2 = float(layers["dead_ground"].area.sum()) if len(layers["dead_ground"]) else 0.0
    whole_m2 = float(watched.intersection(ground.reach).area)
    return {name: rows for name, rows in layers.items() if len(rows)}, hidden_m2 / whole_m2


def _sector(at: tuple[float, float], left_deg: float, span_deg: float, reach_m: float) -> shapely.Polygon:
    """A sector of the ground, metres on the grid."""
    if span_deg >= 360.0:
        return shapely.Point(at).buffer(reach_m, quad_segs=90)
    turns = np.radians(left_deg + np.linspace(0.0, span_deg, int(span_deg / _RIM_DEG) + 2))
    rim = np.column_stack((at[0] + reach_m * np.sin(turns), at[1] + reach_m * np.cos(turns)))
    return shapely.Polygon([at, *rim])
