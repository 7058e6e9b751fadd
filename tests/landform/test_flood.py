"""Drainage against slow workings of the same definitions, on ground with flats, ties, pits and voids."""

from __future__ import annotations

import numpy as np
import pytest

from hillsight.landform.flood import LEAVES, VOID, accumulate, drain
from terrains import fractal

SPACING_X_M, SPACING_Y_M = 10.0, 13.0
MOVES = [(-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1)]


def rough_ground(seed: int) -> np.ndarray:
    """Whole-metre ground of few levels (flats and ties) with voids; every third of fine heights."""
    random = np.random.default_rng(seed)
    rows, columns = (int(n) for n in random.integers(3, 26, 2))
    ground = fractal(max(rows, 4), max(columns, 4), seed=seed, relief_m=12.0, roughness=1.2).astype(float)
    if seed % 3:
        ground = np.round(ground)
    if seed % 2:
        ground[random.random(ground.shape) < 0.04] = np.nan
    return ground


def ringed(ground: np.ndarray, ring: float) -> np.ndarray:
    return np.pad(ground, 1, constant_values=ring)


def around(ground: np.ndarray, ring: float) -> np.ndarray:
    """The eight neighbours of every post, (8, rows, columns)."""
    rows, columns = ground.shape
    wide = ringed(ground, ring)
    return np.stack([wide[1 + r : 1 + r + rows, 1 + c : 1 + c + columns] for r, c in MOVES])


def slow_fill(ground: np.ndarray) -> np.ndarray:
    """Least surface over the ground from which every post runs out: lowered until nothing changes."""
    void = np.isnan(ground)
    outlet = np.isnan(around(ground, np.nan)).any(axis=0) & ~void
    level = np.where(outlet, ground, np.inf)
    while True:
        lower = np.maximum(ground, np.nanmin(around(np.where(void, np.inf, level), np.inf), axis=0))
        lower = np.where(outlet, ground, np.minimum(level, lower))
        lower[void] = np.nan
        if np.array_equal(lower, level, equal_nan=True):
            return lower
        level = lower


@pytest.mark.parametrize("seed", range(20))
def test_filled_surface_is_the_least_that_drains(seed):
    ground = rough_ground(seed)
    assert np.array_equal(drain(ground, 10, 10).filled_m, slow_fill(ground), equal_nan=True)


@pytest.mark.parametrize("seed", range(20))
def test_every_post_drains_and_none_in_a_circle(seed):
    ground = rough_ground(seed)
    drainage = drain(ground, SPACING_X_M, SPACING_Y_M)
    void = np.isnan(ground).ravel()
    assert np.array_equal(drainage.receiver == VOID, void)
    assert np.array_equal(np.sort(drainage.order), np.flatnonzero(~void))
    outlet = np.isnan(around(ground, np.nan)).any(axis=0).ravel() & ~void
    assert np.array_equal(drainage.receiver == LEAVES, outlet)
    upstream = np.zeros(ground.size)
    for post in drainage.order:
        here, steps = int(post), 0
        while here >= 0:
            upstream[here] += 1
            here, steps = int(drainage.receiver[here]), steps + 1
            assert steps <= ground.size
        assert here == LEAVES
    assert np.array_equal(accumulate(drainage).ravel(), upstream)
    rank = np.empty(ground.size, int)
    rank[drainage.order] = np.arange(len(drainage.order))
    inner = drainage.order[drainage.receiver[drainage.order] >= 0]
    assert (rank[drainage.receiver[inner]] < rank[inner]).all()


@pytest.mark.parametrize("seed", range(20))
def test_slopes_drain_to_the_steepest_neighbour(seed):
    ground = rough_ground(seed)
    drainage = drain(ground, SPACING_X_M, SPACING_Y_M)
    lengths = np.array([np.hypot(r * SPACING_Y_M, c * SPACING_X_M) for r, c in MOVES])
    fall = (drainage.filled_m - around(drainage.filled_m, np.nan)) / lengths[:, None, None]
    row, column = np.divmod(np.arange(ground.size), ground.shape[1])
    sloping = 0
    for post in np.flatnonzero(drainage.receiver >= 0):
        falls = fall[:, row[post], column[post]]
        below = int(drainage.receiver[post])
        move = (row[below] - row[post], column[below] - column[post])
        chosen = falls[MOVES.index(move)]
        assert chosen == max(falls.max(), 0.0)
        sloping += chosen > 0
    assert sloping > 0 or ground.size < 60


def test_level_ground_drains_by_the_shortest_way():
    """A lake behind a rim with one gap: every way out is as short as a way over posts can be."""
    ground = np.full((23, 31), 50.0)
    ground[1:-1, 1:-1] = 10.0
    ground[5:18, 12] = 50.0  # a wall in the lake
    ground[11, 30] = 20.0
    drainage = drain(ground, 10.0, 10.0)
    lake = ground == 10.0
    assert (drainage.filled_m[lake] == 20.0).all()
    way = np.where(np.arange(ground.size).reshape(ground.shape) == 11 * 31 + 30, 0.0, np.inf)
    steps = np.array([10 * np.hypot(r, c) for r, c in MOVES])[:, None, None]
    for _ in range(ground.size):
        way = np.where(lake, np.minimum(way, (around(way, np.inf) + steps).min(axis=0)), way)
    assert np.isfinite(way[lake]).all()
    for post in np.flatnonzero(lake.ravel()):
        below = int(drainage.receiver[post])
        length = 10 * np.hypot(*np.subtract(divmod(post, 31), divmod(below, 31)))
        assert way.flat[post] == pytest.approx(way.flat[below] + length)


def test_weights_go_downstream():
    ground = np.array([[9, 9, 9, 9, 9], [9, 8, 7, 6, 5], [9, 9, 9, 9, np.nan]], float)
    drainage = drain(ground, 1.0, 1.0)
    assert list(drainage.receiver.reshape(3, 5)[1, 1:3]) == [7, 8]
    weight = np.arange(15.0).reshape(3, 5)
    # (1, 3) stands beside the void: an outlet, like the whole edge
    assert accumulate(drainage, weight)[1, 1:].tolist() == [6.0, 13.0, 21.0, 9.0]
    assert accumulate(drainage, weight)[2, 4] == 0.0


def test_two_columns_and_all_void():
    assert (drain(np.ones((5, 2)), 1.0, 1.0).receiver == LEAVES).all()
    nothing = drain(np.full((4, 4), np.nan), 1.0, 1.0)
    assert nothing.order.size == 0
    assert (nothing.receiver == VOID).all()
