"""Reading an exercise from its file, with the line of whatever is wrong in it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from hillsight.errors import ExerciseError
from hillsight.plan.exercise.exercise import GRADES, LETTERS, Exercise, ExercisePicture, ExercisePlace
from hillsight.plan.toml_file import (
    FileKind,
    FilePlace,
    check_crs,
    check_names,
    checked_value,
    instead,
    looks_of,
    read_toml,
    taken_of,
    told,
)
from hillsight.plan.vocabulary import NORTHS, SightingField
from hillsight.words.english import folded

FORMAT = "hillsight exercise 1"
"""First line of every exercise file: ``format = ...``."""

MOST_PLACES = len(LETTERS)
"""A letter each."""

#: Fields above the tables, besides ``format`` and those of ``FILE_LISTS``.
TOP = (
    SightingField("title", "text", "what the exercise is called; it stands on every sheet", needed=True),
    SightingField("question", "text", "what is asked; from which place and how you know, if not said"),
    SightingField("terrain", "text", "terrain model, as it lies from this file; a call may name another"),
    SightingField("surface", "text", "surface model beside the terrain: tree tops and roofs hide too"),
    SightingField("crs", "text", "CRS of the places, as in EPSG:27700; the terrain's own if not said"),
    SightingField(
        "seed", "number", "draws the letters of the places", least=0, most=2**31 - 1, is_whole=True
    ),
    SightingField("theme", "text", "what it is about, as in near brow or far brow"),
    SightingField("grade", "word", "how fine the judgement is", GRADES),
)

FILE_LISTS = {
    "features": "map features, one file or several",
    "cover": "woods, buildings, walls that hide, one file or several",
}
"""Fields above the tables that hold a file or a list of files."""

PICTURE = (
    SightingField("looks", "text", "where its middle looks: a point of the compass or degrees", needed=True),
    SightingField("north", "word", "the north those degrees are counted from; true if not said", NORTHS),
    SightingField(
        "width_deg", "number", "angle between its sides; 60 if not said", least=5, most=360, unit="degrees"
    ),
    SightingField(
        "eye_height_m",
        "number",
        "how high above the ground it was taken; 1.6 if not said",
        least=0.2,
        most=100,
        unit="m",
    ),
    SightingField("photo", "text", "the photograph; without it the view is drawn"),
    SightingField("marks", "text", "what was marked on the photograph, as the script mark writes it"),
    SightingField("taken", "text", "day it was taken, which magnetic north needs, as in 2026-06-01"),
)

PLACE = (
    SightingField("name", "text", "for the setter; never on a question sheet", needed=True),
    SightingField("easting_m", "number", "easting", least=-1e8, most=1e8, unit="m", needed=True),
    SightingField("northing_m", "number", "northing", least=-1e8, most=1e8, unit="m", needed=True),
    SightingField("true", "yes_no", "true at the one place where the picture was taken"),
)

#: Places nearer one another are one, metres.
_ONE_SPOT_M = 1.0

_KIND = FileKind("exercise", "[[place]]", FORMAT, ExerciseError)


def read_exercise(path: str) -> Exercise:
    """The exercise that a file holds.

    The file is TOML: a line ``format``, the fields of ``TOP``, a table ``[picture]`` and for each place a
    ``[[place]]``. A byte order mark and the line ends of any system do no harm.

    Raises
    ------
    ExerciseError : the file cannot be read, is no TOML, or says what an exercise cannot say: unknown fields,
        fewer than two places, one spot twice, no true place or several; with its line
    """
    content, top = read_toml(path, _KIND)
    names = ["format", *FILE_LISTS, "picture", "place", *(field.name for field in TOP)]
    for key in content:
        if key not in names:
            raise top.within(key).error(f"an exercise has no {key!r}", instead(key, names, "It may have"))
    raw = {field.name: content[field.name] for field in TOP if field.name in content}
    values = _values(raw, TOP, "exercise", top)
    if "seed" in values:
        values["seed"] = int(values["seed"])
    if "crs" in values:
        check_crs(values["crs"], top.within("crs"))
    picture = content.get("picture")
    if not isinstance(picture, dict):
        remedy = "Write [picture] once, and below it where the picture looks"
        problem = "[picture] is not one table" if "picture" in content else "the exercise has no [picture]"
        raise top.within("picture").error(problem, remedy)
    return Exercise(
        **values,
        features=_files(content, "features", top),
        cover=_files(content, "cover", top),
        picture=_picture(picture, top.within("picture")),
        places=_places(content, top),
        source=path,
    )


def _values(
    raw: Mapping[str, Any], fields: tuple[SightingField, ...], owner: str, place: FilePlace
) -> dict[str, Any]:
    """Values of the fields that are there, each checked; refuses unknown fields and missing ones."""
    check_names(raw, fields, f"the {owner}", place)
    for field in fields:
        if field.needed and field.name not in raw:
            raise place.error(f"{owner}: {field.name!r} is missing", f"Add {field.name}: {field.meaning}")
    plain = [field for field in fields if field.name in raw and field.name not in ("looks", "taken")]
    return {f.name: checked_value(raw[f.name], f, owner, place.within(f.name)) for f in plain}


def _files(content: Mapping[str, Any], name: str, top: FilePlace) -> tuple[str, ...]:
    given = content.get(name, [])
    files = [given] if isinstance(given, str) else given
    if not isinstance(files, list) or not all(isinstance(file, str) and file.strip() for file in files):
        raise top.within(name).error(
            f"exercise: {name!r} is {told(given)}", 'Write a list of files, as in ["upland.gpkg"]'
        )
    return tuple(files)


def _picture(raw: Mapping[str, Any], place: FilePlace) -> ExercisePicture:
    values = _values(raw, PICTURE, "picture", place)
    looks_deg, _ = looks_of(raw["looks"], place.within("looks"))
    taken = taken_of(raw["taken"], place.within("taken")) if "taken" in raw else None
    if values.get("north") == "magnetic" and taken is None:
        raise place.within("north").error(
            "picture: a direction from magnetic north needs the day",
            "Add it, as in taken = 2026-06-01, or count from true north",
        )
    if "marks" in values and "photo" not in values:
        raise place.within("marks").error(
            "picture: marks are of no use without their photograph", "Add photo, or leave marks out"
        )
    return ExercisePicture(looks_deg=looks_deg, taken=taken, **values)


def _places(content: Mapping[str, Any], top: FilePlace) -> tuple[ExercisePlace, ...]:
    raws = content.get("place", [])
    if not isinstance(raws, list) or not all(isinstance(raw, dict) for raw in raws):
        raise top.within("place").error(
            "a place is not headed [[place]]", "Write [[place]], in double brackets, above each"
        )
    if not 2 <= len(raws) <= MOST_PLACES:
        raise top.within("place").error(
            f"the exercise has {len(raws)} place{'' if len(raws) == 1 else 's'}",
            f"Give from 2 to {MOST_PLACES}, each under a line [[place]]",
        )
    places = [_place(raw, top.within("place", k)) for k, raw in enumerate(raws)]
    for k, one in enumerate(places):
        here = top.within("place", k)
        for earlier in places[:k]:
            if folded(one.name) == folded(earlier.name):
                raise here.within("name").error(f"two places are called {one.name!r}", "Name each apart")
            apart_m = max(abs(one.easting_m - earlier.easting_m), abs(one.northing_m - earlier.northing_m))
            if apart_m < _ONE_SPOT_M:
                raise here.error(f"{one.name!r} and {earlier.name!r} are one spot", "Take one of them out")
    true = [k for k, place in enumerate(places) if place.is_true]
    if not true:
        raise top.within("place").error(
            "no place is the one where the picture was taken", "Write true = true below that place"
        )
    if len(true) > 1:
        names = [repr(places[k].name) for k in true]
        raise top.within("place", true[1], "true").error(
            f"the picture cannot be taken from both {names[0]} and {names[1]}", "Keep one true = true"
        )
    return tuple(places)


def _place(raw: Mapping[str, Any], place: FilePlace) -> ExercisePlace:
    values = _values(raw, PLACE, "place", place)
    return ExercisePlace(
        values["name"].strip(),
        float(values["easting_m"]),
        float(values["northing_m"]),
        values.get("true", False),
    )
