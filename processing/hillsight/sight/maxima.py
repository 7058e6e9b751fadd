"""Ladder of block maxima: what the highest ground of a block is, so that a walk may pass it over."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled
from hillsight.kernels.threads import in_slices

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from hillsight.arrays import Flags, Floats32, Integers
    from hillsight.ground.grid import Surface

#: Posts along the side of the finest blocks; walks.grazing counts on these and on four to one above.
FINEST, MIDDLE = 4, 16
LEVELS = 4
#: Rows of middle blocks that a thread does at a time.
_AT_A_TIME = 8


@compiled
def _fill(
    height_m: Floats32,
    first: int,
    last: int,
    column_max_m: Floats32,
    finest_m: Floats32,
    finest_void: Flags,
    middle_m: Floats32,
) -> bool:
    """Rows first to last - 1 of middle blocks and of all finest blocks in them; whether any has a void.

    column_max_m : (columns,) scratch
    finest_void : already False everywhere
    """
    rows, columns = height_m.shape
    any_void = False
    for i in range(first, last):
        for j in range(middle_m.shape[1]):
            middle_m[i, j] = -np.inf
        for fine in range(4 * i, min(finest_m.shape[0], 4 * i + 4)):
            top, bottom = fine * FINEST, min(rows, fine * FINEST + FINEST + 1)
            for c in range(columns):
                column_max_m[c] = -np.inf
            void = 0
            for row in range(top, bottom):
                for c in range(columns):
                    value = height_m[row, c]
                    void |= value != value
                    column_max_m[c] = value if value > column_max_m[c] else column_max_m[c]
            whole = (columns - 1) // FINEST
            for j in range(whole):
                c = j * FINEST
                west = max(column_max_m[c], column_max_m[c + 1])
                east = max(column_max_m[c + 2], column_max_m[c + 3])
                finest_m[fine, j] = max(max(west, east), column_max_m[c + 4])
            for j in range(whole, finest_m.shape[1]):
                finest_m[fine, j] = column_max_m[j * FINEST]
                for c in range(j * FINEST + 1, columns):
                    finest_m[fine, j] = max(finest_m[fine, j], column_max_m[c])
            for j in range(finest_m.shape[1]):
                middle_m[i, j >> 2] = max(middle_m[i, j >> 2], finest_m[fine, j])
            if void:
                any_void = True
                for row in range(top, bottom):
                    for c in range(columns):
                        if height_m[row, c] != height_m[row, c]:
                            finest_void[fine, min(c // FINEST, finest_m.shape[1] - 1)] = True
                            if c > 0 and c % FINEST == 0:
                                finest_void[fine, c // FINEST - 1] = True
    return any_void


def _blocks(shape: tuple[int, int], level: int) -> tuple[int, int]:
    """Rows and columns of blocks at a level."""
    size = FINEST * 4**level
    return -(-shape[0] // size), -(-shape[1] // size)


def _coarser[Kind: np.generic](finer: NDArray[Kind], lowest: float | bool) -> NDArray[Kind]:
    """Maxima over four by four blocks."""
    rows, columns = (-(-n // 4) for n in finer.shape)
    padded = np.full((rows * 4, columns * 4), lowest, finer.dtype)
    padded[: finer.shape[0], : finer.shape[1]] = finer
    coarse: NDArray[Kind] = padded.reshape(rows, 4, columns, 4).max(axis=(1, 3))
    return coarse


@dataclass(frozen=True)
class Maxima:
    """Highest ground of square blocks of posts; made once for a surface, shared by all who look over it.

    Block (i, j) of a level of size B holds posts i B to i B + B inclusive each way, as far as there are
    any: neighbours share a row or column of posts, so that every stretch of grid line between two posts
    lies whole in a block.

    ladder_m : (n,) float32, metres: for B = 4, 16, 64, 256 the highest post of each of the ceil(rows / B)
        times ceil(columns / B) blocks, row after row, voids left out; -inf where all are voids
    ladder_void : (n,) bool: whether any post of the block is a void
    offsets : (4,) where each level begins
    any_void : whether any post at all is a void
    shape : rows and columns of posts
    """

    ladder_m: Floats32
    ladder_void: Flags
    offsets: Integers
    any_void: bool
    shape: tuple[int, int]

    @classmethod
    def over(cls, surface: Surface) -> Maxima:
        """The ladder of what blocks sight: the ground or what stands on it."""
        return cls.of(surface.blocking_m)

    @classmethod
    def of(cls, height_m: Floats32) -> Maxima:
        """The ladder of (rows, columns) heights in metres, NaN for voids."""
        height_m = np.ascontiguousarray(height_m, np.float32)
        shape = height_m.shape[0], height_m.shape[1]
        sizes = [_blocks(shape, level)[0] * _blocks(shape, level)[1] for level in range(LEVELS)]
        offsets = np.cumsum([0, *sizes])
        made = cls(
            np.empty(offsets[-1], np.float32), np.zeros(offsets[-1], np.bool_), offsets[:-1], False, shape
        )
        highest, voids = made.highest_m, made.has_void
        found = []

        def block_rows(first: int, last: int) -> None:
            scratch_m = np.empty(shape[1], np.float32)
            found.append(_fill(height_m, first, last, scratch_m, highest[0], voids[0], highest[1]))

        in_slices(block_rows, highest[1].shape[0], _AT_A_TIME)
        for level in range(2, LEVELS):
            highest[level][:] = _coarser(highest[level - 1], -np.inf)
        if not any(found):
            return made
        for level in range(1, LEVELS):
            voids[level][:] = _coarser(voids[level - 1], False)
        return replace(made, any_void=True)

    def _view[Kind: np.generic](self, ladder: NDArray[Kind], level: int) -> NDArray[Kind]:
        rows, columns = _blocks(self.shape, level)
        start = int(self.offsets[level])
        return ladder[start : start + rows * columns].reshape(rows, columns)

    @property
    def highest_m(self) -> tuple[Floats32, ...]:
        """Each level, finest first."""
        return tuple(self._view(self.ladder_m, level) for level in range(LEVELS))

    @property
    def has_void(self) -> tuple[Flags, ...]:
        """Voids of each level."""
        return tuple(self._view(self.ladder_void, level) for level in range(LEVELS))

    @property
    def highest_16(self) -> Floats32:
        """The level of 16 posts a side."""
        return self.highest_m[1]

    @property
    def has_void_16(self) -> Flags:
        """Voids of the level of 16 posts a side."""
        return self.has_void[1]
