"""Where along the picture the skyline stands highest, and where lowest."""

from __future__ import annotations

import math
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

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.plan.kinds.shared.exclusions import NamedThings
    from hillsight.plan.kinds.shared.kind import Case, Subjects
    from hillsight.plan.kinds.shared.nouns import Nouns

THIRDS = ("left", "middle", "right")
"""Thirds of the part that is spoken of."""

_IN = {"left": "on the left", "middle": "in the middle", "right": "on the right"}

#: The same of a part of the picture, which has thirds of its own.
_IN_ITS = {"left": "towards its left end", "middle": "in its middle", "right": "towards its right end"}

#: Which way up the skyline is taken, so that the highest is sought.
_SIGNS = {"highest": 1.0, "lowest": -1.0}

#: Where the edge of a third is put, in standard deviations, and with what chance: Gauss and Hermite's rule
#: of three points (from memory).
_EDGES = ((-math.sqrt(3.0), 1 / 6), (0.0, 2 / 3), (math.sqrt(3.0), 1 / 6))


def fit(case: Case) -> Floats:
    """Chance that the skyline would be said to stand highest or lowest there, (h,)."""
    fits = np.ones(case.framing.heading_deg.size)
    for key in _SIGNS:
        if key in case.values:
            fits = fits * _said(_above_deg(case, key), case)[:, THIRDS.index(case.values[key])]
    return fits


def _said(above_deg: list[tuple[float, Floats]], case: Case) -> Floats:
    """Chance of each third, (h, 3): one of three is chosen by its top (Luce's rule, from memory)."""
    # Of the difference of two tops the standard deviation is that of the logistic distribution.
    scale = case.observer.skyline_deg * math.sqrt(3.0) / math.pi
    chances: Floats = sum(chance * special.softmax(tops / scale, axis=1) for chance, tops in above_deg)
    return chances


def _above_deg(case: Case, key: str) -> list[tuple[float, Floats]]:
    """How high the skyline's top in each third is (how low its lowest), (h, 3), by where their edges are put.

    With each comes the chance that an observer would put them so.
    """
    levels = _SIGNS[key] * levels_deg(case)
    if levels.shape[1] < len(THIRDS):
        levels = np.repeat(levels, len(THIRDS), axis=1)
    k, found = levels.shape[1], []
    for off, chance in _EDGES:
        for also_off, also in _EDGES:
            one, two = (
                round(k * (share + case.framing.edge_share * by))
                for share, by in ((1 / 3, off), (2 / 3, also_off))
            )
            one = min(max(one, 1), k - 2)
            two = min(max(two, one + 1), k - 1)
            thirds = levels[:, :one], levels[:, one:two], levels[:, two:]
            found.append((chance * also, np.stack([third.max(axis=1) for third in thirds], axis=1)))
    return found


def _by_deg(case: Case, key: str, word: str) -> float:
    """By how much it is the highest or lowest there, on the average over the edges."""
    at = THIRDS.index(word)
    by = 0.0
    for chance, tops in _above_deg(case, key):
        ahead = tops[case.direction]
        by += chance * float(ahead[at] - np.delete(ahead, at).max())
    return by


def fact(case: Case) -> Fact:
    """Where the skyline would be said to stand highest or lowest, and by how much."""
    clauses, figure, word = [], 0.0, ""
    for key in _SIGNS:
        if key not in case.values:
            continue
        third = likeliest_word(case, fit, key, THIRDS)
        figure = _by_deg(case, key, third.word)
        where = _where(case.statement, third.word)
        if not third.plain:
            where += f" or {_where(case.statement, third.other)} (hard to tell)"
        elif figure >= 0.05:
            where += f", by {figure:.1f} degrees"
        clauses.append(f"stands {key} {where}")
        word = third.stated if len(clauses) == 1 else ""
    words = f"the skyline{of_part(case.statement.part)} {', and it '.join(clauses)}"
    return Fact(words, figure, "degrees", *on_the_map(case), word=word)


def _where(statement: Statement, third: str) -> str:
    """A third of the picture, or of the part of it that is spoken of."""
    return (_IN if statement.part == "anywhere" else _IN_ITS)[third]


def sentence(statement: Statement, nouns: Nouns) -> str:
    """Where the skyline stands highest and lowest."""
    values = statement.values
    told = " and ".join(f"{key} {_where(statement, values[key])}" for key in _SIGNS if key in values)
    return f"the skyline{of_part(statement.part)} stands {told}"


def excludes(one: Statement, other: Statement, things: NamedThings) -> str:
    """Two places where one stretch stands highest, or lowest."""
    if not alike(one, other):
        return ""
    apart = [key for key in _SIGNS if differ(one, other, key)]
    return f"a stretch of skyline stands {apart[0]} in one place" if apart else ""


def questions(subjects: Subjects) -> list[Question]:
    """Where in the picture it stands highest, and where lowest."""
    return [
        Question(
            f"Where in the picture does the skyline stand {key}?",
            tuple(Statement("high_and_low", {key: third}) for third in THIRDS),
        )
        for key in _SIGNS
    ]


KIND = StatementKind(
    name="high_and_low",
    meaning="where along the picture the skyline stands highest, and where lowest",
    place=86,
    section="The skyline",
    fields=(
        SightingField("highest", "word", "the third in which it stands highest", THIRDS),
        SightingField("lowest", "word", "the third in which it stands lowest", THIRDS),
    ),
    example={"highest": "left", "lowest": "right"},
    one_of=("highest", "lowest"),
    fit=fit,
    fact=fact,
    sentence=sentence,
    topic=stretch,
    excludes=excludes,
    questions=questions,
    described=32,
)
