"""Checks vector files that are texts before they are read: a library guesses what a damaged one means.

Where a quote of a CSV is never closed, GDAL reads all rows that follow as one cell; what stands after a
closing quote it joins to the cell; a row with a NUL in it is lost, and at times the next. Of a GeoJSON that
is broken it keeps what it can make out, of a sequence the lines that are whole. All without a word.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

from hillsight.errors import FeatureError

#: A cell in quotes, at the start of a line or after one of the separators that GDAL knows, how it ends, and
#: what else stands in it then.
_QUOTED = re.compile(rb'(?<![^,;\t|\r\n])"(?:[^"]|"")*+("?) *+([^,;\t|\r\n]?)')
_TABLES = (".csv", ".tsv", ".psv")
_BYTE_ORDER = b"\xef\xbb\xbf"
#: What a record of a sequence may begin with (RFC 8142, section 2).
_RECORD = "\x1e"
_TWICE = "Quote whole cells; a quote within a quoted cell is written twice"
_DAMAGED = "The file may be damaged: fetch or write it again"


def check_text_layers(path: str) -> None:
    """Refuse a table as text whose quotes are broken or that holds NULs, and JSON that is not well formed.

    A table is known by its ending, JSON by its first sign. JSON is UTF-8 (RFC 8259, section 8.1) and one
    text, or a sequence of objects, each in a line of its own or after a record separator (RFC 8142).

    Parameters
    ----------
    path : of a file; what is packed in an archive or lies elsewhere is not checked

    Raises
    ------
    FeatureError : it is one of these
    """
    place = Path(path)
    if not place.is_file():
        return
    try:
        if place.suffix.lower() in _TABLES:
            _check_quotes(place.read_bytes().removeprefix(_BYTE_ORDER), path)
        elif _begins_as_json(place):
            _check_json(place.read_bytes().removeprefix(_BYTE_ORDER), path)
    except OSError as error:
        raise FeatureError(f"it cannot be read: {error.strerror or error}", where=path) from error


def _begins_as_json(place: Path) -> bool:
    with place.open("rb") as file:
        first = file.read(1024).removeprefix(_BYTE_ORDER).lstrip(b" \t\r\n" + _RECORD.encode())
    return first.startswith(b"{")


def _check_json(content: bytes, path: str) -> None:
    try:
        text = content.decode()
    except UnicodeDecodeError as error:
        raise FeatureError(
            f"line {_line(content, error.start)} holds bytes that are no UTF-8",
            where=path,
            remedy="GeoJSON is UTF-8: save it so, or fetch it again if it is damaged",
        ) from error
    before = 0
    try:
        for record in _records(text):
            if record.strip():
                _parse(record.rstrip())
            before += record.count("\n")
    except json.JSONDecodeError as error:
        line = before + error.lineno
        if error.msg.startswith("Invalid control character"):
            what = f"a text in line {line} holds a line break or another control character"
        else:
            what = f"its JSON is broken in line {line}, column {error.colno} ({error.msg})"
        raise FeatureError(what, where=path, remedy=_DAMAGED) from error
    except RecursionError as error:
        raise FeatureError("its JSON is nested too deep", where=path, remedy=_DAMAGED) from error


def _records(text: str) -> list[str]:
    """The whole text, or the pieces of a sequence, each with its line breaks."""
    if text.lstrip(" \t\r\n").startswith(_RECORD):
        return text.split(_RECORD)
    if len(lines := text.split("\n")) > 1:
        try:
            _parse(lines[0])
        except (json.JSONDecodeError, RecursionError):
            return [text]
        return [f"{line}\n" for line in lines]
    return [text]


def _parse(text: str) -> None:
    json.loads(text, parse_int=float)  # whole numbers may have any length


def _check_quotes(content: bytes, path: str) -> None:
    if (at := content.find(b"\0")) >= 0:
        raise FeatureError(
            f"line {_line(content, at)} holds NUL, which no text has",
            where=path,
            remedy="Save it as UTF-8, or fetch it again if it is damaged",
        )
    for cell in _QUOTED.finditer(content):
        if not cell.group(1):
            raise FeatureError(
                f"a quote opens in line {_line(content, cell.start())} and is never closed",
                where=path,
                remedy=_TWICE,
            )
        if cell.group(2):
            raise FeatureError(
                f"text follows a closing quote in line {_line(content, cell.end() - 1)}",
                where=path,
                remedy=_TWICE,
            )


def _line(content: bytes, at: int) -> int:
    return content.count(b"\n", 0, at) + 1
