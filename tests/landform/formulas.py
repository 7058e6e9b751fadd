"""Ground given by a formula: frames to turn it by, and its own tops, saddles, crest lines and outlines.

Everything here is read off the formula (a function of map position in float64, evaluated where it is
needed), never off posts by a method of the package: it is what found landforms are held against."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import contourpy
import numpy as np
import shapely
from scipy import ndimage, optimize

from hillsight.arrays import Floats

#: Height in metres at easting and northing in metres.
Formula = Callable[[Floats, Floats], Floats]

_DIFFERENCE_M = 0.5


@dataclass(frozen=True)
class Frame:
    """Axes of a formula: u along the hillside and v up it, turned anticlockwise about a place on the map."""

    east_m: float
    north_m: float
    turned_deg: float

    def to_map(self, u: Floats, v: Floats) -> tuple[Floats, Floats]:
        cosine, sine = self._turn()
        u, v = np.asarray(u, float), np.asarray(v, float)
        return self.east_m + u * cosine - v * sine, self.north_m + u * sine + v * cosine

    def from_map(self, easting_m: Floats, northing_m: Floats) -> tuple[Floats, Floats]:
        cosine, sine = self._turn()
        x, y = np.asarray(easting_m, float) - self.east_m, np.asarray(northing_m, float) - self.north_m
        return x * cosine + y * sine, -x * sine + y * cosine

    def line(self, u: Floats, v: Floats) -> shapely.LineString:
        """The line through places of the frame, on the map."""
        u, v = np.broadcast_arrays(u, v)
        return shapely.LineString(np.column_stack(self.to_map(u, v)))

    def _turn(self) -> tuple[float, float]:
        turned = np.radians(self.turned_deg)
        return float(np.cos(turned)), float(np.sin(turned))


def ramp(v: Floats, start: float, rounding: float) -> Floats:
    """0 below ``start``, v - start above it, the corner rounded over some 4 roundings."""
    return rounding * np.logaddexp(0.0, (np.asarray(v, float) - start) / rounding)


def window(distance: Floats, radius: float, rounding: float) -> Floats:
    """1 inside a radius, 0 well outside it."""
    return 1.0 / (1.0 + np.exp(np.clip((np.asarray(distance, float) - radius) / rounding, -60, 60)))


def gradient(ground: Formula, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Rise over run towards east and north, by central differences of the formula."""
    d = _DIFFERENCE_M
    return (
        (ground(x + d, y) - ground(x - d, y)) / (2 * d),
        (ground(x, y + d) - ground(x, y - d)) / (2 * d),
    )


def slope_deg(ground: Formula, x: Floats, y: Floats) -> Floats:
    return np.degrees(np.arctan(np.hypot(*gradient(ground, x, y))))


def curving(ground: Formula, x: float, y: float) -> Floats:
    """(2, 2) second derivatives."""
    d = _DIFFERENCE_M
    here = float(ground(x, y))
    east = (ground(x + d, y) - 2 * here + ground(x - d, y)) / d**2
    north = (ground(x, y + d) - 2 * here + ground(x, y - d)) / d**2
    both = (ground(x + d, y + d) - ground(x + d, y - d) - ground(x - d, y + d) + ground(x - d, y - d)) / (
        4 * d**2
    )
    return np.array([[east, both], [both, north]], float)


@dataclass(frozen=True)
class Critical:
    """Places where the ground is level: (n, 2) eastings and northings, each kind apart."""

    tops: Floats
    saddles: Floats
    bottoms: Floats


def critical_places(
    ground: Formula, bounds: tuple[float, float, float, float], step_m: float = 20.0
) -> Critical:
    """All level places within bounds (west, south, east, north), wider apart than a few steps."""
    west, south, east, north = bounds
    x, y = np.meshgrid(np.arange(west, east + 1, step_m), np.arange(south, north + 1, step_m))
    height = ground(x, y)
    ring = [(-1, -1), (-1, 0), (-1, 1), (0, 1), (1, 1), (1, 0), (1, -1), (0, -1)]
    higher = np.array([np.roll(height, (-r, -c), (0, 1)) > height for r, c in ring])
    turns = (higher != np.roll(higher, 1, axis=0)).sum(axis=0)
    maybe = turns != 2
    maybe[[0, -1], :] = maybe[:, [0, -1]] = False
    kinds: dict[str, list[Floats]] = {"tops": [], "saddles": [], "bottoms": []}
    for start in np.column_stack([x[maybe], y[maybe]]):
        solved = optimize.root(lambda p: np.array(gradient(ground, p[0], p[1])), start, tol=1e-9)
        if not solved.success or np.hypot(*(solved.x - start)) > 3 * step_m:
            continue
        bends = np.linalg.eigvalsh(curving(ground, *solved.x))
        kind = "tops" if bends[1] < 0 else "bottoms" if bends[0] > 0 else "saddles"
        if all(np.hypot(*(solved.x - other)) > 1.0 for other in kinds[kind]):
            kinds[kind].append(solved.x)
    return Critical(*(np.array(kinds[k], float).reshape(-1, 2) for k in ("tops", "saddles", "bottoms")))


def way_up(
    ground: Formula, place: Floats, bounds: tuple[float, float, float, float], step_m: float = 5.0
) -> Floats:
    """(n, 2) steepest way up from a place, until it is level or leaves the bounds."""
    way = [np.asarray(place, float)]
    for _ in range(4000):
        here = way[-1]
        first = np.array(gradient(ground, *here), float)
        if np.hypot(*first) < 1e-9:
            break
        # The midpoint rule keeps to the crest where a plain step would swing about it.
        middle = here + step_m / 2 * first / np.hypot(*first)
        second = np.array(gradient(ground, *middle), float)
        if first @ second <= 0:
            break
        way.append(here + step_m * second / np.hypot(*second))
        if not (bounds[0] <= way[-1][0] <= bounds[2] and bounds[1] <= way[-1][1] <= bounds[3]):
            break
    return np.array(way)


def crest_from(
    ground: Formula, saddle: Floats, bounds: tuple[float, float, float, float]
) -> tuple[Floats, Floats]:
    """Both ways up from a saddle, along the direction in which it rises most."""
    directions = np.linalg.eigh(curving(ground, *saddle))[1]
    ahead = directions[:, 1] * 2.0
    first, second = way_up(ground, saddle + ahead, bounds), way_up(ground, saddle - ahead, bounds)
    return np.vstack([saddle, first]), np.vstack([saddle, second])


def outline_where(
    values: Callable[[Floats, Floats], Floats],
    level: tuple[float, float],
    bounds: tuple[float, float, float, float],
    around: tuple[float, float],
    step_m: float = 5.0,
) -> shapely.Polygon:
    """Outline of the piece of ground around a place where values of the formula lie between two levels."""
    west, south, east, north = bounds
    x, y = np.arange(west, east + step_m / 2, step_m), np.arange(south, north + step_m / 2, step_m)
    eastings, northings = np.meshgrid(x, y)
    inside = (values(eastings, northings) >= level[0]) & (values(eastings, northings) <= level[1])
    pieces, _ = ndimage.label(inside)
    number = pieces[np.argmin(np.abs(y - around[1])), np.argmin(np.abs(x - around[0]))]
    if number == 0:
        raise ValueError(f"the place {around} is not between {level}")
    lines = contourpy.contour_generator(x, y, np.pad((pieces == number).astype(float)[1:-1, 1:-1], 1)).lines(
        0.5
    )
    shells = [shapely.Polygon(line) for line in lines if len(line) > 3]
    return max(shells, key=lambda shell: shell.area)


def joined(top_heights: Floats, joins: list[tuple[int, int, float]]) -> tuple[dict[int, float], set[int]]:
    """Join tops from the highest saddle down: (height of each top's key saddle, which of the saddles join).

    A saddle that joins nothing new closes a ring about a hollow.

    Parameters
    ----------
    joins : (top, top, height of the saddle between them); top -1 is ground beyond the bounds, which is
        taken to be higher than all
    """
    heights = {-1: np.inf} | {k: float(h) for k, h in enumerate(top_heights)}
    head = {k: k for k in heights}
    keys: dict[int, float] = {}
    joining = set()

    def find(k: int) -> int:
        while head[k] != k:
            k = head[k]
        return k

    for which in sorted(range(len(joins)), key=lambda k: -joins[k][2]):
        one, other, height = joins[which]
        low, high = sorted((find(one), find(other)), key=lambda k: heights[k])
        if low != high:
            head[low] = high
            keys[low] = height
            joining.add(which)
    return keys, joining
