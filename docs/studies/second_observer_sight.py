"""What the second observer sees: a sight walk, a brow finder and a look at things, all of its own.

It shares no code with ``hillsight.sight`` or ``hillsight.plan``. Ground is sampled between four posts at half
a post's spacing along each ray, to where nothing of the ground could rise against the sky or to its edge.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numba
import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from second_observer_map import Sheet

    Floats = NDArray[np.float64]

#: Curvature less refraction, per metre: (1 - k) / 2R with k = 0.13 and R = 6,371 km.
DROP_PER_M = 0.87 / (2 * 6_371_000.0)

#: Rays all round, a degree apart.
RAYS = 360


@dataclass(frozen=True)
class Ground:
    """Square posts, rows from the north; nothing is known beyond them.

    height_m : (rows, columns) float32, NaN where it is not known
    west_m, north_m : of the first post
    """

    height_m: NDArray[np.float32]
    spacing_m: float
    west_m: float
    north_m: float

    def at(self, east_m: float, north_m: float) -> tuple[float, float]:
        """Row and column of a place, in posts."""
        return (self.north_m - north_m) / self.spacing_m, (east_m - self.west_m) / self.spacing_m

    def height_at(self, east_m: float, north_m: float) -> float:
        """Height of the ground at a place; NaN off the posts."""
        return float(_height(self.height_m, *self.at(east_m, north_m)))

    @property
    def middle_m(self) -> tuple[float, float]:
        """Easting and northing of its middle."""
        rows, columns = self.height_m.shape
        half_m = self.spacing_m / 2
        return self.west_m + half_m * (columns - 1), self.north_m - half_m * (rows - 1)


@dataclass(frozen=True)
class Rays:
    """What each ray shows, (RAYS,) each; NaN where nobody looked.

    sky_deg, sky_m : vertical angle and distance of the skyline
    brow_m : distance of the first brow that a person would notice; NaN where there is none
    again_m : where ground shows again behind it, inf where none does
    before_deg, beyond_deg, again_deg : slope of the ground up to the brow, just behind it, and where ground
        shows again; falling away from the eye negative
    """

    sky_deg: Floats
    sky_m: Floats
    brow_m: Floats
    again_m: Floats
    before_deg: Floats
    beyond_deg: Floats
    again_deg: Floats


@dataclass(frozen=True)
class Samples:
    """Places of things as the eye has them, (n,) each.

    clear_deg : how far each stands above all nearer ground
    behind_deg : how far all farther ground stands above it
    """

    bearing_deg: Floats
    distance_m: Floats
    angle_deg: Floats
    clear_deg: Floats
    behind_deg: Floats


@numba.njit(cache=True)
def _height(height_m, row, column):  # type: ignore[no-untyped-def]
    if not (row >= 0.0 and column >= 0.0):
        return np.nan
    r, c = int(row), int(column)
    if r >= height_m.shape[0] - 1 or c >= height_m.shape[1] - 1:
        return np.nan
    down, right = row - r, column - c
    upper = height_m[r, c] * (1.0 - right) + height_m[r, c + 1] * right
    lower = height_m[r + 1, c] * (1.0 - right) + height_m[r + 1, c + 1] * right
    return upper * (1.0 - down) + lower * down


@numba.njit(cache=True)
def _chord_deg(height_m, spacing_m, row, column, north, east, begin_m, end_m):  # type: ignore[no-untyped-def]
    """Slope of the ground between two distances along a ray."""
    begin = _height(height_m, row - north * begin_m / spacing_m, column + east * begin_m / spacing_m)
    end = _height(height_m, row - north * end_m / spacing_m, column + east * end_m / spacing_m)
    return np.degrees(np.arctan((end - begin) / (end_m - begin_m)))


@numba.njit(cache=True)
def _is_noticed(depth_m, brow_m, again_m):  # type: ignore[no-untyped-def]
    """Whether ground out of view behind a brow is deep and long enough for somebody to notice.

    A brow is noticed by the jump in distance behind it and by how deep the ground dips below the line of
    sight: a metre, or two arc minutes at the brow.
    """
    length_m = again_m - brow_m
    return depth_m > max(1.0, 0.0006 * brow_m) and (length_m > 0.25 * brow_m + 15.0 or length_m > 200.0)


@numba.njit(cache=True)
def _walk(height_m, spacing_m, highest_m, row, column, level_m, rays, found):  # type: ignore[no-untyped-def]
    rows, columns = height_m.shape
    step_m = spacing_m / 2.0
    for k in rays:
        turn = 2.0 * np.pi * k / 360.0
        east, north = np.sin(turn), np.cos(turn)
        best, best_m, depth_m = -1e9, 0.0, 0.0
        brow_m, again_m = np.nan, np.nan
        distance_m = 0.0
        while True:
            distance_m += step_m
            r, c = row - north * distance_m / spacing_m, column + east * distance_m / spacing_m
            if not (0.0 <= r < rows - 1 and 0.0 <= c < columns - 1):
                break
            dropped_m = DROP_PER_M * distance_m * distance_m + level_m
            # Nothing that is farther could rise against the sky: the highest ground there is would not.
            if highest_m > level_m and (highest_m - dropped_m) / distance_m < best:
                break
            ground_m = _height(height_m, r, c)
            if np.isnan(ground_m):
                continue
            tangent = (ground_m - dropped_m) / distance_m
            if tangent >= best:
                if np.isnan(brow_m) and depth_m > 0.0 and _is_noticed(depth_m, best_m, distance_m):
                    brow_m, again_m = best_m, distance_m
                best, best_m, depth_m = tangent, distance_m, 0.0
            else:
                depth_m = max(depth_m, (best - tangent) * distance_m)
        if np.isnan(brow_m) and _is_noticed(depth_m, best_m, distance_m):
            brow_m, again_m = best_m, np.inf
        found[0, k], found[1, k] = np.degrees(np.arctan(best)), best_m
        found[2, k], found[3, k] = brow_m, again_m
        if not np.isnan(brow_m):
            near_m = max(step_m, brow_m)
            found[4, k] = _chord_deg(height_m, spacing_m, row, column, north, east, 0.0, near_m)
            behind_m = brow_m + max(2.0 * spacing_m, 0.3 * brow_m)
            found[5, k] = _chord_deg(height_m, spacing_m, row, column, north, east, brow_m, behind_m)
            if np.isfinite(again_m):
                up_m = again_m + max(2.0 * spacing_m, 0.15 * again_m)
                found[6, k] = _chord_deg(height_m, spacing_m, row, column, north, east, again_m, up_m)


@numba.njit(cache=True)
def _judge(height_m, spacing_m, highest_m, row, column, level_m, places, tall_m, found):  # type: ignore[no-untyped-def]
    rows, columns = height_m.shape
    step_m = spacing_m / 2.0
    for k in range(places.shape[0]):
        down, right = (places[k, 0] - row) * spacing_m, (places[k, 1] - column) * spacing_m
        away_m = max(np.hypot(down, right), 1.0)
        top_m = _height(height_m, places[k, 0], places[k, 1]) + tall_m[k]
        angle = (top_m - DROP_PER_M * away_m * away_m - level_m) / away_m
        nearer, farther = -1e9, -1e9
        distance_m = step_m
        while True:
            r = row + down * distance_m / away_m / spacing_m
            c = column + right * distance_m / away_m / spacing_m
            if not (0.0 <= r < rows - 1 and 0.0 <= c < columns - 1):
                break
            dropped_m = DROP_PER_M * distance_m * distance_m + level_m
            could_rise = highest_m <= level_m or (highest_m - dropped_m) / distance_m >= max(farther, angle)
            if distance_m > away_m and not could_rise:
                break
            ground_m = _height(height_m, r, c)
            if not np.isnan(ground_m):
                tangent = (ground_m - dropped_m) / distance_m
                if distance_m < away_m - 0.75 * spacing_m:
                    nearer = max(nearer, tangent)
                elif distance_m > away_m + 3.0 * spacing_m:
                    farther = max(farther, tangent)
            distance_m += step_m
        found[0, k] = np.degrees(np.arctan2(right, -down)) % 360.0
        found[1, k] = away_m
        found[2, k] = np.degrees(np.arctan(angle))
        found[3, k] = found[2, k] - np.degrees(np.arctan(nearer))
        found[4, k] = np.degrees(np.arctan(farther)) - found[2, k]


def walk(ground: Ground, east_m: float, north_m: float, eye_m: float, rays: NDArray[np.int64]) -> Rays:
    """Look along some rays, whole degrees from grid north, from an eye above the ground."""
    row, column = ground.at(east_m, north_m)
    level_m = ground.height_at(east_m, north_m) + eye_m
    found = np.full((7, RAYS), np.nan)
    _walk(ground.height_m, ground.spacing_m, _highest_m(ground), row, column, level_m, rays, found)
    return Rays(*found)


def judge(ground: Ground, east_m: float, north_m: float, eye_m: float, sheet: Sheet) -> Samples:
    """Where each sample of a map's things stands, and what stands before and behind it."""
    row, column = ground.at(east_m, north_m)
    level_m = ground.height_at(east_m, north_m) + eye_m
    places = np.column_stack(ground.at(sheet.east_m, sheet.north_m))
    found = np.empty((5, len(places)))
    _judge(
        ground.height_m,
        ground.spacing_m,
        _highest_m(ground),
        row,
        column,
        level_m,
        places,
        sheet.tall_m,
        found,
    )
    return Samples(*found)


_HIGHEST: dict[int, tuple[Ground, float]] = {}


def _highest_m(ground: Ground) -> float:
    """Height of its highest post, worked out once."""
    kept = _HIGHEST.get(id(ground))
    if kept is None or kept[0] is not ground:
        _HIGHEST.clear()
        kept = _HIGHEST[id(ground)] = ground, float(np.nanmax(ground.height_m))
    return kept[1]
