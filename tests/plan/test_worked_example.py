"""The worked example of docs/verdict.md, done by hand there, against the code."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special

from build_pages import worked_example
from hillsight.plan.observer import Observer
from hillsight.plan.relocation.decision import Rules
from hillsight.plan.relocation.posterior import Calibration, Elsewhere, base_rates, posterior
from hillsight.plan.statement import Statement
from hillsight.plan.weighing.statements import judgements, matters, wrong_chances

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
    about = about[:, None, : len(statements), None]
    one = np.ones(1)
    calibration = Calibration(
        base_rates(about, np.ones((20, 1), bool), one),
        wrong_chances(statements),
        matters(statements),
        judgements(statements),
        one,
        observer.mistaken,
    )
    elsewhere = Elsewhere(calibration.table(about), np.full(20, np.log(1 / 20)))
    ours = calibration.table(fits[:, None]).without()
    found = posterior(ours, np.array([0.5, 0.5]), elsewhere.without(), rules.none_prior)
    return (*found.candidates, found.none)


def test_one_statement() -> None:
    assert probabilities(STATEMENTS[:1]) == pytest.approx(worked_example()["one probability"], abs=1e-9)


def test_two_statements() -> None:
    assert probabilities(STATEMENTS) == pytest.approx(worked_example()["both probability"], abs=1e-9)
