"""Learners of the second observer, whom ``exercise check`` never asks: they answer an exercise.

Each looks at a picture of the fine ground with the second observer's eyes and words, reads the coarser map
of each place with mistakes of his own, and counts how often the two agree. Skill is even from none to full:
the skilled look rather at what the map says differs between the places. One answer in ten is wrong
altogether, as the second observer's are.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from second_observer_sayings import answer, choose, may_say
from second_observer_words import DEGREES, METRES, Draws

if TYPE_CHECKING:
    from collections.abc import Sequence

    from second_observer_map import Sheet
    from second_observer_view import View
    from second_observer_words import Saying

#: Fewest and most statements that one learner compares.
FEWEST, MOST = 5, 9

#: Kinds that are no shape of the ground.
_NO_GROUND = frozenset({"loch", "stream", "wall"})

#: How many times likelier than others the most skilled look at what differs, less one.
_DRAWN_TO = 4.0


def chosen_by(
    picture: View,
    mapped: Sequence[View],
    sheet: Sheet,
    heading_deg: float,
    count: int,
    random: np.random.Generator,
    *,
    by_ground: bool = False,
) -> np.ndarray:
    """How many of so many learners choose each place, (p,).

    Parameters
    ----------
    picture : what the photograph shows, over the true ground
    mapped : what each place would show by the map
    heading_deg : of the picture's middle, from grid north
    by_ground : whether they compare the shape of the ground alone, and neither water nor walls
    """
    found = np.zeros(len(mapped), np.int64)
    differ: dict[Saying, bool] = {}
    left_out = _NO_GROUND if by_ground else frozenset()
    for _ in range(count):
        found[_choice(picture, mapped, sheet, heading_deg, left_out, differ, random)] += 1
    return found


def _choice(
    picture: View,
    mapped: Sequence[View],
    sheet: Sheet,
    heading_deg: float,
    left_out: frozenset[str],
    differ: dict[Saying, bool],
    random: np.random.Generator,
) -> int:
    draws = Draws.of(np.array([heading_deg]), random)
    skill = float(random.random())
    every = [
        replace(
            saying,
            weight=saying.weight * (1.0 + _DRAWN_TO * skill * _differs(saying, mapped, heading_deg, differ)),
        )
        for saying in may_say(picture, sheet, draws)
        if not left_out & {sheet.kinds[row] for row in saying.things}
    ]
    said = choose(every, int(random.integers(FEWEST, MOST + 1)), random)
    agreeing = np.zeros(len(mapped))
    for saying in said:
        given, _ = answer(saying, picture, draws, random)
        for k, view in enumerate(mapped):
            agreeing[k] += _alike(saying, given, _read_off(saying, view, draws, skill, random))
    return int(random.choice(np.flatnonzero(agreeing == agreeing.max())))


def _differs(saying: Saying, mapped: Sequence[View], heading_deg: float, known: dict[Saying, bool]) -> bool:
    """Whether the map lets expect another answer at one place than at another, to one who errs in nothing."""
    if saying not in known:
        plain = Draws(np.array([heading_deg]), np.array([60.0]), np.zeros(1), np.zeros(1))
        expected = [int(np.argmax(saying.chances(view, plain)[0])) for view in mapped]
        known[saying] = not all(_alike(saying, one, expected[0]) for one in expected)
    return known[saying]


def _read_off(saying: Saying, view: View, draws: Draws, skill: float, random: np.random.Generator) -> int:
    """What the map lets a learner expect: the likeliest, or what comes to mind."""
    chances = saying.chances(view, draws)[0]
    if random.random() < skill:
        return int(np.argmax(chances))
    return int(random.choice(chances.size, p=chances / chances.sum()))


def _alike(saying: Saying, given: int, expected: int) -> bool:
    """The same answer; of figures the next one will do."""
    steps = 1 if saying.answers in (METRES, DEGREES) or saying.kind == "bearing" else 0
    return abs(given - expected) <= steps
