"""Map extracts, one for each place of an exercise: bare for the question, annotated for the answer."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import ceil, cos, radians, sin
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.sheets.map.content import MapContent, MapPlace
from hillsight.sheets.map.contour_lines import chosen_interval_m, window_of
from hillsight.sheets.map.drawing import PARTS, drawn_map, grid_step_m
from hillsight.sheets.map.frame import grid_metres, lay_frame
from hillsight.sheets.map.line_signs import add_lines, draw_sight_lines
from hillsight.sheets.map.margin import draw_bar, draw_entries, draw_grid_figures, draw_norths
from hillsight.sheets.paper import palette
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.maps import line_entry
from hillsight.sheets.paper.marks import name_of
from hillsight.sheets.paper.page import PER_MM
from hillsight.words.quantities import length_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.sheets.exercise.sheet_data import SheetData, SheetPlace
    from hillsight.sheets.map.drawing import DrawnMap
    from hillsight.sheets.map.frame import MapFrame
    from hillsight.sheets.paper.maps import Entry
    from hillsight.sheets.paper.page import Page

#: Denominators of the scales that are chosen from.
SCALES = (10_000.0, 15_000.0, 25_000.0, 40_000.0, 50_000.0)

#: Extracts of a page at most.
MOST_ON_PAGE = 6

_GAP_MM = 9.0  # between extracts, with the figures of the grid
_LETTER_MM = 6.0  # the line with the place's letter above its extract
_LEGEND_MM = 27.0  # the strip below, where no extract's room is free
_BEHIND = 0.24  # share of an extract's shorter side that lies behind its place
_LEAVE_OUT_MM = 0.008
#: Ground that a reason is about, as a band through which lines and names are read.
BAND: dict[str, Any] = {"color": palette.SPUR, "linewidth": 4.0, "alpha": 0.5}


@dataclass(frozen=True)
class Cells:
    """Room for extracts on a page and for their legend, mm from its lower left corner."""

    extracts: tuple[Box, ...]
    legend: Box


def cells(count: int, room: Box) -> Cells:
    """Divide the room of a page among so many extracts; a free place is the legend's."""
    columns = 1 if count <= 2 else 2
    rows = max(2, ceil(count / columns))
    is_free = columns * rows > count
    bottom = room.bottom if is_free else room.bottom + _LEGEND_MM
    width = (room.width - columns * _GAP_MM + _GAP_MM / 2) / columns
    height = (room.top - bottom - rows * (_GAP_MM + _LETTER_MM) + _GAP_MM / 2) / rows
    boxes = []
    for n in range(columns * rows):
        left = room.left + _GAP_MM / 2 + (n % columns) * (width + _GAP_MM)
        top = room.top - _LETTER_MM - (n // columns) * (height + _GAP_MM + _LETTER_MM)
        boxes.append(Box(left, top - height, left + width, top))
    legend = boxes[count] if is_free else Box(room.left, room.bottom, room.right, bottom - 2.0)
    return Cells(tuple(boxes[:count]), legend)


def pages_of(count: int) -> list[range]:
    """Which places go on which page, shared out evenly."""
    pages = ceil(count / MOST_ON_PAGE)
    starts = [round(count * n / pages) for n in range(pages + 1)]
    return [range(a, b) for a, b in pairwise(starts)]


def ahead_mm(cell: Box, looks_grid_deg: float) -> tuple[float, float]:
    """How far an extract's middle lies ahead of its place, and how far it shows ahead in all; mm of paper."""
    half = np.array([cell.width, cell.height]) / 2
    inner = half - _BEHIND * min(cell.width, cell.height)
    along = np.maximum(np.abs([sin(radians(looks_grid_deg)), cos(radians(looks_grid_deg))]), 1e-9)
    shift = float(min(inner / along))
    return shift, shift + float(min(half / along))


def scale_for(
    count: int, room: Box, looks_grid_deg: float, ahead_m: float, grid_scale_factor: float
) -> float:
    """The largest scale at which every extract shows so much ground ahead of its place; else the smallest."""
    cell = cells(min(count, MOST_ON_PAGE), room).extracts[0]
    shown = ahead_mm(cell, looks_grid_deg)[1]
    return next((s for s in SCALES if shown * grid_metres(s, grid_scale_factor) >= ahead_m), SCALES[-1])


def shown_reach_m(cell: Box, looks_grid_deg: float, scale: float, grid_scale_factor: float) -> float:
    """From a place to the farthest corner of its extract, metres on the grid."""
    shift = ahead_mm(cell, looks_grid_deg)[0]
    return (shift + float(np.hypot(cell.width, cell.height)) / 2) * grid_metres(scale, grid_scale_factor)


def draw_extracts(
    page: Page, data: SheetData, places: Sequence[SheetPlace], room: Box, *, bare: bool
) -> None:
    """Extracts of places with their letters, and one legend of what is on them.

    Parameters
    ----------
    room : mm from the page's lower left corner
    bare : the question's, which are the same whichever place is true
    """
    laid = cells(len(places), room)
    entries: dict[str, Entry] = {}
    grid_m = grid_step_m(data.scale)
    frames = [_frame(page, data, place, cell) for place, cell in zip(places, laid.extracts, strict=True)]
    interval_m = _interval_m(data, frames)
    for place, frame in zip(places, frames, strict=True):
        drawn = _extract(frame, data, place, interval_m, bare=bare)
        for entry in drawn.entries:
            entries.setdefault(entry.text, entry)
    _draw_legend(page, data, laid.legend, list(entries.values()), interval_m, grid_m)


def _frame(page: Page, data: SheetData, place: SheetPlace, cell: Box) -> MapFrame:
    """An extract's frame, with most of its ground ahead of the place."""
    shift_m = ahead_mm(cell, place.looks_grid_deg)[0] * grid_metres(data.scale, data.grid_scale_factor)
    return lay_frame(
        page,
        cell,
        place.easting_m + shift_m * sin(radians(place.looks_grid_deg)),
        place.northing_m + shift_m * cos(radians(place.looks_grid_deg)),
        data.scale,
        data.grid_scale_factor,
        place.letter,
    )


def _interval_m(data: SheetData, frames: Sequence[MapFrame]) -> float | None:
    """One interval of contours for all extracts, the widest that any of them wants."""
    windows = [window_of(data.surface, frame.limits) for frame in frames]
    chosen = [chosen_interval_m(one, data.scale) for one in windows if one is not None]
    return max((one for one in chosen if one is not None), default=None)


def _extract(
    frame: MapFrame, data: SheetData, place: SheetPlace, interval_m: float | None, *, bare: bool
) -> DrawnMap:
    page, box = frame.page, frame.place
    mark = MapPlace(
        place.easting_m,
        place.northing_m,
        place.letter,
        place.looks_grid_deg,
        data.width_deg,
        is_washed=bare,  # on the answer dead ground is
    )
    content = MapContent(data.surface, data.features, {} if bare else dict(place.layers), places=(mark,))
    # Without the hillshade no tone is on the ground but that of what is out of view, in grey too.
    show = None if bare else [*(part for part in PARTS if part != "hillshade"), *place.layers]
    drawn = drawn_map(frame, content, show=show, interval_m=interval_m)
    _lighten(frame)
    draw_grid_figures(frame, grid_step_m(data.scale))
    end = " (true)" if place.is_true and not bare else ""
    named = place.letter if bare else f"{place.letter}: {name_of(place.name, 60)}"
    while len(named) > 1 and page.size_of(named + end, 11, bold=True)[0] > box.width:
        named = f"{named[:-2].rstrip()}…"
    page.text(box.left, box.top + 3.2 * PER_MM, named + end, 11, bold=True)
    if not bare:
        drawn.entries += _draw_sights(frame, place)
    return drawn


def _lighten(frame: MapFrame) -> None:
    """Leave out points of contours that move them by less than a printer can; files shrink to a fifth."""
    import shapely
    from matplotlib.collections import PathCollection
    from matplotlib.path import Path

    for axes in frame.page.figure.axes:
        name = str(axes.get_gid() or "")
        if not (name.startswith(f"{frame.name}-") and name.endswith("contours")):
            continue
        for lines in axes.collections:
            if isinstance(lines, PathCollection):
                is_in_pixels = lines.get_transform() != axes.transData
                unit = PER_MM if is_in_pixels else grid_metres(frame.scale, frame.grid_scale_factor)
                kept = shapely.simplify(
                    [shapely.LineString(path.vertices) for path in lines.get_paths()], _LEAVE_OUT_MM * unit
                )
                paths = [Path(shapely.get_coordinates(line)) for line in kept]
                for path in paths:
                    path.should_simplify = False
                lines.set_paths(paths)


def _draw_sights(frame: MapFrame, place: SheetPlace) -> list[Entry]:
    """Sight lines to what the reasons are about, that ground, and the reasons' numbers."""
    import geopandas
    import shapely

    if not place.sights:
        return []
    chart = frame.layer("sights")
    ends = [
        shapely.LineString([(place.easting_m, place.northing_m), (one.easting_m, one.northing_m)])
        for one in place.sights
    ]
    entries = draw_sight_lines(chart, geopandas.GeoDataFrame(geometry=ends), "sight line to what decides")
    rims = [line for one in place.sights for line in one.lines]
    add_lines(chart, rims, **BAND, zorder=2.5)
    if rims:
        entries.append(line_entry("ground that a reason is about", **BAND))
    eye = chart.to_page(place.easting_m, place.northing_m)
    room = _within(frame)
    taken = [_about(*eye, 17.0), *(box for _, box in frame.page.texts if box.overlaps(room))]
    with chart.page.onto(chart.axes):
        for one in place.sights:
            x, y = _inside(frame, eye, chart.to_page(one.easting_m, one.northing_m))
            box = next(
                (
                    box
                    for away in np.arange(0.0, 120.0, 6.0)
                    for turn in np.arange(0.0, 2 * np.pi, np.pi / 8)
                    for box in [_about(x + away * sin(turn), y + away * cos(turn), 10.0)]
                    if box.within(room) and not any(box.overlaps(other, 1.0) for other in taken)
                ),
                _about(x, y, 10.0),
            )
            taken.append(box)
            at = (box.left + box.right) / 2, (box.bottom + box.top) / 2
            if np.hypot(at[0] - x, at[1] - y) > 14.0:
                chart.page.line([x, at[0]], [y, at[1]], linewidth=0.7)
                chart.page.line([x], [y], marker="o", markersize=2.0, color=palette.INK, linestyle="none")
            draw_number(chart.page, one.reason, *at)
    return entries


def draw_number(page: Page, number: int, x: float, y: float) -> None:
    """A reason's number in its ring."""
    page.line(
        [x],
        [y],
        marker="o",
        markersize=9.0 if number < 10 else 10.5,
        markerfacecolor=palette.INK,
        markeredgecolor=palette.PAPER,
        markeredgewidth=0.8,
        linestyle="none",
        zorder=8,
    )
    page.text(x, y, f"{number}", 6.4 if number < 10 else 5.6, bold=True, align="center", colour=palette.PAPER)


def _about(x: float, y: float, half: float) -> Box:
    return Box(x - half, y - half, x + half, y + half)


def _within(frame: MapFrame) -> Box:
    place = frame.place
    return Box(place.left + 2, place.bottom + 2, place.right - 2, place.top - 2)


def _inside(frame: MapFrame, start: tuple[float, float], end: tuple[float, float]) -> tuple[float, float]:
    """The end of a line, or where the line leaves the extract."""
    inner = frame.place
    room = Box(inner.left + 13, inner.bottom + 13, inner.right - 13, inner.top - 13)
    share = 1.0
    for at, to, low, high in (
        (start[0], end[0], room.left, room.right),
        (start[1], end[1], room.bottom, room.top),
    ):
        if to > high:
            share = min(share, (high - at) / (to - at))
        elif to < low:
            share = min(share, (low - at) / (to - at))
    return start[0] + share * (end[0] - start[0]), start[1] + share * (end[1] - start[1])


def _draw_legend(
    page: Page,
    data: SheetData,
    box_mm: Box,
    entries: list[Entry],
    interval_m: float | None,
    grid_m: float,
) -> None:
    """Scale, bar, norths, what the words and signs mean."""
    box = Box(*(edge * PER_MM for edge in (box_mm.left, box_mm.bottom, box_mm.right, box_mm.top)))
    is_tall = box_mm.height > 45.0
    page.text(box.left, box.top - 10, f"1:{data.scale:,.10g}", 10, bold=True)
    draw_bar(page, box_mm.left + 27.0, box_mm.top - 2.0, data.scale)
    said = f"Grid lines of {data.surface.grid.crs.name}, {length_words(grid_m)} apart, figures in m."
    if interval_m is not None:
        said += f" Contours every {interval_m:g} m."
    said += f" {data.north.words()}"
    if is_tall:
        right = draw_norths(page, box.left, box.top - 170, data.north)
        below = page.paragraph(right + 8, box.top - 62, box.right - right - 8, said, 6.2)
        draw_entries(page, entries, Box(box.left, box.bottom, box.right, min(below, box.top - 176) - 14))
        return
    column = box.left + 71.0 * PER_MM
    right = draw_norths(page, box.left, box.bottom + 2, data.north)
    page.paragraph(right + 8, box.top - 52, column - right - 20, said, 6.0)
    draw_entries(page, entries, Box(column, box.bottom, box.right, box.top))
