"""A plan of posts as tables for its layers."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from hillsight.ground.geodesy import Geodesy
from hillsight.plan.posts.radio import FURTHER_PERSON
from hillsight.schema.frames import frame_of_rows

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas
    import pyproj

    from hillsight.arrays import Floats
    from hillsight.ground.sun import Daylight
    from hillsight.plan.posts.meeting import Meetings
    from hillsight.plan.posts.outcome import Outcome
    from hillsight.plan.posts.places import Places
    from hillsight.plan.posts.walking import Walk

Row = dict[str, Any]


def unseen_frame(outcome: Outcome, crs: pyproj.CRS) -> geopandas.GeoDataFrame:
    """The layer ``unseen_stretches``."""
    rows, shapes = list[Row](), []
    chance = outcome.chance[outcome.stretches.piece]
    for number, (one, gap) in enumerate(zip(outcome.unseen, outcome.gaps, strict=True), start=1):
        rows.append(
            {
                "number": number,
                "from_m": one.from_m,
                "to_m": one.to_m,
                "length_m": one.length_m,
                "share": one.share,
                "danger": ", ".join(one.reasons),
                "seen_probability": float(chance[outcome.stretches_of(one.from_m, one.to_m)].min()),
                "first_minutes": float(gap.minutes[0]),
                "last_minutes": float(gap.minutes[1]),
                "first_runner_min": float(gap.leaves_min[0]),
                "last_runner_min": float(gap.comes_min[1]),
            }
        )
        shapes.append(outcome.course.part(one.from_m, one.to_m))
    return frame_of_rows("unseen_stretches", rows, shapes, crs)


def gaps_frame(outcome: Outcome, crs: pyproj.CRS) -> geopandas.GeoDataFrame:
    """The layer ``handover_gaps``."""

    def name(post: int | None) -> str:
        return "" if post is None else outcome.posts.name[post]

    longest_first = sorted(outcome.gaps, key=lambda gap: (-float(gap.minutes[1]), gap.from_m))
    rows: list[Row] = [
        {
            "rank": rank,
            "from_post": name(gap.post_before),
            "to_post": name(gap.post_after),
            "from_m": gap.from_m,
            "to_m": gap.to_m,
            "length_m": gap.to_m - gap.from_m,
            "first_minutes": float(gap.minutes[0]),
            "last_minutes": float(gap.minutes[1]),
        }
        for rank, gap in enumerate(longest_first, start=1)
    ]
    shapes = [outcome.course.part(gap.from_m, gap.to_m) for gap in longest_first]
    return frame_of_rows("handover_gaps", rows, shapes, crs)


def posts_frame(
    outcome: Outcome,
    walks: Sequence[Walk | None],
    access: Sequence[str],
    slope_deg: Floats,
    open_share: Floats,
    light: Daylight | None,
    crs: pyproj.CRS,
) -> geopandas.GeoDataFrame:
    """The layer ``posts``.

    Parameters
    ----------
    walks : to each post; access : names of where they may start
    slope_deg, open_share : (posts,)
    light : of the day of the start; None where it is not known
    """
    rows, shapes = list[Row](), []
    posts, start, stretches = outcome.posts, outcome.plan.paces.start, outcome.stretches
    weight_m, shares = stretches.piece_weight_m(), outcome.own_shares()
    for k, name in enumerate(posts.name):
        seen, passing, in_sight = outcome.seen[k], outcome.passings[k], outcome.in_sight_min(k)
        row: Row = {
            "post": name,
            "role": "fixed" if posts.fixed[k] else "chosen",
            "easting_m": float(posts.easting_m[k]),
            "northing_m": float(posts.northing_m[k]),
            "ground_height_m": float(posts.ground_m[k]),
            "slope_deg": float(slope_deg[k]),
            "open_share": float(open_share[k]),
            "along_m": float(posts.along_m[k]),
            "course_distance_m": float(posts.apart_m[k]),
            "seen_m": float(stretches.length_m[outcome.along[k]].sum()),
            "seen_share": float(weight_m[seen].sum() / weight_m.sum()),
            "own_share": float(shares[k]),
        }
        if passing is not None and in_sight is not None:
            row |= {
                "first_passing_min": float(passing.first_min[0]),
                "last_passing_min": float(passing.last_min[1]),
                "first_runner_min": in_sight[0],
                "last_runner_min": in_sight[1],
            }
            if start is not None:
                timed = ("first_passing", "last_passing", "first_runner", "last_runner")
                row |= {f"{what}_at": _moment(start, row[f"{what}_min"]) for what in timed}
                if light is not None:
                    watch = (start + datetime.timedelta(minutes=minutes) for minutes in in_sight)
                    row["twilight_minutes"], row["dark_minutes"] = light.dark_minutes(*watch)
        walk = walks[k]
        if walk is not None:
            row |= {
                "access": access[walk.access],
                "walking_minutes": walk.minutes,
                "hill_rule_minutes": walk.hill_rule_minutes,
                "walk_m": walk.distance_m,
                "climb_m": walk.climb_m,
            }
        rows.append(row)
        shapes.append(shapely.Point(posts.easting_m[k], posts.northing_m[k]))
    return frame_of_rows("posts", rows, shapes, crs)


def checkpoints_frame(outcome: Outcome, crs: pyproj.CRS) -> geopandas.GeoDataFrame:
    """The layer ``checkpoints``."""
    rows, shapes = list[Row](), []
    stretches, course = outcome.stretches, outcome.course
    ends_m = np.append(stretches.from_m, stretches.to_m[-1])
    for checkpoint in course.checkpoints:
        last_m = checkpoint.along_m + (course.laps - 1) * course.lap_m
        at = min(int(np.searchsorted(stretches.to_m, checkpoint.along_m)), len(stretches.to_m) - 1)
        seers = outcome.seers(at)
        rows.append(
            {
                "checkpoint": checkpoint.name,
                "along_m": checkpoint.along_m,
                "posts_count": len(seers),
                "posts": ", ".join(seers),
                "seen_probability": float(outcome.chance[stretches.piece[at]]),
                "first_passing_min": float(np.interp(checkpoint.along_m, ends_m, outcome.at_ends_min[0])),
                "last_passing_min": float(np.interp(last_m, ends_m, outcome.at_ends_min[1])),
            }
        )
        (east,), (north,) = course.at(np.array([checkpoint.along_m]))
        shapes.append(shapely.Point(east, north))
    return frame_of_rows("checkpoints", rows, shapes, crs)


def seen_frame(outcome: Outcome, crs: pyproj.CRS) -> geopandas.GeoDataFrame:
    """The layer ``seen_stretches``."""
    rows, shapes = list[Row](), []
    stretches = outcome.stretches
    along, chance = outcome.along, outcome.chance[stretches.piece]
    for k in np.flatnonzero(along.any(axis=0)):
        seers = outcome.seers(int(k))
        from_m, to_m = float(stretches.from_m[k]), float(stretches.to_m[k])
        rows.append(
            {
                "from_m": from_m,
                "to_m": to_m,
                "length_m": to_m - from_m,
                "piece": int(stretches.piece[k]),
                "weight": float(stretches.weight[k]),
                "danger": stretches.reason[k],
                "posts_count": len(seers),
                "posts": ", ".join(seers),
                "seen_probability": float(chance[k]),
            }
        )
        shapes.append(outcome.course.part(from_m, to_m))
    return frame_of_rows("seen_stretches", rows, shapes, crs)


def others_frame(outcome: Outcome, places: Places, crs: pyproj.CRS) -> geopandas.GeoDataFrame:
    """The layer ``other_places``."""
    rows, shapes = list[Row](), []
    by_place = dict(zip(outcome.posts.place.tolist(), outcome.posts.name, strict=True))
    ranks: dict[int, int] = {}
    for other in outcome.choice.alternatives:
        rank = ranks[other.post] = ranks.get(other.post, 0) + 1
        east, north = float(places.easting_m[other.place]), float(places.northing_m[other.place])
        rows.append(
            {
                "post": by_place[other.post],
                "rank": rank,
                "easting_m": east,
                "northing_m": north,
                "loss_share": other.loss_share,
            }
        )
        shapes.append(shapely.Point(east, north))
    return frame_of_rows("other_places", rows, shapes, crs)


def sight_frame(found: Meetings, crs: pyproj.CRS) -> geopandas.GeoDataFrame:
    """The layer ``sight_matrix``."""
    geodesy = Geodesy(crs)
    rows, shapes = list[Row](), []
    for pair in found.sight:
        (from_e, from_n), (to_e, to_n) = pair.start_m, pair.end_m
        grid_deg = np.degrees(np.arctan2(to_e - from_e, to_n - from_n))
        rows.append(
            {
                "from_post": pair.start,
                "to_post": pair.end,
                "distance_m": float(np.hypot(to_e - from_e, to_n - from_n)),
                "bearing_true_deg": float((grid_deg + geodesy.convergence_deg(from_e, from_n)) % 360.0),
                "state": pair.state,
                "is_wanted": frozenset((pair.start, pair.end)) in found.wanted["sight"],
            }
        )
        shapes.append(shapely.LineString([pair.start_m, pair.end_m]))
    return frame_of_rows("sight_matrix", rows, shapes, crs)


def radio_frame(found: Meetings, crs: pyproj.CRS) -> geopandas.GeoDataFrame:
    """The layer ``radio_links``."""
    rows, shapes = list[Row](), []
    for link in found.links:
        rows.append(
            {
                "from_post": link.start,
                "to_post": link.end,
                "distance_m": link.distance_m,
                "first_zone_clear": link.first_zone_clear,
                "ridges": link.ridges,
                "worst_m": link.worst_m,
                "worst_is": (link.worst_kind or "ground") if np.isfinite(link.worst_m) else None,
                "free_space_db": link.free_space_db,
                "knife_edge_db": link.knife_edge_db,
                "diffraction_db": link.diffraction_db,
                "margin_db": link.margin_db,
                "answer": link.answer,
                "is_wanted": frozenset((link.start, link.end)) in found.wanted["radio"],
            }
        )
        shapes.append(shapely.LineString([found.at[link.start], found.at[link.end]]))
    return frame_of_rows("radio_links", rows, shapes, crs)


def relays_frame(found: Meetings, crs: pyproj.CRS) -> geopandas.GeoDataFrame:
    """The layer ``relays``."""
    rows, shapes = list[Row](), []
    for relay in found.relays:
        rows.append(
            {
                "from_post": relay.start,
                "to_post": relay.end,
                "by": ", ".join(relay.by) if relay.place is None else FURTHER_PERSON,
                "easting_m": relay.easting_m,
                "northing_m": relay.northing_m,
                "margin_db": relay.margin_db,
            }
        )
        shapes.append(shapely.Point(relay.easting_m, relay.northing_m))
    return frame_of_rows("relays", rows, shapes, crs)


def _moment(start: datetime.datetime, minutes: float) -> str:
    """A time so many minutes after the start, to the minute."""
    return (start + datetime.timedelta(minutes=round(minutes))).isoformat(timespec="minutes")
