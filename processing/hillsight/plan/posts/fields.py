"""The fields of a plan of marshal posts: one table for the reader, the template and the JSON schema."""

from __future__ import annotations

from hillsight.plan.posts.plan import AIRS, MADE_OUT, MEANS, TWICE
from hillsight.plan.posts.toml_tables import TomlTable
from hillsight.plan.vocabulary import SightingField

FORMAT = "hillsight posts 1"
"""First line of every plan: ``format = ...``."""

CONTROL = "control"
"""What a pair calls the organisers' place."""

_WORLD_M = 1e8


def _number(
    name: str, meaning: str, least: float, most: float, unit: str = "", *, needed: bool = False
) -> SightingField:
    return SightingField(name, "number", meaning, least=least, most=most, unit=unit, needed=needed)


def _count(name: str, meaning: str, least: int, most: int) -> SightingField:
    return SightingField(name, "number", meaning, least=least, most=most, is_whole=True)


def _place(what: str, *, needed: bool = True) -> tuple[SightingField, ...]:
    return (
        SightingField("name", "text", f"what the {what} is called", needed=True),
        _number("easting_m", "easting", -_WORLD_M, _WORLD_M, "m", needed=needed),
        _number("northing_m", "northing", -_WORLD_M, _WORLD_M, "m", needed=needed),
    )


_GROUND = (
    SightingField("file", "text", "vector file, as it lies from this file; the features if not said"),
    SightingField("layer", "text", "its layer; all if not said"),
    SightingField("kinds", "texts", "take only these kinds of feature"),
    _number("within_m", "how far about them counts too; 0 if not said", 0, 10_000, "m on the grid"),
)

TOP = (
    SightingField("title", "text", "what the event is called; it stands on every output", needed=True),
    SightingField("terrain", "text", "terrain model, as it lies from this file; a call may name another"),
    SightingField("surface", "text", "surface model beside the terrain: tree tops and roofs hide too"),
    SightingField("features", "texts", "map features, one file or several: paths, water and the like"),
    SightingField("cover", "texts", "woods, buildings, walls that hide, one file or several"),
    SightingField("crs", "text", "CRS of the places, as in EPSG:27700; the terrain's own if not said"),
)

TOP_LISTS = ("features", "cover")
"""Of the fields above the tables those that hold a text or a list of texts."""

COURSE = TomlTable(
    "course",
    "The course: lines of a GPX file, or of any vector file.",
    (
        SightingField("file", "text", "vector file, as it lies from this file", needed=True),
        SightingField("layer", "text", "its layer; if not said, routes or tracks of a GPX file"),
        SightingField("legs", "texts", "names of lines in running order, - before one run from its end"),
        SightingField("reverse", "yes_no", "true to run the whole from its end"),
        _count("laps", "how often it is run; 1 if not said", 1, 100),
        _number("stretch_m", "longest stretch it is cut into; 20 if not said", 2, 500, "m on the grid"),
        _number(
            "shared_within_m",
            "lines so near are one ground run over twice; 10 if not said",
            0,
            100,
            "m on the grid",
        ),
    ),
    {
        "file": "course.gpx",
        "layer": "tracks",
        "legs": ["out", "round", "-out"],
        "reverse": False,
        "laps": 1,
        "stretch_m": 20,
        "shared_within_m": 10,
    },
    lists=("legs",),
    needed=True,
)

CHECKPOINT = TomlTable(
    "checkpoint",
    "Checkpoints, each at a place on the course or so far along a lap.",
    (
        *_place("checkpoint", needed=False),
        _number("along_m", "instead of a place: how far from the start", 0, 1e6, "m on the grid"),
    ),
    {"name": "the cairn", "along_m": 2400},
    many=True,
)

PACES = TomlTable(
    "paces",
    "When runners pass.",
    (
        SightingField("start", "text", "day and time of the start, with its zone"),
        _number("last_start_min", "how long after it the last runner leaves", 0, 1440, "minutes"),
        _number(
            "first_min_per_km",
            "pace of the first runner on the flat; 5 if not said",
            1.5,
            200,
            "minutes a km",
        ),
        _number(
            "last_min_per_km", "pace of the last runner on the flat; 15 if not said", 1.5, 200, "minutes a km"
        ),
    ),
    {
        "start": "2026-09-12T10:00:00+01:00",
        "last_start_min": 0,
        "first_min_per_km": 5,
        "last_min_per_km": 15,
    },
)

DANGERS = TomlTable(
    "dangers",
    "How much more dangerous stretches count; 1 for no more.",
    (
        _number("steep", "weight of steep ground; 2 if not said", 1, 100),
        _number("steep_deg", "slope from which ground is steep; 25 if not said", 5, 89, "degrees"),
        _number("edge", "weight of ground beside an edge; 3 if not said", 1, 100),
        _number("edge_deg", "slope from which ground is an edge; 40 if not said", 10, 89, "degrees"),
        _number("edge_within_m", "how near an edge counts; 30 if not said", 0, 500, "m on the grid"),
        _number("water", "weight of water crossings; 2 if not said", 1, 100),
        _number("water_within_m", "how near water counts; 10 if not said", 0, 500, "m on the grid"),
        _number("choice", "weight where a path leaves the course; 1.5 if not said", 1, 100),
        _number("choice_within_m", "how near that counts; 25 if not said", 0, 500, "m on the grid"),
    ),
    {
        "steep": 2,
        "steep_deg": 25,
        "edge": 3,
        "edge_deg": 40,
        "edge_within_m": 30,
        "water": 2,
        "water_within_m": 10,
        "choice": 1.5,
        "choice_within_m": 25,
    },
)

DANGER = TomlTable(
    "danger",
    "Dangerous stretches that you know of.",
    (
        SightingField("name", "text", "what is dangerous there", needed=True),
        _number("from_m", "where it begins, along a lap", 0, 1e6, "m on the grid", needed=True),
        _number("to_m", "where it ends, along a lap", 0, 1e6, "m on the grid", needed=True),
        _number("weight", "how much more it counts; 3 if not said", 1, 100),
    ),
    {"name": "loose gully", "from_m": 3100, "to_m": 3300, "weight": 4},
    many=True,
)

WANTED = TomlTable(
    "wanted",
    "How many posts at most, or how much of the course is to be seen, or both.",
    (
        _count("posts", "most posts, those that are fixed among them", 1, 500),
        _number("share", "share of the course, by weight, that is to be seen", 0.01, 1),
        SightingField("twice", "word", "what two posts are to see; nothing if not said", TWICE),
        _number("seconds", "longest search for the choice; 30 if not said", 1, 3600, "s"),
        _number("effort", "share of the course that an hour's walk is worth; 0 if not said", 0, 1),
    ),
    {"posts": 6, "share": 0.9, "twice": "nothing", "seconds": 30, "effort": 0.01},
    needed=True,
)

EYES = TomlTable(
    "eyes",
    "Who watches, and what they must see.",
    (
        _number("eye_height_m", "of a marshal above the ground; 1.6 if not said", 0.2, 100, "m"),
        _number(
            "runner_least_m",
            "a runner is seen where all above this height shows; 1.0 if not said",
            0.3,
            3,
            "m",
        ),
        _number("runner_most_m", "tallest runner; 1.8 if not said", 0.3, 3, "m"),
        _number(
            "runner_width_m", "of a runner, for how far off one is made out; 0.5 if not said", 0.1, 3, "m"
        ),
        _number("glass", "power of the binoculars; 1 for none", 1, 60, "times"),
        SightingField("air", "word", "how clear the air is; clear if not said", AIRS),
        SightingField("made_out", "word", "what a runner must be; detected if not said", MADE_OUT),
        _number(
            "reach_m",
            "farthest that counts; as far as a runner is made out if not said",
            20,
            20_000,
            "m on the grid",
        ),
    ),
    {
        "eye_height_m": 1.6,
        "runner_least_m": 1.0,
        "runner_most_m": 1.8,
        "runner_width_m": 0.5,
        "glass": 1,
        "air": "clear",
        "made_out": "detected",
        "reach_m": 850,
    },
)

STAND = TomlTable(
    "stand",
    "Where marshals may stand; within 300 m of the course, every 50 m, if nothing is said.",
    (
        *_GROUND,
        _number("every_m", "spacing of the places; 50 if not said", 5, 1000, "m on the grid"),
    ),
    {"layer": "paths", "kinds": ["path", "track"], "within_m": 30, "every_m": 50},
    many=True,
    lists=("kinds",),
)

NO_GO = TomlTable(
    "no_go",
    "Ground where nobody may stand.",
    _GROUND,
    {"file": "closed.gpkg", "within_m": 0},
    many=True,
    lists=("kinds",),
)

LIMITS = TomlTable(
    "limits",
    "Ground that nobody is put on.",
    (
        _number("slope_deg", "steepest ground stood on; 25 if not said", 0, 90, "degrees"),
        _number("crag_deg", "slope from which ground is a crag; 45 if not said", 5, 90, "degrees"),
        _number("crag_within_m", "no crag nearer than this; 20 if not said", 0, 1000, "m on the grid"),
        _number("water_within_m", "no water nearer than this; 5 if not said", 0, 1000, "m on the grid"),
        _number("open_share", "most open to wind: share of bearings without shelter", 0, 1),
        _number("highest_m", "highest ground", -500, 9000, "m, the terrain's own datum"),
    ),
    {
        "slope_deg": 25,
        "crag_deg": 45,
        "crag_within_m": 20,
        "water_within_m": 5,
        "open_share": 0.9,
        "highest_m": 700,
    },
)

WALKING = TomlTable(
    "walking",
    "How marshals come to their posts.",
    (
        _number("most_minutes", "longest walk to a post", 1, 1440, "minutes"),
        SightingField("paths", "texts", "kinds of feature that are walked as paths"),
    ),
    {"most_minutes": 60, "paths": ["path", "track"]},
    lists=("paths",),
)

ACCESS = TomlTable(
    "access",
    "Where marshals start walking.",
    _place("access point"),
    {"name": "car park", "easting_m": 412300.0, "northing_m": 5215400.0},
    many=True,
)

RADIO = TomlTable(
    "radio",
    "The radios carried.",
    (
        _number("frequency_mhz", "of the sets; 446 if not said", 30, 3000, "MHz"),
        _number("power_dbm", "radiated, as EIRP; 27 (0.5 W) if not said", -30, 60, "dBm"),
        _number("sensitivity_dbm", "weakest signal that is understood; -117 if not said", -160, 0, "dBm"),
        _number("antenna_height_m", "of hand-held sets above the ground; 1.5 if not said", 0.2, 100, "m"),
        _number("control_antenna_m", "of the control, above the ground; 3 if not said", 0.2, 100, "m"),
        _number("margin_db", "left above that for a link to be likely; 20 if not said", 0, 100, "dB"),
        _number("refraction", "of radio waves; 0.25 if not said", -1, 1),
    ),
    {
        "frequency_mhz": 446,
        "power_dbm": 27,
        "sensitivity_dbm": -117,
        "antenna_height_m": 1.5,
        "control_antenna_m": 3,
        "margin_db": 20,
        "refraction": 0.25,
    },
)

CONTROL_PLACE = TomlTable(
    "control",
    "Where the organisers are.",
    _place("place"),
    {"name": "race control", "easting_m": 412300.0, "northing_m": 5215400.0},
)

FIXED = TomlTable(
    "fixed",
    "Posts that stand already.",
    _place("post"),
    {"name": "the bridge", "easting_m": 413100.0, "northing_m": 5215900.0},
    many=True,
)

BANNED = TomlTable(
    "banned",
    "Places where no post is wanted.",
    (
        *_place("place"),
        _number("within_m", "how far about it; 25 if not said", 0, 10_000, "m on the grid"),
    ),
    {"name": "wet hollow", "easting_m": 413500.0, "northing_m": 5216200.0, "within_m": 50},
    many=True,
)

PAIR = TomlTable(
    "pair",
    f"Posts that must reach each other, by their names; {CONTROL} is the organisers' place.",
    (
        SightingField("one", "text", "a fixed post, a named place or control", needed=True),
        SightingField("other", "text", "another", needed=True),
        SightingField("by", "word", "how", MEANS, needed=True),
    ),
    {"one": "the bridge", "other": CONTROL, "by": "radio"},
    many=True,
)

TABLES = (
    *(COURSE, CHECKPOINT, WANTED, PACES, DANGERS, DANGER, EYES, STAND, NO_GO, LIMITS),
    *(WALKING, ACCESS, RADIO, CONTROL_PLACE, FIXED, BANNED, PAIR),
)
"""All tables, in the order of the template."""
