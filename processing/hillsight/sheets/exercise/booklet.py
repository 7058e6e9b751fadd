"""Exercises as one booklet: cover, questions, answers at the back, pages numbered."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from hillsight.sheets.exercise.answer_sheet import answer_pages
from hillsight.sheets.exercise.question_sheet import (
    FOR_THE_TABLE,
    HEIGHT_MM,
    MARGIN_MM,
    WIDTH_MM,
    blank,
    draw_foot,
    question_pages,
)
from hillsight.sheets.paper.marks import name_of
from hillsight.sheets.paper.page import PER_MM
from hillsight.sheets.paper.palette import QUIET
from hillsight.words.english import number_word

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.sheets.exercise.sheet_data import SheetData
    from hillsight.sheets.paper.page import Page

_ROW = 33.0  # pixels between lines of the contents
_MOST_ROWS = 40


def numbered(exercises: Sequence[SheetData]) -> list[SheetData]:
    """The exercises with their numbers, from 1."""
    return [replace(one, number=number) for number, one in enumerate(exercises, 1)]


def booklet_pages(exercises: Sequence[SheetData], title: str) -> list[Page]:
    """All pages: a cover with the contents, the questions from page 2 on, then the answers.

    Parameters
    ----------
    exercises : numbered
    """
    questions = [question_pages(one) for one in exercises]
    answers = [answer_pages(one) for one in exercises]
    covers = -(-len(exercises) // _MOST_ROWS)
    starts: list[tuple[int, int]] = []
    at = covers + 1
    for pages in questions:
        starts.append((at, 0))
        at += len(pages)
    for n, pages in enumerate(answers):
        starts[n] = (starts[n][0], at)
        at += len(pages)
    made = [
        _cover(exercises[n : n + _MOST_ROWS], starts[n : n + _MOST_ROWS], title, len(exercises))
        for n in range(0, len(exercises), _MOST_ROWS)
    ]
    pages = [*made, *(page for group in (*questions, *answers) for page in group)]
    number_pages(pages)
    return pages


def number_pages(pages: Sequence[Page]) -> None:
    """Write each page's number at its foot, in the middle."""
    for number, page in enumerate(pages, 1):
        page.text(WIDTH_MM / 2 * PER_MM, 5.5 * PER_MM, f"{number} of {len(pages)}", 7.5, align="center")


def _cover(exercises: Sequence[SheetData], starts: Sequence[tuple[int, int]], title: str, count: int) -> Page:
    page = blank(name_of(title, 90))
    left, right = MARGIN_MM * PER_MM, (WIDTH_MM - MARGIN_MM) * PER_MM
    y = (HEIGHT_MM - 30.0) * PER_MM
    told = (
        f"{number_word(count).capitalize()} exercise{'' if count == 1 else 's'} with picture and map. First "
        "say from which place each picture was taken; then give your reasons, the most trusted first: the "
        "shape of the ground, then water, then man-made features. The answers are at the back."
    )
    y = page.paragraph(left, y, right - left, told, 9.5) - 40
    page.text(left, y, "Exercise", 8, colour=QUIET)
    page.text(right - 150, y, "question", 8, align="right", colour=QUIET)
    page.text(right, y, "answer", 8, align="right", colour=QUIET)
    for one, (question, answer) in zip(exercises, starts, strict=True):
        y -= _ROW
        page.line([left, right], [y + _ROW / 2] * 2, linewidth=0.4)
        page.text(left, y, f"{one.number}", 9.5, bold=True)
        page.text(left + 50, y, name_of(one.title, 80), 9.5)
        page.text(right - 150, y, f"page {question}", 9, align="right")
        page.text(right, y, f"page {answer}", 9, align="right")
    draw_foot(page, FOR_THE_TABLE)
    return page
