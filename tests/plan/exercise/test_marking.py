"""The marking guide of an exercise: what reasons are worth, worked out by hand from the rule it states."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from hillsight.plan.exercise import marking
from hillsight.plan.exercise.exercise import Exercise, ExercisePicture, ExercisePlace
from hillsight.plan.exercise.marking import DECIDES, TELLS_NOTHING, marking_guide, shuffled
from hillsight.plan.exercise.soundness import Against, DecidingFact, LearnerTable, Misleading, Soundness
from hillsight.plan.kinds.shared.kind import Question
from hillsight.plan.statement import Statement
from hillsight.plan.verdict import Fact

PLACES = tuple(ExercisePlace(name, 100.0 * k, 0.0, k == 1) for k, name in enumerate(("one", "two", "three")))
EXERCISE = Exercise("Made", ExercisePicture(90.0), PLACES)


@dataclass(frozen=True)
class _Things:
    frame: pd.DataFrame


@dataclass(frozen=True)
class _Observer:
    def careful(self) -> _Observer:
        return self


@dataclass(frozen=True)
class _Weighing:
    """As much of it as the guide asks for where no question is asked."""

    things: _Things = field(default_factory=lambda: _Things(pd.DataFrame({"name": ["Cold Howe", None]})))
    observer: _Observer = field(default_factory=_Observer)


def told(
    words: str, evidence: str, matter: int, bits: float = 3.0, things: tuple[str, ...] = ()
) -> DecidingFact:
    return DecidingFact(
        Statement("seen", {"things": things}), words, evidence, matter, 0.95, bits,
        Fact(f"{words}, truly"), Fact(f"not {words}"),
    )  # fmt: skip


def soundness(*against: Against) -> Soundness:
    return Soundness(
        True,
        (),
        against,
        (
            Misleading("alike", "true of every place, so no help: the sky is blue"),
            Misleading("haze", "it is hazy"),
        ),
        50.0,
        LearnerTable((1, 8, 1), 0.8, 0.4, 0.97),
        "easy",
        128,
    )


@pytest.fixture
def guide(monkeypatch: pytest.MonkeyPatch) -> Any:
    monkeypatch.setattr(marking, "questions", lambda glances, weighing: [])
    brow, hump = told("the brow is near", "ground_shape", 1), told("there is a hump", "ground_shape", 2)
    again = told("the brow is near on the left", "ground_shape", 1, bits=1.0)
    tarn = told("a tarn is seen", "water", 3, things=("Cold Howe",))
    wall = told("a wall is seen", "man_made", 4)
    found = soundness(
        Against(0, (brow, hump, again, tarn), True, ""), Against(2, (brow, tarn, wall), True, "")
    )
    return marking_guide(EXERCISE, found, [], _Weighing())  # type: ignore[arg-type]


def test_worth_is_trust_times_the_places_ruled_out(guide: Any) -> None:
    worth = {one.words: one.worth for one in guide}
    assert worth == {
        "the brow is near": 6,  # 3 for each of two places
        "there is a hump": 3,
        "the brow is near on the left": 1,  # stands and falls with the first
        "a tarn is seen": 4,
        "a wall is seen": 1,
        "the sky is blue": 0,
    }
    assert [one.role for one in guide] == [DECIDES] * 5 + [TELLS_NOTHING]
    classes = [one.evidence_class for one in guide if one.role == DECIDES]
    assert classes == ["ground_shape"] * 3 + ["water", "man_made"], "in order of trust"


def test_each_reason_says_why_with_the_places_by_letter(guide: Any) -> None:
    letters = EXERCISE.letters()
    brow = next(one for one in guide if one.words == "the brow is near")
    others = " and ".join(sorted((letters[0], letters[2])))
    assert brow.because.startswith(f"It rules out {others}: from {letters[1]} the brow is near, truly")
    assert f"from {letters[0]} not the brow is near" in brow.because
    assert set(brow.facts) == {0, 1, 2}
    left = next(one for one in guide if one.words.endswith("on the left"))
    assert left.because.endswith("It stands and falls with a reason above")
    assert next(one for one in guide if "tarn" in one.words).things == ("Cold Howe",)


def test_the_order_of_the_list_tells_nothing(guide: Any) -> None:
    first = shuffled(guide, 1)
    assert first == shuffled(list(reversed(guide)), 1) and sorted(map(id, first)) == sorted(map(id, guide))
    assert len({tuple(one.words for one in shuffled(guide, seed)) for seed in range(20)}) > 10
    # Worth changes nothing of it.
    dearer = [replace(one, worth=9) for one in guide]
    assert [one.words for one in shuffled(dearer, 1)] == [one.words for one in first]


def test_what_is_true_of_a_part_of_the_picture_is_not_marked_as_false(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The wrong skyline is a saddle; the true one is flat but for its right half, which is a saddle.

    A learner who says that it dips in a saddle may mean the right half, and is not wrong.
    """
    shapes = ("flat", "saddle")
    asked = [
        Question(part, tuple(Statement("skyline", {"shape": shape}, part) for shape in shapes))
        for part in ("anywhere", "right half")
    ]
    chances = {"true": [[0.95, 0.05], [0.4, 0.6]], "wrong": [[0.05, 0.95], [0.9, 0.1]]}
    plain = {"true": [[0.95, 0.05], [0.95, 0.05]], "wrong": chances["wrong"]}
    monkeypatch.setattr(marking, "questions", lambda glances, weighing: asked)
    monkeypatch.setattr(marking, "matters", lambda statements, things: np.arange(len(statements)))
    monkeypatch.setattr(marking, "fact", lambda *_: Fact("as it is"))

    def not_so(of: dict[str, list[list[float]]]) -> list[str]:
        monkeypatch.setattr(marking, "said", lambda every, glance, weighing, most: np.array(of[glance]))
        weighing = SimpleNamespace(
            things=_Things(pd.DataFrame({"name": [None]})),
            observer=_Observer(),
            framing=SimpleNamespace(prior=np.ones(1)),
            evidence_class=lambda _: "ground_shape",
        )
        monkeypatch.setattr(marking, "replace", lambda one, **_: one)
        found = marking._tempting(["wrong", "true"], weighing, ("A", "B"), 1, set())  # type: ignore[arg-type, list-item]
        return [one.words for one in found]

    assert not_so(plain) == ["the skyline dips in a saddle"]
    assert not_so(chances) == []
