"""What statements about two or more things share: which pairs are meant, and the angles between them."""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
import shapely

from hillsight.plan.kinds.shared.chances import said_of
from hillsight.plan.kinds.shared.things import SHOWS_FROM, absent, definite, likeliest, place
from hillsight.plan.verdict import Fact
from hillsight.words.trust import trust_order

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from hillsight.arrays import Floats
    from hillsight.plan.kinds.shared.exclusions import NamedThings
    from hillsight.plan.kinds.shared.kind import Case
    from hillsight.plan.look.things import Things
    from hillsight.plan.statement import Statement

BESIDE_DEG = 1.0
"""Two things whose bearings differ by less are not said to be left or right of one another."""

MOST_OF_A_KIND = 60
"""Of a kind with more things than these the likeliest are paired with others: no picture shows so many."""


def near_angle(case: Case, apart_deg: Floats, given_deg: float) -> Floats:
    """How well an angle between two things fits one given, 1 at best."""
    default = float(np.hypot(case.observer.angle_deg, case.observer.angle_share * given_deg))
    spread = float(case.values.get("give_or_take_deg", default))
    fits: Floats = np.exp(-0.5 * ((apart_deg - given_deg) / spread) ** 2)
    return fits


def least_trusted_thing(wanted: Sequence[str], things: Things) -> str:
    """The thing of the least trusted class among several: the statement is worth no more."""
    return max(wanted, key=lambda what: trust_order(things.evidence_class(what)))


def any_pair(case: Case, fits: Floats) -> Floats:
    """Chance that it would be said of any pair, from how each pair fits, (m, m') to (h,)."""
    what, other = case.values["what"], case.values["other"]
    ones, twos = case.shown(what), case.shown(other, "anywhere")
    one, two = case.rows(what), case.rows(other)
    fits = np.where(one[:, None] == two[None, :], 0.0, fits)
    kept = np.argsort(-ones.max(axis=0, initial=0.0), kind="stable")[:MOST_OF_A_KIND]
    also = np.argsort(-twos.max(axis=0, initial=0.0), kind="stable")[:MOST_OF_A_KIND]
    ones, twos, fits, one = ones[:, kept], twos[:, also], fits[np.ix_(kept, also)], one[kept]
    none = np.ones(ones.shape[0])
    for k in range(one.size):
        none = none * np.prod(1.0 - np.clip(ones[:, k : k + 1] * twos * fits[k][None, :], 0.0, 1.0), axis=1)
    return said_of(1.0 - none, least_trusted_thing((what, other), case.things), case)


def both_shown(case: Case) -> tuple[int, int] | Fact:
    """The two things meant, or why they do not both show."""
    what, other = case.values["what"], case.values["other"]
    one, chance = likeliest(case, what)
    if chance < SHOWS_FROM:
        return absent(case, what)
    two, chance = likeliest(case, other, "anywhere")
    if chance < SHOWS_FROM:
        return absent(case, other, "anywhere")
    if one == two:
        words = f"{definite(what, case.things)} and {definite(other, case.things)} are one thing"
        return Fact(words, absent=True)
    return one, two


def said_of_that_pair(
    one: Statement, other: Statement, field: str, turned: Mapping[str, str], things: NamedThings
) -> set[str]:
    """What another statement says, in a field, of the pair that one is about, whichever it names first.

    turned : what each word is with the two things the other way round; a word that has none says nothing then
    """
    pair, word = (one.values["what"], one.values["other"]), other.values[field]
    first, second = other.values["what"], other.values["other"]
    ways = [((first, second), word)]
    if word in turned:
        ways.append(((second, first), turned[word]))
    return {
        said
        for theirs, said in ways
        if all(things.meet(a, b, one, other) for a, b in zip(pair, theirs, strict=True))
    }


def named_pairs(named: Sequence[str], most: int) -> list[tuple[str, str]]:
    """Each two of the first so many named things, to ask about."""
    return list(combinations(named[:most], 2))


def places(case: Case, things: Sequence[int]) -> shapely.GeometryCollection:
    """Where several things are on the map."""
    return shapely.geometrycollections([place(case, thing) for thing in things])
