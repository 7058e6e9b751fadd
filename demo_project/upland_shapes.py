"""Shapes of the ground that a map names: tops, the saddles between them, and crags."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy import ndimage
from shapely import LineString, Point, Polygon
from upland_ground import SIDE_M
from upland_sheet import Rows, Sheet, called_after, outlines
from upland_wear import compiled

LEAST_CRAG_M = 100.0  # a shorter one is a crumb that no map would draw

# Invented words; no real place is meant.
TOP_NAMES = (
    "Great Orrum", "Tessock Top", "Dunnaver", "Skarrow Knott", "Wether Hummel", "Pellin Rigg", "Little Orrum",
    "Garrant", "Ommer Top", "Lunnick Hill", "Cravock", "Thornavel", "Sallow Hummel", "Yarrum Knott",
    "Hasken Top", "Brindavel", "Morrick Hummel", "Fennavel",
)  # fmt: skip
GAP_ENDS = ("Hause", "Gap", "Swire")


@compiled
def islands(height, order):  # type: ignore[no-untyped-def]
    """Summits with their prominence: flood the sheet downwards and see where islands meet.

    height : flat heights as a square sheet; order : posts from high to low.
    Returns flat indices of summits, of their key saddles (-1 for the highest), and prominences.
    """
    n = height.size
    side = int(np.sqrt(n))
    parent = np.full(n, -1)
    top = np.empty(n, np.int64)
    tops, saddles, rises = [np.int64(0)], [np.int64(0)], [0.0]
    tops.pop()
    saddles.pop()
    rises.pop()
    for i in order:
        parent[i] = i
        top[i] = i
        r, c = i // side, i % side
        for dr in range(-1, 2):
            for dc in range(-1, 2):
                rr, cc = r + dr, c + dc
                if rr < 0 or cc < 0 or rr >= side or cc >= side or parent[rr * side + cc] < 0:
                    continue
                a, b = i, rr * side + cc
                while parent[a] != a:
                    parent[a] = parent[parent[a]]
                    a = parent[a]
                while parent[b] != b:
                    parent[b] = parent[parent[b]]
                    b = parent[b]
                if a == b:
                    continue
                if height[top[a]] > height[top[b]]:
                    a, b = b, a
                # a has the lower top: it ends here
                if height[top[a]] - height[i] > 4.0:
                    tops.append(top[a])
                    saddles.append(np.int64(i))
                    rises.append(height[top[a]] - height[i])
                parent[a] = b
    highest = order[0]
    tops.append(np.int64(highest))
    saddles.append(np.int64(-1))
    rises.append(height[highest] - height[order[-1]])
    return np.array(tops), np.array(saddles), np.array(rises)


def tops_and_saddles(sheet: Sheet) -> tuple[Rows, Rows]:
    """Named tops by prominence and the saddles between them."""
    flat = sheet.z.ravel()
    summit, saddle, rise = islands(flat, np.argsort(-flat, kind="stable"))
    order = np.argsort(-rise, kind="stable")
    tops: Rows = []
    saddles: Rows = []
    lone: list[Any] = []
    for k in order:
        xy = sheet.place(summit[k])
        if min(xy.min(), SIDE_M - xy.max()) < 200 or rise[k] < 6:
            continue
        if any(np.hypot(*(xy - other)) < 320 for other in lone):
            continue
        lone.append(xy)
        kind = "summit" if rise[k] >= 25 else "knoll"
        tops.append(
            {
                "name": None,
                "kind": kind,
                "height_m": float(flat[summit[k]]),
                "rise_m": round(float(rise[k]), 1),
                "geometry": Point(xy),
            }
        )
        if saddle[k] >= 0:
            at = sheet.place(saddle[k])
            if min(at.min(), SIDE_M - at.max()) > 200 and all(
                np.hypot(*(at - s)) > 250 for s in [np.array(r["geometry"].coords[0]) for r in saddles]
            ):
                saddles.append(
                    {
                        "name": None,
                        "kind": "saddle",
                        "height_m": float(flat[saddle[k]]),
                        "geometry": Point(at),
                    }
                )
    tops.sort(key=lambda t: -t["height_m"] - 2 * t["rise_m"])
    for name, row in zip(TOP_NAMES, tops, strict=False):
        row["name"] = name
    saddles.sort(key=lambda s: -s["height_m"])
    used: set[str] = set()
    for row in saddles:
        row["name"] = called_after(row["geometry"], tops, GAP_ENDS, used)
    return tops, saddles


def crag_rows(sheet: Sheet, tops: Rows) -> Rows:
    """Upper edges of steep ground: drawn where the slope passes 36 degrees, along the brink."""
    steep = ndimage.gaussian_filter(sheet.slope, 1.0) > np.tan(np.radians(36))
    rows: Rows = []
    for area in outlines(steep):
        if area.area < 1500:
            continue
        ring = Polygon(area.exterior).buffer(10).buffer(-10).exterior
        count = max(8, int(ring.length / 8))
        points = np.array([ring.interpolate(k / count, normalized=True).coords[0] for k in range(count)])
        points = ndimage.gaussian_filter1d(points, 1.5, axis=0, mode="wrap")
        ahead = np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0)
        out = np.column_stack([ahead[:, 1], -ahead[:, 0]]) / np.maximum(np.hypot(*ahead.T), 1e-9)[:, None]
        if not ring.is_ccw:
            out = -out
        brink = sheet.height(points + 15 * out) - sheet.height(points - 15 * out) > 6.0
        if brink.all() or not brink.any():
            continue
        first = int(np.flatnonzero(~brink)[0])
        points, brink = np.roll(points, -first, axis=0), np.roll(brink, -first)
        runs, number = ndimage.label(brink)
        for k in range(1, number + 1):
            line = points[runs == k]
            if len(line) > 8 and LineString(line).length > LEAST_CRAG_M:
                rows.append({"name": None, "kind": "crag", "geometry": LineString(line)})
    rows.sort(key=lambda r: -r["geometry"].length)
    near = [r for r in rows if r["geometry"].distance(sheet.tarn) < 450]
    far = [r for r in rows if r["geometry"].distance(sheet.tarn) >= 450]
    if near:
        near[0]["name"] = "Tessock Crags"
    if far:
        far[0]["name"], far[0]["kind"] = (
            called_after(far[0]["geometry"], tops, ("Edge",), set(), reach_m=3900.0),
            "edge",
        )
    return rows
