"""The sheet that a marshal takes along: where the post is, what to watch, how to get there and be heard."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from hillsight.reading.drawn.extent import angles_shown
from hillsight.reading.drawn.landmarks import landmarks
from hillsight.sheets.map.content import MapContent
from hillsight.sheets.map.drawing import PARTS, drawn_map, grid_step_m
from hillsight.sheets.map.frame import grid_metres, lay_frame
from hillsight.sheets.map.margin import draw_bar, draw_entries, draw_grid_figures, draw_norths
from hillsight.sheets.map.post_signs import draw_post
from hillsight.sheets.panorama.layout import lay_strips
from hillsight.sheets.panorama.picture import Ground, Picture
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.marks import name_of
from hillsight.sheets.paper.page import PER_MM, Page
from hillsight.sheets.paper.palette import BLANK, INK, QUIET, VISIBLE
from hillsight.words.quantities import length_words

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from hillsight.sheets.map.drawing import DrawnMap
    from hillsight.sheets.map.frame import MapFrame
    from hillsight.sheets.posts.sheet_data import Fact, PostSheet, PostSheets, Table

_WIDTH, _HEIGHT, _MARGIN = 210.0, 297.0, 12.0  # A4, mm (ISO 216)
_MAP = Box(18.0, 166.0, 134.0, 267.0)
_BESIDE = Box(139.0, 162.0, 198.0, 268.5)
_LEGEND = Box(_MARGIN, 134.5, 198.0, 158.5)
_VIEW = Box(25.0, 92.0, 198.0, 129.0)
_FOOT_MM = 20.5  # room for the cautions
_SCALES = (10_000.0, 12_500.0, 15_000.0, 20_000.0, 25_000.0)
_ROOM_ABOUT = 1.12  # of a map about what is watched
_TEXT, _LEAST_TEXT, _TABLE, _HEADS, _NOTE, _ROW_MM = 7.6, 5.8, 7.0, 6.2, 6.4, 3.7
_TRUER = 0.95  # of a width: letters measured in pixels of a screen are narrower than on paper
_MOST_LANDMARKS = 9


def post_pages(data: PostSheets, one: PostSheet) -> list[Page]:
    """The pages of one post: as a rule one, more where its tables are long."""
    page = _page(data, one)
    frame, drawn = _draw_map(page, data, one)
    _draw_legend(page, data, frame, drawn)
    _draw_facts(page, one.facts)
    below = _draw_view(page, one)
    return _draw_tables(page, lambda: _page(data, one, more=True), one.tables, below - 1.5)


def _page(data: PostSheets, one: PostSheet, *, more: bool = False) -> Page:
    """A white page with the post's number, name and place at its head and the cautions at its foot."""
    page = Page.of_mm(_WIDTH, _HEIGHT, BLANK)
    left, right = _MARGIN * PER_MM, (_WIDTH - _MARGIN) * PER_MM
    draw_post(page, left + 22, (_HEIGHT - 15.0) * PER_MM, one.number, 1.9)
    event = name_of(data.title, 80)
    head = name_of(one.name, 60) + (", continued" if more else "")
    size = 18.0
    room = right - left - 60 - page.size_of(event, 9)[0]
    while page.size_of(head, size, bold=True)[0] > room and size > 9:
        size -= 0.5
    page.text(left + 58, (_HEIGHT - 15.0) * PER_MM, head, size, bold=True)
    page.text(right, (_HEIGHT - 13.5) * PER_MM, event, 9, align="right")
    # The grid reference is what is read out on the radio.
    box = page.text(left, (_HEIGHT - 24.5) * PER_MM, one.where[0], 13, bold=True)
    page.text(box.right + 22, (_HEIGHT - 24.6) * PER_MM, "   ".join(one.where[1:]), 7.4)
    _draw_foot(page, data)
    return page


def _draw_foot(page: Page, data: PostSheets) -> None:
    width = _TRUER * (_WIDTH - 2 * _MARGIN) * PER_MM
    y = page.paragraph(_MARGIN * PER_MM, (_FOOT_MM - 1.0) * PER_MM, width, data.cautions, 7.4)
    page.paragraph(_MARGIN * PER_MM, y - 3, width, data.made_of, 5.8, colour=QUIET)


def _draw_map(page: Page, data: PostSheets, one: PostSheet) -> tuple[MapFrame, DrawnMap]:
    """The ground about the post and what it watches, at the largest round scale that holds both."""
    seen = one.layers.get("seen_stretches")
    here = shapely.Point(one.easting_m, one.northing_m)
    shapes = [here, *([] if seen is None else seen.geometry)]
    west, south, east, north = shapely.total_bounds(shapes)
    per_mm = max((east - west) / _MAP.width, (north - south) / _MAP.height) * _ROOM_ABOUT
    scale = next((s for s in _SCALES if grid_metres(s, data.grid_scale_factor) >= per_mm), _SCALES[-1])
    frame = lay_frame(
        page, _MAP, (west + east) / 2, (south + north) / 2, scale, data.grid_scale_factor, "map"
    )
    content = MapContent(data.surface, data.features, dict(one.layers))
    # Without the hillshade no tone is on the ground but that of dead ground, in grey too.
    show = [*(part for part in PARTS if part != "hillshade"), *one.layers]
    drawn = drawn_map(frame, content, show=show)
    draw_grid_figures(frame, grid_step_m(scale))
    return frame, drawn


def _draw_legend(page: Page, data: PostSheets, frame: MapFrame, drawn: DrawnMap) -> None:
    """Scale, bar, norths, and what the signs on the map mean."""
    box = Box(*(edge * PER_MM for edge in (_LEGEND.left, _LEGEND.bottom, _LEGEND.right, _LEGEND.top)))
    page.text(box.left, box.top - 8, f"1:{frame.scale:,.10g}", 10, bold=True)
    draw_bar(page, _LEGEND.left, _LEGEND.top - 5.0, frame.scale)
    said = f"Grid {length_words(grid_step_m(frame.scale))}"
    if drawn.interval_m is not None:
        said += f", contours {drawn.interval_m:g} m"
    page.text(box.left, box.bottom + 30, said, 5.8)
    right = draw_norths(page, box.left + 45.0 * PER_MM, box.bottom + 26, data.map_north)
    words_end = box.left + 91.0 * PER_MM
    page.paragraph(right + 6, box.top, _TRUER * (words_end - right - 12), data.map_north.words(), 5.5)
    # Contours are told of beside the scale; ground outside the sector is as white as what is in view.
    entries = [one for one in drawn.entries if "contour" not in one.text and "in view, or" not in one.text]
    draw_entries(page, entries, Box(words_end + 6, box.bottom - 4, box.right, box.top + 4))


def _draw_facts(page: Page, facts: Sequence[Fact]) -> None:
    """Headings with sentences below them, in letters small enough for the room beside the map."""
    left, width = _BESIDE.left * PER_MM, _BESIDE.width * PER_MM
    room = _TRUER * width
    y, size = _BESIDE.top * PER_MM, _TEXT
    while size > _LEAST_TEXT and _height_of(page, facts, room, size) > _BESIDE.height * PER_MM:
        size -= 0.2
    for fact in facts:
        page.text(left, y - 9, fact.heading, 8.4, bold=True)
        page.line([left, left + width], [y - 19, y - 19], linewidth=0.6)
        y -= 23
        for sentence in fact.sentences:
            y = page.paragraph(left, y, room, sentence, size) - 2
        y -= 8


def _height_of(page: Page, facts: Sequence[Fact], room: float, size: float) -> float:
    """How tall facts are, pixels."""
    sentences = [sentence for fact in facts for sentence in fact.sentences]
    lines = sum(len(page.wrapped(sentence, room, size)) for sentence in sentences)
    return lines * page.line_height(size) + 2 * len(sentences) + 31 * len(facts)


def _draw_view(page: Page, one: PostSheet) -> float:
    """The view over what is watched, with the course on it; returns the height below it, mm."""
    view = one.view
    room = (_VIEW.width * PER_MM, _VIEW.height * PER_MM)
    angles = angles_shown(view, landmarks(view, 0))
    strips = lay_strips(view.left_grid_deg, view.span_deg, angles, room, None, 1)
    cylinder = strips.cylinders[0]
    found = landmarks(view, _MOST_LANDMARKS, cylinder)
    height = cylinder.height_px * _VIEW.width * PER_MM / cylinder.width_px
    place = Box(_VIEW.left * PER_MM, _VIEW.top * PER_MM - height, _VIEW.right * PER_MM, _VIEW.top * PER_MM)
    exaggerated = (
        "" if abs(strips.exaggeration - 1) < 1e-9 else f" Heights {strips.exaggeration:g} times widths."
    )
    page.text(_MARGIN * PER_MM, (_VIEW.top + 2.6) * PER_MM, f"The view. {one.view_says}{exaggerated}", 7.4)
    picture = Picture(page, place, view, cylinder)
    picture.draw_ground(Ground())
    picture.draw_features()
    picture.draw_landmarks(found)
    for course in one.courses:
        x_px, y_px = cylinder.pixels(course[:, 0], course[:, 1])
        inside = (x_px >= 0) & (x_px <= cylinder.width_px) & (y_px >= 0) & (y_px <= cylinder.height_px)
        spots = [picture.to_page(float(x), float(y)) for x, y in zip(x_px[inside], y_px[inside], strict=True)]
        if spots:
            x, y = np.array(spots).T
            page.line(
                x, y, linestyle="none", marker="o", markersize=3.0, markerfacecolor=VISIBLE,
                markeredgecolor=INK, markeredgewidth=0.7, zorder=7.5,
            )  # fmt: skip
    picture.draw_scales(one.north)
    picture.finish()
    key = "; ".join(
        f"{one.number} {name_of(one.name, 30)}" for one in found if one.number and one.is_on(cylinder)
    )
    below = place.bottom - 33.0
    if key:
        left, width = _VIEW.left * PER_MM, _TRUER * _VIEW.width * PER_MM
        below = page.paragraph(left, below, width, f"{key}.", 6.4)
    return below / PER_MM - 1.0


def _draw_tables(page: Page, new_page: Callable[[], Page], tables: Sequence[Table], top: float) -> list[Page]:
    """Tables one below the other, on to further pages; heights in mm."""
    pages, y = [page], top
    for table in tables:
        rows = list(table.rows)
        if y - 4 * _ROW_MM < _FOOT_MM:
            pages.append(new_page())
            y = _HEIGHT - 32.0
        y = _draw_head(pages[-1], table, y)
        for row in rows:
            cells = _cells(page, table, row, _TABLE)
            tall = _ROW_MM + (max(1, *map(len, cells)) - 1) * page.line_height(_TABLE) / PER_MM
            if y - tall < _FOOT_MM:
                pages.append(new_page())
                y = _draw_head(pages[-1], table, _HEIGHT - 32.0)
            _draw_row(pages[-1], table, cells, y - _ROW_MM / 2)
            y -= tall
        if table.note:
            left, width = _MARGIN * PER_MM, _TRUER * (_WIDTH - 2 * _MARGIN) * PER_MM
            lines = len(page.wrapped(table.note, width, _NOTE))
            if y - 0.6 - lines * page.line_height(_NOTE) / PER_MM < _FOOT_MM - 1.0:
                pages.append(new_page())
                y = _HEIGHT - 32.0
            y = pages[-1].paragraph(left, (y - 0.6) * PER_MM, width, table.note, _NOTE, colour=QUIET) / PER_MM
        y -= 2.0
    return pages


def _draw_head(page: Page, table: Table, y: float) -> float:
    left, right = _MARGIN * PER_MM, (_WIDTH - _MARGIN) * PER_MM
    page.text(left, (y - 1.8) * PER_MM, table.heading, 8.4, bold=True)
    y -= 4.4
    if table.rows:
        heads = _cells(page, table, table.columns, _HEADS)
        _draw_row(page, table, heads, y - _ROW_MM / 2, size=_HEADS, colour=QUIET)
        y -= _ROW_MM
    page.line([left, right], [(y + 0.2) * PER_MM] * 2, linewidth=0.6)
    return y


def _cells(page: Page, table: Table, row: Sequence[str], size: float) -> list[list[str]]:
    """The lines of each cell of a row: what a marshal must know is not cut."""
    width = (_WIDTH - 2 * _MARGIN) * PER_MM
    rooms = [_TRUER * share * width - 6 for share in table.shares]
    return [page.wrapped(name_of(words, 200), room, size) for words, room in zip(row, rooms, strict=True)]


def _draw_row(
    page: Page,
    table: Table,
    cells: Sequence[Sequence[str]],
    y: float,
    *,
    size: float = _TABLE,
    colour: str = INK,
) -> None:
    width = (_WIDTH - 2 * _MARGIN) * PER_MM
    x = _MARGIN * PER_MM
    for lines, share in zip(cells, table.shares, strict=True):
        for number, text in enumerate(lines):
            page.text(x, y * PER_MM - number * page.line_height(size), text, size, colour=colour)
        x += share * width
