"""Skylines as photographs show them, made by code of its own: no line of it is shared with what matches them.

Ground is sampled between four posts at a fifth of a post's spacing near the eye and half of one farther off,
along a ray every tenth of a degree. The camera turns directions by a rotation matrix put together from the
three axes. Whoever traces errs by an offset that wanders along the picture and by a little at every point;
trees and people stand before the sky in places, and are left out of the trace, or traced by mistake.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numba
import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

#: Curvature less refraction, per metre: (1 - k) / 2R with k = 0.13 and R = 6,371 km.
DROP_PER_M = 0.87 / (2 * 6_371_000.0)

RAY_DEG = 0.1


@dataclass(frozen=True)
class View:
    """A picture with its trace and the truth.

    pieces : right and up of the middle as shares of the told focal length, (k,) each
    heading_deg, tilt_deg, roll_deg : of the camera, from grid north
    focal_share : the true focal length over the told one
    hidden : share of the picture's width that is not traced, or traced by mistake
    relief_deg : standard deviation of the sky's edge; away_m : median distance of the ground there
    """

    east_m: float
    north_m: float
    eye_m: float
    heading_deg: float
    tilt_deg: float
    roll_deg: float
    focal_share: float
    hidden: float
    relief_deg: float
    away_m: float
    pieces: tuple[tuple[Floats, Floats], ...]


@numba.njit(cache=True)
def _sky(height_m, spacing_m, highest_m, row, column, level_m, turns, found, away_m):  # type: ignore[no-untyped-def]
    rows, columns = height_m.shape
    for k in range(turns.size):
        east, north = np.sin(turns[k]), np.cos(turns[k])
        best, best_m, distance_m = -1e9, 0.0, 0.0
        while True:
            distance_m += spacing_m * (0.2 if distance_m < 1500.0 else 0.5)
            r, c = row - north * distance_m / spacing_m, column + east * distance_m / spacing_m
            if not (0.0 <= r < rows - 1 and 0.0 <= c < columns - 1):
                break
            dropped_m = DROP_PER_M * distance_m * distance_m + level_m
            if highest_m > level_m and (highest_m - dropped_m) / distance_m < best:
                break
            i, j = int(r), int(c)
            down, right = r - i, c - j
            upper = height_m[i, j] * (1.0 - right) + height_m[i, j + 1] * right
            lower = height_m[i + 1, j] * (1.0 - right) + height_m[i + 1, j + 1] * right
            ground_m = upper * (1.0 - down) + lower * down
            if not np.isnan(ground_m):
                tangent = (ground_m - dropped_m) / distance_m
                if tangent > best:
                    best, best_m = tangent, distance_m
        found[k], away_m[k] = np.arctan(best), best_m


def sky_edge(
    height_m: NDArray[np.float32], spacing_m: float, row: float, column: float, eye_m: float, turns: Floats
) -> tuple[Floats, Floats]:
    """Vertical angle (radians) and distance of the sky's edge by bearing (radians), from above ground."""
    i, j = int(row), int(column)
    down, right = row - i, column - j
    posts = height_m[i : i + 2, j : j + 2].astype(float)
    ground_m = np.array([1 - down, down]) @ posts @ np.array([1 - right, right])
    found, away_m = np.empty(turns.size), np.empty(turns.size)
    _sky(
        height_m,
        spacing_m,
        1345.0,
        row,
        column,
        float(ground_m) + eye_m,
        np.asarray(turns, np.float64),
        found,
        away_m,
    )
    return found, away_m


def _outlook(
    height_m: NDArray[np.float32],
    spacing_m: float,
    row: float,
    column: float,
    width_deg: float,
    random: np.random.Generator,
) -> float:
    """A direction, radians: at random, but of some outlook if there is any.

    People photograph a view, no slope before their feet: half of the sky's edge stands 500 m off or more.
    Common practice, no source.
    """
    turns = np.radians(np.arange(0.0, 360.0, 2.0))
    _, away_m = sky_edge(height_m, spacing_m, row, column, 1.6, turns)
    for _ in range(200):
        heading = float(random.uniform(0.0, 2.0 * np.pi))
        inside = np.cos(turns - heading) > np.cos(np.radians(width_deg / 2))
        if np.median(away_m[inside]) >= 500.0:
            break
    return heading


def _turned(heading: float, tilt: float, roll: float) -> Floats:
    """Rows: the camera's right, forward and up in east, north, up."""
    forward = np.array([np.sin(heading) * np.cos(tilt), np.cos(heading) * np.cos(tilt), np.sin(tilt)])
    level = np.array([np.cos(heading), -np.sin(heading), 0.0])
    above = np.cross(level, forward)
    right = np.cos(roll) * level - np.sin(roll) * above
    return np.stack((right, forward, np.cross(right, forward)))


def _wander(at_deg: Floats, over_deg: float, random: np.random.Generator) -> Floats:
    """Unit errors that are alike along some degrees: a chain of steps with fading memory."""
    order = np.argsort(at_deg)
    found = np.empty(at_deg.size)
    value, last = float(random.standard_normal()), float(at_deg[order[0]])
    for k in order:
        kept = np.exp(-abs(float(at_deg[k]) - last) / over_deg)
        value = kept * value + np.sqrt(1.0 - kept**2) * float(random.standard_normal())
        found[k], last = value, float(at_deg[k])
    return found


def take(
    height_m: NDArray[np.float32],
    spacing_m: float,
    row: float,
    column: float,
    place_m: tuple[float, float],
    random: np.random.Generator,
    *,
    width_deg: float = 60.0,
    width_share: float = 0.05,
    error_deg: float = 0.3,
    hidden: float = 0.3,
) -> View:
    """Take a picture from a place in a direction at random, and trace its skyline."""
    heading = _outlook(height_m, spacing_m, row, column, width_deg, random)
    roll = np.radians(random.normal(0.0, 1.5))
    eye_m = float(random.uniform(1.4, 1.8))
    half = np.radians(width_deg / 2)
    turns = heading + np.arange(-1.3 * half, 1.3 * half, np.radians(RAY_DEG))
    up, away_m = sky_edge(height_m, spacing_m, row, column, eye_m, turns)
    # Whoever takes it holds the skyline in the picture, somewhere above its middle.
    inside = np.abs(turns - heading) < half
    tilt = float(np.median(up[inside])) - np.radians(random.uniform(-3.0, 8.0))
    world = np.stack((np.sin(turns) * np.cos(up), np.cos(turns) * np.cos(up), np.sin(up)))
    seen = _turned(heading, tilt, roll) @ world
    share = float(np.clip(random.normal(1.0, width_share), 1 - 3 * width_share, 1 + 3 * width_share))
    across, above = seen[0] / seen[1], seen[2] / seen[1]
    keep = np.abs(across) < np.tan(half)
    across, above = across[keep], above[keep]
    at_deg = np.degrees(np.arctan(across))
    off_deg = error_deg * np.sqrt(0.5) * _wander(at_deg, 5.0, random)
    # People click every half degree or so, and err anew each time.
    clicks = np.arange(-width_deg, width_deg, 0.5)
    off_deg += np.interp(at_deg, clicks, error_deg * np.sqrt(0.5) * random.standard_normal(clicks.size))
    above = above + np.radians(off_deg) * (1.0 + above**2)
    shown, traced = np.ones(at_deg.size, bool), np.ones(at_deg.size, bool)
    for _ in range(60):
        if 1.0 - shown.mean() >= hidden:
            break
        begin, length = random.uniform(-width_deg / 2, width_deg / 2), random.uniform(2.0, 9.0)
        tree = (at_deg >= begin) & (at_deg < begin + length)
        shown[tree] = False
        if random.random() < 0.2:
            # The tops of the trees are taken for the skyline.
            above[tree] += np.radians(random.uniform(0.5, 4.0) + 0.4 * random.standard_normal(tree.sum()))
        else:
            traced[tree] = False
    told = share  # the picture is told to be as wide as its focal length seems
    pieces = []
    edges = np.flatnonzero(np.diff(np.r_[False, traced, False].astype(int)))
    for first, last in edges.reshape(-1, 2):
        if last - first > 5:
            pieces.append((across[first:last] * told, above[first:last] * told))
    return View(
        *place_m,
        eye_m,
        float(np.degrees(heading) % 360.0),
        float(np.degrees(tilt)),
        float(np.degrees(roll)),
        told,
        float(1.0 - shown.mean()),
        float(np.degrees(up[inside].std())),
        float(np.median(away_m[inside])),
        tuple(pieces),
    )
