"""The eight octants around an eye, each a triangle of posts that one loop can walk outwards.

In an octant posts are counted by ``i`` along the axis that the sight lines mostly follow and by ``j``
across it, both away from the eye. Post (i, j) lies ``along = first_along + i`` and
``across = first_across + j`` spacings from the eye, and 0 <= across <= along within the octant.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterator

    from hillsight.sight.viewing import Eye


class Window(NamedTuple):
    """Part of a lattice that an array holds: its first row and column there, and its size."""

    row: int
    column: int
    rows: int
    columns: int


class Octant(NamedTuple):
    """One octant of a lattice of posts around an eye.

    first_along, first_across : offsets of i = 0 and j = 0 from the eye, spacings, >= 0
    first_i, posts_along : i runs over first_i <= i < posts_along; ground at i = first_i - 1 counts too
        (the columns' lines from it) where ``has_before``
    first_j, posts_across : j runs over first_j <= j < posts_across; first_j is -1 where a post lies just
        beyond the octant's inner edge
    with_axis, with_diagonal : whether the posts with across = 0, and with across = along, are this octant's
    broken : whether the ground has a beginning or an end within the octant, apart from its far edges
    along_rows : whether i counts rows and j columns, or the other way about
    row, column : of post (0, 0) on the lattice
    row_step, column_step : +1 or -1, towards which the octant runs
    along_m, across_m : spacing of the posts along and across, metres
    """

    first_along: float
    first_across: float
    first_i: int
    posts_along: int
    first_j: int
    posts_across: int
    has_before: bool
    with_axis: bool
    with_diagonal: bool
    broken: bool
    along_rows: bool
    row: int
    column: int
    row_step: int
    column_step: int
    along_m: float
    across_m: float


class _Side(NamedTuple):
    first: int
    step: int
    offset: float
    posts: int
    has_before: bool


def _sides(at: float, posts: int) -> Iterator[_Side]:
    """The posts of one axis on both sides of the eye; a post level with the eye is on both."""
    first = max(math.ceil(at), 0)
    if first < posts:
        yield _Side(first, 1, first - at, posts - first, first >= 1 and first > at)
    first = min(math.floor(at), posts - 1)
    if first >= 0:
        yield _Side(first, -1, at - first, first + 1, first + 1 < posts and first < at)


def octants(eye: Eye, rows: int, columns: int, spacing_x_m: float, spacing_y_m: float) -> Iterator[Octant]:
    """The octants that hold posts of a lattice, up to eight; the eye may stand off the lattice."""
    for down in _sides(eye.row, rows):
        for right in _sides(eye.column, columns):
            for along_rows in (True, False):
                along, across = (down, right) if along_rows else (right, down)
                first_i = 1 if along.offset == 0.0 else 0
                first_j = -1 if across.has_before else 0
                has_before = first_i == 1 or along.has_before
                yield Octant(
                    first_along=along.offset,
                    first_across=across.offset,
                    first_i=first_i,
                    posts_along=along.posts,
                    first_j=first_j,
                    posts_across=across.posts,
                    has_before=has_before,
                    # A line of posts that two octants share is worked out by one of them.
                    with_axis=across.step == 1,
                    with_diagonal=along_rows,
                    broken=not has_before
                    or across.posts - first_j < 2
                    or (across.offset > 0.0 and not across.has_before),
                    along_rows=along_rows,
                    row=down.first,
                    column=right.first,
                    row_step=down.step,
                    column_step=right.step,
                    along_m=spacing_y_m if along_rows else spacing_x_m,
                    across_m=spacing_x_m if along_rows else spacing_y_m,
                )
