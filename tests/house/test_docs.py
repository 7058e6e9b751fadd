"""The docs name every command, option, layer and column, and their tables are what the code says."""

from __future__ import annotations

import re
from pathlib import Path

import click
import pytest

import build_pages as pages
from hillsight import plugins
from hillsight.schema.layers import LAYERS

ROOT = Path(__file__).parents[2]

GLOSSARY = (pages.DOCS / "glossary.md").read_text(encoding="utf-8")


def glossary_words() -> set[str]:
    """Everything in code marks in the first cell of the glossary's rows."""
    words: set[str] = set()
    for line in GLOSSARY.splitlines():
        if line.startswith("| ") and not line.startswith("| ---"):
            words |= set(re.findall(r"`([^`]+)`", line.split("|")[1]))
    return words


@pytest.mark.parametrize("page", pages.blocks(), ids=lambda p: p.stem)
def test_generated_tables_are_up_to_date(page):
    text = page.read_text(encoding="utf-8")
    assert pages.BEGIN in text
    assert pages.with_block(text, pages.blocks()[page]) == text, "run: python docs/build_pages.py"


def test_every_registered_script_has_a_page_and_stands_in_the_readme():
    assert len(pages.SCRIPTS) >= 11
    readme = (pages.CHECKOUT / "README.md").read_text(encoding="utf-8")
    for name in pages.SCRIPTS:
        assert pages.script_page(name).is_file()
        assert f"docs/scripts/{pages.script_page(name).name}" in readme


def test_glossary_has_every_command_option_layer_and_column():
    wanted = set(pages.SCRIPTS) | set(plugins.HOLDERS) | set(LAYERS)
    wanted |= {column.name for layer in LAYERS.values() for column in layer.columns}
    for name in pages.SCRIPTS:
        options = [p for p in pages.script_command(name).params if isinstance(p, click.Option)]
        wanted |= {option.opts[0] for option in options}
    assert wanted - glossary_words() == set()


def test_glossary_says_where_each_word_comes_from():
    rows = [r for r in GLOSSARY.splitlines() if r.startswith("| `")]
    assert rows
    for row in rows:
        cells = [cell.strip() for cell in row.strip("|").split("|")]
        assert len(cells) == 3 and all(cells), row


def test_links_between_pages_lead_somewhere():
    for page in [pages.CHECKOUT / "README.md", pages.CHECKOUT / "DEVELOPERS.md", *pages.DOCS.rglob("*.md")]:
        for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8")):
            if "://" not in target:
                assert (page.parent / target).exists(), f"{page.name}: {target}"


def test_files_that_pages_name_are_there():
    pages = [ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "demo_project" / "README.md"]
    named = {
        (page.name, path)
        for page in (*pages, *(ROOT / "docs").rglob("*.md"))
        for path in re.findall(
            r"`((?:tests|docs|processing|demo_project|styles)/[\w/]+\.(?:py|md|toml|sld))",
            page.read_text("utf-8"),
        )
        if "NAME" not in path
    }
    assert len(named) > 5
    assert {(page, path) for page, path in named if not (ROOT / path).is_file()} == set()
