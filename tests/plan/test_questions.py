"""The next question, against worked examples of information and against brute enumeration."""

from __future__ import annotations

import numpy as np
import pytest

from hillsight.plan.kinds.shared.kind import Question
from hillsight.plan.relocation.comparing import Compared, varied
from hillsight.plan.statement import Statement
from hillsight.plan.weighing.questions import information, is_answered


def test_information_of_worked_examples() -> None:
    # Closed form (Shannon 1948, from memory): an answer that settles two even candidates is worth one bit,
    # one that says nothing is worth none, a channel with one error in ten 1 - H(0.1) = 0.531 bits.
    even = np.array([0.5, 0.5])
    assert information(np.array([[1.0, 0.0], [0.0, 1.0]]), even) == pytest.approx(1.0)
    assert information(np.array([[0.3, 0.7], [0.3, 0.7]]), even) == pytest.approx(0.0)
    assert information(np.array([[0.9, 0.1], [0.1, 0.9]]), even) == pytest.approx(0.531, abs=5e-4)


def test_information_is_the_fall_of_entropy() -> None:
    random = np.random.default_rng(3)
    for _ in range(50):
        chances = random.dirichlet(np.ones(4), 3)
        prior = random.dirichlet(np.ones(3))
        before = -(prior * np.log2(prior)).sum()
        after = 0.0
        for answer in range(4):
            joint = prior * chances[:, answer]
            then = joint / joint.sum()
            after += joint.sum() * -(then * np.log2(then)).sum()
        assert information(chances, prior) == pytest.approx(before - after, abs=1e-9)


def question(kind: str, part: str = "anywhere", **values: object) -> Question:
    return Question("?", (Statement(kind, values, part),))


@pytest.mark.parametrize(
    ("asked", "told", "answered"),
    [
        (question("brow", "left", distance="near"), Statement("brow", {"distance_m": 60}, "left"), True),
        (question("brow", "left", distance="near"), Statement("brow", {"distance": "far"}, "right"), False),
        (
            question("brow", "left", distance="near"),
            Statement("brow", {"slope_before": "level"}, "left"),
            False,
        ),
        (
            question("seen", what="Wall", seen=True),
            Statement("seen", {"what": "wall", "seen": False}, "left"),
            True,
        ),
        (question("seen", what="wall", seen=True), Statement("seen", {"what": "fence"}), False),
        (
            question("relation", what="A", other="B", **{"is": "left of"}),
            Statement("relation", {"what": "B", "other": "A", "is": "right of"}),
            True,
        ),
    ],
)
def test_what_is_told_is_not_asked_for_again(asked: Question, told: Statement, answered: bool) -> None:
    assert is_answered(asked, told) is answered


def test_a_ranking_is_varied_but_keeps_its_order() -> None:
    ranked = [
        Compared("", kind, str(k), "ground_shape", 1.0, 1.0, (), ()) for k, kind in enumerate("aaaabacb")
    ]
    assert [one.question for one in varied(ranked, 5)] == ["0", "1", "4", "6", "7"]
    assert [one.question for one in varied(ranked, 20)] == [str(k) for k in range(8)]
