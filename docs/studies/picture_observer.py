"""Photographs of the second observer: its own camera, its own sky walk, its own errors of trace and marks.

It shares no code with ``hillsight.plan.picture`` or ``hillsight.sight``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numba
import numpy as np
from scipy import ndimage

from second_observer_sight import DROP_PER_M, judge

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from second_observer_map import Sheet
    from second_observer_sight import Ground

    Floats = NDArray[np.float64]


@numba.njit(cache=True)
def _sky(height_m, spacing_m, highest_m, row, column, level_m, turns, found):  # type: ignore[no-untyped-def]
    """Tangent of the sky's edge on each ray: bilinear ground, sampled every third of a post."""
    rows, columns = height_m.shape
    step_m = spacing_m / 3.0
    for k in range(turns.size):
        east, north = np.sin(turns[k]), np.cos(turns[k])
        best, distance_m = -1e9, 0.0
        while True:
            distance_m += step_m
            r, c = row - north * distance_m / spacing_m, column + east * distance_m / spacing_m
            if not (0.0 <= r < rows - 1 and 0.0 <= c < columns - 1):
                break
            dropped_m = DROP_PER_M * distance_m * distance_m + level_m
            if highest_m > level_m and (highest_m - dropped_m) / distance_m < best:
                break
            top, left = int(r), int(c)
            down, right = r - top, c - left
            ground_m = (
                height_m[top, left] * (1 - down) * (1 - right)
                + height_m[top, left + 1] * (1 - down) * right
                + height_m[top + 1, left] * down * (1 - right)
                + height_m[top + 1, left + 1] * down * right
            )
            if ground_m == ground_m:
                best = max(best, (ground_m - dropped_m) / distance_m)
        found[k] = best


def sky_deg(ground: Ground, east_m: float, north_m: float, eye_m: float, bearing_grid_deg: Floats) -> Floats:
    """Vertical angle of the sky's edge on some bearings."""
    row, column = ground.at(east_m, north_m)
    found = np.empty(len(bearing_grid_deg))
    _sky(
        ground.height_m,
        ground.spacing_m,
        float(np.nanmax(ground.height_m)),
        row,
        column,
        ground.height_at(east_m, north_m) + eye_m,
        np.radians(bearing_grid_deg),
        found,
    )
    return np.degrees(np.arctan(found))


#: The pictures, pixels, and how wide they are: any angle between these.
WIDTH_PX, HEIGHT_PX, WIDTHS_DEG = 4_000, 3_000, (50.0, 70.0)

#: A trace errs by so much, degrees, half of its variance alike along so many degrees; its points stand so
#: far apart; trees hide so much of the sky's edge.
TRACE_DEG, ALIKE_DEG, CLICKED_DEG, HIDDEN = 0.3, 5.0, (0.2, 0.6), 0.2

#: How the camera was held, and how well the width is known: told by the observer, or by the file.
TILT_DEG, ROLL_DEG, TOLD_SHARES = 5.0, 2.0, (0.05, 0.02)

#: Tops that are marked, at most; how far off each is clicked, pixels; the chance that one is taken for
#: another; the map's grid to which its places are read, metres; tops farther off are not told by name.
MARKS, CLICK_PX, WRONG_TOP, READ_TO_M, TOPS_WITHIN_M = 4, (2.0, 5.0), 0.1, 20.0, 9_000.0

#: Names that are taken for one another lie so near each other to the eye, degrees.
_TAKEN_FOR_DEG = 30.0


@dataclass(frozen=True)
class Photograph:
    """A picture that was taken, and what is known of it.

    focal_px : the true focal length; told_px, told_share : as it is told, and one standard deviation
    x_px, y_px : points of the trace, from left to right, y down
    hidden : share of the picture's width where trees stand before the sky's edge
    trees_deg : (n, 2) grid bearings from and to which they do
    """

    focal_px: float
    told_px: float
    told_share: float
    heading_deg: float
    tilt_deg: float
    roll_deg: float
    x_px: Floats
    y_px: Floats
    hidden: float
    trees_deg: Floats


@dataclass(frozen=True)
class Marked:
    """Tops that were marked on a picture, (m,) each.

    rows : of the sheet, as they are named; wrong : another top was clicked than is named
    x_px, y_px : where they were clicked; east_m, north_m : where the map is read to have the one named
    """

    rows: NDArray[np.int64]
    wrong: NDArray[np.bool_]
    x_px: Floats
    y_px: Floats
    east_m: Floats
    north_m: Floats


def axes(heading_deg: float, tilt_deg: float, roll_deg: float) -> Floats:
    """Right, up and forward of a camera as rows, in east, north and up."""
    h, t, r = np.radians([heading_deg, tilt_deg, roll_deg])
    forward = np.array([np.sin(h) * np.cos(t), np.cos(h) * np.cos(t), np.sin(t)])
    level_right = np.array([np.cos(h), -np.sin(h), 0.0])
    level_up = np.cross(level_right, forward)
    return np.array(
        [
            np.cos(r) * level_right - np.sin(r) * level_up,
            np.sin(r) * level_right + np.cos(r) * level_up,
            forward,
        ]
    )


def pixels(camera: Floats, focal_px: float, bearing_deg: Floats, angle_deg: Floats) -> tuple[Floats, Floats]:
    """Where directions lie in the picture; NaN behind it."""
    turn, up = np.radians(bearing_deg), np.radians(angle_deg)
    rays = np.array([np.sin(turn) * np.cos(up), np.cos(turn) * np.cos(up), np.sin(up)])
    right, above, ahead = camera @ rays
    ahead = np.where(ahead > 0.05, ahead, np.nan)
    return WIDTH_PX / 2 + focal_px * right / ahead, HEIGHT_PX / 2 - focal_px * above / ahead


def photographed(
    ground: Ground,
    stood_m: tuple[float, float],
    eye_m: float,
    heading_deg: float,
    random: np.random.Generator,
) -> Photograph:
    """A picture taken there, with its skyline traced by hand."""
    width_deg = float(random.uniform(*WIDTHS_DEG))
    focal_px = WIDTH_PX / 2 / np.tan(np.radians(width_deg / 2))
    share = float(random.choice(TOLD_SHARES))
    tilt, roll = float(random.normal(0.0, TILT_DEG)), float(random.normal(0.0, ROLL_DEG))
    bearing = heading_deg + np.arange(-50.0, 50.0, 0.05)
    angle = sky_deg(ground, *stood_m, eye_m, bearing)
    trees = np.zeros(bearing.size, bool)
    rise = np.zeros(bearing.size)
    inside = np.abs(bearing - heading_deg) < width_deg / 2
    clumps = []
    while trees[inside].mean() < HIDDEN:
        begins = random.uniform(-width_deg / 2 - 3, width_deg / 2) + heading_deg
        clumps.append((begins, begins + random.uniform(2.0, 9.0)))
        clump = (bearing >= begins) & (bearing < clumps[-1][1])
        # Tops of single trees, a third of a degree or so wide, above whatever the wood stands on.
        ragged = np.abs(ndimage.gaussian_filter1d(random.normal(0.0, 2.0, bearing.size), 3.0))
        rise[clump] = np.maximum(rise[clump], 0.2 + random.exponential(1.2) + ragged[clump])
        trees |= clump
    alike = ndimage.gaussian_filter1d(
        random.normal(0.0, 1.0, bearing.size), ALIKE_DEG / 2 / 0.05, mode="wrap"
    )
    alike *= TRACE_DEG * np.sqrt(0.5) / alike.std()
    steps = np.cumsum(random.uniform(*CLICKED_DEG, 500)) - 50.0 + heading_deg
    clicked = steps[steps < bearing[-1]]
    seen = np.interp(clicked, bearing, angle + rise + alike)
    seen += random.normal(0.0, TRACE_DEG * np.sqrt(0.5), clicked.size)
    x, y = pixels(axes(heading_deg, tilt, roll), focal_px, clicked, seen)
    kept = (x > 0) & (x < WIDTH_PX) & (y > 0) & (y < HEIGHT_PX)
    told_px = focal_px * float(np.exp(random.normal(0.0, share)))
    return Photograph(
        focal_px,
        told_px,
        share,
        heading_deg,
        tilt,
        roll,
        x[kept],
        y[kept],
        float(trees[inside].mean()),
        np.array(clumps),
    )


def mark_tops(
    ground: Ground,
    sheet: Sheet,
    stood_m: tuple[float, float],
    eye_m: float,
    taken: Photograph,
    random: np.random.Generator,
) -> Marked:
    """Mark the tops that show best, then saddles, a click a little off, now and then by another's name."""
    kinds = np.array(sheet.kinds)
    tops = np.flatnonzero((kinds == "summit") | (kinds == "saddle"))
    seen = judge(ground, *stood_m, eye_m, sheet)
    first = sheet.starts[tops]  # the very top; the other samples are its upper part
    bearing, angle = seen.bearing_deg[first], seen.angle_deg[first]
    camera = axes(taken.heading_deg, taken.tilt_deg, taken.roll_deg)
    x, y = pixels(camera, taken.focal_px, bearing, angle)
    into = (bearing[:, None] - taken.trees_deg[None, :, 0]) % 360.0
    behind_trees = (into < np.diff(taken.trees_deg, axis=1)[:, 0]).any(axis=1)
    shows = (seen.clear_deg[first] > 0.0) & (seen.distance_m[first] < TOPS_WITHIN_M) & ~behind_trees
    shows &= (x > 0) & (x < WIDTH_PX) & (y > 0) & (y < HEIGHT_PX)
    # What stands against the sky, and stands out, is marked first.
    striking = random.exponential(0.5, tops.size) - np.maximum(seen.behind_deg[first], 0.0)
    striking -= 10.0 * (kinds[tops] == "saddle")
    order = np.argsort(-np.where(shows, striking, -np.inf))[: min(MARKS, int(shows.sum()))]
    named = order.copy()
    wrong = random.random(order.size) < WRONG_TOP
    for k in np.flatnonzero(wrong):
        beside = np.abs((bearing - bearing[order[k]] + 180.0) % 360.0 - 180.0)
        alike = (beside < _TAKEN_FOR_DEG) & (kinds[tops] == kinds[tops[order[k]]])
        others = np.flatnonzero(alike & ~np.isin(np.arange(tops.size), named))
        if others.size:
            named[k] = random.choice(others)
    off_px, turn = random.uniform(*CLICK_PX, order.size), random.uniform(0.0, 2 * np.pi, order.size)
    places = np.column_stack((sheet.east_m[first[named]], sheet.north_m[first[named]]))
    grid_m = random.uniform(0.0, READ_TO_M, 2)
    read_m = np.round((places - grid_m) / READ_TO_M) * READ_TO_M + grid_m
    return Marked(
        tops[named],
        named != order,
        x[order] + off_px * np.sin(turn),
        y[order] + off_px * np.cos(turn),
        read_m[:, 0],
        read_m[:, 1],
    )
