"""A sighting: what an observer says of a picture, statement by statement."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from hillsight.frozen import FrozenMapping

if TYPE_CHECKING:
    import datetime


@dataclass(frozen=True)
class Picture:
    """The picture as the observer gives it.

    looks_deg : bearing of its middle, or None where nobody knows; counted from ``north``
    give_or_take_deg : one standard deviation of it
    width_deg : angle between its sides
    taken : day or time; aware of its zone where the sun is told
    sun_right_deg : the sun's bearing from the picture's middle, to the right positive
    """

    title: str = ""
    looks_deg: float | None = None
    north: str = "true"
    give_or_take_deg: float = 20.0
    width_deg: float = 60.0
    taken: datetime.datetime | datetime.date | None = None
    sun_right_deg: float | None = None


@dataclass(frozen=True)
class Statement:
    """One statement; its kind and values are those of ``vocabulary.KINDS``.

    line : of the sighting file, 0 where it was not read from one
    """

    kind: str
    values: Mapping[str, Any]
    part: str = "anywhere"
    sure: str = "sure"
    line: int = 0

    def __post_init__(self) -> None:
        object.__setattr__(self, "values", FrozenMapping(self.values))

    @property
    def things(self) -> tuple[str, ...]:
        """Names or kinds that the statement is about; none for the ground itself."""
        named = [self.values[key] for key in ("what", "other") if key in self.values]
        return (*named, *self.values.get("things", ()))


@dataclass(frozen=True)
class Sighting:
    """A picture and what is said of it.

    source : the file, for messages and provenance
    """

    picture: Picture = field(default_factory=Picture)
    statements: tuple[Statement, ...] = ()
    source: str = ""
