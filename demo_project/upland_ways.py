"""Least-effort lines over the ground, for paths and walls."""

from __future__ import annotations

from typing import Any

import numpy as np
from contourpy import contour_generator
from scipy import ndimage, sparse, spatial
from shapely import LineString, Point
from upland_ground import SPACING_M
from upland_sheet import Sheet

STEP = 3  # posts between the nodes of the walking graph


class Walker:
    """Least-effort lines over the sheet, on a graph of every third post with sixteen ways out of each."""

    def __init__(self, sheet: Sheet, cost: Any, climb: float) -> None:
        z = sheet.z[::STEP, ::STEP]
        self.x, self.y = sheet.x[::STEP, ::STEP].ravel(), sheet.y[::STEP, ::STEP].ravel()
        cost = cost[::STEP, ::STEP]
        side = z.shape[0]
        index = np.arange(side * side).reshape(side, side)
        tails, heads, efforts = [], [], []
        for dr, dc in ((0, 1), (1, 0), (1, 1), (1, -1), (1, 2), (2, 1), (2, -1), (1, -2)):
            a = (slice(0, side - dr), slice(max(0, -dc), side - max(0, dc)))
            b = (slice(dr, side), slice(max(0, dc), side + min(0, dc)))
            run = SPACING_M * STEP * np.hypot(dr, dc)
            effort = run * (cost[a] + cost[b]) / 2 * (1 + (np.abs(z[a] - z[b]) / run / climb) ** 2)
            tails.append(index[a].ravel())
            heads.append(index[b].ravel())
            efforts.append(effort.ravel())
        size = (side * side, side * side)
        entries = (np.concatenate(efforts), (np.concatenate(tails), np.concatenate(heads)))
        self.graph = sparse.csr_matrix(entries, shape=size)
        self.tree = spatial.cKDTree(np.column_stack([self.x, self.y]))

    def lines(self, start: Any, ends: list[Any]) -> list[LineString]:
        """Smoothed least-effort lines from one place to each of several."""
        source = int(self.tree.query(start)[1])
        _, before = sparse.csgraph.dijkstra(
            self.graph, directed=False, indices=source, return_predecessors=True
        )
        lines = []
        for end in ends:
            node = int(self.tree.query(end)[1])
            posts = [node]
            while posts[-1] != source:
                posts.append(int(before[posts[-1]]))
            line = np.column_stack([self.x[posts], self.y[posts]])[::-1]
            line = ndimage.gaussian_filter1d(line, 1.6, axis=0, mode="nearest")
            line[0], line[-1] = start, end
            lines.append(LineString(line).simplify(1.5))
        return lines


def contour_near(sheet: Sheet, level_m: float, centre: Any, reach_m: float) -> LineString | None:
    """The longest piece of one contour, slightly straightened, within reach of a place."""
    smooth = ndimage.gaussian_filter(sheet.z, 3)
    pieces = [LineString(p) for p in contour_generator(sheet.x, sheet.y, smooth).lines(level_m) if len(p) > 3]
    disc = Point(centre).buffer(reach_m)
    parts = [g for p in pieces for g in getattr(p.intersection(disc), "geoms", [p.intersection(disc)])]
    parts = [p for p in parts if p.geom_type == "LineString" and p.length > 250]
    return max(parts, key=lambda p: p.length).simplify(9.0) if parts else None


def nearest_chain(places: list[Any]) -> list[tuple[Any, Any]]:
    """Shortest tree that links places no more than 2.6 km apart (Prim's rule)."""
    linked, loose, legs = [places[0]], list(places[1:]), []
    while loose:
        a, k = min(
            ((p, k) for p in linked for k in range(len(loose))), key=lambda t: np.hypot(*(t[0] - loose[t[1]]))
        )
        b = loose.pop(k)
        if np.hypot(*(a - b)) < 2600:
            legs.append((a, b))
        linked.append(b)
    return legs
