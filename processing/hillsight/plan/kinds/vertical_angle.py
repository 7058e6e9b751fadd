"""The angle of a thing above the level of the eye."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.arrays import known_or
from hillsight.plan.kinds.height import fact
from hillsight.plan.kinds.shared.chances import any_of, said_of
from hillsight.plan.kinds.shared.exclusions import measured_apart
from hillsight.plan.kinds.shared.kind import StatementKind
from hillsight.plan.kinds.shared.nouns import in_part, number_with, spread_words
from hillsight.plan.kinds.shared.things import SPREAD_DEG, WHAT
from hillsight.plan.observer import Observer
from hillsight.plan.vocabulary import SightingField

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.plan.kinds.shared.exclusions import NamedThings
    from hillsight.plan.kinds.shared.kind import Case
    from hillsight.plan.kinds.shared.nouns import Nouns
    from hillsight.plan.statement import Statement


def fit(case: Case) -> Floats:
    """How well a thing there stands at a vertical angle, (h,)."""
    what, values, seen = case.values["what"], case.values, case.glance.things
    rows = case.rows(what)
    own = float(values.get("give_or_take_deg", case.observer.vertical_deg))
    spread = np.hypot(own, seen.vertical_spread_deg[rows])
    off = (seen.vertical_deg[rows] - float(values["degrees"])) / spread
    fits = known_or(own / spread * np.exp(-0.5 * off**2), 0.0)
    return said_of(any_of(case.shown(what) * fits[None, :]), what, case)


def sentence(statement: Statement, nouns: Nouns) -> str:
    """The angle above or below level."""
    values, noun = statement.values, nouns(statement.values["what"])
    degrees = values["degrees"]
    level = "level with our eyes"
    if degrees != 0:
        above = "above" if degrees > 0 else "below"
        level = f"{number_with(abs(degrees), 'degrees')} {above} the level of our eyes"
    return f"{in_part(statement.part)}{noun.the} {noun.verb('is', 'are')} {level}{spread_words(values)}"


def excludes(one: Statement, other: Statement, things: NamedThings) -> str:
    """Two angles of one thing that are too far apart."""
    return measured_apart(one, other, things, lambda _: Observer.vertical_deg, circular=False)


KIND = StatementKind(
    name="vertical_angle",
    meaning="the angle of a thing above the level of the eye",
    place=140,
    section="Measured",
    fields=(
        WHAT,
        SightingField(
            "degrees",
            "number",
            "above level, below it negative",
            least=-90,
            most=90,
            unit="degrees",
            needed=True,
        ),
        SPREAD_DEG,
    ),
    example={"what": "knoll", "degrees": -1.5},
    fit=fit,
    fact=fact,
    sentence=sentence,
    excludes=excludes,
)
