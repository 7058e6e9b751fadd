"""How many separate tops the skyline shows: its humps."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from hillsight.plan.kinds.shared.exclusions import alike, differ
from hillsight.plan.kinds.shared.kind import Question, StatementKind
from hillsight.plan.kinds.shared.likeliest_words import likeliest_word
from hillsight.plan.kinds.shared.nouns import of_part
from hillsight.plan.kinds.shared.skylines import levels_deg, on_the_map, stretch
from hillsight.plan.statement import Statement
from hillsight.plan.verdict import Fact
from hillsight.plan.vocabulary import SightingField
from hillsight.words.english import number_word

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Integers
    from hillsight.plan.kinds.shared.exclusions import NamedThings
    from hillsight.plan.kinds.shared.kind import Case, Subjects
    from hillsight.plan.kinds.shared.nouns import Nouns

MOST = 20
"""Nobody counts more humps than these."""

#: Numbers that are asked about.
_ASKED = 6

#: One bearing in so many is looked at: a degree apart, as the skyline is drawn.
_EVERY = 2

#: How far a count may be out, and as a share of it: of few none is missed, of many some. Common practice, no
#: source.
_OUT, _OUT_SHARE = 0.3, 0.15

#: Least rises that stand for those of all people, each as likely.
_PEOPLE = 9

#: Rises at which the humps of one picture are counted, to tell how far each stands out.
_RISES_DEG = np.geomspace(0.02, 40.0, 200)


def fit(case: Case) -> Floats:
    """Chance that so many humps would be counted, (h,).

    A person has a least rise that makes a hump, and counts all that rise so; people differ in it.
    """
    people = special.ndtri((np.arange(_PEOPLE) + 0.5) / _PEOPLE)
    least_deg = case.observer.hump_deg * np.exp(case.observer.hump_log * people)
    humps = humps_of(levels_deg(case)[:, ::_EVERY], least_deg).astype(np.float64)
    out = np.hypot(_OUT, _OUT_SHARE * humps)
    count = int(case.values["count"])
    upto = special.ndtr((count + 0.5 - humps) / out)
    below = special.ndtr((count - 0.5 - humps) / out) if count else 0.0
    return np.asarray((upto - below).mean(axis=0), np.float64)


def humps_of(levels: Floats, least_deg: Floats) -> Integers:
    """How often each skyline rises and falls again by at least so much, (t, h).

    What rises to the edge of the picture is no hump: its top is not seen.

    Parameters
    ----------
    levels : (h, k) vertical angles from left to right
    least_deg : (t,) least rises
    """
    # Upside down where it falls, so that in both it is a rise that is waited for.
    side = np.ones((np.asarray(least_deg).size, levels.shape[0]))
    least = np.repeat(np.asarray(least_deg)[:, None], levels.shape[0], axis=1)
    turn = side * levels[:, 0]
    count = np.zeros(side.shape, np.int64)
    for level in np.ascontiguousarray(levels.T):
        now = side * level
        np.minimum(turn, now, out=turn)
        turned = now - turn >= least
        if turned.any():
            count += turned & (side < 0)
            side[turned] *= -1.0
            turn[turned] = -now[turned]
    return count


def fact(case: Case) -> Fact:
    """How many humps would be counted, and how far the least of them stands out."""
    count = likeliest_word(case, fit, "count", tuple(map(str, range(MOST + 1))))
    ahead = levels_deg(case)[case.direction : case.direction + 1, ::_EVERY]
    stands_out = humps_of(ahead, _RISES_DEG)[:, 0] >= max(int(count.word), 1)
    rise_deg = float(_RISES_DEG[stands_out].max(initial=0.0))
    words = f"the skyline{of_part(case.statement.part)} {count.told(lambda one: f'shows {_humps(int(one))}')}"
    if count.plain and rise_deg >= 0.05:
        lead = "that rises by more than" if count.word == "0" else "rising by at least"
        words += f" {lead} {rise_deg:.1f} degrees"
    return Fact(words, rise_deg, "degrees", *on_the_map(case), word=count.stated)


def _humps(count: int) -> str:
    """So many humps."""
    return "no hump" if count == 0 else f"{number_word(count)} hump{'' if count == 1 else 's'}"


def sentence(statement: Statement, nouns: Nouns) -> str:
    """How many humps the skyline shows."""
    return f"the skyline{of_part(statement.part)} shows {_humps(int(statement.values['count']))}"


def excludes(one: Statement, other: Statement, things: NamedThings) -> str:
    """Two numbers of one stretch."""
    return (
        "a stretch of skyline has so many humps" if alike(one, other) and differ(one, other, "count") else ""
    )


def questions(subjects: Subjects) -> list[Question]:
    """How many humps the skyline shows across the picture."""
    answers = tuple(Statement("humps", {"count": count}) for count in range(_ASKED + 1))
    return [Question("How many humps does the skyline show?", answers)]


KIND = StatementKind(
    name="humps",
    meaning="how many separate tops the skyline shows, each with a dip on either side of it",
    place=87,
    section="The skyline",
    fields=(SightingField("count", "number", "how many", least=0, most=MOST, needed=True, is_whole=True),),
    example={"count": 2},
    fit=fit,
    fact=fact,
    sentence=sentence,
    topic=stretch,
    excludes=excludes,
    questions=questions,
    described=34,
)
