"""Which of two things stands higher in the picture."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from hillsight.arrays import known_or
from hillsight.plan.kinds.shared.exclusions import alike
from hillsight.plan.kinds.shared.kind import Question, StatementKind
from hillsight.plan.kinds.shared.likeliest_words import likeliest_word
from hillsight.plan.kinds.shared.nouns import in_part
from hillsight.plan.kinds.shared.pairs import any_pair, both_shown, named_pairs, places, said_of_that_pair
from hillsight.plan.kinds.shared.things import OTHER, WHAT, bearing_deg, definite
from hillsight.plan.statement import Statement
from hillsight.plan.verdict import Fact
from hillsight.plan.vocabulary import SightingField

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.plan.kinds.shared.exclusions import NamedThings
    from hillsight.plan.kinds.shared.kind import Case, Subjects
    from hillsight.plan.kinds.shared.nouns import Nouns

STANDS = ("higher", "lower", "as high")

_THAN = {"higher": "higher than", "lower": "lower than", "as high": "as high as"}

_TURNED = {"higher": "lower", "lower": "higher", "as high": "as high"}

#: Named things asked about in pairs.
_MOST_IN_PAIRS = 6

#: Two things that differ by less are said to stand as high as one another, degrees. Common practice, no
#: source.
_ALIKE_DEG = 0.35


def fit(case: Case) -> Floats:
    """Chance that the one would be said to stand so to the other, (h,)."""
    values, seen = case.values, case.glance.things
    one, two = case.rows(values["what"]), case.rows(values["other"])
    higher = seen.vertical_deg[one][:, None] - seen.vertical_deg[two][None, :]
    own = np.hypot(seen.vertical_spread_deg[one][:, None], seen.vertical_spread_deg[two][None, :])
    spread = np.hypot(case.observer.higher_deg, own)
    over, under = (special.ndtr((times * higher - _ALIKE_DEG) / spread) for times in (1.0, -1.0))
    fits = {"higher": over, "lower": under, "as high": 1.0 - over - under}[values["stands"]]
    return any_pair(case, known_or(fits, 0.0))


def fact(case: Case) -> Fact:
    """Which of the two would be said to stand higher, and by how much."""
    both = both_shown(case)
    if isinstance(both, Fact):
        return both
    one, two = both
    what, other = case.values["what"], case.values["other"]
    stands = likeliest_word(
        case.of_one(what, one).of_one(other, two), fit, "stands", STANDS, ("what", "other")
    )
    seen = case.glance.things
    higher = float(seen.vertical_deg[one] - seen.vertical_deg[two])
    thing, against = definite(what, case.things), definite(other, case.things)
    words = f"in the picture {thing} {stands.told(lambda word: f'stands {_THAN[word]} {against}')}"
    if stands.plain:
        # Nobody tells heights in a picture apart by less than a tenth of a degree.
        lead = "within" if stands.word == "as high" else "by"
        words += f", {lead} {max(abs(higher), 0.1):.1f} degrees"
    lines, bearing = places(case, both), bearing_deg(case, one)
    return Fact(words, higher, "degrees higher", lines, bearing, word=stands.stated)


def sentence(statement: Statement, nouns: Nouns) -> str:
    """Which of the two stands higher."""
    values = statement.values
    noun, other = nouns(values["what"]), nouns(values["other"])
    stands = f"{noun.verb('stands', 'stand')} {_THAN[values['stands']]}"
    return f"{in_part(statement.part)}{noun.the} {stands} {other.the} in the picture"


def excludes(one: Statement, other: Statement, things: NamedThings) -> str:
    """Two ways in which one pair stands, whichever is named first."""
    if not alike(one, other):
        return ""
    said = said_of_that_pair(one, other, "stands", _TURNED, things)
    return "one of two things stands higher, or neither does" if said - {one.values["stands"]} else ""


def questions(subjects: Subjects) -> list[Question]:
    """Which of each two of the most noticeable named things stands higher, man-made features apart."""
    named = [what for what in subjects.named if subjects.things.evidence_class(what) != "man_made"]
    return [
        Question(
            f"Which stands higher in the picture, {one} or {other}?",
            tuple(Statement("two_heights", {"what": one, "stands": word, "other": other}) for word in STANDS),
        )
        for one, other in named_pairs(named, _MOST_IN_PAIRS)
    ]


KIND = StatementKind(
    name="two_heights",
    meaning="which of two things stands higher in the picture",
    place=75,
    section="The far ground",
    fields=(
        WHAT,
        SightingField("stands", "word", "how it stands to the other", STANDS, needed=True),
        OTHER,
    ),
    example={"what": "knoll", "stands": "higher", "other": "saddle"},
    fit=fit,
    fact=fact,
    sentence=sentence,
    excludes=excludes,
    questions=questions,
    asked_once=True,
    described=75,
)
