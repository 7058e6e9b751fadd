"""The question of an exercise on paper: picture, question and room for reasons; then the map extracts.

Whatever place is true, these pages are the same but for the picture. Names that the setter gave the places,
reasons and grades are not on them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from hillsight.sheets.exercise.extracts import draw_extracts, pages_of
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.marks import name_of
from hillsight.sheets.paper.page import PER_MM, Page
from hillsight.sheets.paper.palette import BLANK, INK, QUIET
from hillsight.sheets.paper.pictures import draw_rgb, few_colours

if TYPE_CHECKING:
    from hillsight.sheets.exercise.page_data import PageView
    from hillsight.sheets.exercise.sheet_data import SheetData

#: A4 and its margins, mm (ISO 216).
WIDTH_MM, HEIGHT_MM, MARGIN_MM = 210.0, 297.0, 12.0

#: Where extracts stand on a page, mm from its lower left corner.
EXTRACT_ROOM = Box(MARGIN_MM, 26.0, WIDTH_MM - MARGIN_MM, HEIGHT_MM - 24.0)

FOR_THE_TABLE = (
    "An exercise for the map table. Maps and terrain models leave things out and are wrong by metres in "
    "places. On the hill the ground decides: use local rules and defer to qualified leaders."
)
"""What every question sheet says at its foot."""

#: How much wider bold letters are.
BOLDER = 1.16

_DRAWN = (
    "Thick lines: the skyline (black, broken where ground may stand beyond) and the nearest brow (crimson). "
    "Short strokes below a line: ground is out of view behind it."
)
_MOST_PICTURE_MM = 122.0
_LINE_MM, _WIDEST_MM, _MOST_LINES = 9.5, 16.0, 9  # between ruled lines to write on; how many
_FOOT_MM = 20.0


def question_pages(data: SheetData) -> list[Page]:
    """Pages of the question: first the picture, then the extracts, six on a page at most."""
    pages = [_picture_page(data)]
    for numbers in pages_of(len(data.places)):
        page = blank(head(data, "Question"))
        draw_extracts(page, data, [data.places[n] for n in numbers], EXTRACT_ROOM, bare=True)
        draw_foot(page, FOR_THE_TABLE, data.made_of)
        pages.append(page)
    return pages


def head(data: SheetData, what: str) -> str:
    """The heading of a sheet."""
    number = "" if data.number is None else f" {data.number}"
    return f"{what}{number}: {name_of(data.title, 90)}"


def blank(heading: str) -> Page:
    """A white page with its heading."""
    page = Page.of_mm(WIDTH_MM, HEIGHT_MM, BLANK)
    size = 15.0
    while page.size_of(heading, size, bold=True)[0] > (WIDTH_MM - 2 * MARGIN_MM) * PER_MM and size > 7:
        size -= 0.5
    page.text(MARGIN_MM * PER_MM, (HEIGHT_MM - 15.0) * PER_MM, heading, size, bold=True)
    return page


def draw_foot(page: Page, *words: str) -> None:
    """Small print at a page's foot."""
    step = 6.2 * PER_MM * 25.4 / 72 * 1.42
    width = (WIDTH_MM - 2 * MARGIN_MM) * PER_MM
    lines = [line for text in words for line in page.wrapped(name_of(text, 2_000), width, 6.2)]
    y = 11.0 * PER_MM + (len(lines) - 1) * step
    for line in lines:
        page.text(MARGIN_MM * PER_MM, y, line, 6.2, colour=QUIET)
        y -= step


def draw_picture(page: Page, view: PageView, box_mm: Box, name: str) -> Box:
    """A view as large as fits the top of a box, in its middle; returns where it stands, mm."""
    return draw_rgb(page, view.rgb if view.is_photograph else few_colours(view.rgb), box_mm, name)


def _picture_page(data: SheetData) -> Page:
    page = blank(head(data, "Question"))
    left, right = MARGIN_MM, WIDTH_MM - MARGIN_MM
    room = Box(left, HEIGHT_MM - 22.0 - _MOST_PICTURE_MM, right, HEIGHT_MM - 22.0)
    stands = draw_picture(page, data.picture, room, "picture")
    y = stands.bottom * PER_MM
    width = (right - left) * PER_MM
    says = data.picture.says if data.picture.is_photograph else f"{data.picture.says} {_DRAWN}"
    y = page.paragraph(left * PER_MM, y - 6, width, says, 7, colour=QUIET)
    y -= 14
    for line in page.wrapped(name_of(data.question, 400), width / BOLDER, 12):
        y = page.text(left * PER_MM, y - 17, line, 12, bold=True).bottom - 3
    y = page.paragraph(
        left * PER_MM, y - 6, width,
        "The maps show each place and which way the picture would look from it.", 9,
    )  # fmt: skip
    y = _draw_choice(page, data, left * PER_MM, y - 36)
    page.text(left * PER_MM, y - 36, "Your reasons, the most trusted first:", 9.5, bold=True)
    _draw_lines(page, left, right, y / PER_MM - 20.0)
    draw_foot(page, FOR_THE_TABLE, data.made_of)
    return page


def _draw_choice(page: Page, data: SheetData, left: float, y: float) -> float:
    """A box to tick for each letter; returns the height below them, pixels."""
    page.text(left, y, "It was taken from", 9.5, bold=True)
    start = left + page.size_of("It was taken from", 9.5, bold=True)[0] + 30
    x, step = start, 62.0
    for place in data.places:
        if x + step > (WIDTH_MM - MARGIN_MM) * PER_MM:
            x, y = start, y - 40
        page.box(Box(x, y - 12, x + 24, y + 12), linewidth=0.9)
        page.text(x + 31, y, place.letter, 10, bold=True)
        x += step
    return y - 12


def _draw_lines(page: Page, left: float, right: float, top: float) -> None:
    """Numbered lines to write on, as far as there is room, mm."""
    count = max(1, min(_MOST_LINES, int((top - _FOOT_MM) / _LINE_MM)))
    step = min((top - _FOOT_MM) / count, _WIDEST_MM)
    y = top
    for number in range(1, count + 1):
        page.text(left * PER_MM, (y + 2.0) * PER_MM, f"{number}", 8, colour=QUIET)
        page.line([(left + 5) * PER_MM, right * PER_MM], [y * PER_MM] * 2, linewidth=0.5, color=INK)
        y -= step
