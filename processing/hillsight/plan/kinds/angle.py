"""The angle between two things."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from hillsight.arrays import known_or
from hillsight.plan.kinds.shared.exclusions import measured_apart
from hillsight.plan.kinds.shared.kind import StatementKind
from hillsight.plan.kinds.shared.nouns import in_part, number_with, spread_words
from hillsight.plan.kinds.shared.pairs import any_pair, both_shown, near_angle, places
from hillsight.plan.kinds.shared.things import OTHER, SPREAD_DEG, WHAT, definite
from hillsight.plan.observer import Observer
from hillsight.plan.verdict import Fact
from hillsight.plan.vocabulary import SightingField
from hillsight.words.angles import signed_deg

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.plan.kinds.shared.exclusions import NamedThings
    from hillsight.plan.kinds.shared.kind import Case
    from hillsight.plan.kinds.shared.nouns import Nouns
    from hillsight.plan.statement import Statement


def fit(case: Case) -> Floats:
    """How well two things stand so many degrees apart, (h,)."""
    values, middle = case.values, case.glance.things.middle_deg
    one, two = case.rows(values["what"]), case.rows(values["other"])
    apart = np.abs(signed_deg(middle[two][None, :] - middle[one][:, None]))
    return any_pair(case, known_or(near_angle(case, apart, float(values["degrees"])), 0.0))


def fact(case: Case) -> Fact:
    """The angle between their middles."""
    both = both_shown(case)
    if isinstance(both, Fact):
        return both
    one, two = both
    middle = case.glance.things.middle_deg
    turn = float(signed_deg(middle[two] - middle[one]))
    name, other = (definite(case.values[key], case.things) for key in ("what", "other"))
    return Fact(
        f"{name} and {other} stand {abs(turn):.0f} degrees apart",
        abs(turn),
        "degrees",
        places(case, both),
        float((middle[one] + turn / 2.0) % 360.0),
    )


def sentence(statement: Statement, nouns: Nouns) -> str:
    """How far apart they are."""
    values = statement.values
    noun, other = nouns(values["what"]), nouns(values["other"])
    apart = number_with(values["degrees"], "degrees")
    return f"{in_part(statement.part)}{noun.the} and {other.the} are {apart} apart{spread_words(values)}"


def excludes(one: Statement, other: Statement, things: NamedThings) -> str:
    """Two angles between the same things that are too far apart."""
    return measured_apart(
        one,
        other,
        things,
        lambda degrees: math.hypot(Observer.angle_deg, Observer.angle_share * degrees),
        circular=False,
    )


KIND = StatementKind(
    name="angle",
    meaning="the angle between two things",
    place=130,
    section="Measured",
    fields=(
        WHAT,
        OTHER,
        SightingField(
            "degrees", "number", "between their middles", least=0, most=180, unit="degrees", needed=True
        ),
        SPREAD_DEG,
    ),
    example={"what": "knoll", "other": "saddle", "degrees": 12},
    fit=fit,
    fact=fact,
    sentence=sentence,
    excludes=excludes,
)
