"""A request's inputs as the words of a command line, after all that it must not name is refused."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from hillsight.errors import CallError
from hillsight.serving.roles import Role, role

#: Code of a CRS in the registry of an authority; a second one is of heights.
_CODE = re.compile(r"[A-Za-z]+:[A-Za-z0-9_.]+(\+[A-Za-z0-9_.]+)?")
_WORD = re.compile(r"[A-Za-z][A-Za-z -]*")
#: Most characters of all values together.
MOST_CHARACTERS = 1_000_000
#: Most characters of one value: one word of a command line holds no more (MAX_ARG_STRLEN of Linux).
_MOST_OF_ONE = 100_000


def command_words(script: str, options: Sequence[Any], inputs: Any, folder: Path, scratch: Path) -> list[str]:
    """Words of a command line that says what a request's inputs say.

    Parameters
    ----------
    script : as ``hillsight`` lists it
    options : parameters of its command
    inputs : values by the option's name, as parsed from JSON
    folder : that files are taken from
    scratch : folder of the job, for what a request brings along

    Raises
    ------
    CallError : an input that the script has not, a value of the wrong kind, a file outside the folder
    """
    if not isinstance(inputs, Mapping):
        raise CallError("the inputs are no object with a value for each name")
    known = {option.name: option for option in options}
    if sum(len(json.dumps(value)) for value in inputs.values()) > MOST_CHARACTERS:
        raise CallError(f"the inputs hold more than {MOST_CHARACTERS:,} characters", remedy="Send less")
    for name in inputs:
        what = role(script, known[name]) if name in known else None
        if what == "output":
            raise CallError(
                f"the input {name!r} says where to write, which the server decides",
                remedy="Name what you want under outputs",
            )
        if what is None or what == "refused":
            open_to_all = [n for n, o in known.items() if role(script, o) not in ("output", "refused")]
            raise CallError(
                f"this process takes no input {name!r}", remedy=f"It takes {', '.join(open_to_all)}"
            )
    words: list[str] = []
    by_place: list[str] = []
    for name, option in known.items():
        if name not in inputs or inputs[name] is None:
            continue
        what = role(script, option)
        if option.param_type_name == "argument":
            by_place += [_text(one, name, what, folder, scratch) for one in _several(inputs[name], option)]
        else:
            words += _of_option(option, inputs[name], what, folder, scratch)
    return [*words, *(["--", *by_place] if by_place else [])]


def _of_option(option: Any, value: Any, what: Role, folder: Path, scratch: Path) -> Iterator[str]:
    given = option.opts[-1]
    if what == "flag":
        if not isinstance(value, bool):
            raise CallError(f"the input {option.name!r} is {_shown(value)}, and should be true or false")
        if value:
            yield given
        elif option.secondary_opts:
            yield option.secondary_opts[-1]
    elif option.nargs > 1:
        if not isinstance(value, list) or len(value) != option.nargs:
            raise CallError(f"the input {option.name!r} should be an array of {option.nargs}")
        yield given
        for one in value:
            yield _number(one, option.name)
    elif (option.metavar or "").startswith("[") and value is True:
        yield given  # its value may be left out
    else:
        for one in _several(value, option):
            yield f"{given}={_text(one, option.name, what, folder, scratch)}"


def _several(value: Any, option: Any) -> list[Any]:
    if isinstance(value, list):
        if not option.multiple and len(value) != 1:
            raise CallError(f"the input {option.name!r} takes one value, and was given {len(value)}")
        return value
    return [value]


def _text(value: Any, name: str, what: Role, folder: Path, scratch: Path) -> str:
    if what == "number":
        return _number(value, name)
    if isinstance(value, Mapping) and what == "file":
        return str(_brought_along(value, name, scratch))
    if not isinstance(value, str) or not value.strip():
        raise CallError(f"the input {name!r} is {_shown(value)}, and should be a text")
    if len(value) > _MOST_OF_ONE or "\0" in value:
        raise CallError(f"the input {name!r} is too long, or holds what no text holds")
    if what == "code" and not _CODE.fullmatch(value):
        raise CallError(
            f"the input {name!r} is {_shown(value)}",
            remedy="Give the code of a coordinate reference system, such as EPSG:27700",
        )
    if what == "file" or (what == "word_or_file" and not _WORD.fullmatch(value)):
        return str(file_within(folder, value, name))
    return value


def _number(value: Any, name: str) -> str:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise CallError(f"the input {name!r} is {_shown(value)}, and should be a number")
    return repr(value)


def file_within(folder: Path, value: str, name: str) -> Path:
    """The file that a request names, where it lies in the folder, links followed.

    Raises
    ------
    CallError : it lies elsewhere, or there is none; the two are not told apart by the message
    """
    refused = CallError(
        f"the input {name!r} names {_shown(value)}, and the server's folder of inputs holds no such file",
        remedy="Name a file as it lies in that folder",
    )
    place = Path(value)
    if place.is_absolute() or "://" in value or value.startswith("/") or ".." in place.parts:
        raise refused
    try:
        found = (folder / place).resolve(strict=True)
    except (OSError, RuntimeError, ValueError):
        raise refused from None
    if not found.is_relative_to(folder.resolve()) or found == folder.resolve():
        raise refused
    return found


def _brought_along(value: Mapping[str, Any], name: str, scratch: Path) -> Path:
    """Features that the request holds itself, written as GeoJSON; nothing but features is taken over."""
    if "href" in value:
        raise CallError(
            f"the input {name!r} is a link, and the server fetches nothing",
            remedy="Name a file in the server's folder, or send the features themselves",
        )
    inner = value.get("value", value) if value.get("type") != "FeatureCollection" else value
    features = inner.get("features") if isinstance(inner, Mapping) else None
    if not isinstance(features, list) or not features:
        raise CallError(
            f"the input {name!r} is no feature collection of GeoJSON (RFC 7946) with features in it",
            remedy="Send one, or name a file in the server's folder",
        )
    path = scratch / f"{name}-{len(list(scratch.glob(f'{name}-*')))}.geojson"
    collection = {"type": "FeatureCollection", "features": features}
    path.write_text(json.dumps(collection), encoding="utf-8")
    return path


def _shown(value: Any) -> str:
    text = json.dumps(value, ensure_ascii=False)
    return text if len(text) <= 80 else f"{text[:77]}..."
