"""Points on a map sheet: stations and candidates with where they look, tops and saddles, things listed."""

from __future__ import annotations

from math import cos, radians, sin
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from hillsight.sheets.landforms import landform_marks as landforms
from hillsight.sheets.map.washes import add_areas
from hillsight.sheets.paper import palette, signs
from hillsight.sheets.paper.bearing_marks import sign_of, state_of
from hillsight.sheets.paper.drawn_signs import draw_mark
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.maps import Entry, draw_station, line_entry, mark_entry, sign_entry, station_entry
from hillsight.sheets.paper.marks import name_of
from hillsight.sheets.paper.palette import INK, PAPER

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas

    from hillsight.sheets.map.content import MapPlace
    from hillsight.sheets.paper.labels import Placer
    from hillsight.sheets.paper.maps import Map
    from hillsight.sheets.paper.page import Page

_LISTED_SHARE = 0.65  # of the usual size of marks
_PLACE_SIZE = 0.8  # of the station's usual mark
_TOP_WORDS = {"summit": "summit", "knoll": "knoll: a lesser top"}
_STATE_WORDS = {
    "visible": "landmark in view",
    "partly": "landmark partly in view",
    "uncertain": "landmark that may be in view",
    "hidden": "landmark out of view",
    "unknown": "landmark, not known whether in view",
}
_DOT: dict[str, Any] = {"marker": "o", "markersize": 3.4, "markerfacecolor": PAPER, "markeredgecolor": INK}
_OUTLINE: dict[str, Any] = {"color": palette.QUIET, "linewidth": 0.8, "linestyle": (0, (4, 1.6))}


def draw_views(chart: Map, places: Sequence[MapPlace]) -> list[Entry]:
    """The sector that each place looks at: a pale wedge between two lines, with its middle line."""
    looking = [place for place in places if place.looks_grid_deg is not None]
    for place in looking:
        assert place.looks_grid_deg is not None
        reach = place.reach_m or hypotenuse(chart.limits)
        at = np.array([place.easting_m, place.northing_m])
        left, right = (place.looks_grid_deg + side * place.width_deg / 2 for side in (-1, 1))
        arc = np.linspace(left, right, max(2, int(abs(right - left) / 2) + 1))
        rim = at + reach * np.column_stack([np.sin(np.radians(arc)), np.cos(np.radians(arc))])
        wedge = shapely.Polygon(np.vstack([at, rim, at]))
        add_areas(
            chart,
            [wedge] if place.is_washed else [],
            facecolor=signs.VIEW_SECTOR.fill,
            alpha=signs.VIEW_SECTOR.strength,
            edgecolor="none",
        )
        for bearing, style in ((left, "-"), (right, "-"), (place.looks_grid_deg, (0, (5, 3)))):
            end = at + reach * np.array([sin(radians(bearing)), cos(radians(bearing))])
            chart.axes.plot(
                *np.vstack([at, end]).T, color=signs.SECTOR_EDGE.colour, linewidth=0.7, linestyle=style,
                scalex=False, scaley=False, zorder=2,
            )  # fmt: skip
    if not looking:
        return []

    def draw(page: Page, box: Box) -> None:
        middle = (box.bottom + box.top) / 2
        for end in (box.bottom, box.top):
            page.line([box.left, box.right], [middle, end], color=signs.SECTOR_EDGE.colour, linewidth=0.7)
        page.line(
            [box.left, box.right],
            [middle, middle],
            color=signs.SECTOR_EDGE.colour,
            linewidth=0.7,
            linestyle=(0, (5, 3)),
        )

    return [Entry("where the picture looks", draw)]


def hypotenuse(limits: Box) -> float:
    """From corner to corner, metres."""
    return float(np.hypot(limits.width, limits.height))


def draw_places(chart: Map, places: Sequence[MapPlace], placer: Placer) -> tuple[list[Entry], int]:
    """Marks of places with their labels; the legend's line, and how many labels found no room."""
    page, left_off = chart.page, 0
    spots = [chart.to_page(place.easting_m, place.northing_m) for place in places]
    with page.onto(chart.axes):
        for x, y in spots:
            placer.taken.append(draw_station(page, x, y, _PLACE_SIZE))
        for place, (x, y) in zip(places, spots, strict=True):
            label = name_of(place.label, 40)
            if not label:
                continue
            size = 11.0 if len(label) == 1 else 8.0
            width, height = page.size_of(label, size, bold=True)
            box = placer.beside(x, y, width, height, 17)
            if box is None:
                left_off += 1
            else:
                page.text(box.left, (box.bottom + box.top) / 2, label, size, bold=True, halo=True)
    words = "place" if any(len(place.label) == 1 for place in places) else "station"
    return ([station_entry(words)] if places else []), left_off


def draw_tops(chart: Map, tops: geopandas.GeoDataFrame, placer: Placer, fine: float) -> list[Entry]:
    """Summits and knolls, the greater ones where marks would touch."""
    entries: list[Entry] = []
    share = landforms.mark_share(fine)
    drawn: list[Box] = []
    with chart.page.onto(chart.axes):
        for row in landforms.by_rank(tops).itertuples(index=False):
            x, y = chart.to_page(row.geometry.x, row.geometry.y)
            half = landforms.half_size(row.kind, share)
            box = Box(x - half, y - half, x + half, y + half)
            if not any(box.overlaps(other, 1.0) for other in drawn):
                drawn.append(landforms.draw_point(chart.page, x, y, row.kind, share))
                if not any(entry.text == _TOP_WORDS[row.kind] for entry in entries):
                    entries.append(landforms.point_entry(row.kind, _TOP_WORDS[row.kind]))
    placer.taken += drawn
    return sorted(entries, key=lambda entry: entry.text, reverse=True)


def draw_saddles(chart: Map, saddles: geopandas.GeoDataFrame, placer: Placer, fine: float) -> list[Entry]:
    """Saddles."""
    with chart.page.onto(chart.axes):
        for point in saddles.geometry:
            x, y = chart.to_page(point.x, point.y)
            placer.taken.append(landforms.draw_point(chart.page, x, y, "saddle", landforms.mark_share(fine)))
    return [landforms.point_entry("saddle", "saddle")] if len(saddles) else []


def draw_listed(chart: Map, rows: geopandas.GeoDataFrame, placer: Placer) -> list[Entry]:
    """Features of a bearing list, filled where they are seen and hollow where not."""
    states = dict.fromkeys(rows["state"])
    with chart.page.onto(chart.axes):
        for row in rows.to_dict("records"):
            if row["state"] in _STATE_WORDS:
                x, y = chart.to_page(row["geometry"].x, row["geometry"].y)
                draw_mark(chart.page, x, y, sign_of(row), state_of(row), share=_LISTED_SHARE)
                placer.taken.append(Box(x - 5, y - 5, x + 5, y + 5))
    return [
        sign_entry(words, signs.HILL, state, _LISTED_SHARE)
        for state, words in _STATE_WORDS.items()
        if state in states
    ]


def draw_dots(chart: Map, rows: geopandas.GeoDataFrame, words: str, placer: Placer) -> list[Entry]:
    """Points without a sign of their own."""
    points = shapely.get_coordinates(rows.geometry[rows.geometry.geom_type.isin(("Point", "MultiPoint"))])
    with chart.page.onto(chart.axes):
        for x, y in points:
            at_x, at_y = chart.to_page(x, y)
            chart.page.line([at_x], [at_y], linestyle="none", markeredgewidth=0.8, zorder=5, **_DOT)
            placer.taken.append(Box(at_x - 4, at_y - 4, at_x + 4, at_y + 4))
    return [mark_entry(words, markeredgewidth=0.8, **_DOT)] if len(points) else []


def draw_outlines(chart: Map, rows: geopandas.GeoDataFrame, words: str) -> list[Entry]:
    """Lines, and areas by their outline, without a sign of their own."""
    from hillsight.sheets.map.line_signs import add_lines, coordinates

    shapes = rows.geometry[~rows.geometry.geom_type.isin(("Point", "MultiPoint"))]
    paths = coordinates(shapes)
    add_lines(chart, paths, **_OUTLINE)
    return [line_entry(words, **_OUTLINE)] if paths else []
