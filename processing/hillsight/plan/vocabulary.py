"""The words of a sighting file that all kinds of statement share: fields, parts of the picture, sureness.

What the kinds say besides stands in ``plan.kinds``. One table serves the reader of the file, its template,
its JSON schema and the documentation.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Form = Literal["word", "text", "texts", "number", "yes_no", "pairs"]

#: Parts of the picture, each with its edges as shares of the picture's width from the middle.
PARTS = {
    "anywhere": (-0.5, 0.5),
    "left": (-0.5, -1 / 6),
    "middle": (-1 / 6, 1 / 6),
    "right": (1 / 6, 0.5),
    "left half": (-0.5, 0.0),
    "right half": (0.0, 0.5),
}

#: How sure the observer is, with the chance that such a statement is wrong altogether: another thing was
#: taken for it, or it was misread. Common practice, no source.
SURENESS = {"certain": 0.02, "sure": 0.05, "likely": 0.15, "doubtful": 0.5}

NORTHS = ("true", "grid", "magnetic")

#: Points of the compass with their bearings.
COMPASS = {
    name: 22.5 * k
    for k, name in enumerate(
        ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")
    )
}


@dataclass(frozen=True)
class SightingField:
    """One field of a statement or of the picture.

    words : what may stand in it, for words
    least, most : bounds of numbers
    unit : of numbers, with the frame
    needed : whether a statement is nothing without it
    is_whole : of numbers that count
    """

    name: str
    form: Form
    meaning: str
    words: tuple[str, ...] = ()
    least: float = float("-inf")
    most: float = float("inf")
    unit: str = ""
    needed: bool = False
    is_whole: bool = False


COMMON = (
    SightingField("part", "word", "where in the picture; anywhere if not said", tuple(PARTS)),
    SightingField("sure", "word", "how sure the observer is; sure if not said", tuple(SURENESS)),
    SightingField("note", "text", "anything; it is not read"),
)

PICTURE = (
    SightingField("title", "text", "what the picture is called"),
    SightingField(
        "looks", "text", "where it looks: a point of the compass or degrees; all round if not said"
    ),
    SightingField("north", "word", "the north those degrees are counted from; true if not said", NORTHS),
    SightingField(
        "give_or_take_deg", "number", "how far that may be out", least=0.5, most=180, unit="degrees"
    ),
    SightingField(
        "width_deg", "number", "how wide the picture is; 60 if not said", least=5, most=360, unit="degrees"
    ),
    SightingField("taken", "text", "day, or day and time with its zone, as in 2026-06-01T15:30:00+01:00"),
    SightingField(
        "sun_right_deg",
        "number",
        "how far right of the middle the sun stands",
        least=-180,
        most=180,
        unit="degrees",
    ),
)
"""Fields of the table ``[picture]``."""

FORMAT = "hillsight sighting 1"
"""First line of every sighting file: ``format = ...``."""
