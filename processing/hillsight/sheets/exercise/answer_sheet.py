"""The answer of an exercise on paper: views at one scale, annotated extracts, and a guide to mark by."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hillsight.plan.exercise.marking import AGAIN, COSTS, DECIDES, NOT_SO, POINTS, TELLS_NOTHING
from hillsight.sheets.exercise.extracts import BAND, draw_extracts, draw_number, pages_of
from hillsight.sheets.exercise.flowing import Flow
from hillsight.sheets.exercise.question_sheet import (
    EXTRACT_ROOM,
    HEIGHT_MM,
    MARGIN_MM,
    WIDTH_MM,
    blank,
    draw_foot,
    draw_picture,
    head,
)
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.marks import name_of
from hillsight.sheets.paper.page import PER_MM
from hillsight.sheets.paper.palette import INK, QUIET
from hillsight.words.trust import CLASS_NAMES, TRUST

if TYPE_CHECKING:
    from hillsight.sheets.exercise.page_data import PageReason, PageView
    from hillsight.sheets.exercise.sheet_data import SheetData
    from hillsight.sheets.paper.page import Page

_TEXT = 7.6  # points
_TEXT_ROOM = Box(MARGIN_MM, 22.0, WIDTH_MM - MARGIN_MM, HEIGHT_MM - 24.0)
_CAPTION_MM = 9.5  # above and below a view
_LEAST_VIEW_MM, _MOST_VIEW_MM = 24.0, 62.0
_ROLES = {
    DECIDES: "Reasons, in order of trust",
    TELLS_NOTHING: "True of every place: worth nothing",
    NOT_SO: "Not so in the picture: costs marks",
}


def answer_pages(data: SheetData) -> list[Page]:
    """Pages of the answer: views, extracts, guide."""
    pages = _view_pages(data)
    for numbers in pages_of(len(data.places)):
        page = _page(data)
        draw_extracts(page, data, [data.places[n] for n in numbers], EXTRACT_ROOM, bare=False)
        pages.append(page)
    return [*pages, *_guide(data)]


def _page(data: SheetData) -> Page:
    page = blank(head(data, "Answer"))
    draw_foot(page, "For whoever sets and marks the exercise: not to be handed out with the question.",
              data.made_of)  # fmt: skip
    return page


def _view_pages(data: SheetData) -> list[Page]:
    """The picture and the view from each place below it, as many degrees to the mm in all."""
    views: list[tuple[str, PageView, bool]] = [("The picture", data.picture, False)]
    views += [
        (
            f"{one.letter}: {name_of(one.name, 50)}{' (true)' if one.is_true else ''}. {one.where}",
            one.view,
            True,
        )
        for one in data.places
    ]
    top = HEIGHT_MM - 24.0
    room_mm = top - 9.0 - 22.0
    width = WIDTH_MM - 2 * MARGIN_MM
    tallest = max(view.rgb.shape[0] / view.rgb.shape[1] for _, view, _ in views)
    on_page = max(1, min(len(views), int(room_mm / (_LEAST_VIEW_MM + _CAPTION_MM))))
    height = min(room_mm / on_page - _CAPTION_MM, _MOST_VIEW_MM, width * tallest)
    width = min(width, height / tallest)
    told = frozenset(one.number for one in data.reasons if one.role == DECIDES)
    pages: list[Page] = []
    for n, (words, view, is_drawn) in enumerate(views):
        if n % on_page == 0:
            pages.append(_page(data))
            y = top
            if n == 0:
                is_from = f"The picture was taken from {data.truth.letter}, {name_of(data.truth.name, 60)}."
                pages[-1].text(MARGIN_MM * PER_MM, (y - 2.0) * PER_MM, name_of(is_from, 110), 11, bold=True)
                y -= 9.0
        page = pages[-1]
        left = (WIDTH_MM - width) / 2
        page.text(MARGIN_MM * PER_MM, (y - 2.0) * PER_MM, words, 7.6, bold=True)
        tall = width * view.rgb.shape[0] / view.rgb.shape[1]
        stands = draw_picture(page, view, Box(left, y - 4.5 - tall, left + width, y - 4.5), f"view-{n}")
        _annotate(page, view, stands, told if is_drawn or view.is_photograph else frozenset())
        y = stands.bottom - (_CAPTION_MM - 4.5)
    return pages


def _annotate(page: Page, view: PageView, stands: Box, numbers: frozenset[int]) -> None:
    """The scale of bearings, and what reasons of some numbers are about."""
    scale = stands.width * PER_MM / view.rgb.shape[1]
    left, bottom, top = stands.left * PER_MM, stands.bottom * PER_MM, stands.top * PER_MM
    for x_px, figure in view.ticks:
        x = left + x_px * scale
        page.line([x, x], [bottom, bottom - 5], linewidth=0.6)
        page.text(x, bottom - 13, figure, 5.8, align="center")
    if view.ticks:
        page.text(stands.right * PER_MM, bottom - 13, "true", 5.8, align="right")
    traces = [trace for trace in view.traces if trace.reason in numbers]
    taken: list[Box] = []
    for trace in traces:
        for line in trace.lines:
            page.line(left + line[:, 0] * scale, top - line[:, 1] * scale, **BAND)
    for trace in traces:
        longest = max(trace.lines, key=len)
        middle = longest[len(longest) // 2]
        x, y = left + middle[0] * scale, top - middle[1] * scale + 14
        x = min(max(x, left + 12), stands.right * PER_MM - 12)
        while y < top - 12 and any(Box(x - 10, y - 10, x + 10, y + 10).overlaps(one, 1) for one in taken):
            y += 6
        taken.append(Box(x - 10, y - 10, x + 10, y + 10))
        draw_number(page, trace.reason, x, y)


def rule_words() -> str:
    """What a reason is worth, and why, in words."""
    ground, water, other = POINTS["ground_shape"], POINTS["water"], POINTS["man_made"]
    return (
        f"A reason scores for each place that it rules out: {ground} if it is of the ground's shape, {water} "
        f"of water, {other} of man-made features or features of no class. It must be said of the picture and "
        f"be true on the map. A reason that stands and falls with one above adds {AGAIN}. One that is not so "
        f"costs {-COSTS}."
    )


def _guide(data: SheetData) -> list[Page]:
    """Reasons with their worth, what each place shows of them, what rules places out, mistakes."""
    flow = Flow(lambda: _page(data), _TEXT_ROOM)
    flow.heading("How to mark")
    most = sum(max(one.worth, 0) for one in data.reasons)
    flow.block((f"{rule_words()} All reasons together are worth {most}.", _TEXT, False, INK))
    for role, heading in _ROLES.items():
        found = [one for one in data.reasons if one.role == role]
        if found:
            flow.heading(heading)
        for name in TRUST:
            group = [one for one in found if one.evidence_class == name]
            if group and role == DECIDES:
                flow.block((CLASS_NAMES[name].capitalize(), _TEXT, True, QUIET), before=6.0)
            for one in group:
                _reason(flow, data, one)
    others = [place for place in data.places if place.ruled_out]
    if others:
        flow.heading("What rules the others out")
    for place in others:
        flow.block((f"{place.letter}: {place.name}", _TEXT, True, INK), before=6.0)
        for words in place.ruled_out:
            _item(flow, words)
    for heading, items in (("Mistakes to expect", data.mistakes), ("Limits", data.cautions)):
        if items:
            flow.heading(heading)
        for words in items:
            _item(flow, words)
    return flow.pages


def _reason(flow: Flow, data: SheetData, one: PageReason) -> None:
    where = "; ".join(
        f"{place.letter}: {sight.says}"
        for place in data.places
        for sight in place.sights
        if sight.reason == one.number
    )
    worth = f"{one.worth:+d}".replace("-", "−") if one.worth else "0"
    parts = [(f"{one.words}  [{worth}]", _TEXT, True, INK), (one.because, _TEXT, False, INK)]
    if where:
        parts.append((where, _TEXT - 0.8, False, QUIET))
    took = flow.block(*parts, indent=30.0, before=9.0)
    draw_number(flow.pages[-1], one.number, took.left + 11, took.top - 12)


def _item(flow: Flow, words: str) -> None:
    took = flow.block((words, _TEXT, False, INK), indent=16.0, before=5.0)
    flow.pages[-1].text(took.left + 2, took.top - 11, "•", _TEXT)
