"""Sheets of marshal posts and the map of them all, laid out from what was found."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas
import numpy as np
import shapely

from hillsight.ground.geodesy import grid_bearing_deg
from hillsight.jobs.posts.sheet_views import (
    dead_ground,
    north_of,
    out_of_sight_by,
    reach_over_m,
    view_from,
    view_over,
)
from hillsight.jobs.posts.sheet_words import (
    NORTHS,
    light_fact,
    place_words_of,
    radio_table,
    runners_fact,
    walk_fact,
    watch_table,
)
from hillsight.jobs.posts.shown import ShownPosts, frame_of
from hillsight.jobs.sheet_area import north_at
from hillsight.plan.posts.fields import CONTROL
from hillsight.plan.posts.gaps import runs
from hillsight.plan.posts.outcome import CAUTIONS
from hillsight.plan.posts.radio import RADIO_CAUTION
from hillsight.reading.drawn.fan import ground_angle_deg
from hillsight.sheets.map.frame import grid_scale_factor_at
from hillsight.sheets.posts.sheet_data import Fact, PostSheet, PostSheets
from hillsight.words.angles import bearing_words
from hillsight.words.cover import hider_words
from hillsight.words.english import listed
from hillsight.words.quantities import metres, per_cent

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from hillsight.arrays import Floats
    from hillsight.jobs.posts.sheet_views import DeadGround
    from hillsight.plan.posts.outcome import Outcome
    from hillsight.plan.posts.walking import Walk
    from hillsight.reading.drawn.drawn_view import DrawnView

#: A share that is too small to be told.
_LEAST_TOLD = 0.005


def post_sheets(found: ShownPosts, made_of: str, provenance: str, *, with_posts: bool = True) -> PostSheets:
    """Everything on the sheets.

    Parameters
    ----------
    made_of : where it comes from, in words; provenance : the same as JSON
    with_posts : whether those of the posts are wanted, or only what the map of all needs
    """
    outcome = found.outcome
    course = np.column_stack(outcome.course.run())
    middle = float(course[:, 0].mean()), float(course[:, 1].mean())
    day = None if found.start is None else found.start.date()
    map_north, _ = north_at(found.terrain, *middle, day)
    return PostSheets(
        title=outcome.plan.title,
        surface=found.surface,
        features=found.drawn_features,
        grid_scale_factor=grid_scale_factor_at(found.terrain.crs, *middle),
        map_north=map_north,
        course=course,
        posts=tuple(_sheet(found, k) for k in range(len(outcome.posts))) if with_posts else (),
        cautions=" ".join((*CAUTIONS, RADIO_CAUTION)),
        made_of=made_of,
        provenance=provenance,
    )


def map_layers(found: ShownPosts) -> dict[str, geopandas.GeoDataFrame]:
    """The layers that the map of all posts draws."""
    layers = {name: rows for name, rows in found.frames.items() if len(rows)}
    links = layers.get("radio_links")
    if links is not None:
        # All of them would cross the whole map: the sheets of the posts have the rest.
        named = (links["from_post"] == CONTROL) | (links["to_post"] == CONTROL)
        layers["radio_links"] = links[links["is_wanted"] | named]
    relays = layers.get("relays")
    if relays is not None:
        # One that a post passes on has the post's own mark.
        away_m = shapely.distance(
            relays.geometry.to_numpy(), shapely.multipoints(found.frames["posts"].geometry.to_numpy())
        )
        layers["relays"] = relays[away_m > 1.0]
    layers["posts"] = _posts_layer(found)
    layers["running_order"] = _lines(found, [shapely.LineString(np.column_stack(found.outcome.course.run()))])
    walks = [walk for walk in found.walks if walk is not None]
    if walks:
        layers["walks"] = _lines(found, [_walk_line(walk) for walk in walks])
        layers["access"] = _access_layer(found)
    return {name: rows for name, rows in layers.items() if len(rows)}


def _lines(found: ShownPosts, shapes: Sequence[shapely.Geometry]) -> geopandas.GeoDataFrame:
    return frame_of(found, shapes)


def _walk_line(walk: Walk) -> shapely.LineString:
    return shapely.LineString(np.column_stack((walk.easting_m, walk.northing_m)))


def _posts_layer(found: ShownPosts, but: int | None = None) -> geopandas.GeoDataFrame:
    """Posts with their numbers; their names beside the marks, where they say more, unless one is left out."""
    posts = found.outcome.posts
    shapes = shapely.points(posts.easting_m, posts.northing_m)
    labels = [
        "" if but is not None or name == f"Post {number}" else name
        for number, name in enumerate(posts.name, 1)
    ]
    return frame_of(found, shapes, number=[str(k + 1) for k in range(len(posts))], label=labels)


def _access_layer(found: ShownPosts, only: int | None = None) -> geopandas.GeoDataFrame:
    used = {walk.access for walk in found.walks if walk is not None} if only is None else {only}
    chosen = [found.access[k] for k in sorted(used)]
    return frame_of(
        found, [shapely.Point(east, north) for _, east, north in chosen], label=[name for name, *_ in chosen]
    )


def _sheet(found: ShownPosts, k: int) -> PostSheet:
    """The sheet of one post."""
    outcome = found.outcome
    posts, stretches = outcome.posts, outcome.stretches
    east_m, north_m = float(posts.easting_m[k]), float(posts.northing_m[k])
    own = outcome.along[k]
    at = np.column_stack((stretches.easting_m[own], stretches.northing_m[own]))
    bearing_deg = grid_bearing_deg(east_m, north_m, *at.T)
    away_m = np.hypot(*(at - (east_m, north_m)).T)
    left_deg, span_deg = view_over(bearing_deg)
    reach_m = reach_over_m(away_m)
    view, longitude, latitude = view_from(found, k, left_deg, span_deg)
    north = north_of(view)
    dead = dead_ground(found, view, reach_m) if own.any() else None
    layers = _layers(found, k, {} if dead is None else dead.layers)
    row = found.frames["posts"].iloc[k]
    facts = [runners_fact(outcome, row), walk_fact(outcome.plan, row, found.walks[k])]
    if found.start is not None:
        facts.append(light_fact(row, found.start, longitude, latitude))
    facts.append(_ground_fact(outcome, row, dead, reach_m))
    turn = north.to_grid_deg
    looks = (
        "all round"
        if span_deg >= 360
        else f"{bearing_words(left_deg - turn)} to {bearing_words(left_deg + span_deg - turn)} {north.word}"
    )
    return PostSheet(
        number=str(k + 1),
        name=posts.name[k],
        where=place_words_of(
            found.terrain.crs, east_m, north_m, float(posts.ground_m[k]), longitude, latitude
        ),
        easting_m=east_m,
        northing_m=north_m,
        layers=layers,
        facts=tuple(fact for fact in facts if fact is not None),
        tables=(
            watch_table(outcome, k, turn, north.word, out_of_sight_by(found, k, view.lines)),
            radio_table(found.frames, posts.name[k], outcome.plan),
        ),
        view=view,
        north=north,
        courses=_courses(outcome, k, view),
        view_says=f"{looks.capitalize()}; {NORTHS[north.word]}. Dots: the course in sight.",
    )


def _layers(
    found: ShownPosts, k: int, dead: Mapping[str, geopandas.GeoDataFrame]
) -> dict[str, geopandas.GeoDataFrame]:
    outcome = found.outcome
    stretches, own = outcome.stretches, outcome.along[k]

    def parts(flags: Any) -> geopandas.GeoDataFrame:
        return _lines(
            found,
            [
                outcome.course.part(float(stretches.from_m[first]), float(stretches.to_m[last]))
                for first, last in runs(flags)
            ],
        )

    layers = {
        **dead,
        "other_stretches": parts(~own),
        "seen_stretches": parts(own),
        "running_order": _lines(found, [shapely.LineString(np.column_stack(outcome.course.run()))]),
        "posts": _posts_layer(found, k),
    }
    walk = found.walks[k]
    if walk is not None:
        layers["walks"] = _lines(found, [_walk_line(walk)])
        layers["access"] = _access_layer(found, walk.access)
    return {name: rows for name, rows in layers.items() if len(rows)}


def _courses(outcome: Outcome, k: int, view: DrawnView) -> tuple[Floats, ...]:
    """Bearings and vertical angles of the pieces that a post sees, run by run."""
    stretches, lines = outcome.stretches, view.lines
    found = []
    for first, last in runs(outcome.along[k]):
        east_m, north_m = (v[first : last + 1] for v in (stretches.easting_m, stretches.northing_m))
        bearing = grid_bearing_deg(lines.easting_m, lines.northing_m, east_m, north_m)
        angle = ground_angle_deg(
            lines, bearing, np.hypot(east_m - lines.easting_m, north_m - lines.northing_m)
        )
        kept = np.isfinite(angle)
        found.append(np.column_stack((bearing[kept], angle[kept])))
    return tuple(one for one in found if len(one))


def _ground_fact(outcome: Outcome, row: Any, dead: DeadGround | None, reach_m: float) -> Fact:
    says = [f"Slope {row['slope_deg']:.0f}°; open to the wind on {per_cent(row['open_share'])} of bearings."]
    if dead is None:
        return Fact("The ground", tuple(says))
    told = (
        f"Dead ground: {per_cent(dead.share)} of the view within {metres(reach_m)}, for a runner "
        f"{outcome.plan.eyes.runner_least_m:g} m tall"
    )
    if dead.hidden_by:
        hiders = [
            f"{hider_words(kind)} ({per_cent(part)})" for kind, part in dead.hidden_by if part >= _LEAST_TOLD
        ]
        told += f"; behind {listed(hiders)}"
    says.append(f"{told}. A runner who falls there is not seen.")
    if dead.uncertain >= _LEAST_TOLD:
        says.append(f"{per_cent(dead.uncertain)} more is uncertain: through leafy wood, or inside cover.")
    if not dead.hidden_by:
        says.append("No cover is known: trees and walls are not counted.")
    return Fact("The ground", tuple(says))
