"""The script whose work a batch does: found among those registered, its options checked."""

from __future__ import annotations

import datetime
import importlib
import inspect
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

from hillsight import plugins
from hillsight.errors import BatchError
from hillsight.jobs.requests import WRITTEN, CoverInput, PlacesInput, TerrainInput
from hillsight.jobs.settling import COMPUTED
from hillsight.plan.toml_file import instead, told

if TYPE_CHECKING:
    from hillsight.plan.toml_file import FilePlace

#: What [looking] and columns of stations say, by the option that a script has for it.
LOOKING = {
    "eye_height": "eye_height_m",
    "target_height": "target_height_m",
    "reach": "reach_m",
    "from_bearing": "from_bearing_deg",
    "to_bearing": "to_bearing_deg",
    "refraction": "refraction",
}

#: What [cover] says, by the option.
COVER = {
    "surface": "surface",
    "cover": "file",
    "cover_layer": "layer",
    "cover_heights": "heights",
    "leaf": "leaf",
}

#: What the job says of its terrain above its tables, under the same names.
TERRAIN = tuple(name for name in TerrainInput.__dataclass_fields__ if name != "terrain")
_PLACES = tuple(PlacesInput.__dataclass_fields__)
assert set(COVER) == set(CoverInput.__dataclass_fields__)

_REMEDY = "The process description of hillsight {name} tells what it takes"


@dataclass(frozen=True, eq=False)
class StationScript:
    """A script whose work is done station by station.

    function : does the work; its parameters are named like the options
    inputs : of its OGC API process description, by name
    package : distribution that brings it, with its version
    """

    name: str
    function: Callable[..., Any]
    inputs: Mapping[str, Mapping[str, Any]]
    package: str

    @property
    def parameters(self) -> tuple[str, ...]:
        """Names of the parameters of the function."""
        return tuple(inspect.signature(self.function).parameters)

    @property
    def options(self) -> dict[str, Mapping[str, Any]]:
        """Inputs that a job may give under [work.options]."""
        return {
            name: given
            for name, given in self.inputs.items()
            if name in self.parameters and not elsewhere(name)
        }

    def is_file(self, name: str) -> bool:
        """Whether an option names files."""
        kind = str(inspect.signature(self.function).parameters[name].annotation)
        texts = self.inputs[name]["schema"]["type"] == "string"
        return texts and (kind in ("Any", "typing.Any") or "Path" in kind)


def elsewhere(name: str) -> str:
    """Where a job says what an option says; empty where it is for [work.options]."""
    if name in LOOKING:
        return f"[looking] says it for all stations, as {LOOKING[name]}, or a column of that name for each"
    if name in COVER:
        return f"[cover] says it, as {COVER[name]}"
    if name in ("terrain", *TERRAIN):
        return f"the job says it above its tables, as {name}"
    if name in _PLACES:
        return "[stations] says where stations come from"
    if name in WRITTEN:
        return "a batch puts what is found into one GeoPackage, work.gpkg, and writes no other files"
    return ""


@cache
def station_scripts() -> dict[str, StationScript]:
    """All registered scripts whose work is done station by station, by name."""
    found = {}
    for name, point in plugins.runnable().items():
        try:
            command = plugins.load(point)
        except plugins.PluginError:  # doctor tells of it; here it can do no work
            continue
        where, describe = getattr(command, "by_station", ""), getattr(command, "described", None)
        if not where or describe is None:
            continue
        module, _, function = where.partition(":")
        package = "" if point.dist is None else f"{point.dist.name} {point.dist.version}"
        found[name] = StationScript(
            name, getattr(importlib.import_module(module), function), describe()["inputs"], package
        )
    return found


def station_script(name: str) -> StationScript:
    """The script of a name, wherever a task is done.

    Raises
    ------
    BatchError : it is not registered there
    """
    scripts = station_scripts()
    if name not in scripts:
        raise BatchError(
            f"there is no script {name!r} whose work can be shared out by stations",
            remedy=instead(name, scripts, "There are"),
        )
    return scripts[name]


def settled_work(raw: Any, place: FilePlace) -> tuple[StationScript, dict[str, Any]]:
    """The script that a job names, and its options as they are to be given.

    raw : the table [work] as the file has it

    Raises
    ------
    BatchError : no such script; an option that it has not, that stands elsewhere, or of another kind
    """
    name = raw.get("script")
    scripts = station_scripts()
    if name not in scripts:
        if isinstance(name, str) and name in plugins.runnable():
            what = f"the script {name!r} does not work station by station"
        else:
            what = f"there is no script {told(name)}"
        raise place.within("script").error(what, instead(name, scripts, "Those that do are"))
    script = scripts[name]
    options = raw.get("options", {})
    within = place.within("options")
    if not isinstance(options, dict):
        raise within.error("[work.options] is not one table", "Write [work.options] once, in single brackets")
    settled = {}
    for option, value in options.items():
        here = within.within(option)
        if reason := elsewhere(option):
            raise here.error(f"{option!r} is not an option of the work: {reason}", "Take it out")
        if option not in script.options:
            raise here.error(
                f"hillsight {name} has no option {option!r}",
                instead(option, script.options, "It may have"),
            )
        described = script.options[option]
        if fault := fault_of(value, described["schema"], described["maxOccurs"]):
            raise here.error(f"{option!r} is {told(value)}, and {fault}", _REMEDY.format(name=name))
        settled[option] = value.isoformat() if isinstance(value, datetime.date) else value
    for option, described in script.options.items():
        if described["minOccurs"] and option not in settled:
            raise within.error(f"hillsight {name} needs {option!r}", _REMEDY.format(name=name))
    return script, settled


def fault_of(value: Any, schema: Mapping[str, Any], most: int | str = 1) -> str:
    """What is wrong with a value by the schema of a process description; empty if nothing is.

    most : values that there may be, or "unbounded"
    """
    if isinstance(value, list):
        if most == 1:
            return "one value is wanted"
        if most != "unbounded" and len(value) != most:
            return f"{most} values are wanted"
        if not value:
            return "a list without members says nothing"
        return next((fault for one in value if (fault := fault_of(one, schema))), "")
    if most not in (1, "unbounded"):
        return f"a list of {most} values is wanted"
    kind = schema["type"]
    if kind == "boolean":
        return "" if isinstance(value, bool) else "true or false is wanted"
    if kind in ("number", "integer"):
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            return "a number is wanted"
        if kind == "integer" and value != int(value):
            return "a whole number is wanted"
        least = schema.get("minimum", -math.inf)
        return "" if value >= least else f"{least} is the least"
    if schema.get("format") == "date":
        try:
            datetime.date.fromisoformat(value if isinstance(value, str) else value.isoformat())
        except (ValueError, AttributeError):
            return "a day is wanted, as in 2026-06-01"
        return ""
    if not isinstance(value, str) or not value.strip():
        return "a text is wanted"
    words: Sequence[str] = schema.get("enum", ())
    return "" if not words or value in words else f"one of {', '.join(words)} is wanted"


def files_of(script: StationScript, options: Mapping[str, Any]) -> list[str]:
    """Names of files among the options, as given."""
    found = []
    for name, value in options.items():
        if script.is_file(name):
            found += [one for one in (value if isinstance(value, list) else [value]) if one != COMPUTED]
    return found


def with_files(
    script: StationScript, options: Mapping[str, Any], beside: Callable[[str], str]
) -> dict[str, Any]:
    """The options with files as they lie from the job's file."""

    def moved(value: Any) -> Any:
        if isinstance(value, list):
            return [moved(one) for one in value]
        return value if value == COMPUTED else beside(value)

    return {name: moved(value) if script.is_file(name) else value for name, value in options.items()}


def options_schema() -> dict[str, Any]:
    """JSON schema of the table [work], by the scripts that are installed."""
    scripts = station_scripts()
    return {
        "description": "A script whose work is done for every station.",
        "type": "object",
        "additionalProperties": False,
        "required": ["script"],
        "properties": {
            "script": {"description": "its name", "enum": list(scripts)},
            "options": {"description": "its options", "type": "object"},
        },
        "allOf": [
            {
                "if": {"properties": {"script": {"const": name}}, "required": ["script"]},
                "then": {"properties": {"options": _script_schema(script)}},
            }
            for name, script in scripts.items()
        ],
    }


def _script_schema(script: StationScript) -> dict[str, Any]:
    properties: dict[str, Any] = {}
    for name, given in script.options.items():
        one, most = dict(given["schema"]), given["maxOccurs"]
        several: dict[str, Any] = {"type": "array", "items": one, "minItems": 1}
        if most == 1:
            kind = one
        elif most == "unbounded":
            kind = {"anyOf": [one, several]}
        else:
            kind = {**several, "minItems": most, "maxItems": most}
        properties[name] = {"description": given["description"], **kind}
    return {"type": "object", "additionalProperties": False, "properties": properties}
