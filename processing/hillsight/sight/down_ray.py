"""The first ground that a ray from the eye meets, exact on the bilinear surface, and dead ground before it.

The surface is that of crossings.py: posts lowered for curvature and refraction, straight between neighbours,
bilinear inside a cell. Along a straight way over a cell bilinear ground is a parabola, so that the place
where a ray meets it is the root of a quadratic. A sight line passes over ground that bulges inside a cell,
where it crosses no line. A ray meets it, for it is in view, unless it lies so near the eye that it would take
the place of far ground that is in view too. A few rays at a time, over ground that may be another for each:
heights are asked for post by post. (``rays`` looks many rays up over one ground.)
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from hillsight.ground.grid import on_lines
from hillsight.sight.viewing import TIE_M

if TYPE_CHECKING:
    from collections.abc import Callable

    from hillsight.arrays import Flags, Floats, Integers
    from hillsight.ground.grid import Grid
    from hillsight.sight.viewing import Eye

    #: Heights (metres, NaN void) of posts by their rows and columns, any shape.
    type Posts = Callable[[Integers, Integers], Floats]

#: What a ray comes to: ground; the sky; or what is not known, because a void or the end of the terrain lies
#: where it might meet ground.
type Meets = Literal["ground", "sky", "void", "terrain_edge"]

#: Ground that bulges inside a cell nearer than so many spacings is passed over, as sight lines do.
_NEAR_SPACINGS = 2.0

#: How far is looked at first, metres or spacings whichever is more; each further look goes so much farther.
_FIRST_M, _FIRST_SPACINGS, _FARTHER = 2_000.0, 100.0, 4.0


@dataclass(frozen=True)
class Meeting:
    """Where a ray ends.

    meets : see :data:`Meets`
    distance_m : grid distance from the eye of the ground; of the void or the terrain's end; NaN for the sky
    """

    meets: Meets
    distance_m: float


@dataclass(frozen=True)
class Way:
    """The ground under a bearing, in pieces that end where the way crosses a row or a column of posts.

    Parameters
    ----------
    from_m, to_m : (n,) grid distances of the ends of each piece, nearest first
    from_ground_m, to_ground_m : (n,) ground there as seen from the eye (lowered); NaN on a void
    bow_m : (n,) four times how far the ground half-way hangs below the line between the ends; NaN where a
        post of the cell is a void
    ends : whether the terrain ends where the last piece does
    bulges_from_m : from which distance on ground that bulges inside a cell is met
    """

    from_m: Floats
    to_m: Floats
    from_ground_m: Floats
    to_ground_m: Floats
    bow_m: Floats
    ends: bool
    bulges_from_m: float

    @classmethod
    def under(cls, grid: Grid, posts: Posts, eye: Eye, bearing_grid_deg: float, far_m: float) -> Way:
        """The ground from the eye's foot out to a distance, or to the outermost posts.

        Parameters
        ----------
        grid : of the posts; the eye stands on it
        posts : heights by row and column
        far_m : metres on the grid; the way goes on to the next line of posts
        """
        bearing = math.radians(bearing_grid_deg)
        down = -math.cos(bearing) / grid.spacing_y_m  # rows a metre
        right = math.sin(bearing) / grid.spacing_x_m
        # On a bearing along the grid a rounding error is no way across it.
        down, right = (0.0 if abs(v) * far_m < 1e-9 else v for v in (down, right))
        ends_m = min(_leaves(eye.row, down, grid.rows), _leaves(eye.column, right, grid.columns))
        # A way ends where it crosses a line, for what lies inside a cell says nothing of its far side.
        widest_m = max(grid.spacing_x_m, grid.spacing_y_m)
        length_m = min(far_m + 2.0 * widest_m, ends_m)
        lines = [_lines(eye.row, down, length_m), _lines(eye.column, right, length_m)]
        stops = np.unique(np.concatenate(([0.0, length_m], *lines)))
        stops = stops[: int(np.searchsorted(stops, far_m)) + 1]
        start, end = stops[:-1], stops[1:]
        middle = (start + end) / 2.0
        row, column = eye.row + middle * down, eye.column + middle * right
        top = np.clip(np.floor(row).astype(np.intp), 0, max(grid.rows - 2, 0))
        left = np.clip(np.floor(column).astype(np.intp), 0, max(grid.columns - 2, 0))
        rows = np.stack((top, top, top + 1, top + 1))
        columns = np.stack((left, left + 1, left, left + 1))
        height_m = posts(np.minimum(rows, grid.rows - 1), np.minimum(columns, grid.columns - 1))
        away_m2 = ((rows - eye.row) * grid.spacing_y_m) ** 2 + (
            (columns - eye.column) * grid.spacing_x_m
        ) ** 2
        lowered_m = np.asarray(height_m, np.float64) - eye.drop_per_m * away_m2
        crossed = right * down
        if crossed == 0.0:
            bow_m = np.zeros(len(start))
        else:
            twist_m = lowered_m[0] - lowered_m[1] - lowered_m[2] + lowered_m[3]
            bow_m = twist_m * crossed * (end - start) ** 2
        ground = [
            _inside(lowered_m, eye.row + at * down - top, eye.column + at * right - left)
            for at in (start, end)
        ]
        return cls(start, end, ground[0], ground[1], bow_m, ends_m <= far_m, _NEAR_SPACINGS * widest_m)

    def first(self, level_m: float, slope: float, from_m: float = 0.0) -> Meeting | None:
        """Where a ray first meets ground or a void, or None within this way.

        Parameters
        ----------
        level_m : of the eye
        slope : rise of the ray a metre of grid distance
        from_m : ground nearer than this is passed over
        """
        # Ground a hair above the ray is a tie, and a tie is seen.
        over = level_m + slope * self.from_m - self.from_ground_m - TIE_M
        over_end = level_m + slope * self.to_m - self.to_ground_m - TIE_M
        above = (over > 0.0) & (over_end > 0.0)
        counts = self.to_m > from_m
        met = np.flatnonzero(counts & (~above | self._bulges(over, over_end)))  # NaN, too
        if not met.size:
            return None
        n = int(met[0])
        share = _first_root(float(over[n]), float(over_end[n]), float(self.bow_m[n]))
        if math.isnan(share):
            return Meeting("void", float(self.from_m[n]))
        return Meeting("ground", float(self.from_m[n] + share * (self.to_m[n] - self.from_m[n])))

    def _bulges(self, over: Floats, over_end: Floats) -> Flags:
        """Pieces inside which ground rises to a ray that is above it at both ends."""
        with np.errstate(invalid="ignore", divide="ignore"):
            # Where over (1 - u) + over_end u + bow u (1 - u) is least, and how much it is there.
            at = 0.5 + (over_end - over) / (2.0 * self.bow_m)
            least = over * (1.0 - at) + over_end * at + self.bow_m * at * (1.0 - at)
            low: Flags = (self.bow_m < 0.0) & (at > 0.0) & (at < 1.0) & (least <= 0.0)
        return low & (self.from_m >= self.bulges_from_m)

    def hidden_m(self, level_m: float, one_m: float, other_m: float) -> float:
        """How much of the way between two distances is dead ground, metres."""
        with np.errstate(divide="ignore", invalid="ignore"):
            slope = (self.to_ground_m - level_m) / self.to_m
        highest = np.maximum.accumulate(np.where(np.isnan(slope), -np.inf, slope))
        hidden = np.zeros(len(slope), bool)
        hidden[1:] = slope[1:] < highest[:-1] - 1e-12
        near, far = min(one_m, other_m), max(one_m, other_m)
        inside = np.clip(np.minimum(self.to_m, far) - np.maximum(self.from_m, near), 0.0, None)
        return float(inside[hidden].sum())


def meet(
    grid: Grid,
    posts: Posts,
    highest_m: float,
    eye: Eye,
    bearing_grid_deg: float,
    vertical_angle_deg: float,
    from_m: float = 0.0,
) -> Meeting:
    """Follow a ray to the first ground, to the sky or to where nothing is known.

    A ray over ground that is not known is told as unknown, unless it runs higher there, and ever after, than
    the highest post of all.

    Parameters
    ----------
    highest_m : the highest post, metres in the terrain's datum
    bearing_grid_deg, vertical_angle_deg : apparent direction, as ``hillsight.reading.panorama`` has it
    from_m : ground nearer than this is passed over

    Raises
    ------
    ValueError : the eye is off the grid
    """
    last_row, last_column = grid.rows - 1, grid.columns - 1
    if not (0 <= eye.row <= last_row and 0 <= eye.column <= last_column):
        raise ValueError(f"an eye at row {eye.row}, column {eye.column} is off the terrain")
    slope = math.tan(math.radians(vertical_angle_deg))
    far_m = max(_FIRST_M, _FIRST_SPACINGS * max(grid.spacing_x_m, grid.spacing_y_m))
    while True:
        way = Way.under(grid, posts, eye, bearing_grid_deg, far_m)
        meeting = way.first(eye.level_m, slope, from_m)
        if meeting is not None and meeting.meets == "ground":
            return meeting
        if meeting is not None:
            sky = _clear_from_m(highest_m, eye, slope) <= meeting.distance_m
            return Meeting("sky", math.nan) if sky else meeting
        clear_m = _clear_from_m(highest_m, eye, slope)
        if clear_m <= way.to_m[-1]:
            return Meeting("sky", math.nan)
        if way.ends:
            return Meeting("terrain_edge", float(way.to_m[-1]))
        far_m *= _FARTHER


def _clear_from_m(highest_m: float, eye: Eye, slope: float) -> float:
    """From which distance on a ray stays above the highest ground there is; infinite if it never does."""
    # The ray stands slope d + drop d^2 above the eye's level, told against ground that is not lowered.
    lacking_m = highest_m - eye.level_m
    drop = eye.drop_per_m
    if drop == 0.0:
        if slope > 0.0:
            return max(lacking_m / slope, 0.0)
        return 0.0 if slope == 0.0 and lacking_m < 0.0 else math.inf
    if drop < 0.0:
        return math.inf
    inside = slope * slope + 4.0 * drop * lacking_m
    if inside < 0.0:
        return 0.0
    return max((-slope + math.sqrt(inside)) / (2.0 * drop), 0.0)


def _leaves(place: float, step: float, posts: int) -> float:
    """Distance at which a way leaves the outermost lines of posts."""
    if step > 0.0:
        return (posts - 1 - place) / step
    return -place / step if step < 0.0 else math.inf


def _lines(place: float, step: float, length_m: float) -> Floats:
    """Distances, above nought and below a length, at which lines of posts are crossed."""
    if step == 0.0:
        return np.empty(0)
    end = place + step * length_m
    low, high = min(place, end), max(place, end)
    crossed = (np.arange(math.floor(low), math.ceil(high) + 1, dtype=np.float64) - place) / step
    inside: Floats = crossed[(crossed > 0.0) & (crossed < length_m)]
    return inside


def _inside(corners_m: Floats, down: Floats, right: Floats) -> Floats:
    """Bilinear ground inside cells, (4, n) corners from the north-west on; a void of no weight is none."""
    down, right = on_lines(down), on_lines(right)
    weights = ((1 - down) * (1 - right), (1 - down) * right, down * (1 - right), down * right)
    total: Floats = np.zeros(len(down))
    for corner_m, weight in zip(corners_m, weights, strict=True):
        total += np.where(weight == 0.0, 0.0, weight * corner_m)
    return total


def _first_root(start: float, end: float, bow: float) -> float:
    """Where start (1 - u) + end u + bow u (1 - u) first comes down to nought in [0, 1]; NaN if any is NaN.

    It does come down to it: ``end`` is not above nought, or it dips below on the way.
    """
    if math.isnan(start + end + bow):
        return math.nan
    if start <= 0.0:
        return 0.0
    a, b = -bow, end - start + bow
    inside = max(b * b - 4.0 * a * start, 0.0)
    q = -(b + math.copysign(math.sqrt(inside), b)) / 2.0
    roots = [
        r for r in ((q / a if a != 0.0 else math.inf), (start / q if q != 0.0 else math.inf)) if 0 <= r <= 1
    ]
    # Rounding may leave no root inside where ray and ground all but touch.
    return min(roots, default=start / (start - end) if start > end else 0.5)
