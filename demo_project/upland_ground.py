"""The ground of the invented upland: worn hill country made by running water, creep and a little ice.

The order is that of the real thing. A broad swell of old land is cut by streams on an irregular mesh of
points, so that no valley follows the lines of a lattice; beds of harder rock leave shelves; ice then
hollows one corrie and steepens one valley side; last, the streams are given their beds.
Heights are whole centimetres. x runs east, y runs north, both in metres from the south-west corner.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy import interpolate, ndimage, spatial
from upland_wear import drain, mesh, wear

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats

SPACING_M = 10.0
SIDE_M = 10_000.0
MARGIN_M = 1_200.0  # made and thrown away, so that valleys run off the sheet as they do on a real one
LOWEST_M, HIGHEST_M = 158.0, 785.0  # before the tops are planed and the beds and corrie cut
MESH_M = 45.0
ROUNDS = 64
APRON_M = 500.0  # the part of the margin that is carried to posts
STREAM_HEAD_M2 = 160_000.0


@dataclass
class Stream:
    """One water course, source first: xy_m (points, 2), bed_m (points,), catchment_m2 at its end."""

    xy_m: Floats
    bed_m: Floats
    catchment_m2: float


@dataclass
class Upland:
    """Heights (rows from the north, columns from the west), catchment per post, tarn mask, streams."""

    height_m: Floats
    catchment_m2: Floats
    tarn: Flags
    streams: list[Stream]
    tarn_level_m: float
    edge_xy_m: Floats


# ---------------------------------------------------------------- smooth fields


def swell(x_m: Floats, y_m: Floats, rng: np.random.Generator, shortest_m: float, longest_m: float) -> Floats:
    """Smooth random field of unit variance made of plane waves from all directions."""
    waves = 36
    total = np.zeros_like(x_m)
    for _ in range(waves):
        length = shortest_m * (longest_m / shortest_m) ** rng.random()
        bearing, phase = rng.random() * 2 * np.pi, rng.random() * 2 * np.pi
        total += np.cos(2 * np.pi / length * (x_m * np.sin(bearing) + y_m * np.cos(bearing)) + phase)
    return total * np.sqrt(2 / waves)


def distance_along(x_m: Floats, y_m: Floats, line: Floats) -> tuple[Floats, Floats]:
    """Distance from a densely sampled line and the index of its nearest point."""
    distance, index = spatial.cKDTree(line).query(np.column_stack([np.ravel(x_m), np.ravel(y_m)]))
    return distance.reshape(x_m.shape), index.reshape(x_m.shape)


def window(x: Floats, y: Floats, line: Floats, reach_m: float) -> tuple[slice, slice]:
    """Rows and columns of the posts within reach of a line's bounding box."""
    (west, south), (east, north) = line.min(axis=0) - reach_m, line.max(axis=0) + reach_m
    columns = np.flatnonzero((x[0] >= west) & (x[0] <= east))
    rows = np.flatnonzero((y[:, 0] >= south) & (y[:, 0] <= north))
    return slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1)


def smooth_line(points: Any, step_m: float) -> Floats:
    """Curve through a few points, sampled evenly."""
    points = np.asarray(points, dtype=float)
    at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    even = np.linspace(0.0, at[-1], int(at[-1] / step_m) + 2)
    return interpolate.PchipInterpolator(at, points)(even)


def smallest(a: Floats, b: Floats, rounding_m: float) -> Floats:
    """The lower of two surfaces with the arris between them rounded off."""
    gap = np.clip(0.5 + 0.5 * (b - a) / rounding_m, 0.0, 1.0)
    return b * (1 - gap) + a * gap - rounding_m * gap * (1 - gap)


# ---------------------------------------------------------------- the old land

RIDGE = [(-1500, 2600), (800, 3900), (2600, 5200), (4300, 5500), (6100, 6600), (7600, 8300), (8300, 11500)]
BRANCH = [(4300, 5500), (5700, 4500), (7300, 3900), (8800, 4300)]


def old_land(x: Floats, y: Floats, rng: np.random.Generator) -> Floats:
    """The land before the streams: a rounded main ridge with a branch, low swells, falling off at the rim."""
    bend_x = x + 350 * swell(x, y, rng, 2500, 5000)
    bend_y = y + 350 * swell(x, y, rng, 2500, 5000)
    ridge, _ = distance_along(bend_x, bend_y, smooth_line(RIDGE, 40))
    branch, _ = distance_along(bend_x, bend_y, smooth_line(BRANCH, 40))
    z = 330 + 310 * np.exp(-((ridge / 2100) ** 2))
    z = np.maximum(z, 330 + 210 * np.exp(-((branch / 1300) ** 2)))
    z += 26 * swell(x, y, rng, 1100, 2600) + 8 * swell(x, y, rng, 500, 1000)
    low, high = -MARGIN_M, SIDE_M + MARGIN_M
    inward = np.minimum(np.minimum(x - low, high - x), np.minimum(y - low, high - y))
    base = 150 + 40 * (y - x) / SIDE_M + 20 * swell(x, y, rng, 3000, 6000)
    return base + (z - base) * np.clip(inward / 1500, 0, 1) ** 0.7


def shelve(z: Floats, x: Floats, y: Floats, rng: np.random.Generator) -> Floats:
    """Leave shelves where beds of harder rock, dipping gently to the south-east, come to the day."""
    for level_m, thick_m, share in ((588.0, 30.0, 0.97), (484.0, 34.0, 1.0), (372.0, 30.0, 0.95)):
        bed = level_m + 0.012 * (x - y) / np.sqrt(2) + 14 * swell(x, y, rng, 3000, 6000)
        strength = share / (1 + np.exp(-2.5 * (swell(x, y, rng, 1800, 4000) + 0.25)))
        t = (z - bed) / thick_m
        z = z - strength * thick_m * t * np.exp(-0.5 * t * t)
    return z


def worn_land(rng: np.random.Generator) -> tuple[Floats, Floats, Floats]:
    """Heights on posts including the margin, after running water and creep; with the posts' x and y."""
    low, high = -MARGIN_M, SIDE_M + MARGIN_M
    points, start, neighbour, span, weight, area, rim, triangles = mesh(rng, low, high, MESH_M)
    x, y = points.T.copy()
    z = old_land(x, y, rng)
    softness = np.exp(0.3 * swell(x, y, rng, 1500, 4000))
    uplift = np.where(rim, 0.0, 4.6 * np.clip((z - 205) / 380, 0.12, 1.15))
    for rounds, k_t, creep_m2, lift in ((ROUNDS, 0.42, 1900.0, 1.0), (6, 0.12, 300.0, 0.0)):
        if not lift:
            on_sheet = (np.abs(x - SIDE_M / 2) < SIDE_M / 2) & (np.abs(y - SIDE_M / 2) < SIDE_M / 2)
            lowest = z[on_sheet].min()
            z = LOWEST_M + (z - lowest) * (HIGHEST_M - LOWEST_M) / (z[on_sheet].max() - lowest)
            z -= 0.42 * 50 * np.log1p(np.exp((z - 590) / 50))  # the tops keep something of a plain
            z = shelve(z, x, y, rng)
        stiffness = np.bincount(np.repeat(np.arange(len(x)), np.diff(start)), np.abs(weight)) / area
        substeps = int(np.ceil(creep_m2 * np.max(stiffness[~rim])))
        wear(
            z, start, neighbour, span, weight, area, rim,
            k_t * softness, lift * uplift, 20_000.0, creep_m2, rounds, substeps,
        )  # fmt: skip
    posts = -APRON_M + SPACING_M / 2 + SPACING_M * np.arange(round((SIDE_M + 2 * APRON_M) / SPACING_M))
    px, py = np.meshgrid(posts, posts[::-1])
    smooth = interpolate.CloughTocher2DInterpolator(triangles, z, fill_value=np.nan)
    height = smooth(px, py)
    return height, px, py


# ---------------------------------------------------------------- ice


def valley_line(receiver: Any, at: int, columns: int, length_m: float) -> Any:
    """Flat indices of the posts downstream of one post."""
    line = [at]
    run = 0.0
    while run < length_m and receiver[line[-1]] != line[-1]:
        step = receiver[line[-1]] - line[-1]
        run += SPACING_M * (1.0 if abs(step) in (1, columns) else np.sqrt(2))
        line.append(int(receiver[line[-1]]))
    return np.array(line)


def corrie(z: Floats, x: Floats, y: Floats, receiver: Any, catchment: Floats) -> tuple[Floats, Any]:
    """Hollow a corrie at the valley head that faces between north and east under the highest ground.

    Returns the heights and the mask of posts that may hold its tarn.
    """
    columns = z.shape[1]
    heads = (catchment > 900) & (catchment < 2200)
    inside = (np.abs(x - SIDE_M / 2) < SIDE_M / 2 - 1500) & (np.abs(y - SIDE_M / 2) < SIDE_M / 2 - 1500)
    above = ndimage.maximum_filter(z, size=111)
    best, found = -np.inf, None
    for at in np.flatnonzero((heads & inside).ravel()).tolist():
        line = valley_line(receiver, int(at), columns, 500.0)
        run_x, run_y = x.ravel()[line[-1]] - x.ravel()[at], y.ravel()[line[-1]] - y.ravel()[at]
        bearing = np.arctan2(run_x, run_y)
        if abs(bearing - np.radians(50)) > np.radians(50):
            continue
        score = above.ravel()[at] + 0.6 * (above.ravel()[at] - z.ravel()[at])
        if score > best:
            best, found = score, (int(at), bearing)
    if found is None:
        raise ValueError("this seed has no valley head that faces between north and east; try another seed")
    at, bearing = found
    back = 60.0
    dx = x - x.ravel()[at] + back * np.sin(bearing)
    dy = y - y.ravel()[at] + back * np.cos(bearing)
    along, across = dx * np.sin(bearing) + dy * np.cos(bearing), dx * np.cos(bearing) - dy * np.sin(bearing)
    sweep = (
        1 + 0.10 * np.sin(3 * np.arctan2(across, along) + 1.0) + 0.05 * np.sin(5 * np.arctan2(across, along))
    )
    away = np.hypot(across, np.where(along < 0, along, 0.55 * along)) / sweep
    floor = z.ravel()[at] - 34.0
    wall = np.maximum(away - 120, 0)
    bowl = floor + 7 * (away / 120) ** 2 + 0.95 * np.maximum(wall - 15, 0) + 0.35 * np.minimum(wall, 15)
    bowl += 0.30 * np.maximum(along - 170, 0)
    z = smallest(z, bowl, 5.0)
    # the valley below is opened to the shape of a trough, fading out downstream
    line = valley_line(receiver, at, columns, 2600.0)
    points = np.column_stack([x.ravel()[line], y.ravel()[line]])
    points = ndimage.gaussian_filter1d(points, 8, axis=0, mode="nearest")
    box = window(x, y, points, 700.0)
    away, index = distance_along(x[box], y[box], points)
    bed = ndimage.gaussian_filter1d(np.minimum.accumulate(z.ravel()[line]), 6, mode="nearest")
    share = index / len(line)
    trough = bed[index] + 1.0 + 18 * (np.minimum(away, 150) / 110) ** 2 + 0.78 * np.maximum(away - 150, 0)
    trough += 160 * np.clip((share - 0.75) / 0.25, 0, 1) ** 2 + 90 * np.clip((0.12 - share) / 0.12, 0, 1)
    z[box] = smallest(z[box], trough, 8.0)
    return z, np.hypot(dx, dy) < 420


def steep_side(z: Floats, x: Floats, y: Floats, receiver: Any, catchment: Floats) -> tuple[Floats, Any]:
    """Steepen one side of one valley until it ends in an edge. Returns heights and the reach's line."""
    columns = z.shape[1]
    starts = np.flatnonzero(((catchment > 12_000) & (catchment < 26_000)).ravel())
    best, found = -np.inf, None
    for at in starts[:: max(1, len(starts) // 400)].tolist():
        line = valley_line(receiver, int(at), columns, 1900.0)
        px, py = x.ravel()[line], y.ravel()[line]
        if min(px.min(), py.min()) < 900 or max(px.max(), py.max()) > SIDE_M - 900:
            continue
        run = np.array([px[-1] - px[0], py[-1] - py[0]])
        if np.hypot(*run) < 1400:
            continue
        left = np.array([-run[1], run[0]]) / np.hypot(*run)
        for side in (1.0, -1.0):
            columns_at = np.clip(
                ((px + side * left[0] * 420 - x[0, 0]) / SPACING_M).astype(int), 0, columns - 1
            )
            rows_at = np.clip(((y[0, 0] - py - side * left[1] * 420) / SPACING_M).astype(int), 0, columns - 1)
            rise = z[rows_at, columns_at] - z.ravel()[line]
            score = np.percentile(rise, 30)
            if score > best:
                best, found = score, (line, side)
    if found is None:
        raise ValueError("this seed has no valley long enough for an edge; try another seed")
    line, side = found
    points = np.column_stack([x.ravel()[line], y.ravel()[line]])
    points = ndimage.gaussian_filter1d(points, 30, axis=0, mode="nearest")
    box = window(x, y, points, 600.0)
    away, index = distance_along(x[box], y[box], points)
    along = np.gradient(points, axis=0)[index]
    to_x, to_y = x[box] - points[index, 0], y[box] - points[index, 1]
    on_side = np.sign(along[..., 0] * to_y - along[..., 1] * to_x) == side
    share = index / (len(points) - 1)
    ends = np.clip((abs(share - 0.5) - 0.32) / 0.18, 0, 1)
    foot = 80 + 35 * np.sin(9 * share)
    bed = ndimage.gaussian_filter1d(z.ravel()[line], 12, mode="nearest")[index]
    over = np.maximum(away - foot, 0)
    cut = (
        bed + 4 + 0.25 * np.minimum(away, foot) + 0.66 * np.minimum(over, 60) + 1.2 * np.maximum(over - 60, 0)
    )
    cut += 260 * ends**2 + 1.5 * np.maximum(away - 330, 0)
    other = bed + 4 + 0.5 * away + 260 * ends**2  # the far bank is only opened as far as the bed needs
    cut = np.where(on_side, cut, other)
    z = z.copy()
    z[box] = np.where((share > 0) & (share < 1), smallest(z[box], cut, 4.0), z[box])
    return z, points


# ---------------------------------------------------------------- streams


def water_courses(receiver: Any, catchment_m2: Floats, x: Floats, y: Floats) -> list[Any]:
    """Posts of each water course, longest first; a tributary ends on the post of the stream it joins."""
    wet = np.flatnonzero((catchment_m2 >= STREAM_HEAD_M2).ravel())
    flat = catchment_m2.ravel()
    onward = receiver[wet]
    # the main stem above a junction is the arm with the larger catchment
    stem: dict[int, int] = {}
    for i, r in zip(wet.tolist(), onward.tolist(), strict=True):
        if i != r and (r not in stem or flat[i] > flat[stem[r]]):
            stem[r] = i
    tails = [i for i, r in zip(wet.tolist(), onward.tolist(), strict=True) if i == r or stem[r] != i]
    courses = []
    for tail in tails:
        line = [tail]
        while line[-1] in stem:
            line.append(stem[line[-1]])
        line.reverse()
        if receiver[tail] != tail:
            line.append(int(receiver[tail]))
        if len(line) >= 28:
            courses.append(np.array(line))
    return sorted(courses, key=lambda c: (-flat[c[-2]], c[0]))


def lay_streams(
    z: Floats, x: Floats, y: Floats, courses: list[Any], catchment_m2: Floats, level: Floats
) -> tuple[Floats, list[Stream]]:
    """Draw each course as a smooth line and give it a bed that falls all the way, three posts wide."""
    streams: list[Stream] = []
    laid_xy, laid_bed, laid_grip = np.empty((0, 2)), np.empty(0), np.empty(0)
    for course in courses:
        points = np.column_stack([x.ravel()[course], y.ravel()[course]])
        points = np.concatenate(
            [points[:1], ndimage.gaussian_filter1d(points, 2.5, axis=0, mode="nearest")[1:-1], points[-1:]]
        )
        joins = np.inf
        if len(laid_xy):
            gap, nearest = spatial.cKDTree(laid_xy).query(points)
            touch = np.flatnonzero(gap < 9.0)
            if len(touch) and touch[0] > 3:
                points = np.concatenate([points[: touch[0]], laid_xy[nearest[touch[0]]][None]])
                joins = laid_bed[nearest[touch[0]]]
        at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
        even = np.linspace(0, at[-1], max(4, int(at[-1] / 5.0)))
        xy = np.column_stack([np.interp(even, at, points[:, 0]), np.interp(even, at, points[:, 1])])
        ground = sample(z, xy, x[0, 0], y[0, 0])
        grown = np.clip(even / 90.0, 0, 1)  # at its head a stream has no bed yet
        bed = ground * (1 - grown) + ndimage.gaussian_filter1d(ground, 4, mode="nearest") * grown
        if np.isfinite(joins):
            bed = np.maximum(bed, joins + 0.02 * (even[-1] - even) * 0.2)
            bed[-1] = joins
        # water falls at least 1 in 500, so a rise in the ground is cut through
        bed = np.minimum.accumulate(bed + even * 0.002) - even * 0.002
        streams.append(Stream(xy, bed, float(catchment_m2.ravel()[course[-2]])))
        laid_xy, laid_bed = np.concatenate([laid_xy, xy]), np.concatenate([laid_bed, bed])
        laid_grip = np.concatenate([laid_grip, np.clip(even / 150.0, 0, 1)])
    tree = spatial.cKDTree(laid_xy)
    gap, nearest = tree.query(np.column_stack([x.ravel(), y.ravel()]), distance_upper_bound=90.0)
    near = np.isfinite(gap)
    flat = z.ravel().copy()
    held = np.clip((gap[near] - 15.0) / 75.0, 0, 1)
    held = 1 - (1 - held * held * (3 - 2 * held)) * laid_grip[nearest[near]]
    bed = laid_bed[nearest[near]] + 0.05 * np.maximum(gap[near] - 15, 0)
    flat[near] = bed * (1 - held) + flat[near] * held
    return flat.reshape(z.shape), streams


def grade_beds(whole: Floats, streams: list[Stream], west: float, north: float, tarn: Any) -> None:
    """Lower posts, in place and by whole centimetres, until no stream rises along its drawn line."""
    for _ in range(40):
        lowered = 0
        for stream in streams:
            height = sample(whole, stream.xy_m, west, north)
            over = height - np.minimum.accumulate(height)
            for k in np.flatnonzero(over > 0.5):
                row, column = (
                    int((north - stream.xy_m[k, 1]) / SPACING_M),
                    int((stream.xy_m[k, 0] - west) / SPACING_M),
                )
                corners = whole[row : row + 2, column : column + 2]
                held = tarn[row : row + 2, column : column + 2]
                corners -= np.where(held | (corners < height[k] - over[k]), 0.0, np.ceil(over[k]))
                lowered += 1
        if not lowered:
            return


def sample(z: Floats, xy: Floats, west: float, north: float) -> Floats:
    """Bilinear height at points."""
    at = [(north - xy[:, 1]) / SPACING_M, (xy[:, 0] - west) / SPACING_M]
    return ndimage.map_coordinates(z, at, order=1, mode="nearest")


def make(seed: int) -> Upland:
    """Make the whole ground of the sheet from a seed."""
    rng = np.random.default_rng(seed)
    z, x, y = worn_land(rng)
    none = np.zeros(z.shape, bool)
    _, receiver, catchment = drain(z, 0.001, none)
    z, hollow = corrie(z, x, y, receiver, catchment)
    z, edge = steep_side(z, x, y, receiver, catchment)
    # small hummocks and peat: decimetres, smooth over tens of metres
    for reach_posts, size_m in ((2.0, 0.12), (6.0, 0.35)):
        rough = ndimage.gaussian_filter(rng.standard_normal(z.shape), reach_posts)
        z = z + size_m * rough / rough.std()
    filled, receiver, catchment = drain(z, 0.001, hollow)
    tarn_depth = np.where(hollow, filled - z, 0.0)
    pools, count = ndimage.label(tarn_depth > 0.3)
    largest = (
        1 + int(np.argmax(ndimage.sum_labels(np.ones_like(z), pools, range(1, count + 1)))) if count else 0
    )
    tarn = (pools == largest) & (count > 0)
    level = float(np.round(filled[tarn].max() - 0.3, 2)) if count else float("nan")
    catchment_m2 = catchment * SPACING_M**2
    courses = water_courses(receiver, catchment_m2, x, y)
    z = np.where(tarn, level, np.minimum(filled, np.where(hollow, z, filled)))
    z, streams = lay_streams(z, x, y, courses, catchment_m2, z)
    z = np.where(tarn, level, z)
    whole = np.round(z * 100)
    for _ in range(2):  # lowering a bed can leave a small hollow, and filling that can raise a bed
        grade_beds(whole, streams, x[0, 0], y[0, 0], tarn)
        whole, _, catchment = drain(whole, 1.0, tarn)
    cut = slice(round(APRON_M / SPACING_M), -round(APRON_M / SPACING_M))
    return Upland(
        whole[cut, cut] / 100, catchment[cut, cut] * SPACING_M**2, tarn[cut, cut], streams, level, edge
    )
