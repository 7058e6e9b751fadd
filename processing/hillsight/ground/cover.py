"""What stands on the ground: woods, buildings, walls, as heights at the posts and as upright screens.

People, targets and landforms stand on the bare ground; cover hides. It is told in two ways: by its height at
each post, straight between posts as the ground is; and, for what is narrower than that, by upright screens
along lines of their own.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from hillsight.arrays import Bytes, Floats, Floats32, Integers

#: What ``Cover.kinds`` calls the kind of ground that nothing stands on.
BARE = ""

#: Posts along the side of the squares that screens are found by.
_SQUARE = 8

#: Screens are put into every square that they come so near to (spacings): more than all rounding.
_SLACK = 1e-6


class ScreenSquares(NamedTuple):
    """Which screens come into which square of a lattice.

    size : spacings along the side of a square; square (i, j) begins at row i size and column j size
    rows, columns : of squares
    starts : (rows * columns + 1,) where the screens of each square begin in ``screens``
    screens : (n,) indices of screens, square after square
    """

    size: int
    rows: int
    columns: int
    starts: Integers
    screens: Integers


@dataclass(frozen=True)
class Screens:
    """Walls, fences and hedges: upright, straight in plan, each so high above the ground under it.

    row, column, to_row, to_column : (n,) ends on the lattice of the posts, fractional
    height_m : (n,) metres above the ground, >= 0
    kind : (n,) index into ``Cover.kinds``

    Raises
    ------
    ValueError : arrays of unlike length, or a number that is none
    """

    row: Floats
    column: Floats
    to_row: Floats
    to_column: Floats
    height_m: Floats
    kind: Bytes

    def __post_init__(self) -> None:
        numbers = (self.row, self.column, self.to_row, self.to_column, self.height_m)
        if any(values.shape != self.kind.shape or self.kind.ndim != 1 for values in numbers):
            raise ValueError(f"screens need as many of each, not {[v.shape for v in (*numbers, self.kind)]}")
        if not all(np.isfinite(values).all() for values in numbers) or (self.height_m < 0).any():
            raise ValueError("screens need ends that are numbers, and heights of 0 or more")

    def __len__(self) -> int:
        return self.kind.size

    @classmethod
    def none(cls) -> Screens:
        """No screens at all."""
        nothing = np.empty(0)
        return cls(nothing, nothing, nothing, nothing, nothing, np.empty(0, np.uint8))

    @property
    def lines(self) -> Floats:
        """(n, 5) row and column of one end, of the other end, and height."""
        return np.column_stack((self.row, self.column, self.to_row, self.to_column, self.height_m))

    def squares(self, shape: tuple[int, int]) -> ScreenSquares:
        """Where to look for screens on a lattice of so many rows and columns of posts.

        Screens of no height, and what of screens lies off the lattice, are left out.
        """
        rows, columns = (max(-(-n // _SQUARE), 1) for n in shape)
        length = np.maximum(np.abs(self.to_row - self.row), np.abs(self.to_column - self.column))
        # Cut so short that a piece comes into two squares each way at most.
        counts = np.where(self.height_m > 0, np.ceil(2.0 * length / _SQUARE), 0).astype(np.int64)
        screen = np.repeat(np.arange(len(self)), counts)
        piece = np.arange(screen.size) - np.repeat(np.cumsum(counts) - counts, counts)
        shares = piece / counts[screen], (piece + 1) / counts[screen]
        found = []
        for down in (-_SLACK, _SLACK):
            for right in (-_SLACK, _SLACK):
                for one, other in ((0, 0), (0, 1), (1, 0), (1, 1)):
                    i, j = (
                        np.floor((start[screen] + share * (end - start)[screen] + slack) / _SQUARE)
                        for start, end, share, slack in (
                            (self.row, self.to_row, shares[one], down),
                            (self.column, self.to_column, shares[other], right),
                        )
                    )
                    held = (i >= 0) & (i < rows) & (j >= 0) & (j < columns)
                    square = (i[held] * columns + j[held]).astype(np.int64)
                    found.append(np.column_stack((square, screen[held])))
        pairs = np.unique(np.concatenate(found), axis=0)
        starts = np.searchsorted(pairs[:, 0], np.arange(rows * columns + 1))
        return ScreenSquares(_SQUARE, rows, columns, starts, np.ascontiguousarray(pairs[:, 1]))

    def moved(self, row: int, column: int) -> Screens:
        """The same on a part of the lattice that begins at a row and a column."""
        return replace(
            self,
            row=self.row - row,
            column=self.column - column,
            to_row=self.to_row - row,
            to_column=self.to_column - column,
        )


@dataclass(frozen=True)
class Cover:
    """What stands on the posts of a surface, and between them.

    Parameters
    ----------
    solid_m : (rows, columns) float32 >= 0, height above the ground of what lets no sight pass; 0 for none
    wood_m : (rows, columns) float32 >= 0, height of woods, which may let some sight pass; 0 for none
    kind : (rows, columns) uint8, index into ``kinds`` of the taller of both; 0 for none
    kinds : names; the first is that of bare ground
    screens : what is narrower than a post
    passing_m : of sight along p metres through wood the share exp(-p / passing_m) comes through; 0: none does
    height_sigma_m, edge_sigma_m : standard deviations of the cover's height, and of the place of its edges
    screen_sigma_m : of the height of screens; that of the rest where None

    Raises
    ------
    ValueError : arrays that do not fit each other, or a number out of bounds
    """

    solid_m: Floats32
    wood_m: Floats32
    kind: Bytes
    kinds: tuple[str, ...] = (BARE, "wood")
    screens: Screens = field(default_factory=Screens.none)
    passing_m: float = 0.0
    height_sigma_m: float = 0.0
    edge_sigma_m: float = 0.0
    screen_sigma_m: float | None = None

    def __post_init__(self) -> None:
        if not self.solid_m.shape == self.wood_m.shape == self.kind.shape or self.kind.ndim != 2:
            shapes = self.solid_m.shape, self.wood_m.shape, self.kind.shape
            raise ValueError(f"heights and kinds of cover must lie on the same posts, not {shapes}")
        for values in (self.solid_m, self.wood_m):
            # NaN is caught too: it is not at least nought.
            if not (values >= 0).all() or not np.isfinite(values).all():
                raise ValueError("cover needs a height of 0 m or more at each post")
        for value in (self.passing_m, self.height_sigma_m, self.edge_sigma_m, self.sigma_of_screens_m):
            if not (np.isfinite(value) and value >= 0):
                raise ValueError(f"cover needs lengths of 0 m or more, not {value}")
        if not self.kinds or self.kinds[0] != BARE:
            raise ValueError(f"the first kind of cover is that of bare ground, not {self.kinds[:1]}")
        if max(int(self.kind.max(initial=0)), int(self.screens.kind.max(initial=0))) >= len(self.kinds):
            raise ValueError(f"a kind of cover has no name among {self.kinds}")

    @property
    def sigma_of_screens_m(self) -> float:
        """Standard deviation of the height of screens."""
        return self.height_sigma_m if self.screen_sigma_m is None else self.screen_sigma_m

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of posts."""
        return self.kind.shape[0], self.kind.shape[1]

    @cached_property
    def tallest_m(self) -> Floats32:
        """(rows, columns) float32, height above the ground of the taller of what is solid and of woods."""
        return np.maximum(self.solid_m, self.wood_m, dtype=np.float32)

    @cached_property
    def lets_pass(self) -> bool:
        """Whether there are woods that let some sight pass."""
        return self.passing_m > 0 and bool((self.wood_m > self.solid_m).any())

    @cached_property
    def squares(self) -> ScreenSquares:
        """Where to look for screens."""
        return self.screens.squares(self.shape)

    @cached_property
    def raises(self) -> bool:
        """Whether anything stands on a post."""
        return bool(self.tallest_m.any())

    @cached_property
    def hides(self) -> bool:
        """Whether anything stands on the ground at all, screens too."""
        return self.raises or bool((self.screens.height_m > 0).any())

    def part(self, row: int, column: int, rows: int, columns: int) -> Cover:
        """The cover of the posts from a row and column on; screens stay whole."""
        chosen: tuple[Any, ...] = (slice(row, row + rows), slice(column, column + columns))
        return replace(
            self,
            solid_m=self.solid_m[chosen],
            wood_m=self.wood_m[chosen],
            kind=self.kind[chosen],
            screens=self.screens.moved(row, column),
        )
