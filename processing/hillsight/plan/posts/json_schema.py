"""The plan of posts as a JSON Schema (2020-12), by which editors complete and check what is written."""

from __future__ import annotations

from typing import Any

from hillsight.plan.posts.fields import FORMAT, TABLES, TOP, TOP_LISTS
from hillsight.plan.posts.toml_tables import file_schema

Schema = dict[str, Any]

_MOMENT: Schema = {"type": "string", "pattern": r"^\s*[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}.*$"}


def json_schema() -> Schema:
    """Schema of a plan of posts.

    It lets pass what the reader alone can tell: a name twice, more fixed posts than wanted, heights or paces
    in the wrong order, a pair that names no post, a moment that does not exist.
    """
    schema = file_schema("plan of posts", FORMAT, TOP, TABLES, TOP_LISTS)
    properties = schema["properties"]
    properties["wanted"]["anyOf"] = [{"required": ["posts"]}, {"required": ["share"]}]
    start = properties["paces"]["properties"]["start"]
    properties["paces"]["properties"]["start"] = {"description": start["description"], **_MOMENT}
    return schema
