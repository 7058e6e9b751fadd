"""The key below a drawn view: its landmarks by number, left to right, with bearing, distance and height."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING

import numpy as np

from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.marks import name_of
from hillsight.sheets.paper.palette import INK, LEADER, QUIET
from hillsight.words.angles import wrap_deg
from hillsight.words.quantities import metres, rough_distance_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.reading.drawn.landmarks import Landmark
    from hillsight.sheets.panorama.picture import North
    from hillsight.sheets.paper.page import Page

_SIZE = 7.5
ROW = 23.0  # pixels between entries
_HEAD = 25.0
_NAME_LENGTH = 24
_GAP = 46.0  # pixels between columns of entries
_INNER = 13.0  # and between the figures of one

_HEADS = ("", "", "bearing", "distance", "from the eye")


@dataclass(frozen=True)
class Key:
    """The key, measured: entries go down its columns.

    cells : for each landmark its number, name, bearing, distance and height, as words
    widths : of each of them, pixels
    columns, rows : of entries
    """

    landmarks: tuple[Landmark, ...]
    cells: tuple[tuple[str, ...], ...]
    widths: tuple[float, ...]
    columns: int
    rows: int

    @property
    def height(self) -> float:
        """Pixels that it takes."""
        return _HEAD + self.rows * ROW if self.cells else 0.0

    @property
    def entry_width(self) -> float:
        """Pixels of one column of entries, without the gap to the next."""
        return sum(self.widths) + _INNER * (len(self.widths) - 1)


def lay_key(
    page: Page, landmarks: Sequence[Landmark], north: North, convergence_deg: float, width: float
) -> Key:
    """Measure the key of the landmarks that have numbers.

    width : pixels that there are for it
    """
    numbered = tuple(landmark for landmark in landmarks if landmark.number)
    cells = tuple(_cells(landmark, north, convergence_deg) for landmark in numbered)
    widths = tuple(
        max((page.size_of(texts[i], _SIZE, bold=i == 0)[0] for texts in (*cells, _HEADS)), default=0.0)
        for i in range(len(_HEADS))
    )
    one = sum(widths) + _INNER * (len(widths) - 1)
    columns = max(1, int((width + _GAP) // (one + _GAP)))
    rows = ceil(len(cells) / columns)
    # No more columns than it takes: the last one would be short.
    columns = ceil(len(cells) / rows) if rows else columns
    return Key(numbered, cells, widths, columns, rows)


def most_entries(key: Key, height: float) -> int:
    """How many entries fit into a height with the columns that the key has."""
    return max(0, int((height - _HEAD) // ROW)) * key.columns


def _cells(landmark: Landmark, north: North, convergence_deg: float) -> tuple[str, ...]:
    bearing = (
        landmark.bearing_true_deg if north.word == "true" else landmark.bearing_grid_deg - north.to_grid_deg
    )
    name = name_of(landmark.name, _NAME_LENGTH)
    if landmark.state in ("partly", "uncertain"):
        name += f" ({landmark.state})"
    elif landmark.state == "hidden":
        name += f" (hidden by {max(landmark.hidden_by_m, 0.1):.1f} m)"
    return (
        str(landmark.number),
        name,
        f"{float(wrap_deg(np.round(wrap_deg(bearing), 1))):05.1f}°",
        rough_distance_words(landmark.distance_m),
        height_words(landmark.above_eye_m),
    )


def height_words(above_eye_m: float) -> str:
    """How far above or below the eye."""
    if not np.isfinite(above_eye_m):
        return "height unknown"
    if abs(above_eye_m) < 0.5:
        return "level with it"
    return f"{metres(abs(above_eye_m))} {'above' if above_eye_m > 0 else 'below'}"


def draw_key(page: Page, key: Key, left: float, top: float, width: float) -> float:
    """Draw it downwards from ``top``; returns the height below it."""
    if not key.cells:
        return top
    # Columns share the width, but do not stray far from each other.
    gap = min((width - key.columns * key.entry_width) / max(key.columns - 1, 1), 2.2 * _GAP)
    for column in range(key.columns):
        x = left + column * (key.entry_width + gap)
        edges = _edges(key, x)
        for text, box, align in zip(_HEADS, edges, _ALIGNS, strict=True):
            if text:
                _cell(page, box, top - _HEAD / 2, text, align, colour=QUIET)
        page.line([x, x + key.entry_width], [top - _HEAD + 1, top - _HEAD + 1], linewidth=0.5, color=LEADER)
        for row in range(key.rows):
            i = column * key.rows + row
            if i >= len(key.cells):
                break
            y = top - _HEAD - (row + 0.5) * ROW - 2
            colour = INK if key.landmarks[i].is_seen else QUIET
            for n, (text, box, align) in enumerate(zip(key.cells[i], edges, _ALIGNS, strict=True)):
                _cell(page, box, y, text, align, colour=colour, bold=n == 0)
    return top - key.height


_ALIGNS = ("right", "left", "right", "right", "right")


def _edges(key: Key, left: float) -> list[Box]:
    found = []
    for width in key.widths:
        found.append(Box(left, 0.0, left + width, 0.0))
        left += width + _INNER
    return found


def _cell(page: Page, box: Box, y: float, text: str, align: str, *, colour: str, bold: bool = False) -> None:
    page.text(
        box.right if align == "right" else box.left, y, text, _SIZE, align=align, colour=colour, bold=bold
    )
