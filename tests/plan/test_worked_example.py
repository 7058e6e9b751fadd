"""The worked example of docs/verdict.md, done by hand there, against the code."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special

from build_pages import worked_example
from hillsight.plan.observer import Observer
from hillsight.plan.relocation.decision import Rules
from hillsight.plan.relocation.posterior import base_rates, log_elsewhere, posterior, table_of
from hillsight.plan.statement import Statement
from hillsight.plan.weighing.statements import weights, wrong_chances

STATEMENTS = (
    Statement("brow", {"distance": "near"}, part="middle"),
    Statement("skyline", {"shape": "flat"}, part="right half"),
)


def probabilities(statements: tuple[Statement, ...]) -> tuple[float, ...]:
    """Of A, of B and of none of these."""
    observer, rules = Observer(), Rules()
    near = special.ndtr(np.log(150.0 / np.array([60.0, 380.0])) / observer.distance_log)
    fits = np.column_stack((near, [0.95, 0.30]))[:, : len(statements), None]
    # Twenty places: eight with a near brow, and of either sort half with that skyline.
    about = np.array([[place < 8, place % 2] for place in range(20)], float)
    about = about[:, : len(statements), None]
    one = np.ones(1)
    settings = (
        base_rates(about, one),
        wrong_chances(statements),
        weights(statements, observer),
        one,
        observer.discount,
    )
    ours, theirs = table_of(fits, *settings).without(), table_of(about, *settings).without()
    none = log_elsewhere(theirs, ours, rules.elsewhere_times)
    found = posterior(ours, np.array([0.5, 0.5]), none, rules.none_prior)
    return (*found.candidates, found.none)


def test_one_statement() -> None:
    assert probabilities(STATEMENTS[:1]) == pytest.approx(worked_example()["one probability"], abs=1e-9)


def test_the_same_said_twice_changes_nothing() -> None:
    observer = Observer()
    assert weights((STATEMENTS[0], STATEMENTS[0]), observer).sum() == pytest.approx(1.0)


def test_two_statements() -> None:
    assert probabilities(STATEMENTS) == pytest.approx(worked_example()["both probability"], abs=1e-9)
