"""A bearing taken to a thing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.arrays import known_or
from hillsight.plan.kinds.shared.chances import any_of, said_of
from hillsight.plan.kinds.shared.exclusions import measured_apart
from hillsight.plan.kinds.shared.kind import StatementKind
from hillsight.plan.kinds.shared.nouns import in_part, number_with, spread_words
from hillsight.plan.kinds.shared.things import (
    SHOWS_FROM,
    SPREAD_DEG,
    WHAT,
    bearing_deg,
    definite,
    fact_of,
    out_of_view,
    place,
)
from hillsight.plan.observer import Observer
from hillsight.plan.verdict import Fact
from hillsight.plan.vocabulary import NORTHS, SightingField

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.plan.kinds.shared.exclusions import NamedThings
    from hillsight.plan.kinds.shared.kind import Case
    from hillsight.plan.kinds.shared.nouns import Nouns
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.statement import Statement

#: A place is known to some so many metres, which turns bearings to what is near.
_PLACE_M = 12.0


def fit(case: Case) -> Floats:
    """How well a thing lies on a bearing, (h,).

    Raises
    ------
    ValueError : a magnetic bearing without a declination
    """
    what, values, seen = case.values["what"], case.values, case.glance.things
    north = values.get("north", "true")
    true_deg = to_true_deg(float(values["degrees"]), north, case.glance, case.declination_deg)
    own = float(values.get("give_or_take_deg", case.observer.bearing_deg))
    rows = case.rows(what)
    # Anywhere on a wide thing may have been aimed at.
    left = (true_deg - seen.left_deg[rows]) % 360.0
    width = seen.width_deg[rows]
    outside = np.where(left <= width, 0.0, np.minimum(left - width, 360.0 - left))
    place_deg = np.degrees(_PLACE_M / np.maximum(seen.distance_m[rows], _PLACE_M))
    spread = np.hypot(own, place_deg)
    fits = known_or(own / spread * np.exp(-0.5 * (outside / spread) ** 2), 0.0)
    # The compass does not care where the picture's edges are, unless the observer says so.
    if case.statement.part == "anywhere":
        shape = case.framing.heading_deg.size, rows.size
        each: Floats = np.broadcast_to((case.noticed(what) * fits)[None, :], shape)
    else:
        each = case.shown(what) * fits[None, :]
    return said_of(any_of(each), what, case)


def to_true_deg(degrees: float, north: str, glance: Glance, declination_deg: float | None) -> float:
    """A bearing from true north.

    Raises
    ------
    ValueError : a magnetic bearing without a declination
    """
    if north == "grid":
        return degrees + glance.convergence_deg
    if north == "magnetic":
        if declination_deg is None:
            raise ValueError("a magnetic bearing needs a declination")
        return degrees + declination_deg
    return degrees


def fact(case: Case) -> Fact:
    """On which bearing it lies."""
    what = case.values["what"]
    rows = case.rows(what)
    one = int(rows[int(np.argmax(case.glance.things.chance[rows]))])
    true_deg, name = bearing_deg(case, one), definite(what, case.things)
    if case.glance.things.chance[one] < SHOWS_FROM:
        words = out_of_view(case, what, one)
        return Fact(words, geometry=place(case, one), bearing_true_deg=true_deg, absent=True)
    words = f"{name} lies on {round(true_deg) % 360} degrees true"
    return fact_of(case, one, words, true_deg, "degrees from true north")


def sentence(statement: Statement, nouns: Nouns) -> str:
    """The bearing and its north."""
    values = statement.values
    degrees, north = number_with(values["degrees"], "degrees"), values.get("north", "true")
    noun = nouns(values["what"])
    return f"{in_part(statement.part)}the bearing to {noun.the} is {degrees} {north}{spread_words(values)}"


def excludes(one: Statement, other: Statement, things: NamedThings) -> str:
    """Two bearings of one thing from the same north that are too far apart."""
    if one.values.get("north", "true") != other.values.get("north", "true"):
        return ""
    return measured_apart(one, other, things, lambda _: Observer.bearing_deg, circular=True)


KIND = StatementKind(
    name="bearing",
    meaning="a bearing taken to a thing",
    place=120,
    section="Measured",
    fields=(
        WHAT,
        SightingField("degrees", "number", "the bearing", least=0, most=360, unit="degrees", needed=True),
        SightingField("north", "word", "the north it is counted from; true if not said", NORTHS),
        SPREAD_DEG,
    ),
    example={"what": "cairn", "degrees": 47, "north": "grid"},
    fit=fit,
    fact=fact,
    sentence=sentence,
    excludes=excludes,
    any_direction=True,
)
