"""Questions of the trade and the answers an observer may give: for the next one to ask, and to compare.

The same questions, asked of one place, write its sighting; asked of two, they tell them apart.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from hillsight.plan.kinds.weigh_things import noticed
from hillsight.plan.statement import Statement
from hillsight.plan.vocabulary import SHAPES, SLOPES
from hillsight.words.english import plural, with_article

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

    from hillsight.arrays import Floats
    from hillsight.plan.kinds.weigh import Weighing
    from hillsight.plan.look.glance import Glance


#: Things asked about: the most noticeable ones of each place, so many.
_MOST_THINGS = 14

#: Chance of being noticed from which a thing is worth a question.
_WORTH_ASKING = 0.25

_HEIGHT_WORDS = ("well above", "a little above", "level", "a little below", "well below")
_GROUND_PARTS = ("left", "middle", "right")


@dataclass(frozen=True)
class Question:
    """One question and its answers, each a statement; the answers exclude one another."""

    text: str
    answers: tuple[Statement, ...]

    @property
    def part(self) -> str:
        """Where in the picture to look."""
        return self.answers[0].part


def questions(glances: Sequence[Glance], weighing: Weighing) -> list[Question]:
    """All that is worth asking about what any of these places sees."""
    asked = [question for part in _GROUND_PARTS for question in _of_ground(part)]
    asked += [_skyline(part) for part in ("anywhere", "left half", "right half")]
    names = worth_telling(glances, weighing)
    for what in names:
        asked += _of_thing(what, weighing)
    named = [what for what in names if weighing.things.is_named(what)]
    for k, one in enumerate(named[:8]):
        asked += [_relation(one, other) for other in named[k + 1 : 8]]
    asked += [_number(kind) for kind in ("spur", "re-entrant") if weighing.things.rows(kind).size]
    return asked


def worth_telling(glances: Sequence[Glance], weighing: Weighing) -> list[str]:
    """Names and kinds of what stands out in any of the views, the most noticeable first."""
    things = weighing.things
    best: dict[str, float] = {}
    for k in range(len(things)):
        best.setdefault(things.called(k), 0.0)
    for what in best:
        for one in glances:
            chances = noticed(what, one, things, weighing.observer)
            held = weighing.framing.holds(
                "anywhere", one.things.left_deg[things.rows(what)], one.things.width_deg[things.rows(what)]
            )
            within = weighing.framing.prior @ held
            best[what] = max(best[what], float((chances * within).max(initial=0.0)))
    told = [what for what, chance in best.items() if chance >= _WORTH_ASKING]
    told.sort(key=lambda what: (not things.is_named(what), -best[what], what))
    return told[:_MOST_THINGS]


def _of_ground(part: str) -> list[Question]:
    where = {"left": "On the left", "middle": "In the middle", "right": "On the right"}[part]

    def answers(kind: str, key: str, words: Sequence[str]) -> tuple[Statement, ...]:
        return tuple(Statement(kind, {key: word}, part) for word in words)

    return [
        Question(
            f"{where}, how soon does the near ground turn out of view?",
            answers("brow", "distance", ("near", "middle", "far", "none")),
        ),
        Question(
            f"{where}, does the ground rise or fall from the feet to the first brow?",
            answers("brow", "slope_before", tuple(SLOPES)),
        ),
        Question(
            f"{where}, how much ground is out of view behind the first brow?",
            answers("dead_ground", "extent", ("none", "little", "much")),
        ),
        Question(
            f"{where}, does the ground that shows again behind the first brow rise or fall, and how steeply?",
            answers("dead_ground", "beyond", (*SLOPES, "nothing")),
        ),
    ]


def _skyline(part: str) -> Question:
    where = {
        "anywhere": "Across the picture",
        "left half": "In the left half",
        "right half": "In the right half",
    }
    return Question(
        f"{where[part]}, what shape has the skyline?",
        tuple(Statement("skyline", {"shape": shape}, part) for shape in SHAPES),
    )


def _of_thing(what: str, weighing: Weighing) -> list[Question]:
    thing = what if weighing.things.is_named(what) else with_article(what)
    the = what if weighing.things.is_named(what) else f"the {what}"
    man_made = weighing.things.evidence_class(what) == "man_made"
    asked = [
        Question(
            f"Is {thing} seen?",
            tuple(Statement("seen", {"what": what, "seen": seen}) for seen in (True, False)),
        )
    ]
    if man_made or not weighing.things.is_named(what):
        return asked
    return [
        *asked,
        Question(
            f"How high does {the} stand against the eye?",
            tuple(Statement("height", {"what": what, "stands": word}) for word in _HEIGHT_WORDS),
        ),
        Question(
            f"Does {the} stand against the sky, or is there ground behind it?",
            tuple(Statement("against_sky", {"what": what, "stands": stands}) for stands in (True, False)),
        ),
    ]


def _relation(one: str, other: str) -> Question:
    def answer(**values: Any) -> Statement:
        return Statement("relation", {"what": one, "other": other, **values})

    return Question(
        f"How does {one} stand to {other} in the picture?",
        tuple(answer(**{"is": word}) for word in ("left of", "right of", "in front of", "behind")),
    )


def _number(kind: str) -> Question:
    return Question(
        f"How many {plural(kind)} are seen?",
        tuple(Statement("number", {"what": kind, "count": count}) for count in (0, 1, 2, 3, 5, 8)),
    )


def answer_chances(question: Question, glance: Glance, weighing: Weighing) -> Floats:
    """Chance of each answer in each direction, (a, h), adding up to one over the answers.

    One answer in twenty is given at random: nobody reads every picture right.
    """
    fits = weighing.fits(question.answers, glance) + 1e-6
    right = fits / fits.sum(axis=0, keepdims=True)
    chances: Floats = 0.95 * right + 0.05 / len(question.answers)
    return chances


def information(chances: Floats, posterior: Floats) -> float:
    """Expected information (bits) of an answer about the candidate.

    Parameters
    ----------
    chances : (c, a) of each answer from each candidate
    posterior : (c,) adding up to one
    """
    overall = posterior @ chances
    with np.errstate(divide="ignore", invalid="ignore"):
        bits = special.xlogy(chances, chances / overall[None, :]).sum(axis=1) / np.log(2.0)
    return float(posterior @ bits)
