"""What errors of terrain and place do to the ground: how posts err together, mean ground about a place."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage, special

from hillsight.ground.grid import between_posts, corner_posts

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Floats32
    from hillsight.ground.accuracy import ErrorModel
    from hillsight.ground.grid import Grid, Surface
    from hillsight.sight.viewing import Eye


#: Errors correlated less than this are taken to be independent.
_ALIKE = 1e-4


def lag_table(grid: Grid, errors: ErrorModel) -> Floats32:
    """Covariance of the terrain errors of two posts by rows and columns between them, m^2."""
    reach_m = -errors.correlation_length_m * math.log(_ALIKE)
    if errors.correlation_shape == "gaussian":
        reach_m = errors.correlation_length_m * math.sqrt(-math.log(_ALIKE))
    rows = min(grid.rows, math.ceil(reach_m / grid.spacing_y_m) + 1)
    columns = min(grid.columns, math.ceil(reach_m / grid.spacing_x_m) + 1)
    down_m, right_m = np.arange(rows) * grid.spacing_y_m, np.arange(columns) * grid.spacing_x_m
    return errors.covariance_m2(np.hypot(down_m[:, None], right_m[None, :])).astype(np.float32)


def posts_bearing(grid: Grid, row: float, column: float) -> list[tuple[int, int, float]]:
    """The posts whose heights make the ground at a place, with their weights; none off the terrain."""
    rows, columns, weights = corner_posts(row, column, (grid.rows, grid.columns))
    return [
        (int(r), int(c), float(w))
        for r, c, w in zip(rows, columns, weights, strict=True)
        if w > 0  # not NaN
    ]


def add_lags(total_m2: Floats32, lags_m2: Floats32, row: int, column: int, weight: float) -> None:
    rows, columns = total_m2.shape
    reach_r, reach_c = lags_m2.shape
    top, bottom = max(0, row - reach_r + 1), min(rows, row + reach_r)
    left, right = max(0, column - reach_c + 1), min(columns, column + reach_c)
    down, across = abs(np.arange(top, bottom) - row), abs(np.arange(left, right) - column)
    total_m2[top:bottom, left:right] += weight * lags_m2[np.ix_(down, across)]


#: Nodes and weights of Gauss-Hermite quadrature along one axis.
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(9)


def mean_ground(surface: Surface, places: Floats, astray_m: float) -> Floats:
    """Mean ground around places, (n, 3): rise a metre down and right, and mean height over that at the place.

    The rises are those of the straight line that fits best for a place (n, 2: row, column) with a normal
    error of ``astray_m`` each way: the covariance of height and place over the variance of place (statistical
    linearisation). Nought beside voids.
    """
    spacings_m = np.array([surface.grid.spacing_y_m, surface.grid.spacing_x_m])
    steps = np.stack([axis.ravel() for axis in np.meshgrid(_NODES, _NODES, indexing="ij")], axis=1)
    weights = np.outer(_WEIGHTS, _WEIGHTS).ravel() / _WEIGHTS.sum() ** 2
    middle = len(steps) // 2  # no step
    around = places[:, None, :] + steps[None] * (astray_m / spacings_m)
    last = np.array([surface.grid.rows - 1.0, surface.grid.columns - 1.0])
    heights_m = between_posts(surface.height_m, *np.moveaxis(np.clip(around, 0.0, last), -1, 0))
    rises = np.einsum("nk,k,kd->nd", heights_m, weights, steps) / astray_m
    over_m = heights_m @ weights - heights_m[:, middle]
    found: Floats = np.nan_to_num(np.column_stack((rises, over_m)))
    return found


def astray_variance_m2(grid: Grid, lags_m2: Floats32, eye: Eye, errors: ErrorModel) -> float:
    """Variance, along one axis, of the terrain error under a station astray less that where it should be.

    The slope of the terrain's error times the station's: of second order, but not small on rough errors.
    """

    def covariance_m2(some: list[tuple[int, int, float]], others: list[tuple[int, int, float]]) -> float:
        total = 0.0
        for r, c, w in some:
            for to_r, to_c, to_w in others:
                down, right = abs(r - to_r), abs(c - to_c)
                if down < lags_m2.shape[0] and right < lags_m2.shape[1]:
                    total += w * to_w * float(lags_m2[down, right])
        return total

    here, total = posts_bearing(grid, eye.row, eye.column), 0.0
    for step, weight in zip(_NODES * errors.station_position_m, _WEIGHTS / _WEIGHTS.sum(), strict=True):
        for row, column in (
            (eye.row + step / grid.spacing_y_m, eye.column),
            (eye.row, eye.column + step / grid.spacing_x_m),
        ):
            row, column = min(max(row, 0.0), grid.rows - 1.0), min(max(column, 0.0), grid.columns - 1.0)
            there = posts_bearing(grid, row, column)
            apart = covariance_m2(here, here) + covariance_m2(there, there) - 2 * covariance_m2(here, there)
            total += weight * apart / 2.0
    return total


def smoothed(grid: Grid, height_m: Floats32, astray_m: float) -> Floats32:
    """Mean height where each post, (rows, columns), is taken to be, its place err so far each way; (posts,).

    The ground between posts counts: each axis is weighted by the normal distribution over the tents about
    the posts. Slopes of it are mean slopes. Near a void, the height itself.
    """
    if astray_m == 0.0:
        return np.empty(0, np.float32)
    smooth_m = np.asarray(height_m, np.float32)
    for axis, spacing_m in enumerate((grid.spacing_y_m, grid.spacing_x_m)):
        sigma = astray_m / spacing_m
        at = np.arange(-math.ceil(4.0 * sigma) - 2, math.ceil(4.0 * sigma) + 3)
        away = 2.0 * sigma * np.exp(-0.5 * (at / sigma) ** 2) / math.sqrt(2.0 * math.pi)
        away += at * special.erf(
            at / sigma / math.sqrt(2.0)
        )  # mean distance from a place of a normal variable
        tents = (away[2:] - 2.0 * away[1:-1] + away[:-2]) / 2.0
        smooth_m = ndimage.correlate1d(smooth_m, tents, axis=axis, mode="nearest")
    return np.where(np.isnan(smooth_m), height_m, smooth_m).ravel()


def slope_bounds(grid: Grid, smooth_m: Floats32) -> Floats32:
    """No less than the slope in the cells about each post, (posts,); voids count for nothing."""
    if smooth_m.size == 0:
        return smooth_m
    heights_m = smooth_m.reshape(grid.rows, grid.columns)
    total = np.zeros_like(heights_m)
    for axis, spacing_m in enumerate((grid.spacing_y_m, grid.spacing_x_m)):
        steps = np.nan_to_num(np.abs(np.diff(heights_m, axis=axis))) / np.float32(spacing_m)
        ends = [(1, 1) if k == axis else (0, 0) for k in range(2)]
        padded = np.pad(steps, ends)
        sides = (
            np.maximum(padded[:-1], padded[1:]) if axis == 0 else np.maximum(padded[:, :-1], padded[:, 1:])
        )
        # The slope along a line beside the post counts too.
        total += ndimage.maximum_filter(sides, 3) ** 2
    return np.sqrt(total).ravel()
