"""The chance that some of a thing is seen: things beyond doubt are answered as all others are."""

from __future__ import annotations

import numpy as np
import pytest

from hillsight.ground.accuracy import ErrorModel
from hillsight.sight.doubt import Doubtful
from hillsight.sight.doubt_shares import seen_of_feature
from hillsight.sight.points import see_points
from hillsight.sight.probability import ThingSamples, evenly_and_best, seen_of_things
from terrains import fractal
from views import view_of


def test_every_thing_has_the_chance_and_share_that_its_samples_give_by_themselves() -> None:
    view = view_of(fractal(91, 91, seed=4, relief_m=60.0), 45, 45)
    random = np.random.default_rng(3)
    counts = random.integers(1, 70, 60)
    starts = np.concatenate(([0], np.cumsum(counts)))
    middle = random.uniform(-4.0, 94.0, (counts.size, 2))  # some hang over the terrain's edge
    row, column = (np.repeat(middle, counts, axis=0) + random.normal(0.0, 2.0, (starts[-1], 2))).T
    height_m = np.repeat(random.choice([0.0, 2.0, 15.0], counts.size), counts)
    clearance_m = see_points(view.surface, view.eye, row, column, height_m).clearance_m
    weight, near = random.uniform(0.0, 1.0, starts[-1]), np.ones(starts[-1], bool)
    samples = ThingSamples(row, column, height_m, weight, near, clearance_m, starts)
    doubtful = Doubtful.of(view.surface, view.eye, ErrorModel(0.5, 30.0), feature=True)
    found = seen_of_things(doubtful, samples)
    sure = 0
    for thing in np.flatnonzero(np.isfinite(found.chance)):
        at = samples.of(int(thing))
        chosen, share = evenly_and_best(near[at], clearance_m[at], weight[at])
        at = at[chosen]
        alone = seen_of_feature(doubtful, row[at], column[at], height_m[at], share)
        assert found.chance[thing] == alone.any_seen
        assert found.low[thing] == pytest.approx(alone.low, abs=1e-12)
        assert found.high[thing] == pytest.approx(alone.high, abs=1e-12)
        sure += alone.any_seen in (0.0, 1.0)
    assert 5 < sure < np.isfinite(found.chance).sum() - 5
