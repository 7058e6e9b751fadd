"""Reading a sighting from its file, with the line of whatever is wrong in it."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any

from hillsight.errors import SightingError
from hillsight.plan.kinds.registry import KINDS
from hillsight.plan.kinds.shared.kind import StatementKind
from hillsight.plan.statement import Picture, Sighting, Statement
from hillsight.plan.toml_file import (
    FileKind,
    FilePlace,
    allowed_in,
    check_names,
    checked_value,
    close_to,
    instead,
    looks_of,
    read_toml,
    taken_of,
    told,
)
from hillsight.plan.vocabulary import COMMON, FORMAT, PICTURE
from hillsight.words.english import folded

#: More statements than a person makes of one picture.
MOST_STATEMENTS = 500

_KIND = FileKind("sighting", "[[statement]]", FORMAT, SightingError)

_TABLES = ("format", "picture", "statement")


def read_sighting(path: str) -> Sighting:
    """The sighting that a file holds.

    The file is TOML: a line ``format``, a table ``[picture]`` and for each statement a ``[[statement]]``,
    with the fields of ``vocabulary``. A byte order mark and the line ends of any system do no harm.

    Raises
    ------
    SightingError : the file cannot be read, is no TOML, or says what a sighting cannot say; with its line,
        what is allowed there and what may have been meant
    """
    content, top = read_toml(path, _KIND)
    for key in content:
        if key not in _TABLES:
            close = close_to(key, ("picture", "statement"))
            shown = {"picture": "[picture]", "statement": "[[statement]]"}.get(close, "")
            raise top.within(key).error(
                f"a sighting has no {key!r}",
                f"Write {shown or '[picture] and [[statement]]'} there",
            )
    picture = content.get("picture", {})
    if not isinstance(picture, dict):
        raise top.within("picture").error(
            "[picture] is not one table", "Write [picture] once, above the fields of the picture"
        )
    return Sighting(_picture(picture, top.within("picture")), _statements(content, top), path)


def _picture(raw: Mapping[str, Any], place: FilePlace) -> Picture:
    fields = [f for f in PICTURE if f.name in raw and f.name not in ("looks", "taken")]
    check_names(raw, PICTURE, "the picture", place)
    values = {f.name: checked_value(raw[f.name], f, "picture", place.within(f.name)) for f in fields}
    if "looks" in raw:
        looks_deg, spread_deg = looks_of(
            raw["looks"], place.within("looks"), "; leave it out if nobody knows"
        )
        values = {"looks_deg": looks_deg, "give_or_take_deg": spread_deg, **values}
    if "taken" in raw:
        values["taken"] = taken_of(raw["taken"], place.within("taken"))
    if "sun_right_deg" in values:
        taken = values.get("taken")
        if not isinstance(taken, datetime.datetime) or taken.utcoffset() is None:
            raise place.within("sun_right_deg").error(
                "picture: sun_right_deg is of no use without a time that has its zone",
                'Add when it was taken, as in taken = "2026-06-01T15:30:00+01:00", or leave the sun out',
            )
    return Picture(**values)


def _statements(content: Mapping[str, Any], top: FilePlace) -> tuple[Statement, ...]:
    raws = content.get("statement", [])
    if not isinstance(raws, list) or not all(isinstance(raw, dict) for raw in raws):
        raise top.within("statement").error(
            "a statement is not headed [[statement]]", "Write [[statement]], in double brackets, above each"
        )
    if not raws:
        raise SightingError(
            "the sighting has no statements",
            where=top.source,
            remedy="Write what the picture shows, each statement under a line [[statement]]",
        )
    if len(raws) > MOST_STATEMENTS:
        raise top.within("statement", MOST_STATEMENTS).error(
            f"the sighting has {len(raws)} statements, and no person makes so many of one picture",
            f"Keep the {MOST_STATEMENTS} or fewer that tell this place from others",
        )
    return tuple(_statement(raw, top.within("statement", number)) for number, raw in enumerate(raws))


def _statement(raw: Mapping[str, Any], place: FilePlace) -> Statement:
    if "kind" not in raw:
        for key in raw:
            if close_to(key, ("kind",)):
                raise place.within(key).error(f"a statement has no field {key!r}", "Write kind there")
        raise place.error("a statement has no kind", f"Add kind and one of {', '.join(KINDS)}")
    name = raw["kind"]
    if not isinstance(name, str) or name not in KINDS:
        raise place.within("kind").error(f"kind is {told(name)}", instead(name, KINDS, "The kinds are"))
    kind = KINDS[name]
    rest = {key: value for key, value in raw.items() if key != "kind"}
    check_names(rest, (*kind.fields, *COMMON), name, place)
    _check_there(rest, kind, place)
    fields = {field.name: field for field in (*kind.fields, *COMMON)}
    values = {key: checked_value(value, fields[key], name, place.within(key)) for key, value in rest.items()}
    _check_together(values, kind, place)
    common = {field.name: values.pop(field.name) for field in COMMON if field.name in values}
    common.pop("note", None)
    return Statement(name, values, **common, line=place.lines.of(*place.path))


def _check_there(raw: Mapping[str, Any], kind: StatementKind, place: FilePlace) -> None:
    for field in kind.fields:
        if field.needed and field.name not in raw:
            raise place.error(
                f"{kind.name}: {field.name!r} is missing",
                f"Add {field.name}: {field.meaning}{allowed_in(field)}",
            )
    if kind.one_of and not any(name in raw for name in kind.one_of):
        raise place.error(f"{kind.name} says nothing", f"Add one of {', '.join(kind.one_of)}")


def _check_together(values: Mapping[str, Any], kind: StatementKind, place: FilePlace) -> None:
    pair = kind.either_or
    if pair and all(name in values for name in pair):
        raise place.within(pair[1]).error(
            f"{kind.name}: {pair[0]} and {pair[1]} say the same thing twice", "Keep one of the two"
        )
    for name, other in kind.rests_on.items():
        if name in values and other not in values:
            raise place.within(name).error(
                f"{kind.name}: {name} is of no use without {other}", f"Add {other}, or leave {name} out"
            )
    if "other" in values and folded(values["what"]) == folded(values["other"]):
        raise place.within("other").error(
            f"{kind.name}: {values['other']!r} is told against itself", "Name two things"
        )
