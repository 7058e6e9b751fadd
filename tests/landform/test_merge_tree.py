"""Prominence against its definition worked slowly: flood to every level in turn and look what is joined."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from hillsight.landform.merge_tree import nearest_higher_m, prominences
from terrains import fractal

EIGHT = np.ones((3, 3))


def ground_of(seed: int) -> np.ndarray:
    """Even seeds: heights all different; odd ones: few levels, so plateaus and ties. Half have voids."""
    random = np.random.default_rng(seed)
    rows, columns = (int(n) for n in random.integers(8, 22, 2))
    ground = fractal(rows, columns, seed=seed, relief_m=15.0, roughness=1.1).astype(float)
    if seed % 2:
        ground = np.round(ground)
    if seed % 4 > 1:
        ground[random.random(ground.shape) < 0.03] = np.nan
    return ground


def slow_summits(ground: np.ndarray) -> list[int]:
    """First post of every level patch that no neighbour overtops."""
    found = []
    for level in np.unique(ground[~np.isnan(ground)]):
        patches, count = ndimage.label(ground == level, EIGHT)
        for patch in range(1, count + 1):
            inside = patches == patch
            if not (ground[ndimage.binary_dilation(inside, EIGHT)] > level).any():
                found.append(int(np.flatnonzero(inside.ravel())[0]))
    return found


def slow_prominences(ground: np.ndarray) -> dict[int, tuple[float, bool, float, int]]:
    """For each summit: prominence, whether at least, key saddle's level, highest summit joined there."""
    flat = ground.ravel()
    void_or_outside = np.pad(np.isnan(ground), 1, constant_values=True)
    edge = ndimage.binary_dilation(void_or_outside, EIGHT)[1:-1, 1:-1].ravel()
    summits = slow_summits(ground)
    saddle_m, edge_m = dict.fromkeys(summits, -np.inf), dict.fromkeys(summits, -np.inf)
    joined = dict.fromkeys(summits, -1)
    for level in np.unique(flat[~np.isnan(flat)])[::-1]:
        patches = ndimage.label(ground >= level, EIGHT)[0].ravel()
        for summit in summits:
            if flat[summit] < level or (saddle_m[summit] > -np.inf):
                continue
            posts = np.flatnonzero(patches == patches[summit])
            highest = posts[np.lexsort((posts, -flat[posts]))[0]]
            if edge_m[summit] == -np.inf and edge[posts].any():
                edge_m[summit] = level
            if highest != summit:
                saddle_m[summit], joined[summit] = level, int(highest)
    found = {}
    for summit in summits:
        at_least = edge_m[summit] > saddle_m[summit]
        base_m = max(edge_m[summit], saddle_m[summit])
        found[summit] = (flat[summit] - base_m, at_least, saddle_m[summit], joined[summit])
    return found


@pytest.mark.parametrize("seed", range(20))
def test_agrees_with_flooding_level_by_level(seed):
    ground = ground_of(seed)
    slow = slow_prominences(ground)
    peaks = prominences(ground)
    assert sorted(peaks.summit.tolist()) == sorted(slow)
    assert len(peaks) > 2
    flat = ground.ravel()
    for k, summit in enumerate(peaks.summit.tolist()):
        prominence_m, at_least, saddle_m, joined = slow[summit]
        assert peaks.prominence_m[k] == pytest.approx(prominence_m, abs=1e-12)
        assert bool(peaks.is_least[k]) == at_least
        assert (peaks.saddle[k] >= 0) == (saddle_m > -np.inf)
        assert np.isnan(peaks.edge_level_m[k]) == (not at_least)
        if peaks.saddle[k] >= 0:
            assert flat[peaks.saddle[k]] == saddle_m
            parent = int(peaks.summit[peaks.parent[k]])
            assert (-flat[parent], parent) < (-flat[summit], summit)
            if seed % 2 == 0:  # two saddles on one level would leave a choice
                assert parent == joined


@pytest.mark.parametrize("seed", range(6))
def test_least_prominence_only_leaves_rises_out(seed):
    ground = ground_of(seed)
    every, some = prominences(ground), prominences(ground, 2.0)
    kept = every.prominence_m >= 2.0
    assert 0 < len(some) < len(every)
    assert np.array_equal(some.summit, every.summit[kept])
    assert np.array_equal(some.prominence_m, every.prominence_m[kept])
    heights = ground.ravel()[some.summit]
    assert (np.diff(heights) <= 0).all()
    assert (some.parent < np.arange(len(some))).all()


def test_edge_reached_above_the_saddle_gives_a_least_figure():
    """A hill whose flank leaves the terrain at 70 m; its saddle to the higher hill is at 40 m.

    Over that saddle the higher hill reaches the same edge, at 40 m.
    """
    ground = np.zeros((5, 9))
    ground[2] = [0, 50, 200, 50, 40, 60, 100, 80, 70]
    peaks = prominences(ground)
    assert peaks.summit.tolist() == [20, 24]
    assert peaks.prominence_m.tolist() == [160.0, 30.0]
    assert peaks.is_least.tolist() == [True, True]
    assert peaks.edge_level_m.tolist() == [40.0, 70.0]
    assert peaks.saddle.tolist() == [-1, 22]


def test_a_level_ground_is_one_rise_and_voids_none():
    level = prominences(np.full((4, 6), 3.0))
    assert (level.summit.tolist(), level.prominence_m.tolist()) == ([0], [0.0])
    assert len(prominences(np.full((3, 3), np.nan))) == 0


@pytest.mark.parametrize(("rows", "columns"), [(70, 101), (33, 5), (9, 9)])
def test_nearest_higher_is_exact(rows, columns):
    ground = np.round(fractal(rows, columns, seed=rows, relief_m=60.0).astype(float))
    ground[rows // 2, 1:4] = np.nan
    posts = np.flatnonzero(~np.isnan(ground.ravel()))[::7]
    posts = np.append(posts, np.nanargmax(ground))
    found = nearest_higher_m(ground, 7.0, 11.0, posts)
    row, column = np.mgrid[:rows, :columns]
    for post, distance_m in zip(posts, found, strict=True):
        away = np.hypot((row - post // columns) * 11.0, (column - post % columns) * 7.0)
        expected = np.where(ground > ground.flat[post], away, np.inf).min()
        assert distance_m == pytest.approx(expected) or distance_m == expected
    assert found[-1] == np.inf
