"""A statement said in one plain English clause, as an instructor would say it."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from functools import cache
from typing import TYPE_CHECKING, Any

from hillsight.ground.evidence import EvidenceTable, kind_forms
from hillsight.words.english import folded, listed, number_word, plural, with_article

if TYPE_CHECKING:
    from hillsight.plan.statement import Statement

_IN_PART = {
    "anywhere": "",
    "left": "on the left ",
    "middle": "in the middle ",
    "right": "on the right ",
    "left half": "in the left half ",
    "right half": "in the right half ",
}
_OF_PART = {"left half": " of the left half", "right half": " of the right half"}
_FAR = {"near": "near by", "middle": "at middle distance", "far": "far off"}
_OUT_OF_VIEW = {"none": "no ground is", "little": "little ground is", "much": "much ground is"}
_STANDS = {"level": "level with us"}
_SHAPES = {
    "flat": "is flat",
    "pointed": "comes to a point",
    "saddle": "dips in a saddle",
    "falls left": "falls to the left",
    "falls right": "falls to the right",
}


@cache
def _kinds() -> EvidenceTable:
    return EvidenceTable.load()


def say(statement: Statement, named: Collection[str] = ()) -> str:
    """The statement as a clause without a full stop; how sure the observer is does not show.

    Parameters
    ----------
    named : proper names, which take no article; case makes no difference
    """
    names = {folded(name) for name in named}
    return _SAY[statement.kind](statement.values, statement.part, names)


class _Thing:
    """A thing as a sentence has it."""

    def __init__(self, what: str, names: set[str]) -> None:
        self.bare = " ".join(what.split())
        self.is_name = self.bare.casefold() in names
        self.is_many = not self.is_name and _is_plural(self.bare)
        self.the = self.bare if self.is_name else f"the {self.bare}"

    @property
    def a(self) -> str:
        if self.is_name or self.is_many:
            return self.bare
        return with_article(self.bare)

    def verb(self, singular: str, plural: str) -> str:
        return plural if self.is_many else singular


def _is_plural(kind: str) -> bool:
    """Whether it is the plural of a kind that hillsight knows."""
    if not kind.casefold().endswith("s") or kind.casefold().endswith("ss"):
        return False
    return any(form in _kinds().classes for form in kind_forms(kind)[1:])


def _number(value: float, unit: str) -> str:
    return f"{value:.10g} {unit if value != 1 else unit.removesuffix('s')}"


def _spread(values: Mapping[str, Any], key: str = "give_or_take_deg", unit: str = "degrees") -> str:
    return f", give or take {_number(values[key], unit)}" if key in values else ""


def _runs(slope: str) -> str:
    return "runs level" if slope == "level" else slope


def _brow(values: Mapping[str, Any], part: str, names: set[str]) -> str:
    where = _IN_PART[part]
    if values.get("across") == "some":
        where = "in places " if part == "anywhere" else f"in places {where}"
    before = f"{_runs(values['slope_before'])}" if "slope_before" in values else ""
    if values.get("distance") == "none":
        clause = f"{where}the ground {before + ' and ' if before else ''}stays in view"
    elif "distance" in values or "distance_m" in values:
        far = _FAR[values["distance"]] if "distance" in values else f"some {values['distance_m']:.10g} m off"
        clause = f"{where}the ground {before + ' and then ' if before else ''}falls away {far}"
    elif before:
        clause = f"{where}the near ground {before} up to its brow"
    else:
        return f"{where}the ground behind the brow {_runs(values['slope_beyond'])}"
    return clause + (
        f", and behind that it {_runs(values['slope_beyond'])}" if "slope_beyond" in values else ""
    )


def _dead_ground(values: Mapping[str, Any], part: str, names: set[str]) -> str:
    beyond = values.get("beyond")
    shows = (
        "" if beyond is None else "nothing shows" if beyond == "nothing" else f"the ground {_runs(beyond)}"
    )
    if "extent_m" in values:
        hidden = f"some {values['extent_m']:.10g} m of ground are out of view"
    elif "extent" in values:
        hidden = f"{_OUT_OF_VIEW[values['extent']]} out of view"
    else:
        return f"{_IN_PART[part]}{shows} behind the brow"
    return f"{_IN_PART[part]}{hidden}{f' and {shows} beyond it' if shows else ''}"


def _seen(values: Mapping[str, Any], part: str, names: set[str]) -> str:
    thing = _Thing(values["what"], names)
    within = f" within {values['within_m']:.10g} m" if "within_m" in values else ""
    are = thing.verb("is", "are")
    if values.get("seen", True):
        clause = f"{thing.a} {are} seen"
    else:
        clause = f"{thing.bare} is not seen" if thing.is_name else f"no {thing.bare} {are} seen"
    return f"{_IN_PART[part]}{clause}{within}"


def _height(values: Mapping[str, Any], part: str, names: set[str]) -> str:
    thing = _Thing(values["what"], names)
    if "stands" in values:
        stands = _STANDS.get(values["stands"], f"{values['stands']} us")
    else:
        metres = values["metres_above"]
        stands = (
            f"{abs(metres):.10g} m {'above' if metres > 0 else 'below'} us" if metres else "level with us"
        )
        stands += _spread(values, "give_or_take_m", "m")
    return f"{_IN_PART[part]}{thing.the} {thing.verb('stands', 'stand')} {stands}"


def _against_sky(values: Mapping[str, Any], part: str, names: set[str]) -> str:
    thing = _Thing(values["what"], names)
    if values.get("stands", True):
        return f"{_IN_PART[part]}{thing.the} {thing.verb('stands', 'stand')} against the sky"
    return f"{_IN_PART[part]}{thing.the} {thing.verb('does', 'do')} not stand against the sky"


def _order(values: Mapping[str, Any], part: str, names: set[str]) -> str:
    things = [_Thing(what, names).the for what in values["things"]]
    return f"{_IN_PART[part]}from left to right there are {listed(things)}"


def _relation(values: Mapping[str, Any], part: str, names: set[str]) -> str:
    thing, other = _Thing(values["what"], names), _Thing(values["other"], names)
    if values["is"] == "overlapping":
        stands = thing.verb("overlaps", "overlap")
    else:
        stands = f"{thing.verb('is', 'are')} {values['is']}"
    gap = f", {_number(values['gap_deg'], 'degrees')} apart{_spread(values)}" if "gap_deg" in values else ""
    return f"{_IN_PART[part]}{thing.the} {stands} {other.the}{gap}"


def _skyline(values: Mapping[str, Any], part: str, names: set[str]) -> str:
    of = _OF_PART.get(part, f" {_IN_PART[part]}".rstrip())
    return f"the skyline{of} {_SHAPES[values['shape']]}"


def _skyline_points(values: Mapping[str, Any], part: str, names: set[str]) -> str:
    of = _OF_PART.get(part, f" {_IN_PART[part]}".rstrip())
    return f"the skyline{of} runs through {len(values['points'])} traced points{_spread(values)}"


def _count(values: Mapping[str, Any], part: str, names: set[str]) -> str:
    thing, count = _Thing(values["what"], names), int(values["count"])
    many = count != 1 and (count > 1 or thing.is_many)
    what = plural(thing.bare) if many and not (thing.is_name or thing.is_many) else thing.bare
    return f"{_IN_PART[part]}{number_word(count)} {what} {'are' if many else 'is'} seen"


def _comes_down(values: Mapping[str, Any], part: str, names: set[str]) -> str:
    thing = _Thing(values["what"], names)
    return f"{_IN_PART[part]}{thing.the} {thing.verb('comes', 'come')} down to the {values['to']}"


def _bearing(values: Mapping[str, Any], part: str, names: set[str]) -> str:
    degrees = _number(values["degrees"], "degrees")
    north = values.get("north", "true")
    return (
        f"{_IN_PART[part]}the bearing to {_Thing(values['what'], names).the} is {degrees} {north}"
        f"{_spread(values)}"
    )


def _angle(values: Mapping[str, Any], part: str, names: set[str]) -> str:
    thing, other = _Thing(values["what"], names), _Thing(values["other"], names)
    apart = _number(values["degrees"], "degrees")
    return f"{_IN_PART[part]}{thing.the} and {other.the} are {apart} apart{_spread(values)}"


def _vertical_angle(values: Mapping[str, Any], part: str, names: set[str]) -> str:
    thing, degrees = _Thing(values["what"], names), values["degrees"]
    are = thing.verb("is", "are")
    if degrees == 0:
        level = "level with our eyes"
    else:
        level = (
            f"{_number(abs(degrees), 'degrees')} {'above' if degrees > 0 else 'below'} the level of our eyes"
        )
    return f"{_IN_PART[part]}{thing.the} {are} {level}{_spread(values)}"


_SAY = {
    "brow": _brow,
    "dead_ground": _dead_ground,
    "seen": _seen,
    "height": _height,
    "against_sky": _against_sky,
    "order": _order,
    "relation": _relation,
    "skyline": _skyline,
    "skyline_points": _skyline_points,
    "number": _count,
    "comes_down": _comes_down,
    "bearing": _bearing,
    "angle": _angle,
    "vertical_angle": _vertical_angle,
}
