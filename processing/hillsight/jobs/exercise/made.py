"""Exercises as they are found, before they are written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.plan.exercise.exercise import Exercise
    from hillsight.plan.exercise.look_alikes import LookAlike
    from hillsight.plan.exercise.soundness import Soundness


@dataclass(frozen=True)
class Made:
    """A sound exercise.

    wrong : its wrong places, in the order of the exercise's places after the true one
    ground_m : (p,) height of the ground at its places
    soundness : what the check found
    about : what of the ground the theme is about, or empty
    """

    exercise: Exercise
    wrong: tuple[LookAlike, ...]
    ground_m: Floats
    soundness: Soundness
    about: str = ""


@dataclass(frozen=True)
class Found:
    """Exercises, and what was tried on the way, in sentences."""

    made: Sequence[Made]
    lines: Sequence[str]
