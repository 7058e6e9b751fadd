"""How one thing stands to another in the picture: left or right of it, in front of it, behind it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from hillsight.arrays import known_or
from hillsight.plan.kinds.shared.exclusions import sides
from hillsight.plan.kinds.shared.kind import Question, StatementKind
from hillsight.plan.kinds.shared.likeliest_words import likeliest_word
from hillsight.plan.kinds.shared.nouns import in_part, number_with, spread_words
from hillsight.plan.kinds.shared.pairs import (
    BESIDE_DEG,
    any_pair,
    both_shown,
    named_pairs,
    near_angle,
    places,
    said_of_that_pair,
)
from hillsight.plan.kinds.shared.things import OTHER, SPREAD_DEG, WHAT, bearing_deg, definite
from hillsight.plan.statement import Statement
from hillsight.plan.verdict import Fact
from hillsight.plan.vocabulary import SightingField
from hillsight.words.angles import signed_deg
from hillsight.words.quantities import rough_distance_words

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.plan.kinds.shared.exclusions import NamedThings
    from hillsight.plan.kinds.shared.kind import Case, Subjects
    from hillsight.plan.kinds.shared.nouns import Nouns

RELATIONS = ("left of", "right of", "in front of", "behind", "overlapping")

_OPPOSITE = {"in front of": "behind", "behind": "in front of"}

#: A thing is clearly nearer than another if their distances differ by this ratio, as a logarithm.
_NEARER_LOG = 0.25

#: Named things asked about in pairs.
_MOST_IN_PAIRS = 8


def fit(case: Case) -> Floats:
    """Chance that one thing would be said to stand so to the other, (h,)."""
    values, seen = case.values, case.glance.things
    one, two = case.rows(values["what"]), case.rows(values["other"])
    offset = signed_deg(seen.middle_deg[two][None, :] - seen.middle_deg[one][:, None])
    half = (seen.width_deg[one][:, None] + seen.width_deg[two][None, :]) / 2.0
    gap = np.abs(offset) - half  # below zero they overlap
    overlap = special.ndtr((BESIDE_DEG - gap) / BESIDE_DEG)
    with np.errstate(divide="ignore", invalid="ignore"):
        nearer = np.log(seen.distance_m[two][None, :] / seen.distance_m[one][:, None])
    fits = {
        "left of": special.ndtr((offset - BESIDE_DEG / 2) / BESIDE_DEG),
        "right of": special.ndtr((-offset - BESIDE_DEG / 2) / BESIDE_DEG),
        "in front of": overlap * special.ndtr(nearer / _NEARER_LOG),
        "behind": overlap * special.ndtr(-nearer / _NEARER_LOG),
        "overlapping": overlap,
    }[values["is"]]
    if "gap_deg" in values:
        fits = fits * near_angle(case, np.maximum(gap, 0.0), float(values["gap_deg"]))
    return any_pair(case, known_or(fits, 0.0))


def fact(case: Case) -> Fact:
    """How the one stands to the other."""
    both = both_shown(case)
    if isinstance(both, Fact):
        return both
    one, two = both
    seen = case.glance.things
    offset = float(signed_deg(seen.middle_deg[one] - seen.middle_deg[two]))
    name, other = (definite(case.values[key], case.things) for key in ("what", "other"))
    lines, bearing = places(case, both), bearing_deg(case, one)
    stands = likeliest_word(_of_pair(case, one, two), fit, "is", RELATIONS[:4], ("what", "other"))
    if stands.word in ("left of", "right of"):
        words = f"{name} stands {abs(offset):.1f} degrees {stands.word} {other}"
        if not stands.plain and abs(offset) < 2.0 * BESIDE_DEG:
            words = f"{name} and {other} stand {abs(offset):.1f} degrees apart: hard to tell which is left"
        elif not stands.plain:
            # Which is left is plain; what is not is whether both are seen, and noticed.
            words += ", if both show: hard to tell"
        return Fact(words, offset, "degrees to the right", lines, bearing, word=stands.stated)
    nearer_m = float(seen.distance_m[two] - seen.distance_m[one])
    word = stands.word if stands.plain else "in line with"
    words = f"{name} stands {word} {other}, {rough_distance_words(abs(nearer_m))} "
    words += "nearer" if nearer_m > 0 else "farther"
    return Fact(words, nearer_m, "m nearer", lines, bearing, word=stands.stated)


def _of_pair(case: Case, one: int, two: int) -> Case:
    """The case in which both names stand for the very things that are described."""
    return case.of_one(case.values["what"], one).of_one(case.values["other"], two)


def sentence(statement: Statement, nouns: Nouns) -> str:
    """How the one stands to the other, and by how much."""
    values = statement.values
    noun, other = nouns(values["what"]), nouns(values["other"])
    stands = f"{noun.verb('is', 'are')} {values['is']}"
    if values["is"] == "overlapping":
        stands = noun.verb("overlaps", "overlap")
    gap = ""
    if "gap_deg" in values:
        gap = f", {number_with(values['gap_deg'], 'degrees')} apart{spread_words(values)}"
    return f"{in_part(statement.part)}{noun.the} {stands} {other.the}{gap}"


def excludes(one: Statement, other: Statement, things: NamedThings) -> str:
    """Left and right, or in front of and behind, said both ways."""
    if other.kind != one.kind or one.values["is"] not in _OPPOSITE:
        return sides(one, other, things)
    said = said_of_that_pair(one, other, "is", _OPPOSITE, things)
    return "one of two things is in front of the other" if _OPPOSITE[one.values["is"]] in said else ""


def questions(subjects: Subjects) -> list[Question]:
    """How each two of the most noticeable named things stand to one another."""
    return [
        Question(
            f"How does {one} stand to {other} in the picture?",
            tuple(
                Statement("relation", {"what": one, "other": other, "is": word})
                for word in ("left of", "right of", "in front of", "behind")
            ),
        )
        for one, other in named_pairs(subjects.named, _MOST_IN_PAIRS)
    ]


KIND = StatementKind(
    name="relation",
    meaning="how one thing stands to another in the picture",
    place=70,
    section="The far ground",
    fields=(
        WHAT,
        SightingField(
            "is",
            "word",
            "what it is to the other; in front of and behind where they overlap",
            RELATIONS,
            needed=True,
        ),
        OTHER,
        SightingField(
            "gap_deg", "number", "angle between their nearest edges", least=0, most=360, unit="degrees"
        ),
        SPREAD_DEG,
    ),
    example={"what": "knoll", "is": "in front of", "other": "saddle"},
    rests_on={"give_or_take_deg": "gap_deg"},
    fit=fit,
    fact=fact,
    sentence=sentence,
    excludes=excludes,
    questions=questions,
    asked_once=True,
    described=80,
)
