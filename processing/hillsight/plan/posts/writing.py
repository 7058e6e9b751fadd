"""A plan of marshal posts to fill in."""

from __future__ import annotations

from typing import Any

from hillsight.plan.posts.fields import FORMAT, TABLES, TOP
from hillsight.plan.posts.toml_tables import template_line
from hillsight.plan.toml_file import toml_value

_EXAMPLE: dict[str, Any] = {
    "title": "Round of the tarn",
    "terrain": "upland.tif",
    "surface": "tree_tops.tif",
    "features": ["upland.gpkg"],
    "cover": ["woods.gpkg"],
    "crs": "EPSG:32632",
}


def template() -> str:
    """A plan of posts to fill in; lines that begin with ``#`` and no space may be used without it."""
    lines = [
        f"format = {toml_value(FORMAT)}",
        "",
        "# A plan of marshal posts: a course, who watches it, and where marshals may stand.",
        "# Lines that begin with # and a space explain; take the # from other lines that you want to use.",
        "# Coordinates are metres, in the terrain's own CRS or its metric grid, unless crs says otherwise.",
        "",
    ]
    lines += [template_line(field, _EXAMPLE[field.name], kept=field.needed) for field in TOP]
    for table in TABLES:
        heading = f"[[{table.name}]]" if table.many else f"[{table.name}]"
        lines += ["", f"# {table.meaning}", heading if table.needed else f"#{heading}"]
        for field in table.fields:
            if field.name in table.example:
                kept = table.needed and (field.needed or field.name == "posts")
                lines.append(template_line(field, table.example[field.name], kept=kept))
    return "\n".join(lines) + "\n"
