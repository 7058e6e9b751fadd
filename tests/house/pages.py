"""The parts of the docs that come from the code: option tables of the scripts, tables of the layers.

Run ``python tests/house/pages.py`` after changing an option or a column; a test compares.
"""

from __future__ import annotations

import re
from importlib import import_module
from pathlib import Path

import click

from hillsight.layers.schema import LAYERS
from hillsight.sight.states import GROUND_STATE_MEANINGS

CHECKOUT = Path(__file__).parents[2]
DOCS = CHECKOUT / "docs"
SCRIPTS = {
    "outlook": "outlook",
    "viewshed": "viewshed",
    "dead-ground": "dead_ground",
    "bearings": "bearings",
    "profile": "profile",
    "landforms": "landforms",
    "doctor": "doctor",
    "demo": "demo",
}
BEGIN, END = "<!-- from the code -->", "<!-- end -->"


def script_command(name: str) -> click.Command:
    return import_module(f"hillsight.scripts.{SCRIPTS[name]}").command


def option_table(name: str) -> str:
    """Options of a script as a Markdown table."""
    rows = ["| option | meaning | default |", "| --- | --- | --- |"]
    for option in script_command(name).params:
        if not isinstance(option, click.Option):
            continue
        metavar = "" if option.is_flag else f" {option.make_metavar(click.Context(script_command(name)))}"
        values = option.default if isinstance(option.default, tuple) else (option.default,)
        default = ", ".join(f"{v:g}" for v in values if isinstance(v, int | float))
        shown = "required" if option.required else "" if option.is_flag else default
        meaning = (option.help or "").replace("|", "\\|")
        rows.append(f"| `{option.opts[0]}{metavar}` | {meaning} | {shown} |".replace("\n", " "))
    return "\n".join(rows)


def layer_tables() -> str:
    """All layers and their columns, and the codes of the viewshed raster, as Markdown."""
    parts = []
    for layer in LAYERS.values():
        parts += [f"## `{layer.name}`", "", f"{layer.geometry}: {layer.meaning}.", ""]
        parts += ["| column | type | unit and frame | meaning |", "| --- | --- | --- | --- |"]
        for column in layer.columns:
            null = " May be null." if column.optional else ""
            parts.append(f"| `{column.name}` | {column.type} | {column.unit} | {column.meaning}.{null} |")
        parts.append("")
    parts += ["## Rasters", "", "`viewshed_<station>`, one byte a post; of several target heights one each,"]
    parts += ["`viewshed_<station>_2m`, `viewshed_<station>_1_6m` ...:", "", "| code | state | meaning |"]
    parts += ["| --- | --- | --- |"]
    parts += [f"| {int(s)} | {s.name.lower()} | {meaning} |" for s, meaning in GROUND_STATE_MEANINGS.items()]
    parts += [
        "",
        "`depth_<station>`, 32-bit floats: metres a thing must stand tall to show; 0 where the ground is",
    ]
    parts += ["visible, no data (NaN) where unknown or beyond the reach."]
    parts += [
        "",
        "`visible_count`, 16-bit whole numbers: how many stations see each post; 0 where none does, and",
    ]
    parts += ["beyond every reach. Of several target heights one each, `visible_count_2m` ..."]
    return "\n".join(parts)


def blocks() -> dict[Path, str]:
    """The generated block of each page that has one."""
    pages = {DOCS / "scripts" / f"{name}.md": option_table(name) for name in SCRIPTS}
    pages[DOCS / "layers.md"] = layer_tables()
    return pages


def with_block(text: str, block: str) -> str:
    pattern = re.compile(re.escape(BEGIN) + ".*?" + re.escape(END), re.DOTALL)
    return pattern.sub(lambda _: f"{BEGIN}\n{block}\n{END}", text)


if __name__ == "__main__":
    for page, block in blocks().items():
        page.write_text(with_block(page.read_text(encoding="utf-8"), block), encoding="utf-8")
