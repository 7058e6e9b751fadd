"""Text that flows down columns and on to further pages."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hillsight.sheets.exercise.question_sheet import BOLDER
from hillsight.sheets.paper.marks import name_of
from hillsight.sheets.paper.page import DOTS_PER_INCH, PER_MM
from hillsight.sheets.paper.palette import INK

if TYPE_CHECKING:
    from collections.abc import Callable

    from hillsight.sheets.paper.labels import Box
    from hillsight.sheets.paper.page import Page

_LINE_FEED = 1.42  # as of paragraphs


class Flow:
    """Paragraphs set one below the other; where a column is full the next one begins, or a new page.

    Parameters
    ----------
    new_page : makes a page
    room : for text on each page, mm from its lower left corner
    columns : on a page; gap_mm : between them
    """

    def __init__(
        self, new_page: Callable[[], Page], room: Box, columns: int = 2, gap_mm: float = 8.0
    ) -> None:
        self.pages: list[Page] = []
        self._new_page, self._room, self._columns = new_page, room, columns
        self._width_mm = (room.width - (columns - 1) * gap_mm) / columns
        self._gap_mm = gap_mm
        self._column = columns - 1
        self._y = 0.0

    @property
    def width(self) -> float:
        """Of a column, pixels."""
        return self._width_mm * PER_MM

    def block(self, *parts: tuple[str, float, bool, str], indent: float = 0.0, before: float = 0.0) -> Box:
        """Set paragraphs that stay together where a column holds them.

        Each is a text, its size in points, whether bold, its colour.

        Parameters
        ----------
        indent, before : pixels

        Returns
        -------
        the room they took, pixels of the last page; ``pages[-1]`` is that page
        """
        from hillsight.sheets.paper.labels import Box

        if not self.pages:
            self._next()
        page = self.pages[-1]
        lines = [
            (line, size, bold, colour)
            for text, size, bold, colour in parts
            for line in page.wrapped(
                name_of(text, 4_000), (self.width - indent) / (BOLDER if bold else 1.0), size
            )
        ]
        tall = sum(_step(size) for _, size, _, _ in lines)
        if self._y - before - tall < self._room.bottom * PER_MM:
            self._next()
            page, before = self.pages[-1], 0.0
        top = self._y - before
        y, left = top, self._left() + indent
        for line, size, bold, colour in lines:
            if y - _step(size) < self._room.bottom * PER_MM:  # more than a column holds
                self._next()
                page, top, y, left = self.pages[-1], self._y, self._y, self._left() + indent
            y -= _step(size)
            page.text(left, y + _step(size) / 2, line, size, bold=bold, colour=colour)
        self._y = y
        return Box(self._left(), y, self._left() + self.width, top)

    def heading(self, text: str, room_below: float = 70.0) -> None:
        """A heading, in a new column if less than so many pixels would be left below it."""
        if self.pages and self._y - 60.0 - room_below < self._room.bottom * PER_MM:
            self._next()
        fresh = not self.pages or self._y >= self._room.top * PER_MM - 1
        took = self.block((text, 10.0, True, INK), before=0.0 if fresh else 22.0)
        self.pages[-1].line([took.left, took.right], [took.bottom - 4] * 2, linewidth=0.7)
        self._y -= 12.0

    def _left(self) -> float:
        return (self._room.left + self._column * (self._width_mm + self._gap_mm)) * PER_MM

    def _next(self) -> None:
        self._column += 1
        if self._column >= self._columns:
            self._column = 0
            self.pages.append(self._new_page())
        self._y = self._room.top * PER_MM


def _step(size: float) -> float:
    return size * DOTS_PER_INCH / 72 * _LINE_FEED
