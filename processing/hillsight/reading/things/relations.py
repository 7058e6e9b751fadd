"""How what is seen stands to what is beside it in the picture: in front of, behind, left of, overlapping."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import geopandas
import numpy as np
import shapely

from hillsight.schema.frames import BUT_STATION, frame_of_rows
from hillsight.words.angles import signed_deg

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pyproj import CRS

    from hillsight.arrays import Floats, Integers
    from hillsight.reading.things.bearing_list import Listing

#: Width of the slices of the view in which two things are compared, degrees.
_SLICE_DEG = 0.25
_SLICES = round(360 / _SLICE_DEG)

#: One stands in front of another if it is the nearer in this share of the slices that they share.
_CLEARLY = 0.8

#: Overlapping things told of each, the ones least far apart in depth first.
_MOST_OVERLAPPING = 4

#: Kinds of landforms whose relations are told.
_TOLD_KINDS = ("summit", "knoll", "saddle", "spur", "re-entrant", "ridge")

_WORDS = {
    "in_front_of": "in front of",
    "behind": "behind",
    "left_of": "left of",
    "right_of": "right of",
    "overlapping": "overlapping",
}


@dataclass(frozen=True)
class Seen:
    """What is seen of one thing.

    rank : its place in the bearing list
    called : its name or description
    told : whether its relations are told; the others only serve as marks to tell by
    bearing_deg, distance_m : (n,) true bearing and ground distance of its seen samples, n >= 1
    left_deg, right_deg : true bearings of its edges, clockwise from left to right
    easting_m, northing_m, height_m : its listed point
    number : (n,) of its seen samples, which follow each other in number where they are neighbours along a
        line; None where none are
    """

    rank: int
    called: str
    told: bool
    bearing_deg: Floats
    distance_m: Floats
    left_deg: float
    right_deg: float
    easting_m: float
    northing_m: float
    height_m: float
    number: Integers | None = None


def seen_of(listing: Listing) -> list[Seen]:
    """What a bearing list says is seen, wholly or partly; landforms that a navigator argues from are told."""
    found = []
    for row, samples in zip(listing.frame.itertuples(index=False), listing.judged, strict=True):
        seen = np.flatnonzero(samples.seen)
        if row.state not in ("visible", "partly") or not seen.size:
            continue
        found.append(
            Seen(
                int(row.rank),
                row.name or (row.description or str(row.kind)).split(",")[0],
                row.landform is not None and row.kind in _TOLD_KINDS,
                samples.bearing_deg[seen],
                samples.distance_m[seen],
                float(row.left_edge_true_deg),
                float(row.right_edge_true_deg),
                row.geometry.x,
                row.geometry.y,
                row.geometry.z,
                samples.number[seen],
            )
        )
    return found


def relations(seen: Sequence[Seen], crs: CRS) -> geopandas.GeoDataFrame:
    """Relations of things in view: to the nearest on the left and right, and to what they overlap.

    Returns
    -------
    frame with the columns of the layer ``relations`` but for ``station``; each geometry leads from the one
    thing's listed point to the other's
    """
    nearest_m = np.array([_nearest_by_slice(thing) for thing in seen]).reshape(len(seen), _SLICES)
    left_deg, right_deg, width_deg = (
        np.array([edge(thing) for thing in seen], float)
        for edge in (lambda thing: thing.left_deg, lambda thing: thing.right_deg, _width_deg)
    )
    rows: list[dict[str, Any]] = []
    for k, thing in enumerate(seen):
        if thing.told:
            rows += [
                _row(thing, seen[other], relation, gap_deg, nearer_m)
                for other, relation, gap_deg, nearer_m in _of_one(
                    k, left_deg, right_deg, width_deg, nearest_m
                )
            ]
    shapes = [row.pop("geometry") for row in rows]
    return frame_of_rows("relations", rows, shapes, crs, but=BUT_STATION)


def _nearest_by_slice(thing: Seen) -> Floats:
    """Least distance (m) of what is seen in each slice of the view, inf where nothing is.

    A line is whole between two seen samples next to each other: its distance is interpolated there, linearly
    by bearing. Points, areas and lines across a hidden sample have only what their samples show.
    """
    bearing, distance_m = np.asarray(thing.bearing_deg, float), np.asarray(thing.distance_m, float)
    nearest_m = np.full(_SLICES, np.inf)
    np.minimum.at(nearest_m, np.floor(bearing / _SLICE_DEG).astype(int) % _SLICES, distance_m)
    if thing.number is None:
        return nearest_m
    one = np.flatnonzero(np.diff(thing.number) == 1)
    turn = signed_deg(bearing[one + 1] - bearing[one])
    low = np.where(turn < 0, bearing[one] + turn, bearing[one])
    first = np.floor(low / _SLICE_DEG).astype(int) + 1
    count = np.maximum(np.floor((low + np.abs(turn)) / _SLICE_DEG).astype(int) - first, 0)
    pair = np.repeat(np.arange(one.size), count)
    number = first[pair] + np.arange(pair.size) - np.repeat(np.cumsum(count) - count, count)
    share = ((number + 0.5) * _SLICE_DEG - low[pair]) / np.abs(turn[pair])
    share = np.where(turn[pair] < 0, 1.0 - share, share)
    here, ahead = distance_m[one[pair]], distance_m[one[pair] + 1]
    np.minimum.at(nearest_m, number % _SLICES, here + share * (ahead - here))
    return nearest_m


def _of_one(
    k: int,
    left_deg: Floats,
    right_deg: Floats,
    width_deg: Floats,
    nearest_m: Floats,
) -> list[tuple[int, str, float, float]]:
    """(other, relation, gap in degrees, how much nearer in metres) of one thing.

    Parameters
    ----------
    left_deg, right_deg, width_deg : (things,) edges, and the angle between them
    nearest_m : (things, slices) as ``_nearest_by_slice`` tells it
    """
    # Two are apart that share no bearing, edges taken as of the whole between them.
    apart = ((left_deg - left_deg[k]) % 360.0 > width_deg[k]) & ((left_deg[k] - left_deg) % 360.0 > width_deg)
    told = _overlapping(np.flatnonzero(~apart & (np.arange(apart.size) != k)), k, nearest_m)
    gap_right, gap_left = (left_deg - right_deg[k]) % 360.0, (left_deg[k] - right_deg) % 360.0
    # What lies to the right of this has this on its left.
    for relation, side in (("left_of", gap_right <= gap_left), ("right_of", gap_right > gap_left)):
        others = np.flatnonzero(apart & side)
        if others.size:
            gap = np.minimum(gap_right[others], gap_left[others])
            least = int(np.argmin(gap))
            told.append((int(others[least]), relation, float(gap[least]), np.nan))
    return told


def _overlapping(others: Integers, k: int, nearest_m: Floats) -> list[tuple[int, str, float, float]]:
    """As ``_of_one``, of those of some others that share a slice with it, the least apart in depth first."""
    mine = np.flatnonzero(np.isfinite(nearest_m[k]))
    nearer_m = nearest_m[np.ix_(others, mine)] - nearest_m[k, mine]  # inf where the other is not seen
    shared = np.isfinite(nearer_m)
    counts = shared.sum(axis=1)
    others, nearer_m, shared, counts = (v[counts > 0] for v in (others, nearer_m, shared, counts))
    ordered, row = np.sort(nearer_m, axis=1), np.arange(others.size)
    median_m = (ordered[row, (counts - 1) // 2] + ordered[row, counts // 2]) / 2.0
    before = ((nearer_m > 0) & shared).sum(axis=1) >= _CLEARLY * counts
    behind = (nearer_m < 0).sum(axis=1) >= _CLEARLY * counts
    chosen = np.lexsort((others, np.abs(median_m)))[:_MOST_OVERLAPPING]
    return [
        (
            int(others[i]),
            "in_front_of" if before[i] else "behind" if behind[i] else "overlapping",
            0.0,
            float(median_m[i]),
        )
        for i in chosen
    ]


def _width_deg(thing: Seen) -> float:
    width = thing.right_deg - thing.left_deg
    return width if width >= 360.0 else width % 360.0


def _row(here: Seen, other: Seen, relation: str, gap_deg: float, nearer_m: float) -> dict[str, Any]:
    detail = (
        f", {abs(nearer_m):,.0f} m {'nearer' if nearer_m > 0 else 'farther'}" if np.isfinite(nearer_m) else ""
    )
    if relation in ("left_of", "right_of"):
        detail = f", {gap_deg:.1f} degrees between"
    return {
        "rank": here.rank,
        "feature": here.called,
        "relation": relation,
        "other_rank": other.rank,
        "other_feature": other.called,
        "gap_deg": gap_deg,
        "nearer_by_m": nearer_m,
        "description": f"{here.called} {_WORDS[relation]} {other.called}{detail}",
        "geometry": shapely.LineString(
            [
                (here.easting_m, here.northing_m, here.height_m),
                (other.easting_m, other.northing_m, other.height_m),
            ]
        ),
    }
