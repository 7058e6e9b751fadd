"""The study of relocation in small: how often verdicts are right, and that they are not surer than that.

The grounds are a made fractal here, and in the slow test the real ones; see ``relocation_simulation``. Bounds
are wider than what docs/verdict.md reports of 500 exercises, as befits fewer.
"""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import CRS

from hillsight.ground.grid import Grid, Surface
from hillsight.plan.observer import Observer
from relocation_pools import pool_of, surface_of
from relocation_simulation import Spoiler, figures, study
from shared_data import shared_file
from terrains import fractal


@pytest.fixture(scope="module")
def made_pool():
    posts = 301
    height_m = fractal(posts, posts, seed=5, relief_m=500.0).astype(np.float32)
    grid = Grid(CRS(27700), 300_000.0, 700_000.0, 20.0, 20.0, posts, posts)
    return pool_of("made", Surface(grid, height_m), None, 40)


def test_verdicts_on_made_ground_are_as_right_as_they_are_sure(made_pool) -> None:
    found = study([made_pool], 40, Observer(), Spoiler())
    result = figures(found)
    assert result["best_is_right"] > 0.6  # chance is 0.31 with two to five candidates
    assert result["wrong_of_all"] <= 0.05
    assert result["decided_without_ground"] < 0.5 * result["decided"]


@pytest.mark.slow
def test_the_real_grounds() -> None:
    pools = []
    for ground in ("highlands", "tujunga", "jacksboro"):
        folder = shared_file("osterrain50_nn.tif").parent
        pools.append(pool_of(ground, *surface_of(ground, folder), 60))
    result = figures(study(pools, 30, Observer(), Spoiler()))
    assert result["best_is_right"] > 0.7
    assert result["wrong_of_all"] <= 0.05
    assert result["decided_without_ground"] < 0.5 * result["decided"]
    assert result["decided_without_man_made"] > 0.7 * result["decided"]
