"""Describes a script to machines: OGC API - Processes - Part 1 (OGC 18-062r2), process description."""

from __future__ import annotations

from typing import Any

import click


def process_description(
    command: click.Command, *, title: str, outputs: dict[str, str], version: str
) -> dict[str, Any]:
    """Process description of a command, from its own options.

    Parameters
    ----------
    outputs : by output name, ``media type; meaning``
    """
    return {
        "id": command.name,
        "title": title,
        "description": " ".join((command.help or "").split()),
        "version": version,
        "jobControlOptions": ["sync-execute"],
        "outputTransmission": ["value"] if set(outputs) == {"stdout"} else ["reference"],
        "inputs": {option.name: _input(option) for option in command.params if option.expose_value},
        "outputs": {name: _output(text) for name, text in outputs.items()},
    }


def _input(option: click.Parameter) -> dict[str, Any]:
    by_place = not isinstance(option, click.Option)
    return {
        "title": option.human_readable_name if by_place else option.opts[0],
        "description": "Given by its place on the command line." if by_place else option.help or "",
        # Of one value; that there may be several is what maxOccurs says.
        "schema": _schema(option),
        "minOccurs": 1 if option.required else 0,
        "maxOccurs": "unbounded" if option.multiple or option.nargs < 0 else option.nargs,
    }


def _schema(option: click.Parameter) -> dict[str, Any]:
    schema: dict[str, Any]
    if getattr(option, "is_flag", False):
        # click's default of a flag that is off is False or a mark of its own, by version.
        return {"type": "boolean", "default": option.default is True}
    if isinstance(option.type, click.IntRange):
        schema = {"type": "integer"}
        if option.type.min is not None:
            schema["minimum"] = option.type.min
    elif option.type.name == "number":
        schema = {"type": "number"}
    elif option.type.name == "date":
        schema = {"type": "string", "format": "date"}
    elif isinstance(option.type, click.Choice):
        schema = {"type": "string", "enum": list(option.type.choices)}
    else:
        schema = {"type": "string"}
    default = option.default[0] if isinstance(option.default, tuple) and option.default else option.default
    if isinstance(default, bool | int | float | str):
        schema["default"] = default
    return schema


def _output(text: str) -> dict[str, Any]:
    media_type, _, meaning = text.partition("; ")
    return {
        "title": meaning.split(":")[0],
        "description": meaning,
        "schema": {"type": "string", "contentMediaType": media_type},
    }
