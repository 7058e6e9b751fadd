"""The course, and the stretches it is cut into once, so that ground run over twice is one piece."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from scipy.spatial import cKDTree

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Integers

#: The course is looked at in steps of this share of a stretch, and none longer than this, to find shared
#: ground and to place the cuts.
_STEP_SHARE, _LONGEST_STEP_M = 0.1, 2.0

#: Lines that run this alike, degrees either way, lie on the same ground where they are near.
_ALIKE_DEG = 30.0

#: Two runs over a piece lie at least so many times the tolerance apart along the course: a step's own
#: neighbours are not a second run.
_APART_TIMES = 3.0


@dataclass(frozen=True)
class Checkpoint:
    """A checkpoint; along_m : from the start of a lap, metres on the grid."""

    name: str
    along_m: float


@dataclass(frozen=True)
class Course:
    """A course on the working grid.

    easting_m, northing_m : (n,) vertices of one lap in running order
    """

    name: str
    easting_m: Floats
    northing_m: Floats
    laps: int = 1
    checkpoints: tuple[Checkpoint, ...] = ()

    @property
    def lap_m(self) -> float:
        """Length of a lap, metres on the grid; where laps do not close, with the way back to the start."""
        easting_m, northing_m = self._run(min(self.laps, 2))
        length_m = float(np.hypot(np.diff(easting_m), np.diff(northing_m)).sum())
        return length_m if self.laps == 1 else length_m - self._open_m

    @property
    def length_m(self) -> float:
        """Length of all laps, metres on the grid."""
        return self._open_m + (self.laps - 1) * self.lap_m

    @property
    def _open_m(self) -> float:
        return float(np.hypot(np.diff(self.easting_m), np.diff(self.northing_m)).sum())

    def run(self) -> tuple[Floats, Floats]:
        """Easting and northing of all laps' vertices, one after the other."""
        return self._run(self.laps)

    def _run(self, laps: int) -> tuple[Floats, Floats]:
        return np.tile(self.easting_m, laps), np.tile(self.northing_m, laps)

    def at(self, along_m: Floats) -> tuple[Floats, Floats]:
        """Easting and northing of places along all laps, metres from the start."""
        easting_m, northing_m = self.run()
        known_m = _along(easting_m, northing_m)
        return np.interp(along_m, known_m, easting_m), np.interp(along_m, known_m, northing_m)

    def part(self, from_m: float, to_m: float) -> shapely.LineString:
        """The line between two places along all laps, metres from the start."""
        easting_m, northing_m = self.run()
        known_m = _along(easting_m, northing_m)
        inner = known_m[(known_m > from_m) & (known_m < to_m)]
        along_m = np.concatenate(([from_m], inner, [to_m]))
        return shapely.LineString(np.column_stack(self.at(along_m)))


@dataclass(frozen=True)
class Stretches:
    """The course cut once; shared ground coincides.

    from_m, to_m : (n,) along all laps from the start, metres on the grid
    easting_m, northing_m : (n,) middles; of ground run over again, that of its first run
    piece : (n,) number of the piece of ground, from 0 on; stretches on one piece share it
    weight : (n,) 1 ordinary, more where dangerous
    reason : (n,) why it is dangerous, "" if it is not
    """

    from_m: Floats
    to_m: Floats
    easting_m: Floats
    northing_m: Floats
    piece: Integers
    weight: Floats
    reason: tuple[str, ...]

    @property
    def length_m(self) -> Floats:
        """(n,) metres on the grid."""
        return self.to_m - self.from_m

    @property
    def pieces(self) -> int:
        """How many pieces of ground there are."""
        return int(self.piece.max()) + 1

    @property
    def first(self) -> Integers:
        """(pieces,) the stretch that runs over each piece first; its middle is the piece's."""
        return np.unique(self.piece, return_index=True)[1]

    def piece_weight_m(self) -> Floats:
        """(pieces,) length of a piece times its weight, summed over all the stretches that run over it."""
        return np.bincount(self.piece, self.weight * self.length_m, self.pieces)


def cut(course: Course, length_m: float = 20.0, shared_within_m: float = 10.0) -> Stretches:
    """Cut a course into stretches of at most a length, all of weight 1.

    Ground run along before, in either direction, no farther off than the tolerance, is cut where it was cut
    the first time and bears the same number. Where the course merely crosses itself nothing is shared.

    Parameters
    ----------
    length_m, shared_within_m : metres on the grid, length > 0, tolerance >= 0
    """
    easting_m, northing_m = course.run()
    known_m = _along(easting_m, northing_m)
    total_m = float(known_m[-1])
    steps = max(int(np.ceil(total_m / min(_LONGEST_STEP_M, _STEP_SHARE * length_m))), 1)
    ends_m = np.linspace(0.0, total_m, steps + 1)
    middles_m = (ends_m[1:] + ends_m[:-1]) / 2
    step_e, step_n = (np.interp(middles_m, known_m, v) for v in (easting_m, northing_m))
    first = _first_runs(
        np.column_stack((step_e, step_n)),
        np.column_stack([np.diff(np.interp(ends_m, known_m, v)) for v in (easting_m, northing_m)]),
        middles_m,
        shared_within_m,
    )
    piece = _pieces(first, length_m, total_m / steps)[first]
    # A stretch ends where the next step lies on another piece, or on the same one run over anew.
    new = np.flatnonzero(np.diff(piece) != 0) + 1
    begins, ends = np.concatenate(([0], new)), np.concatenate((new, [steps]))
    number = piece[begins]
    # Numbers without a gap, in the order in which the pieces are first run over.
    _, at, number = np.unique(number, return_index=True, return_inverse=True)
    number = np.argsort(np.argsort(at))[number]
    from_m, to_m = ends_m[begins], ends_m[ends]
    opening = np.unique(number, return_index=True)[1][number]
    middle_m = (from_m + to_m)[opening] / 2
    return Stretches(
        from_m,
        to_m,
        np.interp(middle_m, known_m, easting_m),
        np.interp(middle_m, known_m, northing_m),
        number.astype(np.int64),
        np.ones(len(from_m)),
        ("",) * len(from_m),
    )


def _along(easting_m: Floats, northing_m: Floats) -> Floats:
    """(n,) metres from the first vertex along a line."""
    return np.concatenate(([0.0], np.cumsum(np.hypot(np.diff(easting_m), np.diff(northing_m)))))


def _first_runs(middles: Floats, ways: Floats, along_m: Floats, within_m: float) -> Integers:
    """(n,) for each step the step that ran over its ground first; itself where none did.

    middles, ways : (n, 2) metres, middle and way of each step; along_m : (n,) of the middles
    """
    count = len(middles)
    first = np.arange(count)
    if within_m <= 0 or count < 2:
        return first
    pairs = cKDTree(middles).query_pairs(within_m, output_type="ndarray")
    early, late = pairs.min(axis=1), pairs.max(axis=1)
    length = np.maximum(np.hypot(*ways.T), 1e-9)
    cosine = np.abs((ways[early] * ways[late]).sum(axis=1)) / (length[early] * length[late])
    same = along_m[late] - along_m[early] > _APART_TIMES * within_m
    same &= cosine >= np.cos(np.radians(_ALIKE_DEG))
    early, late = early[same], late[same]
    again = np.zeros(count, np.bool_)
    again[late] = True
    # A step that runs over new ground goes before one that runs over old ground, then the nearer one.
    apart = np.hypot(*(middles[early] - middles[late]).T)
    order = np.lexsort((early, apart, again[early], late))
    found, opening = np.unique(late[order], return_index=True)
    first[found] = early[order][opening]
    while (first[first] != first).any():
        first = first[first]
    return first


def _pieces(first: Integers, length_m: float, step_m: float) -> Integers:
    """(n,) number of the piece of each step that runs over new ground; -1 for others."""
    new = np.flatnonzero(first == np.arange(len(first)))
    piece = np.full(len(first), -1, np.int64)
    most = max(int(length_m / step_m + 1e-9), 1)
    number = 0
    for run in np.split(new, np.flatnonzero(np.diff(new) > 1) + 1):
        parts = -(-len(run) // most)
        piece[run] = number + np.minimum(np.arange(len(run)) * parts // len(run), parts - 1)
        number += parts
    return piece
