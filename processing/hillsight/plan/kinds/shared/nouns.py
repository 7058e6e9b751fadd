"""Things, numbers and parts of the picture as a sentence has them."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from hillsight.ground.evidence import EvidenceTable, kind_forms
from hillsight.words.english import folded, with_article

_IN_PART = {
    "anywhere": "",
    "left": "on the left ",
    "middle": "in the middle ",
    "right": "on the right ",
    "left half": "in the left half ",
    "right half": "in the right half ",
}
_OF_PART = {"left half": " of the left half", "right half": " of the right half"}


def in_part(part: str) -> str:
    """Where in the picture, before a clause: ``on the left ``; nothing for anywhere."""
    return _IN_PART[part]


def of_part(part: str) -> str:
    """Where in the picture, after a noun: `` of the left half``; nothing for anywhere."""
    return _OF_PART.get(part, f" {_IN_PART[part]}".rstrip())


@dataclass(frozen=True)
class Noun:
    """A thing as a sentence has it.

    is_name : a proper name, which takes no article; is_many : a kind in the plural
    """

    bare: str
    is_name: bool
    is_many: bool

    @property
    def the(self) -> str:
        """As one already spoken of."""
        return self.bare if self.is_name else f"the {self.bare}"

    @property
    def a(self) -> str:
        """As one spoken of for the first time."""
        return self.bare if self.is_name or self.is_many else with_article(self.bare)

    def verb(self, singular: str, plural: str) -> str:
        """The verb that goes with it."""
        return plural if self.is_many else singular


@dataclass(frozen=True)
class Nouns:
    """Nouns of a sighting, of which some are proper names; case makes no difference."""

    names: Collection[str] = ()
    _folded: frozenset[str] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_folded", frozenset(folded(name) for name in self.names))

    def __call__(self, what: str) -> Noun:
        """The noun of a name or kind."""
        bare = " ".join(what.split())
        is_name = bare.casefold() in self._folded
        return Noun(bare, is_name, not is_name and _is_plural(bare))


@cache
def _kinds() -> EvidenceTable:
    return EvidenceTable.load()


def _is_plural(kind: str) -> bool:
    """Whether it is the plural of a kind that hillsight knows."""
    if not kind.casefold().endswith("s") or kind.casefold().endswith("ss"):
        return False
    return any(form in _kinds().classes for form in kind_forms(kind)[1:])


def number_with(value: float, unit: str) -> str:
    """A number with its unit, in the singular for one."""
    return f"{value:.10g} {unit if value != 1 else unit.removesuffix('s')}"


def spread_words(values: Mapping[str, Any], key: str = "give_or_take_deg", unit: str = "degrees") -> str:
    """How far a figure may be out, after a comma; nothing where it is not said."""
    return f", give or take {number_with(values[key], unit)}" if key in values else ""
