"""The study of relocation in small: how often verdicts are right, and that they are not surer than that.

The grounds are a made fractal here, and in the slow test the real ones; see ``relocation_simulation``. Bounds
are wider than what docs/verdict.md reports of many exercises, as befits fewer.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from pyproj import CRS

from hillsight.plan.observer import Observer
from relocation_pools import ground_of, pool_of
from relocation_simulation import Spoiler, rows_of
from second_observer_grounds import Pair, field
from second_observer_sight import Ground
from shared_data import shared_file
from study_report import Rows, summary
from terrains import fractal


@pytest.fixture(scope="module")
def made_pool(tmp_path_factory):
    posts = 401
    height_m = fractal(posts, posts, seed=5, relief_m=500.0).astype(np.float32)
    error = field(height_m.shape, 20.0, 60.0, np.random.default_rng(1))
    model = Ground(height_m, 20.0, 300_000.0, 708_000.0)
    truth = Ground((height_m + 2.0 * error).astype(np.float32), 20.0, 300_000.0, 708_000.0)
    pool = pool_of(Pair("made", truth, model, CRS(27700)), None, 30, tmp_path_factory.mktemp("pool"))
    return replace(pool, effort={"draws": 4, "elsewhere": 60})


def table_of(pool, each: int) -> pd.DataFrame:
    found = pd.DataFrame(list(rows_of(pool, "made", 1, each, Observer(), Spoiler())))
    found["truth"] = pd.to_numeric(found["truth"])
    return found


def test_verdicts_on_made_ground_are_as_right_as_they_are_sure(made_pool) -> None:
    found = table_of(made_pool, 16)
    result = summary(Rows.of(found))
    assert result["best_right"] > 0.5  # chance is 0.31 with two to five candidates
    assert result["bits"] > 0.3
    assert result["wrong_number"] <= 1
    # What is said of the ground decides, if anything does.
    assert (found["without_ground"] == "decided").sum() <= (found["state"] == "decided").sum() / 2


@pytest.mark.slow
def test_the_real_grounds(tmp_path) -> None:
    folder = shared_file("osterrain50_highlands.tif").parent
    found = []
    for ground in ("highlands", "jacksboro"):
        pair, features = ground_of(ground, "west", 3, folder, tmp_path)
        found.append(table_of(pool_of(pair, features, 60, tmp_path), 6))
    table = pd.concat(found, ignore_index=True)
    result = summary(Rows.of(table))
    assert result["best_right"] > 0.5
    assert result["wrong_number"] <= 1
    assert (table["without_ground"] == "decided").sum() <= (table["state"] == "decided").sum() / 2
