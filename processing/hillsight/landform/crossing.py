"""Keeps ridges off valleys: where one would cross a valley line it begins above the crossing."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from hillsight.landform.axes import smoothed_lines

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from hillsight.arrays import Floats, Integers
    from hillsight.landform.lines import Line, Network


def kept_apart(ridges: Network, valleys: Network, saddles: Integers, columns: int) -> Network:
    """Ridges cut where they meet a valley line; of the pieces the longest remains.

    A ridge that would cross one at its saddle ends on either side of it.

    saddles : flat indices of the saddles that lines come from

    Steepest ways up and down cross nowhere on smooth ground but at saddles; on posts they may.
    """
    wet = {int(post) for line in valleys.lines for post in line.posts}
    diagonals = {step for line in valleys.lines for step in _steps(line.posts, columns) if step[1]}
    return replace(ridges, lines=[_clear(line, saddles, wet, diagonals, columns) for line in ridges.lines])


def smoothed_apart(ridges: Sequence[Floats], valleys: Sequence[Floats]) -> tuple[list[Floats], list[Floats]]:
    """Lines without the grid's corners, but for those that smoothing would bring across each other.

    Parameters
    ----------
    ridges, valleys : each (n, 2) places of posts; no ridge meets a valley
    """
    smooth_ridges, smooth_valleys = smoothed_lines(ridges), smoothed_lines(valleys)
    while ridges and valleys:
        tree = shapely.STRtree([_line(valley) for valley in smooth_valleys])
        at, other = tree.query([_line(ridge) for ridge in smooth_ridges], predicate="intersects")
        crossing = [
            (i, j)
            for i, j in zip(at.tolist(), other.tolist(), strict=True)
            if smooth_ridges[i] is not ridges[i] or smooth_valleys[j] is not valleys[j]
        ]
        if not crossing:
            break
        for i, j in crossing:
            smooth_ridges[i], smooth_valleys[j] = ridges[i], valleys[j]
    return smooth_ridges, smooth_valleys


def _line(places: Floats) -> shapely.Geometry:
    return shapely.LineString(places) if len(places) > 1 else shapely.Point(places[0])


def _clear(
    line: Line,
    saddles: Integers,
    wet: set[int],
    diagonals: set[tuple[int, int]],
    columns: int,
) -> Line:
    posts = line.posts
    if line.over_saddle >= 0:
        posts = np.concatenate([saddles[line.over_saddle : line.over_saddle + 1], posts])
    meets = np.fromiter((int(post) in wet for post in posts), bool, len(posts))
    meets[:-1] |= np.array([(corner, -slant) in diagonals for corner, slant in _steps(posts, columns)], bool)
    if not meets.any():
        return line
    # The longest part that meets none; if that is not the upper one, the line no longer joins another.
    meets = meets[len(posts) - len(line.posts) :]
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


def _steps(posts: Integers, columns: int) -> Iterator[tuple[int, int]]:
    """Of every step the north-western post of its square and its slant.

    The slant is 1 from north-west to south-east or back, -1 from north-east to south-west or back, 0 along a
    row or column.
    """
    rows, across = np.divmod(posts, columns)
    corner = np.minimum(rows[1:], rows[:-1]) * columns + np.minimum(across[1:], across[:-1])
    slant = np.diff(rows) * np.diff(across)
    yield from zip(corner.tolist(), slant.tolist(), strict=True)
