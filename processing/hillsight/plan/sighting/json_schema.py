"""The sighting file as a JSON Schema (2020-12), by which editors complete and check what is written."""

from __future__ import annotations

from typing import Any

from hillsight.plan.kinds.registry import KINDS
from hillsight.plan.kinds.shared.kind import StatementKind
from hillsight.plan.sighting.file import MOST_STATEMENTS
from hillsight.plan.toml_file import DEGREES_TEXT, LEAST_MEMBERS
from hillsight.plan.vocabulary import COMMON, COMPASS, FORMAT, PICTURE, SightingField

_DAY = r"[0-9]{4}-[0-9]{2}-[0-9]{2}"
_TIME = r"[T ][0-9]{2}:[0-9]{2}(:[0-9]{2}([.][0-9]+)?)?"
_ZONE = r"(Z|[+-][0-9]{2}:[0-9]{2})"

Schema = dict[str, Any]


def json_schema() -> Schema:
    """Schema of a sighting file, made from the kinds of statement.

    It lets pass what the reader alone can tell: a thing told against itself, a day that does not exist,
    more than 360 degrees where they are written as text.
    """
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "hillsight sighting",
        "type": "object",
        "required": ["format", "statement"],
        "additionalProperties": False,
        "properties": {
            "format": {"const": FORMAT},
            "picture": {"$ref": "#/$defs/picture"},
            "statement": {
                "type": "array",
                "minItems": 1,
                "maxItems": MOST_STATEMENTS,
                "items": {"oneOf": [{"$ref": f"#/$defs/{name}"} for name in KINDS]},
            },
        },
        "$defs": {"picture": _picture(), **{name: _statement(kind) for name, kind in KINDS.items()}},
    }


def _picture() -> Schema:
    properties = {field.name: field_schema(field) for field in PICTURE}
    properties["looks"] = looks_schema(properties["looks"]["description"])
    properties["taken"] = {"description": properties["taken"]["description"], **day_or_time()}
    return {
        "type": "object",
        "additionalProperties": False,
        "properties": properties,
        "dependentSchemas": {
            "sun_right_deg": {
                "required": ["taken"],
                "properties": {"taken": {"pattern": f"^{_DAY}{_TIME}{_ZONE}$"}},
            }
        },
    }


def looks_schema(meaning: str) -> Schema:
    """Which way a picture looks."""
    return {
        "description": meaning,
        "anyOf": [
            # Points of the compass in capital or small letters, by themselves or with spaces round them.
            {"type": "string", "pattern": rf"^\s*({'|'.join(_either_case(name) for name in COMPASS)})\s*$"},
            {"type": "string", "pattern": DEGREES_TEXT},
            {"type": "number", "minimum": 0, "maximum": 360},
        ],
    }


def day_or_time() -> Schema:
    """A day, or a day and time."""
    return {"type": "string", "pattern": f"^{_DAY}({_TIME}{_ZONE}?)?$"}


def _statement(kind: StatementKind) -> Schema:
    fields = {field.name: field_schema(field) for field in (*kind.fields, *COMMON)}
    schema: Schema = {
        "description": kind.meaning,
        "type": "object",
        "required": ["kind", *(field.name for field in kind.fields if field.needed)],
        "additionalProperties": False,
        "properties": {"kind": {"const": kind.name}, **fields},
    }
    if kind.one_of:
        schema["anyOf"] = [{"required": [name]} for name in kind.one_of]
    if kind.either_or:
        schema["not"] = {"required": list(kind.either_or)}
    if kind.rests_on:
        schema["dependentRequired"] = {name: [other] for name, other in kind.rests_on.items()}
    schema["examples"] = [{"kind": kind.name, **kind.example}]
    return schema


def field_schema(field: SightingField) -> Schema:
    """What may stand in a field."""
    return {"description": field.meaning, **_form(field)}


def _form(field: SightingField) -> Schema:
    number: Schema = {"type": "number", "minimum": field.least, "maximum": field.most}
    text: Schema = {"type": "string", "pattern": r"\S"}
    if field.form == "word":
        return {"enum": list(field.words)}
    if field.form == "yes_no":
        return {"type": "boolean"}
    if field.form == "number":
        return {**number, "multipleOf": 1} if field.is_whole else number
    if field.form == "pairs":
        pair = {"type": "array", "items": number, "minItems": 2, "maxItems": 2}
        return {"type": "array", "items": pair, "minItems": LEAST_MEMBERS["pairs"]}
    if field.form == "texts":
        return {"type": "array", "items": text, "minItems": LEAST_MEMBERS["texts"]}
    return {"type": "string"} if field.name == "note" else text


def _either_case(name: str) -> str:
    return "".join(f"[{letter}{letter.lower()}]" for letter in name)
