"""Holds found landforms against known ones, and the landforms of two runs against each other.

When are two landforms the same?

- Points: within one scale length.
- Lines: the shorter is at least a third as long as the longer, and its places (a twentieth of a scale
  apart) lie on average within the limit of the longer one: half a scale, because the next spur or re-
  entrant may begin one scale away. The distance told is that mean.
- Areas: their intersection is at least half of their union. The distance told is that between their
  centroids.

Pairs are one to one (least sum of distances). Lines that a reader may draw in one piece or in several
(ridges, valley lines, breaks of slope) and bands of steep ground are held against known ones as a whole: a
known one is found where at least 70 % of its length (half of the union of areas) is drawn. There a piece
beside a known one is no invention; a second spur beside a known spur is."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import geopandas
import numpy as np
import shapely
from scipy.optimize import linear_sum_assignment

from landform.known import Expected, Made

DRAWN_IN_PIECES = ("ridges", "valley_lines", "breaks_of_slope", "steep_ground")

_LINE_SHARE = 0.5
_SHORTER_SHARE = 1 / 3
_OVERLAP_SHARE = 0.5
_DRAWN_SHARE = 0.7
_INFINITE = 1e9


@dataclass(frozen=True)
class Match:
    """A known landform and the row that is it, metres apart; no row where it is drawn in pieces."""

    known: Expected
    row: int | None
    distance_m: float


@dataclass(frozen=True)
class Invented:
    """A row that nothing on the ground stands for."""

    kind: str
    row: int
    geometry: shapely.Geometry


@dataclass(frozen=True)
class Outcome:
    """What was found of the known, what was missed, and what was invented."""

    found: list[Match]
    missed: list[Expected]
    invented: list[Invented]

    @property
    def found_share(self) -> float:
        return len(self.found) / max(len(self.found) + len(self.missed), 1)

    def told(self) -> str:
        """One line a trouble, for a failing test."""
        lines = [f"missed {e.kind} at {_place(e.geometry)}" for e in self.missed]
        return "\n".join(lines + [f"invented {i.kind} at {_place(i.geometry)}" for i in self.invented])


def hold(
    frames: dict[str, geopandas.GeoDataFrame], made: Made, kinds: Iterable[str] | None = None
) -> Outcome:
    """Found landforms against those of a ground by formula.

    Rows that say they are cut by the terrain's edge are not counted as invented: the formula goes on
        beyond it.
    """
    found: list[Match] = []
    missed: list[Expected] = []
    invented: list[Invented] = []
    for kind in kinds or frames:
        frame, known = frames[kind], made.required(kind)
        geometries = np.array(frame.geometry.values, object)
        taken: set[int] = set()
        if kind in DRAWN_IN_PIECES:
            for one in known:
                distance = _drawn_apart_m(one, frame, made.scale_m)
                (missed.append(one) if distance is None else found.append(Match(one, None, distance)))
        else:
            pairs = paired([e.geometry for e in known], geometries, made.scale_m)
            found += [Match(known[k], row, distance) for k, row, distance in pairs]
            met = {k for k, _, _ in pairs}
            missed += [e for k, e in enumerate(known) if k not in met]
            taken = {row for _, row, _ in pairs}
        explaining = [
            e.geometry for e in made.expected if e.kind == kind and (e.optional or kind in DRAWN_IN_PIECES)
        ]
        cut = frame["cut_by"].isna().to_numpy()
        invented += [
            Invented(kind, row, geometry)
            for row, geometry in enumerate(geometries)
            if row not in taken and cut[row] and not _explained(geometry, explaining, made.scale_m)
        ]
    return Outcome(found, missed, invented)


def apart_m(one: shapely.Geometry, other: shapely.Geometry, scale_m: float) -> float:
    """Distance between two landforms of one kind; infinite where they are not the same one."""
    if one.geom_type == "Point":
        distance = float(one.distance(other))
        return distance if distance <= scale_m else np.inf
    if "Line" in one.geom_type:
        short, long = sorted((one, other), key=lambda line: line.length)
        if short.length < _SHORTER_SHARE * long.length:
            return np.inf
        distance = float(shapely.distance(_places(short, scale_m / 20), long).mean())
        return distance if distance <= _LINE_SHARE * scale_m else np.inf
    both = one.intersection(other).area
    if both < _OVERLAP_SHARE * (one.area + other.area - both):
        return np.inf
    return float(one.centroid.distance(other.centroid))


def paired(
    first: Iterable[shapely.Geometry], second: Iterable[shapely.Geometry], scale_m: float
) -> list[tuple[int, int, float]]:
    """One-to-one pairs of the same landform: (index in first, index in second, distance in metres)."""
    first, second = list(first), list(second)
    if not first or not second:
        return []
    cost = np.full((len(first), len(second)), _INFINITE)
    tree = shapely.STRtree(second)
    for k, geometry in enumerate(first):
        for row in tree.query(geometry, predicate="dwithin", distance=scale_m):
            distance = apart_m(geometry, second[row], scale_m)
            cost[k, row] = distance if np.isfinite(distance) else _INFINITE
    rows, columns = linear_sum_assignment(cost)
    return [
        (int(r), int(c), float(cost[r, c]))
        for r, c in zip(rows, columns, strict=True)
        if cost[r, c] < _INFINITE
    ]


@dataclass(frozen=True)
class Agreement:
    """Two runs compared: how many of a kind the first and the second found, how many pairs, how far apart."""

    first: int
    second: int
    distances_m: tuple[float, ...]

    @property
    def share(self) -> float:
        """Matched landforms of both runs over all of both; 1 where there is none."""
        return 2 * len(self.distances_m) / (self.first + self.second) if self.first + self.second else 1.0

    def __add__(self, other: Agreement) -> Agreement:
        return Agreement(
            self.first + other.first, self.second + other.second, self.distances_m + other.distances_m
        )


def agreement(first: geopandas.GeoDataFrame, second: geopandas.GeoDataFrame) -> Agreement:
    """One-to-one agreement of two frames of one kind, scale by scale as each row has it."""
    total = Agreement(0, 0, ())
    for scale_m in sorted(set(first["scale_m"]) | set(second["scale_m"])):
        one, other = (f.geometry[f["scale_m"] == scale_m].to_numpy() for f in (first, second))
        pairs = paired(one, other, float(scale_m))
        total += Agreement(len(one), len(other), tuple(distance for _, _, distance in pairs))
    return total


def _drawn_apart_m(known: Expected, frame: geopandas.GeoDataFrame, scale_m: float) -> float | None:
    """Mean distance of a known line to what is drawn, or of areas' centroids; None where it is not drawn."""
    of_kind = frame
    for column in ("kind", "slope_from_deg"):
        if column in known.figures and column in frame:
            of_kind = of_kind[of_kind[column] == known.figures[column]]
    if of_kind.empty:
        return None
    drawn = shapely.union_all(of_kind.geometry.to_numpy())
    if known.geometry.area:
        distance = apart_m(known.geometry, drawn, scale_m)
        return distance if np.isfinite(distance) else None
    away = shapely.distance(_places(known.geometry, scale_m / 20), drawn)
    near = away <= _LINE_SHARE * scale_m
    return float(away[near].mean()) if near.mean() >= _DRAWN_SHARE else None


def _explained(geometry: shapely.Geometry, by: list[shapely.Geometry], scale_m: float) -> bool:
    """Whether at least half of a landform lies beside something that the ground has or a person may name."""
    if not by:
        return False
    beside = shapely.union_all(by).buffer(_LINE_SHARE * scale_m)
    if geometry.geom_type == "Point":
        return bool(beside.contains(geometry))
    inside = geometry.intersection(beside)
    if geometry.area:
        return bool(inside.area >= geometry.area / 2)
    return bool(inside.length >= geometry.length / 2)


def _places(line: shapely.Geometry, step_m: float) -> np.ndarray:
    count = max(int(line.length / step_m), 2)
    return shapely.line_interpolate_point(shapely.force_2d(line), np.linspace(0, line.length, count + 1))


def _place(geometry: shapely.Geometry) -> str:
    return f"E {geometry.centroid.x:.0f} N {geometry.centroid.y:.0f} ({geometry.length:.0f} m)"
