"""Stated probabilities against 1,000 brute simulations of four terrains (times: tests/benchmarks/trust.py).

Bounds: within 0.03 in the mean over ten bins by their posts, and in each bin that holds a fiftieth of the
posts in doubt; in the end bins nothing worse than 0.01, where the simulation errs by some 0.005 itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from hillsight.sight.doubt import probability_of_posts
from hillsight.sight.doubt_shares import seen_number
from trust_simulation import CASES, reliability, simulate

DRAWS = 1000

pytestmark = pytest.mark.slow


@dataclass(frozen=True)
class _Compared:
    stated: np.ndarray
    counted: object
    area: object


@pytest.fixture(scope="module", params=CASES)
def compared(request):
    case = CASES[request.param]()
    asked = case.surface, case.eye, np.inf, 0.0, case.errors
    stated = probability_of_posts(*asked)
    area = seen_number(case.surface, case.eye, 0.0, case.errors, stated)
    counted = simulate(case.surface, case.eye, case.eye_height_m, np.inf, 0.0, case.errors, DRAWS)
    return _Compared(stated, counted, area)


def test_within_three_hundredths(compared):
    found = reliability(compared.stated, compared.counted.seen_share)
    assert found.weighted_error < 0.03
    doubtful = (compared.stated > 0.01) & (compared.stated < 0.99)
    many = found.posts > 0.02 * doubtful.sum()
    assert np.abs(found.stated - found.simulated)[many].max() < 0.03


def test_not_overconfident_at_the_ends(compared):
    found = reliability(compared.stated, compared.counted.seen_share)
    assert found.simulated[0] - found.stated[0] < 0.01
    assert found.stated[9] - found.simulated[9] < 0.01


def test_area_interval_holds_the_draws(compared):
    posts = compared.counted.seen_posts
    assert abs(compared.area.expected - posts.mean()) < 0.03 * compared.stated.size
    inside = np.mean((posts >= compared.area.low) & (posts <= compared.area.high))
    assert 0.90 < inside <= 1.0
