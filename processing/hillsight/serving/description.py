"""The description of a process: that of ``--describe``, without what the server decides."""

from __future__ import annotations

from typing import Any

from hillsight.errors import CallError
from hillsight.serving.roles import role


def process_id(script: str) -> str:
    """A script's name as a piece of an address: ``exercise check`` becomes ``exercise-check``."""
    return script.replace(" ", "-")


def served_description(script: str, command: Any) -> dict[str, Any]:
    """What a server tells of a script: OGC 18-062r2, process description.

    It differs from ``--describe`` in this: inputs that say where to write, and options that decide for the
    machine, are left out, and outputs come by value.

    Raises
    ------
    CallError : the script, of another package, does not describe itself
    """
    describe = getattr(command, "described", None)
    if describe is None:
        raise CallError(f"the script {script!r} does not describe itself, and cannot be served")
    told = describe()
    roles = {option.name: role(script, option) for option in command.params}
    return {
        **told,
        "id": process_id(script),
        "inputs": {n: i for n, i in told["inputs"].items() if roles[n] not in ("output", "refused")},
        "jobControlOptions": ["sync-execute", "async-execute"],
        "outputTransmission": ["value"],
        "keywords": ["terrain", "visibility"],
        "links": [],
    }
