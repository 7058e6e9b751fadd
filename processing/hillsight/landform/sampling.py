"""Values of the ground at many places at once, in compiled code."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.kernels.compiled import compiled
from hillsight.kernels.corners import between_posts

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from hillsight.arrays import Floats
    from hillsight.ground.grid import Grid


def sampled(
    grid: Grid, values: NDArray[np.floating[Any]], eastings_m: ArrayLike, northings_m: ArrayLike
) -> Floats:
    """What ``grid.sampled`` gives, bilinear between the posts, without its arrays of corners.

    Parameters
    ----------
    values : (rows, columns) that stand on the posts; NaN is a void
    eastings_m, northings_m : (...) of one shape

    Returns
    -------
    (...) float64; NaN off the posts and where a void has a weight
    """
    east, north = np.asarray(eastings_m, np.float64), np.asarray(northings_m, np.float64)
    found = np.empty(east.size)
    _sample(
        np.ascontiguousarray(values),
        np.ascontiguousarray(east).ravel(),
        np.ascontiguousarray(north).ravel(),
        grid.west_m,
        grid.north_m,
        grid.spacing_x_m,
        grid.spacing_y_m,
        found,
    )
    return found.reshape(east.shape)


@compiled
def _sample(
    values: Floats,
    east_m: Floats,
    north_m: Floats,
    west_edge_m: float,
    north_edge_m: float,
    spacing_x_m: float,
    spacing_y_m: float,
    found: Floats,
) -> None:
    for k in range(east_m.size):
        row = (north_edge_m - north_m[k]) / spacing_y_m
        column = (east_m[k] - west_edge_m) / spacing_x_m
        found[k] = between_posts(values, row, column)
