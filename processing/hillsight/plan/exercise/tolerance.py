"""How far off the photographer may stand before the facts that decide an exercise no longer do."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.exercise.deciding import holding
from hillsight.plan.exercise.soundness import MATTERS_NEEDED

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.plan.exercise.deciding import Tried
    from hillsight.plan.exercise.draws import AnswerChances, Asking
    from hillsight.plan.exercise.soundness import Against
    from hillsight.plan.look.drawn import Place

#: Steps outwards, metres, and how many draws each is tried in.
STEPS_M, DRAWS = (25.0, 50.0, 75.0, 100.0, 150.0, 200.0, 300.0, 400.0), 8

#: A fact holds at a spot if it does in so many of those draws.
_HOLDS_FROM = 0.75

_DIRECTIONS = 8


def tolerance_m(
    asking: Asking,
    tried: Tried,
    against: Sequence[Against],
    true: Place,
    truth: int,
    asked: AnswerChances,
) -> tuple[float, bool]:
    """The farthest step at which the picture still speaks for the true place; whether it is the last.

    At every step the picture is taken from eight places about the true spot. A fact holds there if what is
    said of that picture is still so many times likelier of the true spot, as named, than of the wrong one.

    Parameters
    ----------
    asking : with the questions of ``tried``
    against : the wrong places, each told apart from the true one
    true, truth : the true place, and its number
    asked : answers from all places in at least ``DRAWS`` draws
    """
    expected = asked.chances[truth, :DRAWS]
    reached_m = 0.0
    for step_m in STEPS_M:
        turns = 2.0 * np.pi * np.arange(_DIRECTIONS) / _DIRECTIONS
        spots = [
            replace(
                true,
                easting_m=true.easting_m + step_m * float(np.sin(turn)),
                northing_m=true.northing_m + step_m * float(np.cos(turn)),
            )
            for turn in turns
        ]
        there = asking.beside(spots, DRAWS)
        for one in against:
            wrong = asked.chances[one.place, :DRAWS]
            for k in range(len(spots)):
                held = holding(expected, wrong, there.chances[k]).mean(axis=0)
                left = {
                    fact.matter
                    for fact in one.facts
                    if fact.evidence_class == "ground_shape"
                    and held[tried.statements.index(fact.statement)] >= _HOLDS_FROM
                }
                if len(left) < MATTERS_NEEDED:
                    return reached_m, False
        reached_m = step_m
    return reached_m, True
