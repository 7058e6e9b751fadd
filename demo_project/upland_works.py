"""What people have built on the invented upland: farms, paths, walls, fences, small things."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
from scipy import ndimage, spatial
from shapely import LineString, Point, distance, union_all
from shapely import points as shapely_points
from shapely.ops import nearest_points
from upland_ground import SIDE_M
from upland_sheet import Rows, Sheet, called_after
from upland_ways import Walker, contour_near, nearest_chain

# Invented words; no real place is meant.
FARM_NAMES = (
    "Ommerside",
    "Low Pellin",
    "Haskenfoot",
    "High Ulloch",
    "Garra Steads",
    "Dunnagate",
    "Lavock Hall",
)
FARM_ENDS = ("side", "gate", "stead", "garth", "foot", "ber", "holm")


def farms_of(sheet: Sheet) -> list[Any]:
    """Places for farms: gentle dry ground a little above the larger streams, apart from one another."""
    gap, _ = spatial.cKDTree(sheet.water).query(
        np.column_stack([sheet.x.ravel(), sheet.y.ravel()]), distance_upper_bound=200
    )
    gap = gap.reshape(sheet.z.shape)
    wide = ndimage.maximum_filter(sheet.upland.catchment_m2, 19) > 2.2e6
    gentle = ndimage.maximum_filter(sheet.slope, 5) < 0.2
    fit = wide & gentle & (gap > 45) & (gap < 130) & (sheet.z < np.percentile(sheet.z, 35))
    fit[:40] = fit[-40:] = False
    fit[:, :40] = fit[:, -40:] = False
    order = np.flatnonzero(fit.ravel())
    order = order[np.argsort(sheet.slope.ravel()[order], kind="stable")]
    # one farm lies below the tarn, whatever its slope, so that a path leads up to the water
    tarn = sheet.tarn.centroid
    away = np.hypot(sheet.x.ravel()[order] - tarn.x, sheet.y.ravel()[order] - tarn.y)
    below = sheet.z.ravel()[order] < sheet.upland.tarn_level_m - 40
    first = order[np.argmin(np.where(below, away, np.inf))]
    chosen: list[Any] = []
    for i in [first, *order]:
        xy = sheet.place(int(i))
        if all(np.hypot(*(xy - other)) > 1700 for other in chosen):
            chosen.append(xy)
        if len(chosen) == len(FARM_NAMES):
            break
    return chosen


def men_made(sheet: Sheet, tops: Rows, saddles: Rows, streams: Rows) -> dict[str, Rows]:
    """Paths, tracks, walls, fences and small built things."""
    wet = ndimage.binary_dilation(sheet.upland.tarn, iterations=3)
    channel = (sheet.upland.catchment_m2 > 2.5e5).astype(float)
    cost = 1 + 3 * np.clip(sheet.slope - 0.3, 0, None) ** 1 * 6 + 1.2 * channel + 200 * wet
    cost += 30 * (ndimage.maximum_filter(sheet.slope, 5) > 0.65)
    whim = ndimage.gaussian_filter(np.random.default_rng(1).standard_normal(cost.shape), 9)
    cost *= np.exp(0.28 * whim / whim.std())  # bog and boulders that the heights do not show
    walker = Walker(sheet, cost, climb=0.14)
    farms = farms_of(sheet)
    spot = {r["name"]: np.array(r["geometry"].coords[0]) for r in tops if r["name"]}
    named = [r for r in tops if r["name"]]
    out: dict[str, Rows] = {k: [] for k in ("paths", "walls", "fences", "buildings")}

    shore = np.array(sheet.tarn.exterior.coords)
    middle = np.array(sheet.tarn.centroid.coords[0])
    home = min(farms, key=lambda f: np.hypot(*(f - middle)))
    foot = shore[np.argmin(np.hypot(*(shore - home).T))]
    out["paths"].append(
        {
            "name": "Tarn Path",
            "kind": "path",
            "geometry": walker.lines(foot + outward(sheet, foot), [home])[0],
        }
    )
    high = [spot[r["name"]] for r in named if r["height_m"] > np.percentile(sheet.z, 85)]
    farm_names = []
    used: set[str] = set()
    for k, farm in enumerate(farms):
        ends = FARM_ENDS[k:] + FARM_ENDS[:k]
        farm_names.append(called_after(Point(farm), tops, ends[:1], used, "") or FARM_NAMES[k])
    legs = nearest_chain(high)
    for a, b in legs:
        line = walker.lines(a, [b])[0]
        out["paths"].append({"name": "Long Ridge Path", "kind": "path", "geometry": line})
    summit = high[0]
    for farm in sorted(farms, key=lambda f: np.hypot(*(f - summit)))[1:3]:
        line = ending_on(walker.lines(farm, [summit])[0], out["paths"])
        out["paths"].append({"name": None, "kind": "path", "geometry": line})
    for farm in farms:
        edge = min(
            ([farm[0], 5.0], [farm[0], SIDE_M - 15], [5.0, farm[1]], [SIDE_M - 15, farm[1]]),
            key=lambda e: np.hypot(*(farm - e)),
        )
        out["paths"].append(
            {"name": None, "kind": "track", "geometry": walker.lines(farm, [np.array(edge)])[0]}
        )

    out["walls"], out["fences"] = walls_and_fences(sheet, tops, legs, wet)
    for name, farm in zip(farm_names, farms, strict=True):
        out["buildings"].append({"name": name, "kind": "farm", "geometry": Point(farm)})
        out["walls"] += intake(sheet, name, farm)
    for row in named[:6]:
        out["buildings"].append(
            {"name": f"{row['name']} Cairn", "kind": "cairn", "geometry": Point(spot[row["name"]])}
        )
    folds = 0
    for row in streams:
        xy = np.array(row["geometry"].coords)
        if row["kind"] == "stream" and 700 < row["geometry"].length < 2500 and folds < 6:
            at, ahead = xy[len(xy) // 2], xy[len(xy) // 2 + 1] - xy[len(xy) // 2 - 1]
            side = 28 * np.array([-ahead[1], ahead[0]]) / np.hypot(*ahead)
            out["buildings"].append({"name": None, "kind": "sheepfold", "geometry": Point(at + side)})
            folds += 1
    for row in saddles[:2]:
        out["buildings"].append({"name": None, "kind": "boundary stone", "geometry": row["geometry"]})
    return out


def walls_and_fences(sheet: Sheet, tops: Rows, legs: list[Any], wet: Any) -> tuple[Rows, Rows]:
    """The boundary along the watershed, walled on its main line and fenced elsewhere, and lower fences."""
    gather = np.log10(ndimage.gaussian_filter(sheet.upland.catchment_m2, 2) / 100)
    ridge = Walker(sheet, 0.15 + np.clip(gather, 0, None) ** 2 + 200 * wet, climb=0.5)
    walls: Rows = []
    fences: Rows = []
    main = main_line(legs)
    for a, b in legs:
        line = ridge.lines(a, [b])[0]
        if (tuple(a), tuple(b)) in main:
            walls.append({"name": "Long Boundary Wall", "kind": "boundary wall", "geometry": line})
        else:
            fences.append({"name": None, "kind": "boundary fence", "geometry": line})
    # other fences run along the ground between a lower top and its nearest named neighbour
    fenced: set[frozenset[Any]] = set()
    spots = [np.array(r["geometry"].coords[0]) for r in tops if r["name"]]
    for row in [r for r in tops if r["height_m"] <= np.percentile(sheet.z, 85)][:6]:
        start = np.array(row["geometry"].coords[0])
        goal = min(spots, key=lambda p: np.hypot(*(p - start)) if np.hypot(*(p - start)) > 300 else np.inf)
        pair = frozenset({tuple(start), tuple(goal)})  # two tops may each be the other's nearest
        if pair not in fenced and np.hypot(*(goal - start)) < 1800:
            fenced.add(pair)
            line = ridge.lines(start, [goal])[0].simplify(25)
            fences.append({"name": None, "kind": "boundary fence", "geometry": line})
    return walls, fences


def main_line(legs: list[Any]) -> set[tuple[Any, Any]]:
    """The legs of the longest way through a tree of legs."""
    arms: dict[Any, list[Any]] = {}
    for a, b in legs:
        arms.setdefault(tuple(a), []).append(tuple(b))
        arms.setdefault(tuple(b), []).append(tuple(a))

    def farthest(at: Any, come_from: Any) -> tuple[float, list[Any]]:
        ways = [(0.0, [at])]
        for onward in arms[at]:
            if onward != come_from:
                length, way = farthest(onward, at)
                ways.append((length + float(np.hypot(*np.subtract(onward, at))), [at, *way]))
        return max(ways, key=lambda w: w[0])

    end = farthest(next(iter(arms)), None)[1][-1]
    way = farthest(end, None)[1]
    pairs = list(pairwise(way))
    return {*pairs, *((b, a) for a, b in pairs)}


def intake(sheet: Sheet, name: str, farm: Any) -> Rows:
    """A farm's enclosure: a wall along a contour above it, and cross walls down towards the stream."""
    level = float(sheet.height(farm)[0])
    head = contour_near(sheet, level + 55, farm, 850)
    if head is None:
        return []
    lines = [head]
    water = spatial.cKDTree(sheet.water)
    for share in (0.15, 0.38, 0.62, 0.85):
        top = np.array(head.interpolate(share, normalized=True).coords[0])
        low = sheet.water[water.query(top)[1]]
        ahead = np.subtract(*(head.interpolate(share + s, normalized=True).coords[0] for s in (0.03, -0.03)))
        down = low - top
        length = np.hypot(*down)
        # a cross wall leaves the head wall at a fair angle
        square = abs(down @ ahead) < 0.6 * length * np.hypot(*ahead)
        if square and 60 < length < 420 and sheet.height(low)[0] < sheet.height(top)[0]:
            lines.append(LineString([top, top + 0.93 * down]))
    return [{"name": f"{name} Intake", "kind": "intake wall", "geometry": line} for line in lines]


def ending_on(line: LineString, laid: Rows, near_m: float = 30.0) -> LineString:
    """The line as far as the first path that it comes near, so that no path runs beside another."""
    others = union_all([row["geometry"] for row in laid])
    points = np.array(line.segmentize(10.0).coords)
    close = np.flatnonzero(distance(shapely_points(points), others) < near_m)
    close = close[close > 3]
    if not len(close):
        return line
    joint = nearest_points(others, Point(points[close[0]]))[0].coords[0]
    return LineString([*points[: close[0]], joint]).simplify(1.5)


def outward(sheet: Sheet, shore: Any) -> Any:
    """A step from the shore away from the tarn's middle, 25 m long."""
    way = shore - np.array(sheet.tarn.centroid.coords[0])
    return 25 * way / np.hypot(*way)
