"""A map sheet: the map to exact scale with all that its margins tell; and the index of several."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from hillsight.sheets.map import margin
from hillsight.sheets.map.drawing import DrawnMap, draw_grid_lines, draw_map, drawn_map
from hillsight.sheets.map.frame import MapFrame, grid_metres, lay_frame
from hillsight.sheets.map.layout import Layout, Sheet
from hillsight.sheets.map.washes import WHITE
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.maps import nice_step
from hillsight.sheets.paper.marks import left_off_words, name_of
from hillsight.sheets.paper.page import PER_MM, Page
from hillsight.words.marks import marks_shown
from hillsight.words.quantities import length_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.sheets.map.content import MapContent, MapPlace

_INSET_MM = 54.0
_INSET_GAP_MM = 3.0


@dataclass(frozen=True)
class SheetStyle:
    """What all sheets of an area share.

    Parameters
    ----------
    title : above each map
    layout : of the paper
    scale, grid_scale_factor : as :class:`MapFrame` has them
    interval_m : of the contours, None where there are none
    grid_m : between grid lines
    show : what to draw, None for all
    north : at the middle of the area
    grid_name : of the coordinate reference system
    credits : where the data come from, one sentence or more
    inset_scale : denominator of an inset about the station, None for no inset
    remarks : sentences on the map
    """

    title: str
    layout: Layout
    scale: float
    grid_scale_factor: float
    interval_m: float | None
    grid_m: float
    show: tuple[str, ...] | None
    north: margin.North
    grid_name: str
    credits: str
    inset_scale: float | None = None
    remarks: tuple[str, ...] = ()


def draw_sheet(
    content: MapContent, style: SheetStyle, sheet: Sheet, sheets: Sequence[Sheet]
) -> tuple[Page, DrawnMap]:
    """One sheet.

    Parameters
    ----------
    sheet : its edges on the grid fit the layout's room, or are smaller
    sheets : all of them; one alone has no number
    """
    layout = style.layout
    page = Page.of_mm(layout.width, layout.height, WHITE)
    frame = _frame_of(page, style, sheet)
    inset = _inset_of(frame, content, style)
    drawn = drawn_map(
        frame,
        content,
        show=style.show,
        interval_m=style.interval_m,
        grid_m=style.grid_m,
        keep_off=() if inset is None else (inset[0].place,),
    )
    if inset is not None:
        drawn.names_left_off += _draw_inset(*inset, content, style)
    if drawn.grid_m is not None:
        margin.draw_grid_figures(frame, drawn.grid_m)
    _draw_title(page, style, sheet, len(sheets))
    margin.draw_scales(page, layout, style.scale)
    margin.draw_neighbours(frame, sheet, sheets)
    margin.draw_legend_block(page, layout, drawn.entries, style.north, _words(style, drawn), style.credits)
    return page, drawn


def _frame_of(page: Page, style: SheetStyle, sheet: Sheet) -> MapFrame:
    """The map's frame, at the top of its room and in the middle from left to right."""
    per_mm = grid_metres(style.scale, style.grid_scale_factor)
    width, height = sheet.limits.width / per_mm, sheet.limits.height / per_mm
    room = style.layout.room
    left = (room.left + room.right - width) / 2
    x, y = (sheet.limits.left + sheet.limits.right) / 2, (sheet.limits.bottom + sheet.limits.top) / 2
    place = Box(left, room.top - height, left + width, room.top)
    return lay_frame(page, place, x, y, style.scale, style.grid_scale_factor)


def _draw_title(page: Page, style: SheetStyle, sheet: Sheet, count: int) -> None:
    layout = style.layout
    y = (layout.height - 9.0) * PER_MM
    number = f"Sheet {sheet.number} of {count}" if count > 1 else ""
    room = (layout.width - 28.0) * PER_MM - (page.size_of(number, 11, bold=True)[0] + 20 if number else 0)
    size = 13.0
    while page.size_of(style.title, size, bold=True)[0] > room and size > 6:
        size -= 0.5
    page.text(14.0 * PER_MM, y, style.title, size, bold=True)
    if number:
        page.text((layout.width - 14.0) * PER_MM, y, number, 11, bold=True, align="right")


def _words(style: SheetStyle, drawn: DrawnMap) -> str:
    """What is to be known of the map, in sentences."""
    words = []
    if drawn.interval_m is not None:
        words.append(f"Contours every {drawn.interval_m:g} m; their figures have their heads uphill.")
    if drawn.grid_m is not None:
        words.append(f"Grid lines of {style.grid_name}, {length_words(drawn.grid_m)} apart, figures in m.")
    factor = style.grid_scale_factor
    if abs(factor - 1.0) >= 5e-6:
        words.append(
            f"The grid's own scale here, {factor:.5f}, is taken out: the scale is that of the ground."
        )
    words += style.remarks
    if drawn.names_left_off:
        words.append(f"{left_off_words(drawn.names_left_off).capitalize()}.")
    return " ".join(words)


def _inset_of(frame: MapFrame, content: MapContent, style: SheetStyle) -> tuple[MapFrame, MapPlace] | None:
    """The inset about the first place of the map, in the corner that lies farthest from all places."""
    inside = content.within(frame.limits).places
    if style.inset_scale is None or not inside:
        return None
    side = min(_INSET_MM, frame.place.width / PER_MM / 2.2, frame.place.height / PER_MM / 2.2)
    gap = _INSET_GAP_MM
    mm = Box(
        *(
            edge / PER_MM
            for edge in (frame.place.left, frame.place.bottom, frame.place.right, frame.place.top)
        )
    )
    spots = [
        (
            mm.left + (place.easting_m - frame.limits.left) / frame.pixel_m / PER_MM,
            mm.bottom + (place.northing_m - frame.limits.bottom) / frame.pixel_m / PER_MM,
        )
        for place in inside
    ]
    corners = [
        Box(left, bottom, left + side, bottom + side)
        for left in (mm.left + gap, mm.right - gap - side)
        for bottom in (mm.bottom + gap, mm.top - gap - side)
    ]

    def clear(box: Box) -> float:
        x, y = (box.left + box.right) / 2, (box.bottom + box.top) / 2
        return min((x - px) ** 2 + (y - py) ** 2 for px, py in spots)

    place = inside[0]
    box = max(corners, key=clear)
    laid = lay_frame(
        frame.page,
        box,
        place.easting_m,
        place.northing_m,
        style.inset_scale,
        frame.grid_scale_factor,
        "inset",
    )
    return laid, place


def _draw_inset(inset: MapFrame, place: MapPlace, content: MapContent, style: SheetStyle) -> int:
    """The inset on white ground, with its title and a bar; returns how many names found no room."""
    page, box = inset.page, inset.place
    ground = inset.layer("ground")
    with page.onto(ground.axes):
        page.box(box, facecolor=WHITE, edgecolor="none")
    strip = Box(box.left, box.top - 20, box.right, box.top)
    bar_m = max(
        (m for m in (20.0, 50.0, 100.0, 200.0, 500.0) if m / inset.pixel_m < box.width * 0.45), default=20.0
    )
    length = bar_m * inset.grid_scale_factor / inset.pixel_m
    foot = Box(box.left + 5, box.bottom + 5, box.left + length + 17, box.bottom + 32)
    drawn = drawn_map(
        inset,
        replace(content, places=(place,)),
        show=style.show,
        grid_m=max(50.0, style.grid_m / 5),
        keep_off=(strip, foot),
    )
    words = inset.layer("title")
    with page.onto(words.axes):
        page.box(strip, facecolor=WHITE, linewidth=0.6)
        name, told = place.label or "the station", f", 1:{inset.scale:,.10g}"
        if drawn.interval_m is not None:
            told += f", contours every {drawn.interval_m:g} m"
        text, size = f"Near {name}{told}", 6.4
        while page.size_of(text, size)[0] > strip.width - 10 and size > 4.5:
            size -= 0.1
        most = len(marks_shown(name))
        while page.size_of(text, size)[0] > strip.width - 10 and most > 2:
            most -= 1
            text = f"Near {name_of(name, most)}{told}"
        page.text(strip.left + 6, (strip.bottom + strip.top) / 2, text, size)
        page.box(foot, facecolor=WHITE, edgecolor="none", alpha=0.85)
        page.line(
            [foot.left + 6, foot.left + 6 + length],
            [foot.bottom + 7] * 2,
            linewidth=1.6,
            solid_capstyle="butt",
        )
        page.text(foot.left + 6, foot.bottom + 18, length_words(bar_m), 5.8)
        page.box(box, linewidth=1.1)
    return drawn.names_left_off


def draw_index(content: MapContent, style: SheetStyle, sheets: Sequence[Sheet], pages: Sequence[str]) -> Page:
    """The index: all sheets' outlines and numbers on shaded ground.

    Parameters
    ----------
    pages : where each sheet is, such as its file's name; empty for pages of one file
    """
    layout = style.layout
    page = Page.of_mm(layout.width, layout.height, WHITE)
    area = Box(
        min(s.limits.left for s in sheets),
        min(s.limits.bottom for s in sheets),
        max(s.limits.right for s in sheets),
        max(s.limits.top for s in sheets),
    )
    room = layout.room
    factor = style.grid_scale_factor
    scale = 1.04 * max(area.width / room.width, area.height / room.height) * 1000 / factor
    middle = (area.left + area.right) / 2, (area.bottom + area.top) / 2
    frame = lay_frame(page, room, *middle, scale, factor)
    show = ("hillshade", "places", "dead_ground", "visible_ground")
    entries = draw_map(frame, content, show=show)
    grid_m = nice_step(frame.limits.width, 8)
    draw_grid_lines(frame.layer("grid"), grid_m)
    outlines = frame.layer("sheets")
    with page.onto(outlines.axes):
        for sheet in sheets:
            left, bottom = outlines.to_page(sheet.limits.left, sheet.limits.bottom)
            right, top = outlines.to_page(sheet.limits.right, sheet.limits.top)
            page.box(Box(left, bottom, right, top), linewidth=1.0)
            page.text(left + 14, top - 24, str(sheet.number), 13, bold=True, halo=True)
    margin.draw_grid_figures(frame, grid_m)
    page.text(14 * PER_MM, (layout.height - 9.0) * PER_MM, f"{style.title}: index", 13, bold=True)
    box = layout.legend
    words = (
        f"{len(sheets)} sheets at 1:{style.scale:,.10g}, numbered from the north-west. Neighbours overlap. "
        f"This index is drawn at about 1:{round(scale, -3):,.0f}. "
        f"Grid lines of {style.grid_name}, {length_words(grid_m)} apart, figures in m. "
    )
    if pages:
        words += f"Files: {', '.join(pages)}. "
    left, width = box.left * PER_MM, box.width * PER_MM
    below = page.paragraph(left, box.top * PER_MM, width, words + style.credits, 6.8)
    margin.draw_entries(page, entries, Box(left, box.bottom * PER_MM, left + width, below - 12))
    return page
