"""What the check of an exercise says first, by how many learners find the place."""

from __future__ import annotations

from dataclasses import replace

import pytest
from scipy.stats import binomtest

from hillsight.plan.exercise.exercise import Exercise, ExercisePicture, ExercisePlace
from hillsight.plan.exercise.soundness import Against, LearnerTable, Soundness
from hillsight.sheets.exercise.soundness_text import headline

PLACES = tuple(ExercisePlace(name, 100.0 * k, 0.0, k == 0) for k, name in enumerate(("ridge", "shelf")))
EXERCISE = Exercise("Tarn", ExercisePicture(90.0), PLACES)


def found(right: int, of: int = 500, *, is_sound: bool = False) -> Soundness:
    """A check whose learners are right so often; the interval is SciPy's own exact one."""
    within = binomtest(right, of).proportion_ci(0.95, "exact")
    learners = LearnerTable((right, of - right), right / of, within.low, within.high)
    reasons = () if is_sound else ("nothing decides",)
    against = (Against(1, (), is_sound, "".join(reasons)),)
    return Soundness(is_sound, reasons, against, (), 0.0, learners, "hard", 128)


@pytest.mark.parametrize(
    ("right", "of", "says"),
    [
        (395, 500, "most learners will guess the place"),  # 79 %: as the study has them, well over 60 %
        (16, 20, "does not decide surely enough"),  # 80 % of so few may be 56 %
        (300, 500, "can hardly but guess"),  # 60 % of two places are 20 % beyond chance
    ],
)
def test_a_rejected_exercise_says_whether_it_will_be_guessed(right: int, of: int, says: str) -> None:
    said = headline(EXERCISE, found(right, of))
    assert said.startswith("Not sound: ")
    assert says in said
    assert ("cannot be defended" in said) == ("will guess" in said)


def test_a_sound_exercise_is_not_said_to_be_guessed() -> None:
    assert headline(EXERCISE, found(395, is_sound=True)).startswith("Sound: 'Tarn' has one defensible answer")
    assert not replace(found(395), is_sound=True, reasons=()).is_guessed
