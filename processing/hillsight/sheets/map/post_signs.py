"""Marshal posts on a map sheet: what of a course is seen, posts with their numbers, radio, ways to walk."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from hillsight.sheets.map.line_signs import coordinates
from hillsight.sheets.paper import signs
from hillsight.sheets.paper.drawn_signs import draw_course, draw_mark
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.maps import course_entry, sign_entry
from hillsight.sheets.paper.marks import name_of
from hillsight.sheets.paper.page import PER_MM
from hillsight.sheets.paper.palette import INK, PAPER

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import geopandas

    from hillsight.arrays import Floats
    from hillsight.sheets.paper.labels import Placer
    from hillsight.sheets.paper.maps import Entry, Map
    from hillsight.sheets.paper.page import Page

#: Lines of a plan of posts, from the bottom up.
POST_LINES = (
    *("radio_links", "walks", "other_stretches", "seen_stretches", "unseen_stretches", "running_order"),
)
#: Its points.
POST_POINTS = ("access", "relays", "posts")
#: What of it is not drawn on maps: the same ground again, lines from everywhere to everywhere.
LEFT_OUT = ("handover_gaps", "sight_matrix", "other_places")

#: A stretch seen with a smaller chance is drawn as doubtful.
_LIKELY = 0.9
_ARROWS_MM, _ARROW_MM = 26.0, 2.3  # between arrows along a course, and their length


def draw_post_lines(chart: Map, name: str, rows: geopandas.GeoDataFrame) -> list[Entry]:
    """One layer of lines; returns its part of the legend. The running order is arrows along its lines."""
    entries: list[Entry] = []
    if name == "running_order":
        for path in coordinates(rows.geometry):
            _draw_direction(chart, path)
        return entries
    for sign, chosen in _signs_of(name, rows):
        paths = coordinates(_joined(rows[chosen].geometry))
        for path in paths:
            draw_course(chart.axes, path, sign, zorder=2.6)
        if paths:
            entries.append(course_entry(sign.words, sign, 0.8))
    return entries


def _signs_of(name: str, rows: geopandas.GeoDataFrame) -> list[tuple[signs.Line, Any]]:
    everywhere = np.ones(len(rows), bool)
    if name == "seen_stretches":
        chance = np.asarray(rows["seen_probability"], float) if "seen_probability" in rows else everywhere
        doubtful = np.nan_to_num(chance, nan=1.0) < _LIKELY
        return [(signs.DOUBTFUL_STRETCH, doubtful), (signs.SEEN_STRETCH, ~doubtful)]
    if name == "radio_links":
        answers = np.asarray(rows["answer"], object)
        return [(sign, answers == answer) for answer, sign in signs.RADIO_LINKS.items()]
    sign = {
        "walks": signs.APPROACH,
        "other_stretches": signs.OTHER_STRETCH,
        "unseen_stretches": signs.UNSEEN_STRETCH,
    }[name]
    return [(sign, everywhere)]


def _joined(lines: Any) -> Sequence[Any]:
    """Lines that end where the next begins as one, so that dashes run on and ends do not bulge."""
    whole = shapely.line_merge(shapely.union_all(list(lines)))
    return [part for part in shapely.get_parts(whole) if part.geom_type == "LineString"]


def _draw_direction(chart: Map, course: Floats) -> None:
    """Small arrows beside a course, (n, 2) metres, the way it is run."""
    line = shapely.LineString(np.column_stack(chart.to_page(*course.T)))
    step, length = _ARROWS_MM * PER_MM, _ARROW_MM * PER_MM
    with chart.page.onto(chart.axes):
        for at in np.arange(step / 2, line.length, step):
            tip, tail = line.interpolate(at), line.interpolate(max(at - length, 0.0))
            way = np.array([tip.x - tail.x, tip.y - tail.y])
            if not way.any():
                continue
            way = way / np.hypot(*way) * length
            across = 0.5 * np.array([-way[1], way[0]])
            beside = 1.35 * np.array([-way[1], way[0]]) * 0.8
            end = np.array([tip.x, tip.y]) + beside
            _arrow(chart.page, end, way, across)


def _arrow(page: Page, tip: Floats, way: Floats, across: Floats) -> None:
    from matplotlib.patches import Polygon

    page.add(
        Polygon(
            [tip, tip - way + across, tip - 0.7 * way, tip - way - across],
            facecolor=INK,
            edgecolor=PAPER,
            linewidth=0.6,
            zorder=3.4,
        )
    )


def draw_post(page: Page, x: float, y: float, number: str, share: float = 1.0) -> Box:
    """A post's mark with its number in it."""
    box = draw_mark(page, x, y, signs.POST, share=share, zorder=7)
    size = (7.4 if len(number) < 2 else 6.0) * share
    page.text(x, y, number, size, bold=True, align="center", colour=PAPER)
    return box


def _number(row: Mapping[Any, Any]) -> str:
    if "number" in row:
        return str(row["number"])
    found = re.search(r"\d{1,3}$", str(row.get("post") or ""))
    return found[0] if found else ""


def draw_post_points(
    chart: Map, layers: Mapping[str, geopandas.GeoDataFrame], placer: Placer
) -> tuple[list[Entry], int]:
    """Posts, relays and starts of walks with their names; the legend, and how many names found no room.

    The columns ``number`` and ``label`` tell what stands in a post's mark and beside it; without them its
    name does, and the number at the name's end.
    """
    entries: list[Entry] = []
    names: list[tuple[float, float, str, float]] = []
    with chart.page.onto(chart.axes):
        for layer, sign in zip(POST_POINTS, (signs.ACCESS, signs.RELAY, signs.POST), strict=True):
            rows = layers.get(layer)
            if rows is None or not len(rows):
                continue
            for row in rows.to_dict("records"):
                x, y = chart.to_page(row["geometry"].x, row["geometry"].y)
                if layer == "posts":
                    box = draw_post(chart.page, x, y, _number(row))
                else:
                    box = draw_mark(chart.page, x, y, sign, zorder=6.5)
                placer.taken.append(box)
                label = name_of(str(row.get("label", row.get("post")) or ""), 40)
                if label:
                    names.append((x, y, label, (box.right - box.left) / 2))
            entries.append(sign_entry(sign.words, sign, share=0.8))
        left_off = 0
        for x, y, label, half in names:
            width, height = chart.page.size_of(label, 7.6, bold=True)
            room = placer.beside(x, y, width, height, half)
            if room is None:
                left_off += 1
            else:
                chart.page.text(room.left, (room.bottom + room.top) / 2, label, 7.6, bold=True, halo=True)
    return entries[::-1], left_off
