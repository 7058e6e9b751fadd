"""The schema is one by jsonschema, a library from outside, and refuses what the reader refuses."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from hillsight.errors import SightingError
from hillsight.plan.kinds.registry import KINDS
from hillsight.plan.sighting.file import read_sighting
from hillsight.plan.sighting.json_schema import json_schema
from hillsight.plan.sighting.template import template
from hillsight.plan.vocabulary import COMPASS

VALIDATOR = Draft202012Validator(json_schema())
TOP = 'format = "hillsight sighting 1"\n'
SEEN = '[[statement]]\nkind = "seen"\nwhat = "knoll"\n'


def is_valid(text: str) -> bool:
    """Whether an editor that goes by the schema would take the file; dates are text to it."""
    content = json.loads(json.dumps(tomllib.loads(text), default=lambda day: day.isoformat()))
    return bool(VALIDATOR.is_valid(content))


def is_read(text: str, tmp_path: Path) -> bool:
    path = tmp_path / "picture.toml"
    path.write_text(text, encoding="utf-8")
    try:
        read_sighting(str(path))
    except SightingError:
        return False
    return True


def test_it_is_a_schema_and_plain_json() -> None:
    Draft202012Validator.check_schema(json_schema())
    assert json.loads(json.dumps(json_schema(), allow_nan=False)) == json_schema()


def test_the_form_is_valid_once_something_is_said() -> None:
    assert not is_valid(template())
    whole = re.sub(r"(?m)^#(?=[^ #\n])", "", template())
    assert is_valid(whole)
    assert len(tomllib.loads(whole)["statement"]) == len(KINDS)


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.name)
def test_an_example_is_valid_and_no_longer_so_without_what_it_needs(kind: Any) -> None:
    example = {"kind": kind.name, **dict(kind.example)}

    def valid(statement: dict[str, Any]) -> bool:
        return bool(VALIDATOR.is_valid({"format": "hillsight sighting 1", "statement": [statement]}))

    assert valid(example)
    assert not valid({**example, "colour": "green"})
    assert not valid({**example, "part": "centre"})
    assert not valid({key: value for key, value in example.items() if key != "kind"})
    for field in kind.fields:
        without = {key: value for key, value in example.items() if key != field.name}
        alone = not any(name in without for name in kind.one_of) if kind.one_of else field.needed
        assert valid(without) is not (field.needed or alone), field.name
        assert not valid({**example, field.name: {"a": 1}})
        if field.form == "number":
            assert not valid({**example, field.name: True})


@pytest.mark.parametrize("name", sorted(COMPASS))
def test_points_of_the_compass(name: str, tmp_path: Path) -> None:
    for written in (name, name.lower(), f" {name} "):
        text = f'{TOP}[picture]\nlooks = "{written}"\n{SEEN}'
        assert is_valid(text)
        assert is_read(text, tmp_path)


@pytest.mark.parametrize(
    ("text", "good"),
    [
        (TOP + SEEN, True),
        (SEEN, False),
        (TOP, False),
        (TOP + "statement = []\n", False),
        (TOP.replace("1", "2") + SEEN, False),
        (TOP + SEEN + "[pictures]\n", False),
        (TOP + SEEN * 500, True),
        (TOP + SEEN * 501, False),
        (TOP + "[statement]\nkind = 'seen'\nwhat = 'wall'\n", False),
        (TOP + "[picture]\nlooks = 315\n" + SEEN, True),
        (TOP + "[picture]\nlooks = '315.5 degrees'\n" + SEEN, True),
        (TOP + "[picture]\nlooks = 'up'\n" + SEEN, False),
        (TOP + "[picture]\nlooks = 361\n" + SEEN, False),
        (TOP + "[picture]\nwidth_deg = 4\n" + SEEN, False),
        (TOP + "[picture]\ntitle = ' '\n" + SEEN, False),
        (TOP + "[picture]\ntaken = 2026-06-01\n" + SEEN, True),
        (TOP + "[picture]\ntaken = 'June'\n" + SEEN, False),
        (TOP + "[picture]\nsun_right_deg = 3\n" + SEEN, False),
        (TOP + "[picture]\nsun_right_deg = 3\ntaken = 2026-06-01\n" + SEEN, False),
        (TOP + "[picture]\nsun_right_deg = 3\ntaken = 2026-06-01T12:00:00\n" + SEEN, False),
        (TOP + "[picture]\nsun_right_deg = 3\ntaken = 2026-06-01T12:00:00Z\n" + SEEN, True),
        (TOP + "[[statement]]\nkind = 'brow'\ndistance = 'near'\ndistance_m = 3\n", False),
        (TOP + "[[statement]]\nkind = 'brow'\ndistance_m = 0\n", False),
        (TOP + "[[statement]]\nkind = 'brow'\npart = 'left'\n", False),
        (TOP + "[[statement]]\nkind = 'height'\nwhat = 'a'\nstands = 'level'\ngive_or_take_m = 3\n", False),
        (TOP + "[[statement]]\nkind = 'height'\nwhat = 'a'\nmetres_above = -9\ngive_or_take_m = 3\n", True),
        (TOP + "[[statement]]\nkind = 'number'\nwhat = 'wall'\ncount = 2.5\n", False),
        (TOP + "[[statement]]\nkind = 'number'\nwhat = 'wall'\ncount = 2.0\n", True),
        (TOP + "[[statement]]\nkind = 'order'\nthings = ['wall']\n", False),
        (TOP + "[[statement]]\nkind = 'order'\nthings = ['wall', '']\n", False),
        (TOP + "[[statement]]\nkind = 'skyline_points'\npoints = [[0, 0], [1, 1]]\n", False),
        (TOP + "[[statement]]\nkind = 'skyline_points'\npoints = [[0, 0], [1, 1], [2, 2, 2]]\n", False),
        (TOP + "[[statement]]\nkind = 'seen'\nwhat = 'wall'\nseen = 'no'\n", False),
        (TOP + "[[statement]]\nkind = 'seen'\nwhat = 'wall'\nnote = ''\n", True),
    ],
)
def test_schema_and_reader_agree(text: str, good: bool, tmp_path: Path) -> None:
    assert is_valid(text) is good
    assert is_read(text, tmp_path) is good
