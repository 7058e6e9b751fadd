"""Statements of one sighting that cannot both be true, found before anything is weighed."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Collection
from typing import TYPE_CHECKING

from hillsight.errors import SightingError
from hillsight.ground.evidence import EvidenceTable, kind_forms
from hillsight.plan.kinds.saying import say
from hillsight.plan.observer import Observer
from hillsight.plan.vocabulary import PARTS, SLOPES
from hillsight.words.english import folded

if TYPE_CHECKING:
    from hillsight.plan.statement import Sighting, Statement

#: Measurements of one thing this many standard deviations apart are not of one thing.
_SIGMAS = 3.0

#: Against the eye, in steps from well below to well above, where each word may mean a thing to stand.
_STEPS = {
    "well above": {2},
    "a little above": {1},
    "level": {0},
    "a little below": {-1},
    "well below": {-2},
    "above": {1, 2},
    "below": {-1, -2},
}

#: Shapes that a stretch of skyline has not at once; flat excludes all others.
_SHAPES_APART = ({"falls left", "falls right"}, {"pointed", "saddle"})

_OPPOSITE = {"in front of": "behind", "behind": "in front of"}
_SLOPE_ORDER = tuple(SLOPES)

_Names = Collection[str] | None


def check_contradictions(sighting: Sighting, named: _Names = None) -> None:
    """Refuse a sighting two of whose statements exclude each other.

    Things of a kind may be several, so two statements about one exclude each other only where they speak of
    the same part of the picture. What has a name is one thing wherever it is told of.

    Parameters
    ----------
    named : proper names among the things; what is no kind that hillsight knows, if not given

    Raises
    ------
    SightingError : with both statements and their lines, the first such pair of the file
    """
    things = _Things(sighting, named)
    # By the later of the two, as a reader of the file meets them.
    for k, later in enumerate(sighting.statements):
        for earlier in sighting.statements[:k]:
            for excluded in _RULES:
                reason = excluded(earlier, later, things)
                if reason:
                    raise _error(sighting, earlier, later, reason, things)


def _error(
    sighting: Sighting, earlier: Statement, later: Statement, reason: str, things: _Things
) -> SightingError:
    told = [
        f"{say(one, things.names)!r}" + (f" (line {one.line})" if one.line else "")
        for one in (earlier, later)
    ]
    lines = f"lines {earlier.line} and {later.line}" if earlier.line and later.line else ""
    return SightingError(
        f"{told[0]} and {told[1]} exclude each other: {reason}",
        where=", ".join(text for text in (sighting.source, lines) if text),
        remedy="Take one of them out, or say in which part of the picture each holds",
    )


class _Things:
    """Which things of a sighting have a name of their own."""

    def __init__(self, sighting: Sighting, named: _Names) -> None:
        told = {folded(what) for statement in sighting.statements for what in statement.things}
        if named is None:
            table = EvidenceTable.load()
            self.names = {what for what in told if table.class_of(what) == "unclassed"}
        else:
            self.names = told & {folded(name) for name in named}
        # A kind in the singular and in the plural is one kind.
        self._forms = {what: set(kind_forms(what)) for what in told - self.names}

    def is_name(self, what: str) -> bool:
        return folded(what) in self.names

    def same(self, what: str, other: str) -> bool:
        a, b = folded(what), folded(other)
        return a == b or bool(self._forms.get(a, set()) & self._forms.get(b, set()))

    def meet(self, what: str, other: str, one: Statement, two: Statement) -> bool:
        """Whether two statements are of one thing: of one name, or of one kind in the same part."""
        return self.same(what, other) and (self.is_name(what) or one.part == two.part)


def _encloses(outer: str, inner: str) -> bool:
    return PARTS[outer][0] <= PARTS[inner][0] and PARTS[outer][1] >= PARTS[inner][1]


def _seen_and_not(one: Statement, two: Statement, things: _Things) -> str:
    """A thing not seen, and seen or told of in a part that lies within."""
    for no, yes in ((one, two), (two, one)):
        if no.kind != "seen" or no.values.get("seen", True) or not _encloses(no.part, yes.part):
            continue
        what = no.values["what"]
        limit_m = no.values.get("within_m", math.inf)
        if yes.kind != "seen":
            told = any(things.same(what, other) for other in yes.things)
            counted = yes.kind == "number" and yes.values["count"] > 0 and yes.part == no.part
            if told and math.isinf(limit_m) and (things.is_name(what) or counted):
                return "what is not seen is told of"
        elif yes.values.get("seen", True) and things.same(what, yes.values["what"]):
            seen_m = yes.values.get("within_m", math.inf)
            if things.is_name(what):
                if seen_m <= limit_m:
                    return "a thing is seen or it is not"
            elif no.part == yes.part and math.isinf(seen_m) and math.isinf(limit_m):
                return "a thing is seen or it is not"
    return ""


def _heights(one: Statement, two: Statement, things: _Things) -> str:
    if not _both("height", one, two) or one.part != two.part:
        return ""
    if not things.same(one.values["what"], two.values["what"]):
        return ""
    if "stands" in one.values and "stands" in two.values:
        apart = not _STEPS[one.values["stands"]] & _STEPS[two.values["stands"]]
        return "a thing stands at one height" if apart else ""
    return ""


def _against_sky(one: Statement, two: Statement, things: _Things) -> str:
    if not _both("against_sky", one, two) or one.part != two.part:
        return ""
    same = things.same(one.values["what"], two.values["what"])
    differ = one.values.get("stands", True) != two.values.get("stands", True)
    return "a thing stands against the sky or it does not" if same and differ else ""


def _brows(one: Statement, two: Statement, things: _Things) -> str:
    if not _both("brow", one, two):
        return ""
    for no, yes in ((one, two), (two, one)):
        if no.values.get("distance") == "none" and no.values.get("across") != "some":
            told = "distance_m" in yes.values or yes.values.get("distance", "none") != "none"
            if told and _encloses(no.part, yes.part):
                return "the ground stays in view or it does not"
    if one.part != two.part or "some" in (one.values.get("across"), two.values.get("across")):
        return ""
    if _differ(one, two, "distance"):
        return "the nearest brow is at one distance"
    for key in ("slope_before", "slope_beyond"):
        if _slopes_apart(one.values.get(key), two.values.get(key)):
            return "the ground falls or rises"
    return ""


def _dead_grounds(one: Statement, two: Statement, things: _Things) -> str:
    if not _both("dead_ground", one, two) or one.part != two.part:
        return ""
    if _differ(one, two, "extent"):
        return "the dead ground behind the nearest brow has one extent"
    told = one.values.get("beyond"), two.values.get("beyond")
    if None not in told and ((told[0] == "nothing") != (told[1] == "nothing") or _slopes_apart(*told)):
        return "the ground that shows again runs one way"
    return ""


def _skylines(one: Statement, two: Statement, things: _Things) -> str:
    if not _both("skyline", one, two) or one.part != two.part:
        return ""
    shapes = {one.values["shape"], two.values["shape"]}
    apart = len(shapes) == 2 and ("flat" in shapes or shapes in _SHAPES_APART)
    return "a stretch of skyline has one shape" if apart else ""


def _sides(one: Statement, two: Statement, things: _Things) -> str:
    """Left and right of a pair told both ways, in orders or relations."""
    for a, b in itertools.product(_left_right(one), _left_right(two)):
        if things.meet(a[0], b[1], one, two) and things.meet(a[1], b[0], one, two):
            return "one of two things is left of the other"
    return ""


def _left_right(statement: Statement) -> list[tuple[str, str]]:
    """Pairs of things of which the first is left of the second."""
    values = statement.values
    if statement.kind == "order":
        told = values["things"]
        keys = [folded(thing) for thing in told]
        # A kind that comes twice is on both sides of what is between.
        once = [thing for thing, key in zip(told, keys, strict=True) if keys.count(key) == 1]
        return list(itertools.combinations(once, 2))
    if statement.kind == "relation" and values["is"] in ("left of", "right of"):
        pair = values["what"], values["other"]
        return [pair if values["is"] == "left of" else pair[::-1]]
    return []


def _depths(one: Statement, two: Statement, things: _Things) -> str:
    """In front of and behind told both ways."""
    if not _both("relation", one, two) or one.values["is"] not in _OPPOSITE:
        return ""
    pair = one.values["what"], one.values["other"]
    for other, relation in (
        ((two.values["what"], two.values["other"]), two.values["is"]),
        ((two.values["other"], two.values["what"]), _OPPOSITE.get(two.values["is"])),
    ):
        same = all(things.meet(a, b, one, two) for a, b in zip(pair, other, strict=True))
        if same and relation == _OPPOSITE[one.values["is"]]:
            return "one of two things is in front of the other"
    return ""


def _comes_down(one: Statement, two: Statement, things: _Things) -> str:
    if not _both("comes_down", one, two) or not things.is_name(one.values["what"]):
        return ""
    same = things.same(one.values["what"], two.values["what"])
    return "it comes down to one side" if same and _differ(one, two, "to") else ""


def _numbers(one: Statement, two: Statement, things: _Things) -> str:
    kinds = {one.kind, two.kind}
    if one.part != two.part or "number" not in kinds or not kinds <= {"number", "seen"}:
        return ""
    if not things.same(one.values["what"], two.values["what"]):
        return ""
    if kinds == {"number"}:
        return "there are so many in a part" if _differ(one, two, "count") else ""
    number, seen = (one, two) if one.kind == "number" else (two, one)
    none_and_some = number.values["count"] == 0 and seen.values.get("seen", True)
    return "there are none or there are some" if none_and_some else ""


def _measured(one: Statement, two: Statement, things: _Things) -> str:
    """Bearings, angles and vertical angles of named things, farther apart than they may be out."""
    if one.kind != two.kind or one.kind not in _SPREADS:
        return ""
    told = [(folded(s.values["what"]), folded(s.values.get("other", s.values["what"]))) for s in (one, two)]
    if set(told[0]) != set(told[1]) or not set(told[0]) <= set(things.names):
        return ""
    if one.kind == "bearing" and one.values.get("north", "true") != two.values.get("north", "true"):
        return ""
    off = abs(one.values["degrees"] - two.values["degrees"])
    if one.kind == "bearing":
        off = min(off % 360.0, -off % 360.0)
    spreads = [s.values.get("give_or_take_deg", _SPREADS[s.kind](s.values["degrees"])) for s in (one, two)]
    if off > _SIGMAS * math.hypot(*spreads):
        return f"they are {off:.10g} degrees apart, more than they may be out"
    return ""


_OBSERVER = Observer()

#: How far a measurement may be out where nothing is said, degrees.
_SPREADS: dict[str, Callable[[float], float]] = {
    "bearing": lambda _: _OBSERVER.bearing_deg,
    "angle": lambda degrees: math.hypot(_OBSERVER.angle_deg, _OBSERVER.angle_share * degrees),
    "vertical_angle": lambda _: _OBSERVER.vertical_deg,
}


def _both(kind: str, one: Statement, two: Statement) -> bool:
    return one.kind == kind == two.kind


def _differ(one: Statement, two: Statement, key: str) -> bool:
    return key in one.values and key in two.values and bool(one.values[key] != two.values[key])


def _slopes_apart(one: str | None, two: str | None) -> bool:
    """Slopes of which no ground is both: words next to each other are a matter of judgement."""
    if one not in _SLOPE_ORDER or two not in _SLOPE_ORDER:
        return False
    return abs(_SLOPE_ORDER.index(one) - _SLOPE_ORDER.index(two)) > 1


_RULES = (
    _seen_and_not,
    _heights,
    _against_sky,
    _brows,
    _dead_grounds,
    _skylines,
    _sides,
    _depths,
    _comes_down,
    _numbers,
    _measured,
)
