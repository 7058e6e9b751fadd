"""Tables of a TOML file that are declared once: for its reader, its template and its JSON schema."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from hillsight.plan.sighting.json_schema import field_schema
from hillsight.plan.toml_file import FilePlace, allowed_in, check_names, checked_value, told, toml_value

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from hillsight.plan.vocabulary import SightingField

    #: Reads a field in a way of its own: its value, and where it stands.
    OwnReaders = Mapping[str, Callable[[Any, FilePlace], Any]]

_TEXT: dict[str, Any] = {"type": "string", "pattern": r"\S"}
_TEXTS: dict[str, Any] = {"anyOf": [_TEXT, {"type": "array", "items": _TEXT}]}


@dataclass(frozen=True)
class TomlTable:
    """One kind of table of a file.

    name : its heading, ``[name]``, or ``[[name]]`` where it may stand several times
    meaning : for the template
    lists : of its fields, those that hold a text or a list of texts
    example : values for the template
    """

    name: str
    meaning: str
    fields: tuple[SightingField, ...]
    example: dict[str, Any]
    many: bool = False
    lists: tuple[str, ...] = ()
    needed: bool = False


def values_of(
    raw: Mapping[str, Any],
    known: tuple[SightingField, ...],
    lists: tuple[str, ...],
    owner: str,
    place: FilePlace,
    own: OwnReaders | None = None,
) -> dict[str, Any]:
    """Values of the fields that are there, each checked; refuses unknown fields and missing ones.

    own : readers of fields that no form of field describes
    """
    check_names(raw, known, f"[{owner}]", place)
    found: dict[str, Any] = {}
    for field in known:
        if field.name not in raw:
            if field.needed:
                raise place.error(f"{owner}: {field.name!r} is missing", f"Add {field.name}: {field.meaning}")
            continue
        value, within = raw[field.name], place.within(field.name)
        if field.name in lists:
            found[field.name] = texts_of(value, f"{owner}: {field.name!r}", within)
        elif own is not None and field.name in own:
            found[field.name] = own[field.name](value, within)
        else:
            value = checked_value(value, field, owner, within)
            found[field.name] = value.strip() if field.name == "name" else value
            if field.form == "number":
                found[field.name] = int(value) if field.is_whole else float(value)
    return found


def texts_of(value: Any, label: str, place: FilePlace) -> tuple[str, ...]:
    """A text or a list of texts."""
    members = [value] if isinstance(value, str) else value
    if not isinstance(members, list) or not all(isinstance(one, str) and one.strip() for one in members):
        raise place.error(f"{label} is {told(value)}", 'Write a list of texts, as in ["one", "two"]')
    return tuple(members)


def table_of(
    content: Mapping[str, Any], table: TomlTable, top: FilePlace, own: OwnReaders | None = None
) -> dict[str, Any]:
    """Values of a table that stands once; none where it does not stand."""
    if table.name not in content:
        if table.needed:
            raise top.error(
                f"the {top.kind.noun} has no [{table.name}]",
                f"Write [{table.name}] once: {table.meaning.rstrip('.')}",
            )
        return {}
    raw, place = content[table.name], top.within(table.name)
    if not isinstance(raw, dict):
        raise place.error(
            f"[{table.name}] is not one table", f"Write [{table.name}] once, in single brackets"
        )
    return values_of(raw, table.fields, table.lists, table.name, place, own)


def template_line(field: SightingField, value: Any, *, kept: bool) -> str:
    """A field as a template shows it; one that is not kept is commented out."""
    words = allowed_in(field) if field.words else f", {field.unit}" if field.unit else ""
    return f"{'' if kept else '#'}{field.name} = {toml_value(value)}  # {field.meaning}{words}"


def table_schema(table: TomlTable) -> dict[str, Any]:
    """A table as JSON schema."""
    properties = {field.name: field_schema(field) for field in table.fields}
    for name in table.lists:
        properties[name] = {"description": properties[name]["description"], **_TEXTS}
    return {
        "description": table.meaning,
        "type": "object",
        "additionalProperties": False,
        "required": [field.name for field in table.fields if field.needed],
        "properties": properties,
    }


def file_schema(
    noun: str,
    first_line: str,
    top: tuple[SightingField, ...],
    tables: tuple[TomlTable, ...],
    lists: tuple[str, ...] = (),
) -> dict[str, Any]:
    """A file as JSON schema (2020-12): its fields above the tables, and its tables.

    lists : of the fields above the tables, those that hold a text or a list of texts
    """
    properties: dict[str, Any] = {
        "format": {"const": first_line},
        **{field.name: field_schema(field) for field in top},
        **{field.name: {"description": field.meaning, **_TEXTS} for field in top if field.name in lists},
    }
    for table in tables:
        one = table_schema(table)
        properties[table.name] = {"type": "array", "items": one} if table.many else one
    needed = [field.name for field in top if field.needed]
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"hillsight {noun}",
        "type": "object",
        "additionalProperties": False,
        "required": ["format", *needed, *(table.name for table in tables if table.needed)],
        "properties": properties,
    }
