"""Puts the views of many eyes together on one lattice: how many see a post, who sees it, how deep it lies.

All is whole numbers, or the least of several numbers, so that neither the order of the eyes nor how they are
shared out shows in what comes out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from hillsight.kernels.compiled import compiled

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from hillsight.arrays import Bytes, Floats, Floats32, Integers
    from hillsight.sight.octants import Window

#: A post that no eye was asked about: no count, and no eye.
NOT_ASKED = 65535

#: Nobody sees the post.
NOBODY = 65534

_VISIBLE, _UNKNOWN, _BEYOND = np.uint8(3), np.uint8(4), np.uint8(0)
_NOT_ASKED, _NOBODY = np.uint16(NOT_ASKED), np.uint16(NOBODY)


class Gathered(NamedTuple):
    """What is gathered of the posts of a lattice; arrays of no posts are not wanted.

    counts : (rows, columns) uint16, eyes that see it; NOT_ASKED where none was asked, or none could tell
    first, nearest : (rows, columns) uint16, place in the list of the eye of least rank, and of the nearest
        eye, that sees it; NOBODY or NOT_ASKED
    weights : (rows, columns) uint32, sum of the thousandths of the eyes that see it
    depth_m : (rows, columns) float32, least of what a thing must stand tall to show; NaN where not asked
    chances : (rows, columns) uint32, sum of the thousandths of the chances that an eye sees it
    best : (rows, columns) uint16, the greatest of them; NOT_ASKED where none was told
    """

    counts: NDArray[np.uint16]
    first: NDArray[np.uint16]
    nearest: NDArray[np.uint16]
    weights: NDArray[np.uint32]
    depth_m: Floats32
    chances: NDArray[np.uint32]
    best: NDArray[np.uint16]

    @classmethod
    def over(
        cls,
        rows: int,
        columns: int,
        *,
        first: bool,
        nearest: bool,
        weights: bool,
        depth: bool,
        chances: bool,
    ) -> Gathered:
        """Nothing gathered yet."""

        def size(wanted: bool) -> tuple[int, int]:
            return (rows, columns) if wanted else (0, 0)

        return cls(
            np.full((rows, columns), NOT_ASKED, np.uint16),
            np.full(size(first), NOT_ASKED, np.uint16),
            np.full(size(nearest), NOT_ASKED, np.uint16),
            np.zeros(size(weights), np.uint32),
            np.full(size(depth), np.nan, np.float32),
            np.zeros(size(chances), np.uint32),
            np.full(size(chances), NOT_ASKED, np.uint16),
        )

    def add_chances(self, at: Window, probability: Floats32) -> None:
        """Add the chances of one eye's window, (rows, columns), NaN where there is none."""
        inside = np.s_[at.row : at.row + at.rows, at.column : at.column + at.columns]
        known = ~np.isnan(probability)
        told = np.round(np.where(known, probability, 0) * 1000).astype(np.uint16)
        self.chances[inside] += told
        before = self.best[inside]
        better = known & ((before == NOT_ASKED) | (told > before))
        before[better] = told[better]


class Gatherers(NamedTuple):
    """The eyes whose views are gathered, (n,) each: at most NOBODY of them.

    rows, columns : their places on the lattice of what is gathered, fractional
    ranks : who comes first; none twice
    thousandths : what a view weighs
    """

    rows: Floats
    columns: Floats
    ranks: Integers
    thousandths: Integers


@compiled
def gather(
    gathered: Gathered,
    eyes: Gatherers,
    number: int,
    at: Window,
    states: Bytes,
    clearance_m: Floats32,
    spacing_x_m: float,
    spacing_y_m: float,
) -> int:
    """Add the view of an eye to what is gathered; returns how many posts it sees.

    Parameters
    ----------
    number : the eye's place in the list
    at : its window on the lattice of what is gathered
    states : (rows, columns) uint8 of GroundState
    clearance_m : (rows, columns) float32, or of no posts where depths are not wanted
    """
    if gathered.first.size + gathered.nearest.size + gathered.weights.size + gathered.depth_m.size == 0:
        return _count(gathered.counts, at, states)
    with_first, with_nearest = gathered.first.size > 0, gathered.nearest.size > 0
    with_weights, with_depth = gathered.weights.size > 0, gathered.depth_m.size > 0
    rank, weight, own = eyes.ranks[number], np.uint32(eyes.thousandths[number]), np.uint16(number)
    seen = 0
    for i in range(at.rows):
        row = at.row + i
        for j in range(at.columns):
            state = states[i, j]
            if state in (_BEYOND, _UNKNOWN):
                continue
            column = at.column + j
            if gathered.counts[row, column] == _NOT_ASKED:
                gathered.counts[row, column] = np.uint16(0)
                if with_first:
                    gathered.first[row, column] = _NOBODY
                if with_nearest:
                    gathered.nearest[row, column] = _NOBODY
            if with_depth:
                depth_m = max(-clearance_m[i, j], np.float32(0.0))
                before = gathered.depth_m[row, column]
                if not (before <= depth_m):
                    gathered.depth_m[row, column] = depth_m
            if state != _VISIBLE:
                continue
            seen += 1
            gathered.counts[row, column] += np.uint16(1)
            if with_weights:
                gathered.weights[row, column] += weight
            if with_first:
                other = gathered.first[row, column]
                if other == _NOBODY or rank < eyes.ranks[other]:
                    gathered.first[row, column] = own
            if with_nearest:
                other = gathered.nearest[row, column]
                if other == _NOBODY:
                    gathered.nearest[row, column] = own
                else:
                    mine = _square_m(eyes, number, row, column, spacing_x_m, spacing_y_m)
                    theirs = _square_m(eyes, other, row, column, spacing_x_m, spacing_y_m)
                    if mine < theirs or (mine == theirs and rank < eyes.ranks[other]):
                        gathered.nearest[row, column] = own
    return seen


@compiled
def _count(counts: NDArray[np.uint16], at: Window, states: Bytes) -> int:
    """As :func:`gather`, of counts alone; two plain loops, which run in vectors."""
    seen = 0
    for i in range(at.rows):
        row, state = counts[at.row + i, at.column : at.column + at.columns], states[i]
        for j in range(state.size):
            begins = row[j] == _NOT_ASKED and state[j] != _BEYOND and state[j] != _UNKNOWN
            before = np.uint16(0) if begins else row[j]
            row[j] = before + np.uint16(1) if state[j] == _VISIBLE else before
        for j in range(state.size):
            seen += state[j] == _VISIBLE
    return seen


@compiled
def count_states(states: Bytes) -> Integers:
    """How many posts have each code of GroundState, (5,) by code.

    states : (rows, columns) uint8
    """
    found = np.zeros(5, np.int64)
    for i in range(states.shape[0]):
        row = states[i]
        for code in range(1, 5):
            here, wanted = 0, np.uint8(code)
            for j in range(row.size):
                here += row[j] == wanted
            found[code] += here
    found[0] = states.size - found.sum()
    return found


@compiled
def _square_m(
    eyes: Gatherers, number: int, row: int, column: int, spacing_x_m: float, spacing_y_m: float
) -> float:
    """Square of the distance on the grid from an eye to a post."""
    south_m = (row - eyes.rows[number]) * spacing_y_m
    east_m = (column - eyes.columns[number]) * spacing_x_m
    return float(south_m * south_m + east_m * east_m)


@compiled
def merge_counts(total: NDArray[np.uint32], counts: NDArray[np.uint16], row: int, column: int) -> None:
    """Add counts of a part to those of a tile; posts not asked about hold the greatest number.

    row, column : where the part lies on the tile
    """
    nothing = np.uint32(0xFFFFFFFF)
    for i in range(counts.shape[0]):
        for j in range(counts.shape[1]):
            if counts[i, j] != _NOT_ASKED:
                before = total[row + i, column + j]
                total[row + i, column + j] = np.uint32(counts[i, j]) + (
                    np.uint32(0) if before == nothing else before
                )


@compiled
def merge_eyes(
    total: NDArray[np.uint32],
    part: NDArray[np.uint16],
    row: int,
    column: int,
    numbers: Integers,
    ranks_by_number: Integers,
    rows_by_number: Floats,
    columns_by_number: Floats,
    tile_row: int,
    tile_column: int,
    spacing_x_m: float,
    spacing_y_m: float,
    nearest: bool,
) -> None:
    """Put the first or nearest eyes of a part into those of a tile.

    Parameters
    ----------
    total : (rows, columns) of the tile, numbers of eyes from 1; 0 where nobody sees, the greatest
        number where none was asked
    part : (rows, columns) from ``row`` and ``column`` of the tile on, places in ``numbers``
    numbers : (n,) number of each eye of the part, from 1
    ranks_by_number, rows_by_number, columns_by_number : (numbers + 1,) of all eyes that may stand in
        ``total``, on the whole lattice
    tile_row, tile_column : where the tile begins on the whole lattice
    nearest : whether the nearest is wanted, and not the first by rank
    """
    nothing = np.uint32(0xFFFFFFFF)
    for i in range(part.shape[0]):
        for j in range(part.shape[1]):
            told = part[i, j]
            if told == _NOT_ASKED:
                continue
            before = total[row + i, column + j]
            if told == _NOBODY:
                if before == nothing:
                    total[row + i, column + j] = np.uint32(0)
                continue
            mine = numbers[told]
            if before == nothing or before == np.uint32(0):
                total[row + i, column + j] = np.uint32(mine)
                continue
            better = ranks_by_number[mine] < ranks_by_number[before]
            if nearest:
                at_row, at_column = tile_row + row + i, tile_column + column + j
                south_m = (at_row - rows_by_number[mine]) * spacing_y_m
                east_m = (at_column - columns_by_number[mine]) * spacing_x_m
                own = south_m * south_m + east_m * east_m
                south_m = (at_row - rows_by_number[before]) * spacing_y_m
                east_m = (at_column - columns_by_number[before]) * spacing_x_m
                theirs = south_m * south_m + east_m * east_m
                better = own < theirs or (own == theirs and better)
            if better:
                total[row + i, column + j] = np.uint32(mine)
