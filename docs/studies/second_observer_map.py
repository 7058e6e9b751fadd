"""A map of the second observer's own: tops, saddles, lochs, streams and spurs of fine ground, and some walls.

Tops and saddles come from flooding the ground from above: two rising islands meet in the saddle of the lower
one. Streams are the courses of water that gathers downhill, spurs the same on the ground turned upside down.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import geopandas
import numba
import numpy as np
import pandas as pd
import shapely
from scipy import ndimage

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from second_observer_sight import Ground

    Floats = NDArray[np.float64]

#: Tops are mapped so far about the middle of a window, in eastings and in northings, and all else so far.
TOPS_WITHIN_M, MAPPED_WITHIN_M = 9_000.0, 6_000.0

#: Kinds with their classes of evidence and how high they stand above the ground, metres.
_KINDS = {
    "summit": ("ground_shape", 0.0),
    "saddle": ("ground_shape", 0.0),
    "spur": ("ground_shape", 0.0),
    "loch": ("water", 0.0),
    "stream": ("water", 0.0),
    "wall": ("man_made", 1.3),
}

#: A top's upper part lies so far about it.
_UPPER_PART_M = 100.0

#: Most samples of one thing.
_MOST_SAMPLES = 12


@dataclass(frozen=True)
class Sheet:
    """Things of a map with places sampled on them; rows are those of the frame.

    frame : name, kind, evidence_class, target_height_m, source and geometry, as map features have them
    east_m, north_m, tall_m : (n,) samples of all things, one after the other; lines from their upper end
    starts : (things + 1,) where each thing's samples begin, and the end
    wide_m : (things,) width of a line; of others 0
    """

    frame: geopandas.GeoDataFrame
    east_m: Floats
    north_m: Floats
    tall_m: Floats
    starts: NDArray[np.int64]
    wide_m: Floats

    @property
    def kinds(self) -> list[str]:
        """Kind of each thing."""
        return list(self.frame["kind"])

    @property
    def names(self) -> list[str]:
        """Name of each thing."""
        return list(self.frame["name"])

    def part(self, rows: list[int]) -> Sheet:
        """Only some of its things, in the order given."""
        taken = [np.arange(self.starts[k], self.starts[k + 1]) for k in rows]
        at = np.concatenate(taken) if taken else np.zeros(0, np.int64)
        starts = np.concatenate(([0], np.cumsum([len(one) for one in taken]))).astype(np.int64)
        return Sheet(
            self.frame.iloc[rows],
            self.east_m[at],
            self.north_m[at],
            self.tall_m[at],
            starts,
            self.wide_m[rows],
        )


def sheet_of(ground: Ground, crs: Any, random: np.random.Generator) -> Sheet:
    """Map the middle of some ground."""
    middle = ground.middle_m
    middle_row, middle_column = ground.at(*middle)
    half = int(TOPS_WITHIN_M / ground.spacing_m)
    top, left = max(int(middle_row) - half, 0), max(int(middle_column) - half, 0)
    window = ground.height_m[top : top + 2 * half + 1, left : left + 2 * half + 1].astype(np.float64)
    window = np.where(np.isnan(window), np.nanmin(window) - 1.0, window)
    # A map is drawn from what shows at 50 m, however fine the posts.
    every = max(1, round(50.0 / ground.spacing_m))
    if every > 1:
        window = ndimage.gaussian_filter(window, every / 2.0)[::every, ::every]
    spacing_m = ground.spacing_m * every
    west_m = ground.west_m + left * ground.spacing_m
    north_m = ground.north_m - top * ground.spacing_m

    def place(rows: Any, columns: Any) -> Floats:
        return np.column_stack(
            (west_m + spacing_m * np.asarray(columns), north_m - spacing_m * np.asarray(rows))
        )

    found: list[tuple[str, Any]] = []
    tops, saddles = _tops_and_saddles(window)
    found += [("summit", shapely.Point(one)) for one in place(*tops)]
    found += [("saddle", shapely.Point(one)) for one in place(*saddles)]
    lochs = _lochs(window, place, spacing_m)
    found += [("loch", outline) for outline in lochs]
    for kind, turned in (("stream", window), ("spur", -window)):
        lines = _courses(turned, spacing_m, 1.2e6 if kind == "stream" else 0.25e6)
        for line in lines:
            points = place(*np.array(line).T)
            if kind == "spur":
                points = points[::-1]  # ground turned upside down runs up to where the spur begins
            shape = shapely.LineString(points)
            if not any(outline.intersects(shape) for outline in lochs):
                found.append((kind, shape))
    found += [("wall", line) for line in _walls(ground, random)]
    near = shapely.box(*(v - MAPPED_WITHIN_M for v in middle), *(v + MAPPED_WITHIN_M for v in middle))
    found = [one for one in found if one[0] == "summit" or near.intersects(one[1])]
    return _sampled(found, crs)


def _sampled(found: list[tuple[str, Any]], crs: Any) -> Sheet:
    places, counts, numbers, names, wide = [], [], {}, [], []
    for kind, shape in found:
        numbers[kind] = numbers.get(kind, 0) + 1
        names.append(f"{kind.capitalize()} {numbers[kind]}")
        if shape.geom_type == "Point":
            # A hill is known by its upper part, if its very top is hidden by its own shoulder.
            beside_m = _UPPER_PART_M if kind == "summit" else 0.0
            around = [(0, 0), (1, 0), (0, 1), (-1, 0), (0, -1)] if beside_m else [(0, 0)]
            taken = np.array([shape.x, shape.y]) + beside_m * np.array(around)
        elif shape.geom_type == "LineString":
            n = int(np.clip(shape.length / 100.0, 3, _MOST_SAMPLES))
            taken = shapely.get_coordinates(
                shapely.line_interpolate_point(shape, np.linspace(0, shape.length, n))
            )
        else:
            edge = shape.exterior
            around = np.linspace(0, edge.length, _MOST_SAMPLES - 1)[:-1]
            taken = shapely.get_coordinates(shapely.line_interpolate_point(edge, around))
            taken = np.vstack((taken, [[shape.centroid.x, shape.centroid.y]]))
        places.append(taken)
        counts.append(len(taken))
        wide.append({"stream": 4.0, "spur": 60.0, "wall": 1.3}.get(kind, 0.0))
    kinds = [kind for kind, _ in found]
    tall = np.array([_KINDS[kind][1] for kind in kinds])
    every = np.concatenate(places)
    frame = geopandas.GeoDataFrame(
        {
            "name": pd.Series(names, dtype=object),
            "kind": kinds,
            "evidence_class": [_KINDS[kind][0] for kind in kinds],
            "target_height_m": tall,
            "source": "the study's own map",
        },
        geometry=[shape for _, shape in found],
        crs=crs,
    )
    starts = np.concatenate(([0], np.cumsum(counts))).astype(np.int64)
    return Sheet(frame, every[:, 0], every[:, 1], np.repeat(tall, counts), starts, np.array(wide))


def _tops_and_saddles(height_m: Floats) -> tuple[tuple[Any, Any], tuple[Any, Any]]:
    """Rows and columns of tops that stand 25 m or more above their saddles, and of those saddles."""
    smooth = ndimage.gaussian_filter(height_m, 0.7)
    order = np.argsort(-smooth, axis=None).astype(np.int64)
    top, key = _islands(smooth.ravel(), order, smooth.shape[1])
    drop = np.where(key >= 0, smooth.ravel()[top] - smooth.ravel()[key], 1e9)
    kept = np.flatnonzero(drop >= 25.0)
    kept = kept[np.argsort(-drop[kept])][:60]
    saddles = key[kept][key[kept] >= 0][:30]
    return np.divmod(top[kept], smooth.shape[1]), np.divmod(saddles, smooth.shape[1])


@numba.njit(cache=True)
def _islands(height_m, order, columns):  # type: ignore[no-untyped-def]
    """Tops (posts) and the saddle at which each meets a higher one; -1 for the highest of all."""
    count = height_m.size
    parent = np.full(count, -1, np.int64)
    summit = np.full(count, -1, np.int64)
    tops, keys = [], []
    for post in order:
        row, column = post // columns, post % columns
        parent[post] = post
        summit[post] = post
        for down in range(-1, 2):
            for right in range(-1, 2):
                r, c = row + down, column + right
                if r < 0 or c < 0 or c >= columns or r * columns + c >= count:
                    continue
                other = r * columns + c
                if other == post or parent[other] < 0:
                    continue
                one = post
                while parent[one] != one:
                    one = parent[one]
                while parent[other] != other:
                    parent[other] = parent[parent[other]]
                    other = parent[other]
                if one == other:
                    continue
                high, low = summit[one], summit[other]
                if height_m[high] < height_m[low] or (height_m[high] == height_m[low] and high > low):
                    high, low = low, high
                if low != post:
                    tops.append(low)
                    keys.append(post)
                parent[one] = other
                summit[other] = high
    tops.append(order[0])
    keys.append(-1)
    return np.array(tops), np.array(keys)


def _lochs(height_m: Floats, place: Any, spacing_m: float) -> list[Any]:
    """Outlines of level floors of 4 ha or more."""
    level = ndimage.maximum_filter(height_m, 3) - ndimage.minimum_filter(height_m, 3) < 0.15
    labels, count = ndimage.label(level)
    found = []
    for k in range(1, count + 1):
        rows, columns = np.nonzero(labels == k)
        if rows.size * spacing_m**2 < 4e4:
            continue
        outline = shapely.union_all(shapely.buffer(shapely.points(place(rows, columns)), 1.5 * spacing_m))
        found.append(
            shapely.simplify(outline.convex_hull if outline.geom_type != "Polygon" else outline, 25.0)
        )
    return sorted(found, key=shapely.area)[-10:]


def _courses(height_m: Floats, spacing_m: float, least_m2: float) -> list[list[tuple[int, int]]]:
    """Courses of what gathers downhill from so large a catchment, cut where they meet; the longest."""
    smooth = ndimage.gaussian_filter(height_m, 1.0)
    order = np.argsort(-smooth, axis=None).astype(np.int64)
    receiver, gathered = _gather(smooth.ravel(), order, smooth.shape[1])
    wet = gathered * spacing_m**2 >= least_m2
    feeders = np.bincount(receiver[wet & (receiver >= 0)], minlength=wet.size)
    heads = np.flatnonzero(wet & (feeders != 1))
    lines = []
    for head in heads:
        line = [int(head)]
        while receiver[line[-1]] >= 0 and len(line) * spacing_m < 1_800.0:
            line.append(int(receiver[line[-1]]))
            if feeders[line[-1]] > 1:
                break
        falls = smooth.ravel()[line[0]] - smooth.ravel()[line[-1]]
        if len(line) * spacing_m >= 500.0 and falls >= 40.0:
            lines.append([(k // smooth.shape[1], k % smooth.shape[1]) for k in line])
    return sorted(lines, key=len)[-40:]


@numba.njit(cache=True)
def _gather(height_m, order, columns):  # type: ignore[no-untyped-def]
    """Steepest lower neighbour of each post (-1 in pits and at the edge), and how many posts gather there."""
    count = height_m.size
    receiver = np.full(count, -1, np.int64)
    gathered = np.ones(count)
    for post in order:
        row, column = post // columns, post % columns
        if row == 0 or column == 0 or column == columns - 1 or post + columns >= count:
            continue
        steepest = 0.0
        for down in range(-1, 2):
            for right in range(-1, 2):
                other = (row + down) * columns + column + right
                if other == post:
                    continue
                fall = (height_m[post] - height_m[other]) / np.hypot(down, right)
                if fall > steepest:
                    steepest, receiver[post] = fall, other
        if receiver[post] >= 0:
            gathered[receiver[post]] += gathered[post]
    return receiver, gathered


def _walls(ground: Ground, random: np.random.Generator) -> list[Any]:
    """A few walls that are nowhere."""
    lines = []
    for _ in range(8):
        start = np.array(ground.middle_m) + random.uniform(-3_500.0, 3_500.0, 2)
        turn, length_m = random.uniform(0, 2 * np.pi), random.uniform(250.0, 1_200.0)
        lines.append(shapely.LineString([start, start + length_m * np.array([np.sin(turn), np.cos(turn)])]))
    return lines
