"""Every kind of statement tells places apart that differ in what it says, and no others.

See ``kind_cases`` for the grounds; that a statement is clearly likelier is put at a factor of LIKELIER, that
it does not decide at SAME. Both are far from what chance or the posts' spacing would do.
"""

from __future__ import annotations

import numpy as np
import pytest

from hillsight.plan.kinds.registry import KINDS
from plan.kind_cases import CASES, Case
from plan.made_hills import likelihood

LIKELIER = 1.5
SAME = 1.2


@pytest.fixture(scope="module", params=sorted(CASES))
def case(request: pytest.FixtureRequest) -> Case:
    return CASES[request.param]()


def test_every_kind_has_a_case() -> None:
    assert set(CASES) == set(KINDS)


def test_a_statement_is_likelier_where_it_is_true(case: Case) -> None:
    right, wrong = (likelihood(case.statement, place, case.weighing) for place in (case.right, case.wrong))
    assert right / wrong >= LIKELIER


def test_a_statement_does_not_tell_apart_what_is_alike_in_it(case: Case) -> None:
    right, alike = (likelihood(case.statement, place, case.weighing) for place in (case.right, case.alike))
    assert 1 / SAME <= right / alike <= SAME


def test_the_places_alike_do_differ(case: Case) -> None:
    apart_m = np.hypot(
        case.right.easting_m - case.alike.easting_m, case.right.northing_m - case.alike.northing_m
    )
    differs = not np.allclose(case.right.skyline_deg, case.alike.skyline_deg, equal_nan=True)
    assert apart_m > 10 or differs
