"""Checks vector files that are texts before they are read: a library guesses what a damaged one means.

Where a quote of a CSV is never closed, GDAL reads all rows that follow as one cell; a row with a NUL in it is
lost, and at times the next. Of GeoJSON whose bytes are no UTF-8 it drops or renames what they are in. All
without a word.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

from hillsight.errors import FeatureError

#: A cell in quotes, at the start of a line or after one of the separators that GDAL knows, and how it ends.
_QUOTED = re.compile(rb'(?<![^,;\t|\r\n])"(?:[^"]|"")*+("?)')
_BYTE_ORDER = b"\xef\xbb\xbf"


def check_text_layers(path: str) -> None:
    """Refuse a CSV with NULs or a quote that is never closed, and GeoJSON that is no text of JSON.

    Of JSON that is UTF-8 (RFC 8259, section 8.1) without control characters in its texts (section 7); all
    else the reading library judges.

    Parameters
    ----------
    path : of a file; what is packed in an archive or lies elsewhere is not checked

    Raises
    ------
    FeatureError : it is one of these
    """
    place = Path(path)
    ending = place.suffix.lower()
    if ending not in (".csv", ".json", ".geojson") or not place.is_file():
        return
    try:
        content = place.read_bytes()
    except OSError as error:
        raise FeatureError(f"it cannot be read: {error.strerror or error}", where=path) from error
    if ending == ".csv":
        _check_quotes(content.removeprefix(_BYTE_ORDER), path)
        return
    try:
        json.loads(content.decode("utf-8-sig"))
    except json.JSONDecodeError as error:
        if error.msg.startswith("Invalid control character"):
            raise FeatureError(
                f"a text in line {error.lineno} holds a line break or another control character",
                where=path,
                remedy="The file may be damaged: fetch or write it again",
            ) from error
    except UnicodeDecodeError as error:
        raise FeatureError(
            f"line {_line(content, error.start)} holds bytes that are no UTF-8",
            where=path,
            remedy="GeoJSON is UTF-8: save it so, or fetch it again if it is damaged",
        ) from error


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
                remedy="Close it; a quote within a quoted cell is written twice",
            )


def _line(content: bytes, at: int) -> int:
    return content.count(b"\n", 0, at) + 1
