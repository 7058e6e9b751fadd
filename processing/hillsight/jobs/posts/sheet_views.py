"""What a marshal's sheet shows of the view: its sector, the drawn view, dead ground."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from hillsight.ground.magnetic import declination
from hillsight.ground.stations import Station
from hillsight.jobs.posts.sheet_words import NOT_KNOWN, PARTLY, TOO_FAR
from hillsight.jobs.posts.shown import frame_of
from hillsight.reading.drawn.drawn_view import drawn_view
from hillsight.reading.drawn.eyes import sight_lines
from hillsight.reading.ground import cover
from hillsight.reading.ground.regions import HIDDEN
from hillsight.reading.view import View
from hillsight.reading.what_hides import NOTHING, names_of_codes, what_hides, what_hides_posts
from hillsight.sheets.panorama.picture import North
from hillsight.sight.under_cover import VISIBLE_ABOVE
from hillsight.sight.viewing import Viewing
from hillsight.words.cover import GROUND

if TYPE_CHECKING:
    from collections.abc import Mapping

    import geopandas

    from hillsight.arrays import Floats
    from hillsight.jobs.posts.shown import ShownPosts
    from hillsight.reading.drawn.drawn_view import DrawnView
    from hillsight.reading.view import SightLines

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


@dataclass(frozen=True)
class DeadGround:
    """Ground in a view's sector on which a runner is out of view.

    layers : dead, uncertain and unknown ground, those of them that there are
    share, uncertain : of the sector that is hidden, and that cover leaves nobody sure of
    hidden_by : what hides it and how much of it, the most first; empty where nothing is known of cover
    """

    layers: Mapping[str, geopandas.GeoDataFrame]
    share: float
    uncertain: float
    hidden_by: tuple[tuple[str, float], ...]


def dead_ground(found: ShownPosts, view: DrawnView, reach_m: float) -> DeadGround:
    """What a view's sector hides of a runner of the least height, and what hides it."""
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
    for name, patches in (
        ("dead_ground", ground.hidden),
        ("uncertain_ground", ground.uncertain),
        ("unknown_ground", ground.unknown),
    ):
        cut = [one.intersection(watched) for one in patches.polygons]
        layers[name] = frame_of(found, [one for one in cut if not one.is_empty])
    hidden_m2, uncertain_m2 = (
        float(layers[name].area.sum()) if len(layers[name]) else 0.0
        for name in ("dead_ground", "uncertain_ground")
    )
    whole_m2 = float(watched.intersection(ground.reach).area)
    return DeadGround(
        {name: rows for name, rows in layers.items() if len(rows)},
        hidden_m2 / whole_m2,
        uncertain_m2 / whole_m2,
        _hidden_by(here, watched),
    )


def _hidden_by(view: View, watched: shapely.Polygon) -> tuple[tuple[str, float], ...]:
    """What hides the posts of a sector that are out of view, and its share of them."""
    told = what_hides_posts(view)
    if told is None:
        return ()
    rows, columns = np.nonzero((view.classes == HIDDEN) & (told[0] != NOTHING))
    inside = shapely.contains_xy(watched, *view.grid.to_map(rows.astype(float), columns.astype(float)))
    count = np.bincount(told[0][rows[inside], columns[inside]], minlength=len(names_of_codes(view)))
    shares = [
        (str(name), float(number / count.sum()))
        for name, number in zip(names_of_codes(view), count, strict=True)
        if number > 0
    ]
    return tuple(sorted(shares, key=lambda one: -one[1]))


def out_of_sight_by(found: ShownPosts, k: int, lines: SightLines) -> list[str]:
    """What keeps a post from seeing each stretch of the course; empty for those that it sees."""
    outcome = found.outcome
    stretches = outcome.stretches
    words = [""] * len(stretches.from_m)
    at = np.flatnonzero(~outcome.along[k])
    if not at.size:
        return words
    height_m = outcome.plan.eyes.runner_least_m
    east_m, north_m = stretches.easting_m[at], stretches.northing_m[at]
    sight = lines.at(east_m, north_m, height_m)
    hidden = np.flatnonzero(sight.clearance_m < 0)
    rows, columns = lines.grid.to_array(east_m[hidden], north_m[hidden])
    heights_m, crests_m = np.full(hidden.size, height_m), sight.crest_distance_m[hidden]
    kinds, _ = what_hides(lines.surface, lines.eye, rows, columns, heights_m, crests_m)
    for number, here in enumerate(at.tolist()):
        if np.isnan(sight.clearance_m[number]):
            words[here] = NOT_KNOWN
        else:
            words[here] = PARTLY if sight.light[number] <= VISIBLE_ABOVE else TOO_FAR
    for number, kind in zip(hidden.tolist(), kinds, strict=True):
        words[int(at[number])] = kind or GROUND
    return words


def _sector(at: tuple[float, float], left_deg: float, span_deg: float, reach_m: float) -> shapely.Polygon:
    """A sector of the ground, metres on the grid."""
    if span_deg >= 360.0:
        return shapely.Point(at).buffer(reach_m, quad_segs=90)
    turns = np.radians(left_deg + np.linspace(0.0, span_deg, int(span_deg / _RIM_DEG) + 2))
    rim = np.column_stack((at[0] + reach_m * np.sin(turns), at[1] + reach_m * np.cos(turns)))
    return shapely.Polygon([at, *rim])
