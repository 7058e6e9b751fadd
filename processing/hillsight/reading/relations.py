"""How what is seen stands to what is beside it in the picture: in front of, behind, left of, overlapping."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import geopandas
import numpy as np
import pandas as pd
import shapely

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from pyproj import CRS

    from hillsight.reading.bearing_list import Listing

COLUMNS = (
    "rank",
    "feature",
    "relation",
    "other_rank",
    "other_feature",
    "gap_deg",
    "nearer_by_m",
    "description",
)

#: Width of the slices of the view in which two things are compared, degrees.
_SLICE_DEG = 0.25

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
    """

    rank: int
    called: str
    told: bool
    bearing_deg: NDArray[np.float64]
    distance_m: NDArray[np.float64]
    left_deg: float
    right_deg: float
    easting_m: float
    northing_m: float
    height_m: float


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
    slices = [_nearest_by_slice(thing) for thing in seen]
    rows: list[dict[str, Any]] = []
    for k, thing in enumerate(seen):
        if thing.told:
            rows += [
                _row(thing, seen[other], relation, gap_deg, nearer_m)
                for other, relation, gap_deg, nearer_m in _of_one(k, seen, slices)
            ]
    return geopandas.GeoDataFrame(
        {
            name: pd.Series(
                [row[name] for row in rows],
                dtype="int64" if "rank" in name else float if name.endswith(("_deg", "_m")) else object,
            )
            for name in COLUMNS
        },
        geometry=geopandas.GeoSeries([row["geometry"] for row in rows], crs=crs),
        crs=crs,
    )


def _nearest_by_slice(thing: Seen) -> dict[int, float]:
    """Least distance of what is seen in each slice of the view; lines are taken as whole between samples."""
    count = round(360 / _SLICE_DEG)
    number = np.floor(np.asarray(thing.bearing_deg) / _SLICE_DEG).astype(int) % count
    nearest: dict[int, float] = {}
    for n, distance in zip(number.tolist(), thing.distance_m.tolist(), strict=True):
        nearest[n] = min(distance, nearest.get(n, np.inf))
    return nearest


def _of_one(
    k: int, seen: Sequence[Seen], slices: Sequence[dict[int, float]]
) -> list[tuple[int, str, float, float]]:
    """(other, relation, gap in degrees, how much nearer in metres) of one thing."""
    here = seen[k]
    overlaps: list[tuple[int, str, float, float]] = []
    lefts: list[tuple[float, int]] = []
    rights: list[tuple[float, int]] = []
    for j, other in enumerate(seen):
        if j == k:
            continue
        gap_right = (other.left_deg - here.right_deg) % 360.0
        gap_left = (here.left_deg - other.right_deg) % 360.0
        if _apart(here, other):
            (rights if gap_right <= gap_left else lefts).append((min(gap_right, gap_left), j))
            continue
        shared = slices[k].keys() & slices[j].keys()
        if shared:
            nearer_m = np.array([slices[j][n] - slices[k][n] for n in sorted(shared)])
            relation = "overlapping"
            if np.count_nonzero(nearer_m > 0) >= _CLEARLY * nearer_m.size:
                relation = "in_front_of"
            elif np.count_nonzero(nearer_m < 0) >= _CLEARLY * nearer_m.size:
                relation = "behind"
            overlaps.append((j, relation, 0.0, float(np.median(nearer_m))))
    overlaps.sort(key=lambda told: (abs(told[3]), told[0]))
    told = overlaps[:_MOST_OVERLAPPING]
    # What lies to the right of this has this on its left.
    told += [(j, "left_of", gap, np.nan) for gap, j in sorted(rights)[:1]]
    told += [(j, "right_of", gap, np.nan) for gap, j in sorted(lefts)[:1]]
    return told


def _apart(one: Seen, other: Seen) -> bool:
    """Whether the two share no bearing, edges taken as of the whole between them."""
    width_one, width_other = _width_deg(one), _width_deg(other)
    return (other.left_deg - one.left_deg) % 360.0 > width_one and (
        one.left_deg - other.left_deg
    ) % 360.0 > width_other


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
