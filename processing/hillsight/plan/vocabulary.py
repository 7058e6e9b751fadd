"""The words of a sighting file: kinds of statement, their fields and what may stand in them.

One table serves the reader of the file, its template, its JSON schema and the documentation.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

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

#: Distances in words, with the metres between which each is said. Common practice, no source.
DISTANCES = {"near": (0.0, 150.0), "middle": (150.0, 600.0), "far": (600.0, float("inf"))}

#: Slopes in words, with the degrees between which each is said, falling away from the eye negative.
SLOPES = {
    "falls steeply": (-90.0, -15.0),
    "falls gently": (-15.0, -3.0),
    "level": (-3.0, 3.0),
    "rises gently": (3.0, 15.0),
    "rises steeply": (15.0, 90.0),
}

#: Dead ground in words, with the metres along a line of sight that are hidden. Common practice, no source.
DEAD_GROUND = {"none": (0.0, 20.0), "little": (20.0, 250.0), "much": (250.0, float("inf"))}

HEIGHTS = ("well above", "a little above", "level", "a little below", "well below", "above", "below")
SHAPES = ("flat", "pointed", "saddle", "falls left", "falls right")
RELATIONS = ("left of", "right of", "in front of", "behind", "overlapping")
NORTHS = ("true", "grid", "magnetic")

#: Points of the compass with their bearings.
COMPASS = {
    name: 22.5 * k
    for k, name in enumerate(
        ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")
    )
}


@dataclass(frozen=True)
class Field:
    """One field of a statement or of the picture.

    words : what may stand in it, for words
    least, most : bounds of numbers
    unit : of numbers, with the frame
    needed : whether a statement is nothing without it
    """

    name: str
    form: Form
    meaning: str
    words: tuple[str, ...] = ()
    least: float = float("-inf")
    most: float = float("inf")
    unit: str = ""
    needed: bool = False


@dataclass(frozen=True)
class StatementKind:
    """A kind of statement.

    one_of : fields of which at least one must be there
    example : values of one statement of this kind, as in the template
    """

    name: str
    meaning: str
    fields: tuple[Field, ...]
    one_of: tuple[str, ...] = ()
    example: tuple[tuple[str, Any], ...] = ()


_WHAT = Field("what", "text", "a name on the map, or a kind such as knoll, tarn or wall", needed=True)
_OTHER = Field("other", "text", "the other thing, named likewise", needed=True)
_SPREAD_DEG = Field(
    "give_or_take_deg", "number", "how far it may be out", least=0.01, most=90, unit="degrees"
)

COMMON = (
    Field("part", "word", "where in the picture; anywhere if not said", tuple(PARTS)),
    Field("sure", "word", "how sure the observer is; sure if not said", tuple(SURENESS)),
    Field("note", "text", "anything; it is not read"),
)

KINDS = {
    kind.name: kind
    for kind in (
        StatementKind(
            "brow",
            "where the near ground turns out of view",
            (
                Field(
                    "distance", "word", "in words, or none: the ground stays in view", (*DISTANCES, "none")
                ),
                Field("distance_m", "number", "in metres", least=1, most=100_000, unit="m"),
                Field(
                    "slope_before",
                    "word",
                    "how the ground runs up to it, straight away from the eye",
                    tuple(SLOPES),
                ),
                Field(
                    "slope_beyond",
                    "word",
                    "how the ground runs behind it, if that can be told",
                    tuple(SLOPES),
                ),
                Field("across", "word", "whether it crosses all or only some of that part", ("all", "some")),
            ),
            ("distance", "distance_m", "slope_before", "slope_beyond"),
            (("part", "left"), ("distance", "near")),
        ),
        StatementKind(
            "dead_ground",
            "how much ground is out of view behind the nearest brow, and what comes up beyond it",
            (
                Field("extent", "word", "in words", tuple(DEAD_GROUND)),
                Field("extent_m", "number", "in metres away from the eye", least=1, most=100_000, unit="m"),
                Field(
                    "beyond",
                    "word",
                    "the first ground that shows again behind it, straight away from the eye",
                    (*SLOPES, "nothing"),
                ),
            ),
            ("extent", "extent_m", "beyond"),
            (("part", "middle"), ("extent", "much"), ("beyond", "rises steeply")),
        ),
        StatementKind(
            "seen",
            "that a thing is seen, or is not",
            (
                _WHAT,
                Field("seen", "yes_no", "false where it is looked for and not seen; true if not said"),
                Field(
                    "within_m",
                    "number",
                    "no farther away than so many metres",
                    least=1,
                    most=100_000,
                    unit="m",
                ),
            ),
            (),
            (("what", "wall"), ("seen", False), ("within_m", 500)),
        ),
        StatementKind(
            "height",
            "how high a thing stands against the eye",
            (
                _WHAT,
                Field("stands", "word", "in words", HEIGHTS),
                Field(
                    "metres_above",
                    "number",
                    "metres above the eye, below it negative",
                    least=-9000,
                    most=9000,
                    unit="m",
                ),
                Field(
                    "give_or_take_m",
                    "number",
                    "how far the metres may be out",
                    least=0.1,
                    most=2000,
                    unit="m",
                ),
            ),
            ("stands", "metres_above"),
            (("what", "knoll"), ("stands", "a little below")),
        ),
        StatementKind(
            "against_sky",
            "whether a thing stands against the sky",
            (_WHAT, Field("stands", "yes_no", "false where there is ground behind it; true if not said")),
            (),
            (("what", "knoll"), ("stands", True)),
        ),
        StatementKind(
            "order",
            "things from left to right",
            (Field("things", "texts", "names or kinds, from left to right", needed=True),),
            (),
            (("things", ["saddle", "knoll"]),),
        ),
        StatementKind(
            "relation",
            "how one thing stands to another in the picture",
            (
                _WHAT,
                Field(
                    "is",
                    "word",
                    "what it is to the other; in front of and behind where they overlap",
                    RELATIONS,
                    needed=True,
                ),
                _OTHER,
                Field(
                    "gap_deg",
                    "number",
                    "angle between their nearest edges",
                    least=0,
                    most=360,
                    unit="degrees",
                ),
                _SPREAD_DEG,
            ),
            (),
            (("what", "knoll"), ("is", "in front of"), ("other", "saddle")),
        ),
        StatementKind(
            "skyline",
            "the shape of the skyline in a part of the picture",
            (Field("shape", "word", "its shape, left and right as in the picture", SHAPES, needed=True),),
            (),
            (("part", "right half"), ("shape", "falls right")),
        ),
        StatementKind(
            "skyline_points",
            "points traced along the skyline",
            (
                Field(
                    "points",
                    "pairs",
                    "degrees right of the picture's middle and degrees up, from any level; three or more",
                    least=-180,
                    most=180,
                    unit="degrees",
                    needed=True,
                ),
                _SPREAD_DEG,
            ),
            (),
            (("points", [[-20, 0.0], [0, 1.5], [20, 0.5]]),),
        ),
        StatementKind(
            "number",
            "how many things of a kind are seen; only for few and plain ones",
            (_WHAT, Field("count", "number", "how many", least=0, most=100, needed=True)),
            (),
            (("what", "re-entrant"), ("count", 3)),
        ),
        StatementKind(
            "comes_down",
            "to which side a spur or a stream comes down in the picture",
            (_WHAT, Field("to", "word", "the side its lower end lies", ("left", "right"), needed=True)),
            (),
            (("what", "spur"), ("to", "left")),
        ),
        StatementKind(
            "bearing",
            "a bearing taken to a thing",
            (
                _WHAT,
                Field("degrees", "number", "the bearing", least=0, most=360, unit="degrees", needed=True),
                Field("north", "word", "the north it is counted from; true if not said", NORTHS),
                _SPREAD_DEG,
            ),
            (),
            (("what", "cairn"), ("degrees", 47), ("north", "grid")),
        ),
        StatementKind(
            "angle",
            "the angle between two things",
            (
                _WHAT,
                _OTHER,
                Field(
                    "degrees",
                    "number",
                    "between their middles",
                    least=0,
                    most=180,
                    unit="degrees",
                    needed=True,
                ),
                _SPREAD_DEG,
            ),
            (),
            (("what", "knoll"), ("other", "saddle"), ("degrees", 12)),
        ),
        StatementKind(
            "vertical_angle",
            "the angle of a thing above the level of the eye",
            (
                _WHAT,
                Field(
                    "degrees",
                    "number",
                    "above level, below it negative",
                    least=-90,
                    most=90,
                    unit="degrees",
                    needed=True,
                ),
                _SPREAD_DEG,
            ),
            (),
            (("what", "knoll"), ("degrees", -1.5)),
        ),
    )
}

PICTURE = (
    Field("title", "text", "what the picture is called"),
    Field("looks", "text", "where it looks: a point of the compass or degrees; all round if not said"),
    Field("north", "word", "the north those degrees are counted from; true if not said", NORTHS),
    Field("give_or_take_deg", "number", "how far that may be out", least=0.5, most=180, unit="degrees"),
    Field(
        "width_deg", "number", "how wide the picture is; 60 if not said", least=5, most=360, unit="degrees"
    ),
    Field("taken", "text", "day, or day and time with its zone, as in 2026-06-01T15:30:00+01:00"),
    Field(
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
