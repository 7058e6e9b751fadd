"""When two statements speak of one thing, and whether what they say of it can be true together."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Collection
from typing import TYPE_CHECKING

from hillsight.ground.evidence import EvidenceTable, kind_forms
from hillsight.plan.vocabulary import PARTS
from hillsight.words.english import folded

if TYPE_CHECKING:
    from hillsight.plan.statement import Sighting, Statement

#: Measurements of one thing this many standard deviations apart are not of one thing.
_SIGMAS = 3.0


class NamedThings:
    """Which things of a sighting have a name of their own.

    Parameters
    ----------
    named : proper names; what is no kind that hillsight knows, if None
    """

    def __init__(self, sighting: Sighting, named: Collection[str] | None) -> None:
        said = {folded(what) for statement in sighting.statements for what in statement.things}
        if named is None:
            table = EvidenceTable.load()
            self.names = {what for what in said if table.class_of(what) == "unclassed"}
        else:
            self.names = said & {folded(name) for name in named}
        # A kind in the singular and in the plural is one kind.
        self._forms = {what: set(kind_forms(what)) for what in said - self.names}

    def is_name(self, what: str) -> bool:
        """Whether it is a proper name."""
        return folded(what) in self.names

    def same(self, what: str, other: str) -> bool:
        """Whether two names or kinds are one."""
        a, b = folded(what), folded(other)
        return a == b or bool(self._forms.get(a, set()) & self._forms.get(b, set()))

    def meet(self, what: str, other: str, one: Statement, two: Statement) -> bool:
        """Whether two statements are of one thing: of one name, or of one kind in the same part."""
        return self.same(what, other) and (self.is_name(what) or one.part == two.part)


def encloses(outer: str, inner: str) -> bool:
    """Whether a part of the picture holds another."""
    return PARTS[outer][0] <= PARTS[inner][0] and PARTS[outer][1] >= PARTS[inner][1]


def alike(one: Statement, other: Statement) -> bool:
    """Whether two statements are of one kind and about the same part of the picture."""
    return one.kind == other.kind and one.part == other.part


def differ(one: Statement, other: Statement, key: str) -> bool:
    """Whether both say something in a field, and not the same."""
    return key in one.values and key in other.values and bool(one.values[key] != other.values[key])


def sides(one: Statement, other: Statement, things: NamedThings) -> str:
    """Left and right of a pair said both ways, in orders or relations."""
    for a, b in itertools.product(_left_right(one), _left_right(other)):
        if things.meet(a[0], b[1], one, other) and things.meet(a[1], b[0], one, other):
            return "one of two things is left of the other"
    return ""


def _left_right(statement: Statement) -> list[tuple[str, str]]:
    """Pairs of things of which the first is left of the second."""
    values = statement.values
    if "things" in values:
        keys = [folded(thing) for thing in values["things"]]
        # A kind that comes twice is on both sides of what is between.
        once = [thing for thing, key in zip(values["things"], keys, strict=True) if keys.count(key) == 1]
        return list(itertools.combinations(once, 2))
    if values.get("is") in ("left of", "right of"):
        pair = values["what"], values["other"]
        return [pair if values["is"] == "left of" else pair[::-1]]
    return []


def measured_apart(
    one: Statement,
    other: Statement,
    things: NamedThings,
    spread_deg: Callable[[float], float],
    *,
    circular: bool,
) -> str:
    """Degrees of the same named things, farther apart than they may be out.

    Parameters
    ----------
    spread_deg : how far a figure may be out where nothing is said
    circular : whether degrees go round the compass
    """
    if one.kind != other.kind:
        return ""
    said = [{folded(s.values["what"]), folded(s.values.get("other", s.values["what"]))} for s in (one, other)]
    if said[0] != said[1] or not said[0] <= set(things.names):
        return ""
    off = abs(one.values["degrees"] - other.values["degrees"])
    if circular:
        off = min(off % 360.0, -off % 360.0)
    spreads = [s.values.get("give_or_take_deg", spread_deg(s.values["degrees"])) for s in (one, other)]
    if off > _SIGMAS * math.hypot(*spreads):
        return f"they are {off:.10g} degrees apart, more than they may be out"
    return ""
