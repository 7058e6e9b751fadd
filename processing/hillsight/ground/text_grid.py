"""Checks a grid written as text word by word: the reading library takes what it can and guesses the rest.

Of ``168.7inf167.8`` GDAL makes 168.7, of a value too many it makes a grid that is shifted by one from there
on, and of a strange letter a 0, each without a word.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from hillsight.errors import TerrainError

#: Words of the header of an Esri ASCII grid, and dx and dy, which GDAL writes for cells that are not square
#: (both from memory).
_HEADER = (
    "ncols", "nrows", "xllcorner", "xllcenter", "yllcorner", "yllcenter", "cellsize", "dx", "dy",
    "nodata_value",
)  # fmt: skip
_NUMBER = rb"[-+]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][-+]?\d+)?"
_NO_VALUE = rb"(?i:[-+]?(?:nan|inf|infinity)|null)"
#: The first word that is no number. NUL and all that is no space belong to a word.
_OTHER = re.compile(rb"(?<!\S)(?!(?:" + _NUMBER + rb"|" + _NO_VALUE + rb")(?!\S))\S+")
_PIECE_BYTES = 1 << 22


def check_text_grid(path: str, rows: int, columns: int) -> None:
    """Refuse an ASCII grid whose text is not what it says.

    Parameters
    ----------
    path : of a file; what is packed in an archive or lies elsewhere is not checked
    rows, columns : as the reading library has them

    Raises
    ------
    TerrainError : a word of the header is not known, a value is no number, or there are too many or too few
    """
    if not Path(path).is_file():
        return
    values = 0
    for piece in _values(path):
        other = _OTHER.search(piece)
        if other is not None:
            before = values + len(piece[: other.start()].split())
            shown = other.group()[:30].decode("ascii", errors="backslashreplace")
            raise _damaged(path, f"value {before % columns + 1} of row {before // columns} is '{shown}'")
        values += len(piece.split())
    if values != rows * columns:
        raise _damaged(
            path, f"it holds {values:,} values, and {rows:,} rows of {columns:,} are {rows * columns:,}"
        )


def _values(path: str) -> Iterator[bytes]:
    """Pieces of the text after the header, cut between words."""
    with Path(path).open("rb") as file:
        while True:
            start = file.tell()
            line = file.readline(_PIECE_BYTES)
            words = line.split()
            if not words or not words[0][:1].isalpha() or re.fullmatch(_NO_VALUE, words[0]):
                if words or not line:
                    file.seek(start)
                    break
                continue
            key = words[0].decode("ascii", errors="backslashreplace")
            if (
                key.lower() not in _HEADER
                or len(words) != 2
                or not re.fullmatch(_NUMBER + rb"|" + _NO_VALUE, words[1])
            ):
                shown = line[:60].decode("ascii", errors="backslashreplace").strip()
                raise _damaged(path, f"its header has a line '{shown}'")
        held = b""
        while piece := file.read(_PIECE_BYTES):
            held += piece
            whole = max(held.rfind(b" "), held.rfind(b"\n"))
            if whole >= 0:
                yield held[:whole]
                held = held[whole:]
        yield held


def _damaged(path: str, what: str) -> TerrainError:
    return TerrainError(
        f"this is not a whole ASCII grid: {what}",
        where=path,
        remedy="The file may be damaged or cut short: fetch it again",
    )
