"""Process descriptions against the published form of OGC API - Processes - Part 1: Core, OGC 18-062r2.

The schema below holds what process.yaml, processSummary.yaml, descriptionType.yaml, inputDescription.yaml and
outputDescription.yaml of that standard require. It is written from memory of the published schemas, which
were not at hand.
"""

from __future__ import annotations

import copy
import json
from typing import Any

import click
import jsonschema
import pytest

from hillsight.scripts.options import FilledPath

from scripts.commands import SCRIPTS, command_of, run  # isort: skip

_DESCRIPTION_TYPE = {
    "title": {"type": "string"},
    "description": {"type": "string"},
    "keywords": {"type": "array", "items": {"type": "string"}},
}
PROCESS = {
    "$schema": "https://json-schema.org/draft/2020-12/schema",
    "type": "object",
    "required": ["id", "version"],
    "properties": {
        **_DESCRIPTION_TYPE,
        "id": {"type": "string", "minLength": 1},
        "version": {"type": "string", "minLength": 1},
        "jobControlOptions": {
            "type": "array",
            "items": {"enum": ["sync-execute", "async-execute", "dismiss"]},
        },
        "outputTransmission": {"type": "array", "items": {"enum": ["value", "reference"]}},
        "links": {"type": "array", "items": {"type": "object", "required": ["href"]}},
        "inputs": {
            "type": "object",
            "additionalProperties": {
                "type": "object",
                "required": ["schema"],
                "properties": {
                    **_DESCRIPTION_TYPE,
                    "minOccurs": {"type": "integer", "minimum": 0},
                    "maxOccurs": {"oneOf": [{"type": "integer"}, {"const": "unbounded"}]},
                    "schema": {"type": "object"},
                },
            },
        },
        "outputs": {
            "type": "object",
            "additionalProperties": {
                "type": "object",
                "required": ["schema"],
                "properties": {**_DESCRIPTION_TYPE, "schema": {"type": "object"}},
            },
        },
    },
}


def described(name: str) -> dict[str, Any]:
    ended = run(*name.split(), "--describe")
    assert (ended.code, ended.err) == (0, "")
    description: dict[str, Any] = json.loads(ended.out)
    return description


@pytest.mark.parametrize("name", SCRIPTS)
def test_valid(name: str) -> None:
    description = described(name)
    jsonschema.Draft202012Validator.check_schema(PROCESS)
    jsonschema.validate(description, PROCESS, jsonschema.Draft202012Validator)
    assert description["id"] == name.replace(" ", "-")
    assert description["outputs"]
    assert description["description"]
    for part in (*description["inputs"].values(), *description["outputs"].values()):
        # Each part's own schema is JSON Schema too.
        jsonschema.Draft202012Validator.check_schema(part["schema"])
        assert part["description"], part


def _asks_for_a_text(option: click.Option) -> bool:
    """Whether the option prints something and stops: --help, --describe, --template ..."""
    return option.is_eager and option.is_flag


@pytest.mark.parametrize("name", SCRIPTS)
def test_every_option_is_an_input(name: str) -> None:
    inputs = described(name)["inputs"]
    options = {
        option.name: option
        for option in command_of(name).params
        if not (isinstance(option, click.Option) and _asks_for_a_text(option))
        and option.name != "allow_network"  # whoever serves a process decides that, not who asks
    }
    assert set(inputs) == set(options)
    for key, option in options.items():
        assert inputs[key]["minOccurs"] == int(option.required), key
        assert inputs[key]["maxOccurs"] == ("unbounded" if option.multiple else option.nargs), key
        assert inputs[key]["title"].lower() in option.opts, key


def test_types_and_defaults_are_told() -> None:
    inputs = described("outlook")["inputs"]
    assert inputs["reach"]["schema"] == {"type": "number", "default": 10_000.0}
    assert inputs["cells"]["schema"] == {"type": "boolean", "default": False}
    assert inputs["band"]["schema"] == {"type": "integer", "minimum": 1}
    assert inputs["terrain"]["schema"] == {"type": "string"}
    assert inputs["date"]["schema"] == {"type": "string", "format": "date"}
    # Several values are told by maxOccurs; the schema is of one (from memory of section 7.11).
    assert inputs["at"]["schema"] == {"type": "string"}


@pytest.mark.parametrize("name", SCRIPTS)
def test_every_file_written_is_an_output(name: str) -> None:
    written = {o.name for o in command_of(name).params if isinstance(o.type, click.Path | FilledPath)}
    outputs = set(described(name)["outputs"])
    assert outputs - {"stdout"} == written
    assert outputs


def _without(*path: str) -> Any:
    def change(description: Any) -> None:
        for key in path[:-1]:
            description = description[key]
        del description[path[-1]]

    return change


def _with(value: Any, *path: str) -> Any:
    def change(description: Any) -> None:
        for key in path[:-1]:
            description = description[key]
        description[path[-1]] = value

    return change


@pytest.mark.parametrize(
    "change",
    [
        _without("id"),
        _without("version"),
        _without("inputs", "terrain", "schema"),
        _without("outputs", "out", "schema"),
        _with(-1, "inputs", "terrain", "minOccurs"),
        _with("many", "inputs", "at", "maxOccurs"),
        _with(["sync"], "jobControlOptions"),
        _with(["file"], "outputTransmission"),
        _with(1, "title"),
    ],
)
def test_the_schema_can_fail(change: Any) -> None:
    description = copy.deepcopy(described("outlook"))
    change(description)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(description, PROCESS, jsonschema.Draft202012Validator)
