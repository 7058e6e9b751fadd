"""Keeps ridges off valleys: where one would cross a valley line it begins above the crossing."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from hillsight.landform.along import starts_of
from hillsight.landform.axes import lines_of, smoothed_lines

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Flags, Floats, Integers, Objects
    from hillsight.landform.lines import Line, Network

#: Marks of the two slants of a step, for squares that are crossed both ways.
_BITS = {1: 1, -1: 2}


def kept_apart(ridges: Network, valleys: Network, saddles: Integers, columns: int) -> Network:
    """Ridges cut where they meet a valley line; of the pieces the longest remains.

    A ridge that would cross one at its saddle ends on either side of it.

    saddles : flat indices of the saddles that lines come from

    Steepest ways up and down cross nowhere on smooth ground but at saddles; on posts they may.
    """
    size = valleys.drainage.receiver.size
    wet, slants = np.zeros(size, bool), np.zeros(size, np.int8)
    if valleys.lines:
        posts = np.concatenate([line.posts for line in valleys.lines])
        wet[posts] = True
        corner, slant = _steps(posts, starts_of([line.posts for line in valleys.lines]), columns)
        for bit in (1, -1):
            slants[corner[slant == bit]] |= _BITS[bit]
    paths = [
        line.posts
        if line.over_saddle < 0
        else np.concatenate([saddles[line.over_saddle : line.over_saddle + 1], line.posts])
        for line in ridges.lines
    ]
    if not paths:
        return ridges
    posts, starts = np.concatenate(paths), starts_of(paths)
    corner, slant = _steps(posts, starts, columns)
    meets = wet[posts]
    for bit in (1, -1):
        meets[:-1] |= (slant == bit) & ((slants[corner] & _BITS[-bit]) > 0)
    return replace(
        ridges,
        lines=[
            _clear(line, met) if met.any() else line
            for line, met in zip(ridges.lines, np.split(meets, starts[1:-1]), strict=True)
        ],
    )


def smoothed_apart(ridges: Sequence[Floats], valleys: Sequence[Floats]) -> tuple[list[Floats], list[Floats]]:
    """Lines without the grid's corners, but for those that smoothing would bring across each other.

    Parameters
    ----------
    ridges, valleys : each (n, 2) places of posts; no ridge meets a valley
    """
    smooth_ridges, smooth_valleys = smoothed_lines(ridges), smoothed_lines(valleys)
    ridge_shapes, valley_shapes = _shapes(smooth_ridges), _shapes(smooth_valleys)
    while ridges and valleys:
        at, other = shapely.STRtree(valley_shapes).query(ridge_shapes, predicate="intersects")
        crossing = [
            (i, j)
            for i, j in zip(at.tolist(), other.tolist(), strict=True)
            if smooth_ridges[i] is not ridges[i] or smooth_valleys[j] is not valleys[j]
        ]
        if not crossing:
            break
        for i, j in crossing:
            smooth_ridges[i], smooth_valleys[j] = ridges[i], valleys[j]
            ridge_shapes[i], valley_shapes[j] = _shapes([ridges[i], valleys[j]])
    return smooth_ridges, smooth_valleys


def _shapes(lines: Sequence[Floats]) -> Objects:
    """Lines as shapes, one of a single place as a point."""
    shapes = np.empty(len(lines), object)
    longer = np.array([len(line) > 1 for line in lines], bool)
    shapes[longer] = lines_of([line for line in lines if len(line) > 1])
    shapes[~longer] = [shapely.Point(line[0]) for line in lines if len(line) < 2]
    return shapes


def _clear(line: Line, meets: Flags) -> Line:
    """The part of a line that is left by what it meets.

    meets : whether each of its posts, after that of its saddle if it comes from one, meets one there
        or on the way to the next
    """
    # The longest part that meets none; if that is not the upper one, the line no longer joins another.
    meets = meets[len(meets) - len(line.posts) :]
    ends = np.flatnonzero(np.diff(np.concatenate([[1], meets.astype(np.int8), [1]])))
    runs = ends.reshape(-1, 2)
    if not len(runs):
        return replace(line, posts=line.posts[-1:], joins=-1, standing=None, over_saddle=-1)
    first, last = (int(v) for v in runs[np.argmax(runs[:, 1] - runs[:, 0])])
    standing = line.standing
    if standing is not None:
        standing = max(standing[0], first) - first, min(standing[1], last - 1) - first
        if standing[1] <= standing[0]:
            standing = None
    whole = last == len(line.posts)
    return replace(
        line,
        posts=line.posts[first:last],
        joins=line.joins if whole else -1,
        standing=standing,
        over_saddle=-1,
    )


def _steps(posts: Integers, starts: Integers, columns: int) -> tuple[Integers, Integers]:
    """Of every step of lines the north-western post of its square and its slant.

    The slant is 1 from north-west to south-east or back, -1 from north-east to south-west or back, 0 along a
    row or column, and 0 from the end of one line to the next.
    """
    rows, across = np.divmod(posts, columns)
    corner = np.minimum(rows[1:], rows[:-1]) * columns + np.minimum(across[1:], across[:-1])
    slant = np.diff(rows) * np.diff(across)
    slant[starts[1:-1] - 1] = 0
    return corner, slant
