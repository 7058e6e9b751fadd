"""Reading a sighting from its file, with the line of whatever is wrong in it."""

from __future__ import annotations

import datetime
import difflib
import math
import re
import tomllib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from hillsight.errors import SightingError
from hillsight.ground.toml_lines import TomlLines
from hillsight.plan.kinds.registry import KINDS
from hillsight.plan.kinds.shared.kind import StatementKind
from hillsight.plan.statement import Picture, Sighting, Statement
from hillsight.plan.vocabulary import COMMON, COMPASS, FORMAT, PICTURE, SightingField
from hillsight.words.english import folded

#: More statements than a person makes of one picture.
MOST_STATEMENTS = 500

#: Least members of what is a list.
LEAST_MEMBERS = {"texts": 2, "pairs": 3}

#: How far a direction may be out where nothing is said of it, degrees: a point of the compass, or degrees.
#: Common practice, no source.
COMPASS_SPREAD_DEG, DEGREES_SPREAD_DEG = 20.0, 10.0

#: Degrees written as text, with or without their unit.
DEGREES_TEXT = r"^\s*([0-9]+(?:\.[0-9]+)?)\s*(?:°|deg|degrees?)?\s*$"

_TABLES = ("format", "picture", "statement")


@dataclass(frozen=True)
class _Place:
    """A file and where in it the reading stands."""

    source: str
    lines: TomlLines
    path: tuple[str | int, ...] = ()

    def within(self, *path: str | int) -> _Place:
        return _Place(self.source, self.lines, (*self.path, *path))

    def error(self, what: str, remedy: str) -> SightingError:
        return SightingError(what, where=f"{self.source}, line {self.lines.of(*self.path)}", remedy=remedy)


def read_sighting(path: str) -> Sighting:
    """The sighting that a file holds.

    The file is TOML: a line ``format``, a table ``[picture]`` and for each statement a ``[[statement]]``,
    with the fields of ``vocabulary``. A byte order mark and the line ends of any system do no harm.

    Raises
    ------
    SightingError : the file cannot be read, is no TOML, or says what a sighting cannot say; with its line,
        what is allowed there and what may have been meant
    """
    text = _text(path)
    content = _content(text, path)
    top = _Place(path, TomlLines(text))
    _check_format(content, top)
    for key in content:
        if key not in _TABLES:
            close = _close(key, ("picture", "statement"))
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


def _text(path: str) -> str:
    try:
        data = Path(path).read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise SightingError(
            f"the sighting cannot be read: {reason}", where=path, remedy="Check the path"
        ) from error
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise SightingError(
            "the sighting is not UTF-8 text", where=f"{path}, line {line}", remedy="Save it as UTF-8"
        ) from error


def _content(text: str, path: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        message = "too deep a nest" if isinstance(error, RecursionError) else str(error)
        place = re.search(r" \(at (?:line (\d+), column \d+|end of document)\)$", message)
        where = path
        if place:
            message = message[: place.start()]
            where = f"{path}, line {place[1] or text.rstrip().count(chr(10)) + 1}"
        remedy = (
            'Write text in quotation marks, as in what = "knoll", one field a line, and true or false '
            "without them"
        )
        if message.startswith(("Cannot overwrite", "Cannot declare")):
            remedy = (
                "Begin each statement with [[statement]], two brackets on either side, and each field once"
            )
        raise SightingError(f"the sighting is no TOML: {message}", where=where, remedy=remedy) from error


def _check_format(content: Mapping[str, Any], top: _Place) -> None:
    remedy = f'Begin the file with the line format = "{FORMAT}"'
    if "format" not in content:
        raise top.error("the file does not say that it is a sighting", remedy)
    if content["format"] != FORMAT:
        raise top.within("format").error(f"format is {_told(content['format'])}", remedy)


def _picture(raw: Mapping[str, Any], place: _Place) -> Picture:
    fields = [f for f in PICTURE if f.name in raw and f.name not in ("looks", "taken")]
    _check_names(raw, PICTURE, "the picture", place)
    values = {f.name: _value(raw[f.name], f, "picture", place.within(f.name)) for f in fields}
    if "looks" in raw:
        looks_deg, spread_deg = _looks(raw["looks"], place.within("looks"))
        values = {"looks_deg": looks_deg, "give_or_take_deg": spread_deg, **values}
    if "taken" in raw:
        values["taken"] = _taken(raw["taken"], place.within("taken"))
    if "sun_right_deg" in values:
        taken = values.get("taken")
        if not isinstance(taken, datetime.datetime) or taken.utcoffset() is None:
            raise place.within("sun_right_deg").error(
                "picture: sun_right_deg is of no use without a time that has its zone",
                'Add when it was taken, as in taken = "2026-06-01T15:30:00+01:00", or leave the sun out',
            )
    return Picture(**values)


def _looks(value: object, place: _Place) -> tuple[float, float]:
    """Degrees that a picture looks, and how far they may be out if nothing is said."""
    if isinstance(value, str):
        point = value.strip().upper()
        if point in COMPASS:
            return COMPASS[point], COMPASS_SPREAD_DEG
        number = re.match(DEGREES_TEXT, value)
        if number:
            value = float(number[1])
    if isinstance(value, int | float) and not isinstance(value, bool) and 0 <= value <= 360:
        return float(value), DEGREES_SPREAD_DEG
    raise place.error(
        f"picture: 'looks' is {_told(value)}",
        f"Write 0 to 360 degrees or one of {', '.join(COMPASS)}; leave it out if nobody knows",
    )


def _taken(value: object, place: _Place) -> datetime.date:
    """A day, or a day and time."""
    if isinstance(value, datetime.date):
        return value
    if isinstance(value, str):
        for kind in (datetime.date, datetime.datetime):
            try:
                return kind.fromisoformat(value.strip())
            except ValueError:
                continue
    raise place.error(
        f"picture: 'taken' is {_told(value)}",
        "Write a day as in 2026-06-01, or a day and time with its zone as in 2026-06-01T15:30:00+01:00",
    )


def _statements(content: Mapping[str, Any], top: _Place) -> tuple[Statement, ...]:
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


def _statement(raw: Mapping[str, Any], place: _Place) -> Statement:
    if "kind" not in raw:
        for key in raw:
            if _close(key, ("kind",)):
                raise place.within(key).error(f"a statement has no field {key!r}", "Write kind there")
        raise place.error("a statement has no kind", f"Add kind and one of {', '.join(KINDS)}")
    name = raw["kind"]
    if not isinstance(name, str) or name not in KINDS:
        raise place.within("kind").error(f"kind is {_told(name)}", _instead(name, KINDS, "The kinds are"))
    kind = KINDS[name]
    rest = {key: value for key, value in raw.items() if key != "kind"}
    _check_names(rest, (*kind.fields, *COMMON), name, place)
    _check_there(rest, kind, place)
    fields = {field.name: field for field in (*kind.fields, *COMMON)}
    values = {key: _value(value, fields[key], name, place.within(key)) for key, value in rest.items()}
    _check_together(values, kind, place)
    common = {field.name: values.pop(field.name) for field in COMMON if field.name in values}
    common.pop("note", None)
    return Statement(name, values, **common, line=place.lines.of(*place.path))


def _check_names(raw: Mapping[str, Any], fields: Sequence[SightingField], owner: str, place: _Place) -> None:
    names = [field.name for field in fields]
    for key in raw:
        if key not in names:
            raise place.within(key).error(
                f"{owner} has no field {key!r}", _instead(key, names, "Its fields are")
            )


def _check_there(raw: Mapping[str, Any], kind: StatementKind, place: _Place) -> None:
    for field in kind.fields:
        if field.needed and field.name not in raw:
            raise place.error(
                f"{kind.name}: {field.name!r} is missing",
                f"Add {field.name}: {field.meaning}{_allowed(field)}",
            )
    if kind.one_of and not any(name in raw for name in kind.one_of):
        raise place.error(f"{kind.name} says nothing", f"Add one of {', '.join(kind.one_of)}")


def _check_together(values: Mapping[str, Any], kind: StatementKind, place: _Place) -> None:
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


def _value(value: Any, field: SightingField, owner: str, place: _Place) -> Any:
    """The value as the file has it, once it is what the field takes."""
    label = f"{owner}: {field.name!r}"
    if field.form == "yes_no":
        if not isinstance(value, bool):
            raise place.error(f"{label} is {_told(value)}", "Write true or false, without quotation marks")
    elif field.form == "number":
        _check_number(value, field, label, place)
    elif field.form in LEAST_MEMBERS:
        _check_members(value, field, label, place)
    elif field.form == "word":
        if value not in field.words:
            raise place.error(f"{label} is {_told(value)}", _instead(value, field.words, "Its words are"))
    else:
        _check_text(value, label, place, may_be_empty=field.name == "note")
    return value


def _check_members(value: Any, field: SightingField, label: str, place: _Place) -> None:
    least, pairs = LEAST_MEMBERS[field.form], field.form == "pairs"
    example = "[[-20, 0.0], [0, 1.5], [20, 0.5]]" if pairs else '["saddle", "knoll"]'
    if not isinstance(value, list):
        raise place.error(f"{label} is {_told(value)}", f"Write a list, as in {example}")
    if len(value) < least:
        raise place.error(f"{label} has {len(value)} members", f"Write {least} or more, as in {example}")
    for number, member in enumerate(value):
        within = place.within(number)
        if not pairs:
            _check_text(member, f"{label}, member {number + 1},", within)
        elif not isinstance(member, list) or len(member) != 2:
            raise within.error(f"{label}, member {number + 1}, is {_told(member)}", f"Write pairs: {example}")
        else:
            for part in member:
                _check_number(part, field, f"{label}, member {number + 1},", within)


def _check_number(value: object, field: SightingField, label: str, place: _Place) -> None:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise place.error(f"{label} is {_told(value)}", f"Write a number without its unit{_allowed(field)}")
    if isinstance(value, float) and not math.isfinite(value):
        raise place.error(f"{label} is {value}, which is no number", f"Write a number{_allowed(field)}")
    if not field.least <= value <= field.most:
        raise place.error(f"{label} is {_told(value)}", f"Write a number{_allowed(field)}")
    if field.is_whole and value != int(value):
        raise place.error(f"{label} is {_told(value)}", f"Write a whole number{_allowed(field)}")


def _check_text(value: object, label: str, place: _Place, may_be_empty: bool = False) -> None:
    if not isinstance(value, str):
        raise place.error(f"{label} is {_told(value)}", "Write text in quotation marks")
    if not (may_be_empty or value.strip()):
        raise place.error(f"{label} is empty", "Write something there, or leave the line out")


def _allowed(field: SightingField) -> str:
    """What may stand in a field, after a colon."""
    if field.words:
        return f": {', '.join(field.words)}"
    if field.form in ("number", "pairs"):
        unit = f" {field.unit}" if field.unit else ""
        return f": {field.least:.10g} to {field.most:.10g}{unit}"
    return ""


def _instead(value: object, allowed: Collection[str], lead: str) -> str:
    close = _close(value, allowed)
    choice = f"{lead} {', '.join(allowed)}"
    return f"Did you mean {close}? {choice}" if close else choice


def _close(value: object, allowed: Collection[str]) -> str:
    """The likeliest of what is allowed, or nothing."""
    if not isinstance(value, str):
        return ""
    known = {name.casefold().replace("_", " "): name for name in allowed}
    close = difflib.get_close_matches(folded(value.replace("_", " ")), known, 1, 0.6)
    return known[close[0]] if close else ""


def _told(value: object) -> str:
    """A value as a message shows it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    text = "a table" if isinstance(value, dict) else repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."
