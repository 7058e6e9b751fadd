"""The plan of posts as a JSON Schema (2020-12), by which editors complete and check what is written."""

from __future__ import annotations

from typing import Any

from hillsight.plan.posts.fields import FORMAT, TABLES, TOP, TOP_LISTS, TomlTable
from hillsight.plan.sighting.json_schema import field_schema

Schema = dict[str, Any]

_TEXT: Schema = {"type": "string", "pattern": r"\S"}
_TEXTS: Schema = {"anyOf": [_TEXT, {"type": "array", "items": _TEXT}]}
_MOMENT: Schema = {"type": "string", "pattern": r"^\s*[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}.*$"}


def json_schema() -> Schema:
    """Schema of a plan of posts.

    It lets pass what the reader alone can tell: a name twice, more fixed posts than wanted, heights or paces
    in the wrong order, a pair that names no post, a moment that does not exist.
    """
    properties: Schema = {
        "format": {"const": FORMAT},
        **{field.name: field_schema(field) for field in TOP},
        **{field.name: {"description": field.meaning, **_TEXTS} for field in TOP if field.name in TOP_LISTS},
    }
    for table in TABLES:
        one = _table(table)
        properties[table.name] = {"type": "array", "items": one} if table.many else one
    properties["wanted"]["anyOf"] = [{"required": ["posts"]}, {"required": ["share"]}]
    needed = [field.name for field in TOP if field.needed]
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "hillsight plan of posts",
        "type": "object",
        "additionalProperties": False,
        "required": ["format", *needed, *(table.name for table in TABLES if table.needed)],
        "properties": properties,
    }


def _table(table: TomlTable) -> Schema:
    properties = {field.name: field_schema(field) for field in table.fields}
    for name in table.lists:
        properties[name] = {"description": properties[name]["description"], **_TEXTS}
    if "start" in properties:
        properties["start"] = {"description": properties["start"]["description"], **_MOMENT}
    return {
        "description": table.meaning,
        "type": "object",
        "additionalProperties": False,
        "required": [field.name for field in table.fields if field.needed],
        "properties": properties,
    }
