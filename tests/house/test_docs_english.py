"""The pages for people are wrapped, and their sentences short enough to be read aloud in one breath."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PAGES = sorted(
    [
        ROOT / "README.md",
        ROOT / "DEVELOPERS.md",
        ROOT / "demo_project" / "README.md",
        *ROOT.glob("docs/**/*.md"),
    ]
)
LONGEST_LINE = 100
MOST_WORDS = 35


def prose(text: str) -> list[str]:
    """Paragraphs and list items of a page, without headings, tables, pictures and code; one string each.

    Parts between ``<!-- from the code -->`` and ``<!-- end -->`` are written by a program and left out.
    """
    text = re.sub(r"<!-- from the code -->.*?<!-- end -->", "", text, flags=re.DOTALL)
    text = re.sub(r"^```.*?^```", "", text, flags=re.DOTALL | re.MULTILINE)
    blocks: list[str] = []
    new = True
    for line in text.splitlines():
        if (
            not line.strip()
            or line.startswith(("#", "|", "<!--", "!["))
            or re.match(r" {4}(?!\s*[-*] )", line)
        ):
            new = True
            continue
        begins = re.match(r"\s*([-*]|\d+\.)\s+", line)
        stripped = re.sub(r"^\s*([-*]|\d+\.)\s+", "", line).strip()
        if new or begins:
            blocks.append(stripped)
        else:
            blocks[-1] += f" {stripped}"
        new = False
    return blocks


def sentences(block: str) -> list[str]:
    """Sentences of a paragraph; what stands in brackets or code counts as the words it has."""
    plain = re.sub(r"\[([^\]]*)\]\([^)]*\)", r"\1", block)
    plain = re.sub(r"`[^`]*`", "x", plain)
    return [s for s in re.split(r"(?<=[.!?:;])\s+", plain) if s]


@pytest.mark.parametrize("page", PAGES, ids=lambda p: str(p.relative_to(ROOT)))
def test_lines_are_wrapped(page):
    text = page.read_text(encoding="utf-8")
    text = re.sub(r"<!-- from the code -->.*?<!-- end -->", "", text, flags=re.DOTALL)
    long = [
        line
        for line in text.splitlines()
        if len(line) > LONGEST_LINE and not line.lstrip().startswith(("|", "![")) and "](http" not in line
    ]
    assert long == []


@pytest.mark.parametrize("page", PAGES, ids=lambda p: str(p.relative_to(ROOT)))
def test_sentences_are_short(page):
    long = [
        sentence
        for block in prose(page.read_text(encoding="utf-8"))
        for sentence in sentences(block)
        if len(sentence.split()) > MOST_WORDS
    ]
    assert long == []


def test_a_long_sentence_and_a_long_line_would_be_found():
    long = " ".join(["word"] * 36) + "."
    assert sentences(long) == [long]
    assert len(sentences(f"Short one. {long}")) == 2
    assert prose("# Head\n\nOne\ntwo.\n\n- item\n  goes on\n\n    code\n") == ["One two.", "item goes on"]
