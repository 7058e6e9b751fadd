"""The exercise file as a JSON Schema (2020-12), by which editors complete and check what is written."""

from __future__ import annotations

from typing import Any

from hillsight.plan.exercise.file import FILE_LISTS, FORMAT, MOST_PLACES, PICTURE, PLACE, TOP
from hillsight.plan.sighting.json_schema import day_or_time, field_schema, looks_schema
from hillsight.plan.vocabulary import SightingField

Schema = dict[str, Any]


def json_schema() -> Schema:
    """Schema of an exercise file.

    It lets pass what the reader alone can tell: no true place or several, a spot or a name twice, a day that
    does not exist.
    """
    text: Schema = {"type": "string", "pattern": r"\S"}
    picture = _table(PICTURE)
    picture["properties"]["looks"] = looks_schema(PICTURE[0].meaning)
    picture["properties"]["taken"] = {
        **day_or_time(),
        "description": picture["properties"]["taken"]["description"],
    }
    picture["dependentRequired"] = {"marks": ["photo"]}
    magnetic = {"required": ["north"], "properties": {"north": {"const": "magnetic"}}}
    picture |= {"if": magnetic, "then": {"required": ["taken"]}}
    top = _table(TOP)
    top["properties"] = {
        "format": {"const": FORMAT},
        **top["properties"],
        **{
            name: {"description": meaning, "anyOf": [text, {"type": "array", "items": text}]}
            for name, meaning in FILE_LISTS.items()
        },
        "picture": picture,
        "place": {"type": "array", "minItems": 2, "maxItems": MOST_PLACES, "items": _table(PLACE)},
    }
    top["required"] = ["format", *top["required"], "picture", "place"]
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "hillsight exercise",
        **top,
    }


def _table(fields: tuple[SightingField, ...]) -> Schema:
    return {
        "type": "object",
        "additionalProperties": False,
        "required": [field.name for field in fields if field.needed],
        "properties": {field.name: field_schema(field) for field in fields},
    }
