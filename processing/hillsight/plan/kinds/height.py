"""How high a thing stands against the eye."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from hillsight.arrays import known_or
from hillsight.plan.kinds.shared.chances import any_of, said_of
from hillsight.plan.kinds.shared.exclusions import alike
from hillsight.plan.kinds.shared.kind import Question, StatementKind, WordFigures
from hillsight.plan.kinds.shared.likeliest_words import likeliest_word
from hillsight.plan.kinds.shared.nouns import in_part, spread_words
from hillsight.plan.kinds.shared.things import SHOWS_FROM, WHAT, absent, definite, fact_of, likeliest
from hillsight.plan.statement import Statement
from hillsight.plan.vocabulary import SightingField
from hillsight.reading.things.relative_height import HeightWords

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.plan.kinds.shared.exclusions import NamedThings
    from hillsight.plan.kinds.shared.kind import Case, Subjects
    from hillsight.plan.kinds.shared.nouns import Nouns
    from hillsight.plan.verdict import Fact

HEIGHTS = ("well above", "a little above", "level", "a little below", "well below", "above", "below")
"""Heights in words that a sighting may have."""

#: Steps from well below to well above that each word may mean.
_STEPS = {
    "well above": {2},
    "a little above": {1},
    "level": {0},
    "a little below": {-1},
    "well below": {-2},
    "above": {1, 2},
    "below": {-1, -2},
}

#: Words that leave no question open.
_ANSWERS = ("well above", "a little above", "level", "a little below", "well below")


def _far_off_deg() -> dict[str, tuple[float, float]]:
    """The vertical angles between which each word is said of what is not near."""
    spans = {word: HeightWords().angles_deg(word) for word in HEIGHTS}
    return {word: (float(low), float(high)) for word, (low, high) in spans.items()}


def fit(case: Case) -> Floats:
    """Chance that a thing there would be said to stand so high, (h,)."""
    what, values, seen = case.values["what"], case.values, case.glance.things
    rows = case.rows(what)
    if "metres_above" in values:
        given = float(values["metres_above"])
        difference = seen.height_difference_m[rows]
        own = float(values.get("give_or_take_m", 3.0 + case.observer.height_share * abs(given)))
        spread = np.hypot(own, seen.height_spread_m[rows])
        fits = own / spread * np.exp(-0.5 * ((difference - given) / spread) ** 2)
    else:
        low, high = HeightWords().angles_deg(values["stands"], seen.highest_m[rows])
        angle = seen.vertical_deg[rows]
        spread = np.hypot(case.observer.vertical_deg, seen.vertical_spread_deg[rows])
        fits = special.ndtr((high - angle) / spread) - special.ndtr((low - angle) / spread)
    return said_of(any_of(case.shown(what) * known_or(fits, 0.0)[None, :]), what, case)


def fact(case: Case) -> Fact:
    """How high it stands."""
    what, seen = case.values["what"], case.glance.things
    one, chance = likeliest(case, what)
    if chance < SHOWS_FROM:
        return absent(case, what)
    angle, difference_m = float(seen.vertical_deg[one]), float(seen.height_difference_m[one])
    name = definite(what, case.things)
    stands = likeliest_word(case.of_one(what, one), fit, "stands", _ANSWERS, ("what",))
    words = f"{name} {stands.told(_stands)} ({angle:+.1f} degrees, {difference_m:+.0f} m)"
    return replace(fact_of(case, one, words, angle, "degrees above level"), word=stands.stated)


def _stands(word: str) -> str:
    """How high something stands, in a clause."""
    return "stands level with us" if word == "level" else f"stands {word} us"


def sentence(statement: Statement, nouns: Nouns) -> str:
    """How high it stands against us."""
    values, noun = statement.values, nouns(statement.values["what"])
    if "stands" in values:
        stands = "level with us" if values["stands"] == "level" else f"{values['stands']} us"
    else:
        metres = values["metres_above"]
        stands = (
            f"{abs(metres):.10g} m {'above' if metres > 0 else 'below'} us" if metres else "level with us"
        )
        stands += spread_words(values, "give_or_take_m", "m")
    return f"{in_part(statement.part)}{noun.the} {noun.verb('stands', 'stand')} {stands}"


def excludes(one: Statement, other: Statement, things: NamedThings) -> str:
    """Two heights in words of one thing."""
    if not alike(one, other) or not things.same(one.values["what"], other.values["what"]):
        return ""
    if "stands" in one.values and "stands" in other.values:
        apart = not _STEPS[one.values["stands"]] & _STEPS[other.values["stands"]]
        return "a thing stands at one height" if apart else ""
    return ""


def questions(subjects: Subjects) -> list[Question]:
    """How high each named thing stands, man-made features apart."""
    return [
        Question(
            f"How high does {what} stand against the eye?",
            tuple(Statement("height", {"what": what, "stands": word}) for word in _ANSWERS),
        )
        for what in subjects.named
        if subjects.things.evidence_class(what) != "man_made"
    ]


KIND = StatementKind(
    name="height",
    meaning="how high a thing stands against the eye",
    place=40,
    section="The far ground",
    fields=(
        WHAT,
        SightingField("stands", "word", "in words", HEIGHTS),
        SightingField(
            "metres_above",
            "number",
            "metres above the eye, below it negative",
            least=-9000,
            most=9000,
            unit="m",
        ),
        SightingField(
            "give_or_take_m", "number", "how far the metres may be out", least=0.1, most=2000, unit="m"
        ),
    ),
    example={"what": "knoll", "stands": "a little below"},
    one_of=("stands", "metres_above"),
    either_or=("stands", "metres_above"),
    rests_on={"give_or_take_m": "metres_above"},
    figures=(WordFigures("vertical angle of a thing", "degrees", _far_off_deg()),),
    fit=fit,
    fact=fact,
    sentence=sentence,
    excludes=excludes,
    questions=questions,
    asked_once=True,
    described=70,
)
