"""A TOML file that a person writes, read so that whatever is wrong in it is told with its line.

Sightings and exercises share it: how a file is opened, how its fields are checked against those that are
declared, and how a value is written back.
"""

from __future__ import annotations

import datetime
import difflib
import json
import math
import re
import tomllib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from hillsight.errors import HillsightError
from hillsight.ground.crs import horizontal_crs, is_metric, parse_crs
from hillsight.ground.small_files import read_small
from hillsight.ground.toml_lines import TomlLines
from hillsight.plan.vocabulary import COMPASS, SightingField
from hillsight.words.english import folded, with_article
from hillsight.words.marks import marks_escaped

#: Least members of what is a list.
LEAST_MEMBERS = {"texts": 2, "pairs": 3}

#: How far a direction may be out where nothing is said of it, degrees: a point of the compass, or degrees.
#: Common practice, no source.
COMPASS_SPREAD_DEG, DEGREES_SPREAD_DEG = 20.0, 10.0

#: Degrees written as text, with or without their unit.
DEGREES_TEXT = r"^\s*([0-9]+(?:\.[0-9]+)?)\s*(?:°|deg|degrees?)?\s*$"


@dataclass(frozen=True)
class FileKind:
    """What a file holds, in words for messages.

    noun : such as sighting
    heading : of what it has many of, such as ``[[statement]]``
    first_line : its format
    error : raised for whatever is wrong in it
    """

    noun: str
    heading: str
    first_line: str
    error: type[HillsightError]


@dataclass(frozen=True)
class FilePlace:
    """A file and where in it the reading stands."""

    kind: FileKind
    source: str
    lines: TomlLines
    path: tuple[str | int, ...] = ()

    def within(self, *path: str | int) -> FilePlace:
        """A key or table farther in."""
        return FilePlace(self.kind, self.source, self.lines, (*self.path, *path))

    def error(self, what: str, remedy: str) -> HillsightError:
        """What is wrong there, with its line."""
        where = f"{self.source}, line {self.lines.of(*self.path)}"
        return self.kind.error(what, where=where, remedy=remedy)


def read_toml(path: str, kind: FileKind) -> tuple[dict[str, Any], FilePlace]:
    """Content of a file whose first line tells what it is, and its top.

    A byte order mark and the line ends of any system do no harm.

    Raises
    ------
    HillsightError : of the kind; the file cannot be read, is no TOML, or is not of that kind
    """
    text = _text(path, kind)
    content = _content(text, path, kind)
    top = FilePlace(kind, path, TomlLines(text))
    _check_format(content, top)
    return content, top


def _text(path: str, kind: FileKind) -> str:
    try:
        data = read_small(path)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise kind.error(
            f"the {kind.noun} cannot be read: {reason}", where=path, remedy="Check the path"
        ) from error
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise kind.error(
            f"the {kind.noun} is not UTF-8 text", where=f"{path}, line {line}", remedy="Save it as UTF-8"
        ) from error


def _content(text: str, path: str, kind: FileKind) -> dict[str, Any]:
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
            each = kind.heading.strip("[]")
            remedy = (
                f"Begin each {each} with {kind.heading}, two brackets on either side, and each field once"
            )
        raise kind.error(f"the {kind.noun} is no TOML: {message}", where=where, remedy=remedy) from error


def _check_format(content: Mapping[str, Any], top: FilePlace) -> None:
    remedy = f'Begin the file with the line format = "{top.kind.first_line}"'
    if "format" not in content:
        raise top.error(f"the file does not say that it is {with_article(top.kind.noun)}", remedy)
    if content["format"] != top.kind.first_line:
        raise top.within("format").error(f"format is {told(content['format'])}", remedy)


def looks_of(value: object, place: FilePlace, otherwise: str = "") -> tuple[float, float]:
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
        f"picture: 'looks' is {told(value)}",
        f"Write 0 to 360 degrees or one of {', '.join(COMPASS)}{otherwise}",
    )


def taken_of(value: object, place: FilePlace) -> datetime.date:
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
        f"picture: 'taken' is {told(value)}",
        "Write a day as in 2026-06-01, or a day and time with its zone as in 2026-06-01T15:30:00+01:00",
    )


def check_names(
    raw: Mapping[str, Any], fields: Sequence[SightingField], owner: str, place: FilePlace
) -> None:
    """Refuse a field that is none of those there are, with the one that was probably meant."""
    names = [field.name for field in fields]
    for key in raw:
        if key not in names:
            raise place.within(key).error(
                f"{owner} has no field {key!r}", instead(key, names, "Its fields are")
            )


def checked_value(value: Any, field: SightingField, owner: str, place: FilePlace) -> Any:
    """The value as the file has it, once it is what the field takes."""
    label = f"{owner}: {field.name!r}"
    if field.form == "yes_no":
        if not isinstance(value, bool):
            raise place.error(f"{label} is {told(value)}", "Write true or false, without quotation marks")
    elif field.form == "number":
        _check_number(value, field, label, place)
    elif field.form in LEAST_MEMBERS:
        _check_members(value, field, label, place)
    elif field.form == "word":
        if value not in field.words:
            raise place.error(f"{label} is {told(value)}", instead(value, field.words, "Its words are"))
    else:
        _check_text(value, label, place, may_be_empty=field.name == "note")
    return value


def _check_members(value: Any, field: SightingField, label: str, place: FilePlace) -> None:
    least, pairs = LEAST_MEMBERS[field.form], field.form == "pairs"
    example = "[[-20, 0.0], [0, 1.5], [20, 0.5]]" if pairs else '["saddle", "knoll"]'
    if not isinstance(value, list):
        raise place.error(f"{label} is {told(value)}", f"Write a list, as in {example}")
    if len(value) < least:
        raise place.error(f"{label} has {len(value)} members", f"Write {least} or more, as in {example}")
    for number, member in enumerate(value):
        within = place.within(number)
        if not pairs:
            _check_text(member, f"{label}, member {number + 1},", within)
        elif not isinstance(member, list) or len(member) != 2:
            raise within.error(f"{label}, member {number + 1}, is {told(member)}", f"Write pairs: {example}")
        else:
            for part in member:
                _check_number(part, field, f"{label}, member {number + 1},", within)


def _check_number(value: object, field: SightingField, label: str, place: FilePlace) -> None:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise place.error(f"{label} is {told(value)}", f"Write a number without its unit{allowed_in(field)}")
    if isinstance(value, float) and not math.isfinite(value):
        raise place.error(f"{label} is {value}, which is no number", f"Write a number{allowed_in(field)}")
    if not field.least <= value <= field.most:
        raise place.error(f"{label} is {told(value)}", f"Write a number{allowed_in(field)}")
    if field.is_whole and value != int(value):
        raise place.error(f"{label} is {told(value)}", f"Write a whole number{allowed_in(field)}")


def _check_text(value: object, label: str, place: FilePlace, may_be_empty: bool = False) -> None:
    if not isinstance(value, str):
        raise place.error(f"{label} is {told(value)}", "Write text in quotation marks")
    if not (may_be_empty or value.strip()):
        raise place.error(f"{label} is empty", "Write something there, or leave the line out")


def allowed_in(field: SightingField) -> str:
    """What may stand in a field, after a colon."""
    if field.words:
        return f": {', '.join(field.words)}"
    if field.form in ("number", "pairs"):
        unit = f" {field.unit}" if field.unit else ""
        return f": {field.least:.10g} to {field.most:.10g}{unit}"
    return ""


def check_crs(text: str, place: FilePlace) -> None:
    """Refuse a CRS of places that is none, or none of a grid in metres."""
    try:
        is_grid = is_metric(horizontal_crs(parse_crs(text, "the CRS of the places")))
    except HillsightError as error:
        raise place.error(error.what, error.remedy) from error
    if not is_grid:
        raise place.error(
            f"the places are in {text}, which does not count in metres on a grid",
            "Give their eastings and northings, and the CRS of that grid",
        )


def instead(value: object, allowed: Collection[str], lead: str) -> str:
    """The word that was probably meant, and all there are."""
    close = close_to(value, allowed)
    choice = f"{lead} {', '.join(allowed)}"
    return f"Did you mean {close}? {choice}" if close else choice


def close_to(value: object, allowed: Collection[str]) -> str:
    """The likeliest of what is allowed, or nothing."""
    if not isinstance(value, str):
        return ""
    known = {name.casefold().replace("_", " "): name for name in allowed}
    close = difflib.get_close_matches(folded(value.replace("_", " ")), known, 1, 0.6)
    return known[close[0]] if close else ""


def told(value: object) -> str:
    """A value as a message shows it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    text = "a table" if isinstance(value, dict) else repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def toml_value(value: Any) -> str:
    """A value as TOML has it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        # Escapes of JSON are escapes of TOML, which also wants one for the delete character.
        return marks_escaped(json.dumps(value, ensure_ascii=False))
    if isinstance(value, datetime.date):
        return f'"{value.isoformat()}"'
    if isinstance(value, Sequence):
        return f"[{', '.join(toml_value(member) for member in value)}]"
    return repr(value if isinstance(value, int) else float(value))
