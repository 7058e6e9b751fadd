"""What the pages print of the demo is what the commands print: word for word, whatever the lines' breaks.

A page shows parts of an output; ``...`` on a line of its own stands for what is left out.
"""

from __future__ import annotations

import textwrap
from functools import cache
from pathlib import Path

import pytest

from scripts.commands import run  # isort: skip

#: The demo is made and its commands run: minutes.
pytestmark = pytest.mark.slow

ROOT = Path(__file__).resolve().parents[2]
SIGHTINGS = ROOT / "demo_project" / "sightings"
PAGES = ROOT / "docs" / "scripts"
PLAN = "posts/round_of_the_tarn.toml"
#: Words that stand for the demo's files in the calls below.
FILES = {"TERRAIN": "terrain.tif", "STATIONS": "stations.gpkg", "FEATURES": "features.gpkg", "PLAN": PLAN}
GROUND = ("--terrain", "TERRAIN", "--features", "FEATURES")
PLACES = (*GROUND, "--stations", "STATIONS")
WEIGHED = (*PLACES, "--landforms", "--reach", "6000")

PHOTOGRAPH = ROOT / "demo_project" / "photograph"
MARKED = ("--marks", PHOTOGRAPH / "view.json", "--photo", PHOTOGRAPH / "view.jpg", "--width", "65")
PICKED = ("--date", "2026-06-01", "--pick", "500,540", "--pick-line", "skyline")

EXAMPLES = [
    ("docs/photograph.md", "A ridge end:", ("resect", *PLACES, *MARKED, *PICKED), 0),
    ("docs/photograph.md", "Decided:", ("relocate", *PLACES, "--reach", "6000", *MARKED), 0),
    ("README.md", "Decided:", ("relocate", *WEIGHED, "--sighting", SIGHTINGS / "ridge_end.toml"), 0),
    (
        "docs/scripts/relocate.md",
        "Decided:",
        ("relocate", *WEIGHED, "--sighting", SIGHTINGS / "ridge_end.toml"),
        0,
    ),
    (
        "docs/scripts/relocate.md",
        "Undecided:",
        ("relocate", *WEIGHED, "--sighting", SIGHTINGS / "undecided.toml"),
        3,
    ),
    ("docs/scripts/compare.md", "What tells", ("compare", *PLACES, "--looks", "SE", "--most", "4"), 0),
    (
        "docs/scripts/describe.md",
        "Ridge end, looking",
        ("describe", *GROUND, "--at", "246935,316215,Ridge end", "--looks", "SE", "--prose"),
        0,
    ),
    (
        "docs/scripts/describe.md",
        "format = ",
        ("describe", *GROUND, "--at", "246935,316215,Ridge end", "--looks", "SE"),
        0,
    ),
    (
        "docs/scripts/panorama.md",
        "A shelf:",
        ("panorama", *GROUND, "--at", "246305,315915,A shelf"),
        0,
    ),
    (
        "docs/scripts/profile.md",
        "From A shelf",
        ("profile", *GROUND, "--at", "246305,315915,A shelf", "--to-feature", "Wether Hummel"),
        0,
    ),
    ("docs/scripts/posts.md", "Round of the Tarn:", ("posts", "PLAN"), 0),
]


def block(page: str, begins: str) -> str:
    """The indented block of a page whose first line begins so."""
    lines = (ROOT / page).read_text(encoding="utf-8").splitlines()
    first = next(k for k, line in enumerate(lines) if line.startswith(f"    {begins}"))
    last = first
    while last < len(lines) and (lines[last].startswith("    ") or not lines[last].strip()):
        last += 1
    return textwrap.dedent("\n".join(lines[first:last]))


def folded(text: str) -> str:
    """The text with every run of white space as one space."""
    return " ".join(text.split())


def parts(shown: str) -> list[str]:
    """What a block shows between its dots, folded."""
    found: list[list[str]] = [[]]
    for line in shown.splitlines():
        if line.strip() == "...":
            found.append([])
        else:
            found[-1].append(line)
    return [text for text in (folded("\n".join(lines)) for lines in found) if text]


@cache
def ended_with(upland, call):
    """How a call ends; a page that prints the same call as another does not run it again."""
    return run(*(upland / FILES[word] if word in FILES else word for word in call))


@pytest.mark.parametrize(
    ("page", "begins", "call", "code"), EXAMPLES, ids=[f"{page}-{begins}" for page, begins, _, _ in EXAMPLES]
)
def test_a_page_prints_what_the_command_prints(upland, page, begins, call, code):
    ended = ended_with(upland, call)
    assert ended.code == code, ended.err
    printed, at = folded(ended.out), 0
    for part in parts(block(page, begins)):
        found = printed.find(part, at)
        assert found >= 0, f"{page} prints what is not there, or not there any more: {part}\n\n{ended.out}"
        at = found + len(part)


def test_parts_are_told_apart_and_lines_folded():
    assert parts("a\n   b\n...\nc\n  ...\n") == ["a b", "c"]
