"""Three stations that look alike on paper: a ridge end, a shelf and a saddle.

They are chosen by rule: near one height, on gentle ground with steeper ground about, round the same top, one
other top in sight of all three. What tells them apart is the shape of the ground: how near its brow is, and
which tops it hides.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy import ndimage
from shapely import Point
from upland_ground import SIDE_M, SPACING_M
from upland_sheet import Rows, Sheet

from hillsight.sight.points import see_pairs
from hillsight.words.states import GroundState

REACH_M, APART_M, SPREAD_M = 1_700.0, 450.0, 10.0  # of one top; from each other; in height
VIEW_M, LEAST_TOPS, MOST_TOPS = 6_000.0, 2, 6  # how far tops count, and how many of them a station may see
EARTH_M = 6_371_000.0 / (1 - 0.13)  # radius for straight sight lines in ordinary air
EVERY = 3  # posts between the places tried on one landform
BEARINGS, BROW_STEP_M, BROW_REACH_M = 48, 10.0, 1_500.0
EYE_M = 1.6  # common practice, no source
KINDS = ("ridge end", "shelf", "saddle")


def views_of(sheet: Sheet, places: Any, targets: Any) -> Any:
    """Which targets, (m, 2), show within view from the eyes at places, (n, 2): (n, m) bool."""
    eyes, tops = (sheet.surface.grid.to_array(*np.reshape(xy, (-1, 2)).T) for xy in (places, targets))
    eye_m, top_m = sheet.height(places) + EYE_M, sheet.height(targets)
    pairs = [np.repeat(values, len(targets)) for values in (*eyes, eye_m)]
    pairs += [np.tile(values, len(places)) for values in (*tops, top_m)]
    seen = see_pairs(sheet.surface, None, *pairs, 1 / (2 * EARTH_M)) == GroundState.VISIBLE
    away_m = np.hypot(*np.moveaxis(places[:, None] - targets[None], -1, 0))
    return seen.reshape(away_m.shape) & (away_m <= VIEW_M)


def brow_m(sheet: Sheet, eye_xy: Any) -> float:
    """Distance to the first brow with ground beyond it more than 2 m too low to see: median of bearings."""
    bearing = 2 * np.pi * np.arange(BEARINGS)[:, None] / BEARINGS
    run = BROW_STEP_M * np.arange(1, int(BROW_REACH_M / BROW_STEP_M) + 1)[None, :]
    x, y = eye_xy[0] + run * np.sin(bearing), eye_xy[1] + run * np.cos(bearing)
    height = sheet.height(np.column_stack([x.ravel(), y.ravel()])).reshape(x.shape)
    slope = (height - sheet.height(eye_xy)[0] - EYE_M) / run
    steepest = np.maximum.accumulate(slope, axis=1)
    hidden = (steepest - slope) * run > 2.0
    first = np.where(hidden.any(axis=1), np.argmax(hidden, axis=1), run.size - 1)
    # the brow is the post that the sight line touched last
    behind = np.arange(run.size)[None, :] > first[:, None]
    brow = np.argmax(np.where(behind, -np.inf, slope), axis=1)
    return float(np.median(run[0, brow]))


def landforms(sheet: Sheet) -> dict[str, Any]:
    """Likely places of each kind, (n, 2), from the ground smoothed over 60 m and 150 m about each post."""
    z = ndimage.gaussian_filter(sheet.z, 6)
    south, east = np.gradient(z, SPACING_M)
    slope = np.hypot(south, east)
    south_south, _ = np.gradient(south, SPACING_M)
    east_south, east_east = np.gradient(east, SPACING_M)
    middle, swing = (south_south + east_east) / 2, np.hypot((south_south - east_east) / 2, east_south)
    safe = np.maximum(slope, 1e-6)
    rows, columns = np.indices(z.shape)

    def drop(to_south: Any, to_east: Any) -> Any:
        """Fall in metres to the ground 150 m away in a direction."""
        return z - ndimage.map_coordinates(
            z, [rows + 15 * to_south, columns + 15 * to_east], order=1, mode="nearest"
        )

    s, e = south / safe, east / safe  # up the slope
    back, front, left, right = drop(s, e), drop(-s, -e), drop(e, -s), drop(-e, s)
    gentle = slope < np.tan(np.radians(8))
    found = {
        # a nose: the ground falls away in front and to both hands, and rises a little behind
        "ridge end": gentle & (front > 24) & (left > 11) & (right > 11) & (back < -2) & (back > -22),
        # a tread between two risers, level from hand to hand
        "shelf": gentle & (front > 18) & (back < -12) & (np.abs(left) < 11) & (np.abs(right) < 11),
        "saddle": (slope < 0.03) & (middle - swing < -0.0004) & (middle + swing > 0.0002),
    }
    every = np.zeros(z.shape, bool)
    every[::EVERY, ::EVERY] = True
    inside = (np.abs(sheet.x - SIDE_M / 2) < SIDE_M / 2 - 600) & (
        np.abs(sheet.y - SIDE_M / 2) < SIDE_M / 2 - 600
    )
    places = {}
    for kind, mask in found.items():
        pools, _ = ndimage.label(mask, np.ones((3, 3)))
        wide = (np.bincount(pools.ravel()) >= 4)[pools]
        # saddles are small: every post of them counts
        at = mask & wide & inside & (every | (kind == "saddle"))
        places[kind] = np.column_stack([sheet.x[at], sheet.y[at]])
    return places


def choose(sheet: Sheet, tops: Rows) -> Rows:
    """The three stations: near one height, about one top, seeing a common top and different others.

    Raises ValueError where the ground has no such three.
    """
    named = [np.array(t["geometry"].coords[0]) for t in tops if t["name"]]
    places: dict[str, Any] = {}
    seen: dict[str, Any] = {}
    for kind, found in landforms(sheet).items():
        views = views_of(sheet, found, np.array(named))
        count = views.sum(axis=1)
        kept = (count >= LEAST_TOPS) & (count <= MOST_TOPS)
        places[kind], seen[kind] = found[kept], views[kept]
    height = {k: sheet.height(p) if len(p) else np.empty(0) for k, p in places.items()}
    brow = {k: np.log2([brow_m(sheet, p) for p in found]) for k, found in places.items()}
    best, chosen = np.inf, None
    for top in named:
        near = [np.flatnonzero(np.hypot(*(places[k] - top).T) < REACH_M) for k in KINDS]
        # all threes at once: ridge ends x shelves x saddles
        trio = [axis.ravel() for axis in np.meshgrid(*near, indexing="ij")]
        levels = np.array([height[k][i] for k, i in zip(KINDS, trio, strict=True)])
        level = np.ptp(levels, axis=0) <= SPREAD_M if levels.size else np.zeros(0, bool)
        trio = [i[level] for i in trio]
        if not len(trio[0]):
            continue
        cost = trio_cost(
            [places[k][i] for k, i in zip(KINDS, trio, strict=True)],
            np.ptp(levels[:, level], axis=0),
            [seen[k][i] for k, i in zip(KINDS, trio, strict=True)],
            [brow[k][i] for k, i in zip(KINDS, trio, strict=True)],
            top,
        )
        least = int(np.argmin(cost))
        if cost[least] < best:
            best = cost[least]
            chosen = [places[k][i[least]] for k, i in zip(KINDS, trio, strict=True)]
    if chosen is None:
        raise ValueError("this seed has no three look-alike places; try another seed")
    return [
        {
            "name": f"A {kind}",
            "kind": kind,
            "height_m": round(float(sheet.height(p)[0]), 2),
            "geometry": Point(p),
        }
        for kind, p in zip(KINDS, chosen, strict=True)
    ]


def trio_cost(at: list[Any], spread_m: Any, views: list[Any], brow: list[Any], top: Any) -> Any:
    """How poor an exercise each three of places makes, (n,); infinite where it makes none.

    at : three (n, 2), metres; spread_m : (n,) of their heights; views : three (n, tops), bool;
    brow : three (n,), octaves of the distance to the first brow; top : (2,), the top they lie about
    """
    pairs = ((0, 1), (0, 2), (1, 2))
    apart = np.min([np.hypot(*(at[a] - at[b]).T) for a, b in pairs], axis=0)
    differ = np.min([(views[a] != views[b]).sum(axis=1) for a, b in pairs], axis=0)
    common = (views[0] & views[1] & views[2]).sum(axis=1)
    octaves = np.min([np.abs(brow[a] - brow[b]) for a, b in pairs], axis=0)
    away = sum(np.hypot(*(p - top).T) for p in at)
    cost = 6 * spread_m + 0.1 * away - 30 * np.minimum(common, 2) - 15 * np.minimum(differ, 4)
    cost -= 120 * np.minimum(octaves, 1.0)
    return np.where((apart >= APART_M) & (differ >= 2) & (common >= 1), cost, np.inf)
