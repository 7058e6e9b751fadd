"""Checks vector files that are texts before they are read: a library guesses what a damaged one means.

Where a quote of a CSV is never closed, GDAL reads all rows that follow as one cell; of GeoJSON whose bytes
are no UTF-8 it drops or renames what they are in. Both without a word.
"""

from __future__ import annotations

import re
from pathlib import Path

from hillsight.errors import FeatureError

#: A cell in quotes, at the start of a line or after one of the separators that GDAL knows, and how it ends.
_QUOTED = re.compile(rb'(?<![^,;\t|\r\n])"(?:[^"]|"")*+("?)')
_BYTE_ORDER = b"\xef\xbb\xbf"


def check_text_layers(path: str) -> None:
    """Refuse a CSV with a quote that is never closed, and GeoJSON that is no UTF-8 (RFC 8259, section 8.1).

    Parameters
    ----------
    path : of a file; what is packed in an archive or lies elsewhere is not checked

    Raises
    ------
    FeatureError : it is one of the two
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
        content.decode("utf-8")
    except UnicodeDecodeError as error:
        raise FeatureError(
            f"line {_line(content, error.start)} holds bytes that are no UTF-8",
            where=path,
            remedy="GeoJSON is UTF-8: save it so, or fetch it again if it is damaged",
        ) from error


def _check_quotes(content: bytes, path: str) -> None:
    for cell in _QUOTED.finditer(content):
        if not cell.group(1):
            raise FeatureError(
                f"a quote opens in line {_line(content, cell.start())} and is never closed",
                where=path,
                remedy="Close it; a quote within a quoted cell is written twice",
            )


def _line(content: bytes, at: int) -> int:
    return content.count(b"\n", 0, at) + 1
