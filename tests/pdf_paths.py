"""Paths of a PDF page, as its content stream draws them: what a printer lays on the paper.

Operators and units after ISO 32000-1:2008, 8.5.2 (path construction: m, l, re), 8.4.4 (q, Q, cm) and 8.3.2.3
(user space counts 1/72 inch); from memory.
"""

from __future__ import annotations

import re
import zlib
from pathlib import Path

import numpy as np

MM = 25.4 / 72
_TOKEN = re.compile(rb"/[^\s/\[\]()<>]+|\((?:\\.|[^\\()])*\)|\[|\]|<<|>>|[^\s/\[\]()<>]+")


def streams(file: Path) -> list[bytes]:
    """Every stream of the file that decompresses, in order."""
    found = []
    for part in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", file.read_bytes(), re.DOTALL):
        try:
            found.append(zlib.decompress(part))
        except zlib.error:
            continue
    return found


def pages(file: Path) -> list[list[np.ndarray]]:
    """For each page its paths, (n, 2) mm from the lower left corner of the paper, in the order drawn."""
    return [paths_in(stream) for stream in streams(file) if re.search(rb"\sl\b.*\bS\b", stream, re.DOTALL)]


def paths_in(content: bytes) -> list[np.ndarray]:
    """Paths of straight lines of one content stream, mm."""
    matrix, kept = np.eye(3), []
    operands: list[float] = []
    points: list[tuple[float, float]] = []
    found = []

    def close() -> None:
        if len(points) > 1:
            plane = np.column_stack([np.array(points), np.ones(len(points))]) @ matrix
            found.append(plane[:, :2] * MM)
        points.clear()

    for token in _TOKEN.findall(content):
        try:
            operands.append(float(token))
            continue
        except ValueError:
            pass
        if token == b"q":
            kept.append(matrix)
        elif token == b"Q":
            close()
            matrix = kept.pop()
        elif token == b"cm":
            a, b, c, d, e, f = operands[-6:]
            matrix = np.array([[a, b, 0], [c, d, 0], [e, f, 1]]) @ matrix
        elif token == b"m":
            close()
            points.append((operands[-2], operands[-1]))
        elif token == b"l":
            points.append((operands[-2], operands[-1]))
        elif token == b"re":
            close()
            x, y, w, h = operands[-4:]
            points += [(x, y), (x + w, y), (x + w, y + h), (x, y + h), (x, y)]
        elif token in (b"S", b"s", b"f", b"B", b"n", b"W", b"h", b"b", b"f*", b"B*", b"W*"):
            close()
        operands.clear()
    return found
