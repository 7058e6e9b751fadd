"""That a thing is seen, or is looked for and not seen."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from hillsight.arrays import known_or
from hillsight.plan.kinds.shared.chances import any_of, missed, said_of
from hillsight.plan.kinds.shared.exclusions import encloses
from hillsight.plan.kinds.shared.kind import Question, StatementKind
from hillsight.plan.kinds.shared.likeliest_words import PLAINLY_FROM
from hillsight.plan.kinds.shared.nouns import in_part
from hillsight.plan.kinds.shared.things import (
    SHOWS_FROM,
    WHAT,
    absent,
    fact_of,
    from_middle,
    indefinite,
    is_uncertain,
    likeliest,
    side_words,
)
from hillsight.plan.statement import Statement
from hillsight.plan.vocabulary import SightingField
from hillsight.words.quantities import rough_distance_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Floats
    from hillsight.plan.kinds.shared.exclusions import NamedThings
    from hillsight.plan.kinds.shared.kind import Case, Subjects
    from hillsight.plan.kinds.shared.nouns import Nouns
    from hillsight.plan.verdict import Fact

#: A man-made feature as near as this ought to show, and an observer says so where it does not.
_OUGHT_TO_SHOW_M = 1_000.0


def says_there(statement: Statement) -> bool:
    """Whether the thing is said to be seen."""
    return bool(statement.values.get("seen", True))


def fit(case: Case) -> Floats:
    """Chance that it would be said that the thing is seen, or is not, (h,)."""
    what, values = case.values["what"], case.values
    each = case.shown(what)
    if "within_m" in values:
        nearest_m = np.maximum(case.glance.things.nearest_m[case.rows(what)], 0.5)
        off = (np.log(float(values["within_m"])) - np.log(nearest_m)) / case.observer.distance_log
        each = each * known_or(special.ndtr(off), 0.0)[None, :]
    there = any_of(each)
    return said_of(there, what, case) if says_there(case.statement) else missed(there, what, case)


def fact(case: Case) -> Fact:
    """Whether it shows, and from how near."""
    what = case.values["what"]
    one, chance = likeliest(case, what)
    if chance < SHOWS_FROM:
        return absent(case, what)
    nearest_m = float(case.glance.things.nearest_m[one])
    side = side_words(from_middle(case, one))
    shows = "may show" if is_uncertain(case, one) else "shows"
    words = f"{indefinite(what, case.things)} {shows} at {rough_distance_words(nearest_m)}, {side}"
    if chance <= PLAINLY_FROM:
        words += ": hard to tell"
    if nearest_m > float(case.values.get("within_m", np.inf)):
        words += f": farther than the {rough_distance_words(float(case.values['within_m']))} told"
    found = fact_of(case, one, words, nearest_m, "m on the grid")
    return replace(found, word="True" if chance > PLAINLY_FROM else "")


def sentence(statement: Statement, nouns: Nouns) -> str:
    """Whether it is seen, and within what distance."""
    values, noun = statement.values, nouns(statement.values["what"])
    within = f" within {values['within_m']:.10g} m" if "within_m" in values else ""
    are = noun.verb("is", "are")
    if says_there(statement):
        clause = f"{noun.a} {are} seen"
    else:
        clause = f"{noun.bare} is not seen" if noun.is_name else f"no {noun.bare} {are} seen"
    return f"{in_part(statement.part)}{clause}{within}"


def excludes(one: Statement, other: Statement, things: NamedThings) -> str:
    """A thing not seen, and seen or spoken of in a part that lies within."""
    if says_there(one) or not encloses(one.part, other.part):
        return ""
    what = one.values["what"]
    limit_m = one.values.get("within_m", math.inf)
    if other.kind != one.kind:
        spoken_of = any(things.same(what, thing) for thing in other.things)
        counted = other.values.get("count", 0) > 0 and other.part == one.part
        if spoken_of and math.isinf(limit_m) and (things.is_name(what) or counted):
            return "what is not seen is told of"
    elif says_there(other) and things.same(what, other.values["what"]):
        seen_m = other.values.get("within_m", math.inf)
        of_one = things.is_name(what) and seen_m <= limit_m
        of_all = one.part == other.part and math.isinf(seen_m) and math.isinf(limit_m)
        if of_one or (of_all and not things.is_name(what)):
            return "a thing is seen or it is not"
    return ""


def questions(subjects: Subjects) -> list[Question]:
    """Whether each thing is seen."""
    return [
        Question(
            f"Is {indefinite(what, subjects.things)} seen?",
            tuple(Statement("seen", {"what": what, "seen": seen}) for seen in (True, False)),
        )
        for what in subjects.names
    ]


def adds(case: Case, said: Sequence[Statement]) -> list[Statement]:
    """Man-made features near by that do not show: a map-reader looks for them."""
    things, seen = case.things, case.glance.things
    shown = {s.values["what"].casefold() for s in said if s.kind == "seen" and says_there(s)}
    missing: dict[str, Statement] = {}
    for k in range(len(things)):
        kind = things.frame["kind"].iloc[k]
        near = seen.nearest_m[k] <= _OUGHT_TO_SHOW_M
        if not near or not isinstance(kind, str) or kind.casefold() in shown | set(missing):
            continue
        if things.frame["evidence_class"].iloc[k] != "man_made":
            continue
        held = case.in_part(kind, "anywhere")
        shows = case.framing.prior @ (held * seen.chance[things.rows(kind)][None, :])
        if shows.max(initial=0.0) < 0.1 and held.max(initial=0.0) > 0.5:
            missing[kind.casefold()] = Statement("seen", {"what": kind, "seen": False}, sure="likely")
    return list(missing.values())


def never(statement: Statement, said: Sequence[Statement]) -> bool:
    """An answer whether something is seen is never left out."""
    return False


KIND = StatementKind(
    name="seen",
    meaning="that a thing is seen, or is not",
    place=30,
    section="Things",
    fields=(
        WHAT,
        SightingField("seen", "yes_no", "false where it is looked for and not seen; true if not said"),
        SightingField(
            "within_m", "number", "no farther away than so many metres", least=1, most=100_000, unit="m"
        ),
    ),
    example={"what": "wall", "seen": False, "within_m": 500},
    fit=fit,
    fact=fact,
    sentence=sentence,
    excludes=excludes,
    questions=questions,
    asked_once=True,
    described=50,
    adds=adds,
    left_unsaid=never,
    says_there=says_there,
)
