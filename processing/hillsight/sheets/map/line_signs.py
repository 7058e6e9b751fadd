"""Lines on a map sheet: contours, crests, landforms, courses seen and hidden, sight lines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from hillsight.sheets.landforms import landform_marks as landforms
from hillsight.sheets.map import contour_lines as contours
from hillsight.sheets.paper import palette, signs
from hillsight.sheets.paper.drawn_signs import line_style
from hillsight.sheets.paper.maps import Entry, line_entry
from hillsight.sheets.paper.marks import crest_entries, draw_crests
from hillsight.sheets.paper.page import DOTS_PER_INCH, PER_MM
from hillsight.sheets.paper.palette import INK, PAPER

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    import geopandas

    from hillsight.arrays import Floats
    from hillsight.ground.grid import Surface
    from hillsight.sheets.map.frame import MapFrame
    from hillsight.sheets.paper.labels import Placer
    from hillsight.sheets.paper.maps import Map

_THIN, _THICK = signs.CONTOUR.width, signs.INDEX_CONTOUR.width  # points: contours and index contours
_FIGURE_SIZE = 5.6

#: Corners so little off their line on paper, mm, are left out: a thirtieth of a thin contour's width.
#: On the demo's sheets these are three corners of four.
_CORNER_OFF_MM = 0.005
#: A thousandth of a point, in pixels of the page.
_FINEST_PX = 0.001 / 72.0 * DOTS_PER_INCH
_SEEN_CASING, _SEEN_CORE = 3.6, 2.4
_LANDFORM_LINES: tuple[tuple[str, str, signs.Line], ...] = (
    ("valley_lines", "valley line", signs.VALLEY_LINE),
    ("ridges", "ridge", signs.RIDGE),
    ("re_entrants", "re-entrant", signs.RE_ENTRANT),
    ("spurs", "spur, its nose a bead", signs.SPUR),
)
_BREAKS = {
    "convex_edge": ("edge: steeper below", signs.CONVEX_EDGE),
    "concave_foot": ("foot: gentler below", signs.CONCAVE_FOOT),
}
_STRETCHES: dict[str, dict[str, Any]] = {
    "visible": {"color": INK, "linewidth": 1.7},
    "hidden": {"color": INK, "linewidth": 0.9, "linestyle": (0, (2.2, 2.2))},
    "unknown": {"color": palette.LEADER, "linewidth": 0.9, "linestyle": (0, (0.8, 2.4))},
}
_STRETCH_WORDS = {
    "visible": "section: ground in view",
    "hidden": "section: dead ground",
    "unknown": "section: unknown",
}
_SIGHT: dict[str, Any] = {"color": palette.QUIET, "linewidth": 0.7, "linestyle": (0, (6, 1.5))}


@dataclass(frozen=True)
class DrawnContours:
    """Contours of a map: their interval, metres, and which sorts are there."""

    interval_m: float
    thin: bool
    thick: bool

    def entries(self) -> list[Entry]:
        """Their part of the legend."""
        found = []
        every = f"{self.interval_m:g} m"
        if self.thin:
            found.append(line_entry(f"contour, every {every}", color=palette.CONTOUR, linewidth=_THIN))
        if self.thick:
            fifth = f"{self.interval_m * contours.INDEX_EVERY:g} m"
            found.append(line_entry(f"index contour, every {fifth}", color=palette.CONTOUR, linewidth=_THICK))
        return found


def draw_contour_layer(
    frame: MapFrame, surface: Surface, interval_m: float, placer: Placer
) -> DrawnContours | None:
    """Contours on layers of their own, index contours with figures; None where the map has none."""
    window = contours.window_of(surface, frame.limits)
    if window is None:
        return None
    off_m = _CORNER_OFF_MM * PER_MM * frame.pixel_m
    lines = contours.contour_lines(window, interval_m)
    lines = contours.fewer_corners(window, lines, interval_m, off_m)
    thin = [line.points_m for line in lines if not contours.is_index(line.height_m, interval_m)]
    thick = [line for line in lines if contours.is_index(line.height_m, interval_m)]
    if not lines:
        return None
    chart = frame.layer("contours")
    add_lines(chart, thin, color=palette.CONTOUR, linewidth=_THIN)
    chart = frame.layer("index_contours")
    on_page = [np.column_stack(chart.to_page(*line.points_m.T)) for line in thick]
    texts = [f"{line.height_m + 0.0:.0f}".replace("-", "−") for line in thick]
    sizes = [(text, *chart.page.size_of(text, _FIGURE_SIZE)) for text in texts]
    inside = [_cut_to(points, chart) for points in on_page]
    pieces = [(i, piece) for i, found in enumerate(inside) for piece in found]
    figures = contours.place_figures(
        [(thick[i].height_m, piece) for i, piece in pieces], [sizes[i] for i, _ in pieces], placer
    )
    cut: list[Floats] = []
    for points, text in zip(on_page, texts, strict=True):
        mine = [figure for figure in figures if figure.text == text]
        cut += contours.cut_at(points, mine, 2.0)
    add_lines(chart, cut, in_pixels=True, color=palette.CONTOUR, linewidth=_THICK)
    chart = frame.layer("contour_figures")
    with chart.page.onto(chart.axes):
        for figure in figures:
            chart.page.turned_text(
                figure.x, figure.y, figure.text, _FIGURE_SIZE, figure.turned_deg, colour=palette.CONTOUR_NAME
            )
    return DrawnContours(interval_m, bool(thin), bool(thick))


def _cut_to(points: Floats, chart: Map) -> list[Floats]:
    """The parts of a line in pixels whose points lie inside a map's frame."""
    place = chart.place
    inside = (
        (points[:, 0] > place.left)
        & (points[:, 0] < place.right)
        & (points[:, 1] > place.bottom)
        & (points[:, 1] < place.top)
    )
    edges = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(int)))
    return [points[a:b] for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a > 1]


def add_lines(
    chart: Map, paths: Sequence[Floats], *, in_pixels: bool = False, zorder: float = 2.0, **style: Any
) -> None:
    """Lines in the map's metres or in the page's pixels, every corner kept.

    Corners are put to a thousandth of a point of paper, 0.35 micrometres: digits beyond fill half of a file.
    """
    from matplotlib.collections import PathCollection
    from matplotlib.path import Path

    if not paths:
        return
    if not in_pixels:
        paths = [np.column_stack(chart.to_page(*np.asarray(points, np.float64).T)) for points in paths]
    made = [Path(np.round(points / _FINEST_PX) * _FINEST_PX) for points in paths]
    for path in made:
        path.should_simplify = False  # to the last corner: nothing of the ground is smoothed
    lines = PathCollection(
        made,
        transform=chart.page.sheet.transData,
        facecolors="none",
        edgecolors=[style.pop("color", INK)],
        linewidths=[style.pop("linewidth", 0.8)],
        linestyles=[style.pop("linestyle", "solid")],
        capstyle="butt",
        joinstyle="round",
        zorder=zorder,
        **style,
    )
    chart.axes.add_collection(lines, autolim=False)


def coordinates(shapes: Iterable[Any]) -> list[Floats]:
    """(n, 2) metres of each line of some shapes, of areas their outlines."""
    found = []
    for shape in shapes:
        for part in shapely.get_parts(shape):
            lines = shapely.get_parts(part.boundary) if part.geom_type == "Polygon" else [part]
            found += [shapely.get_coordinates(line) for line in lines if line.length > 0]
    return found


def draw_seen_courses(chart: Map, lines: geopandas.GeoDataFrame) -> list[Entry]:
    """A pale band with dark edges under what is seen of line features; the features' own signs go over it."""
    paths = coordinates(lines.geometry)
    add_lines(chart, paths, color=INK, linewidth=_SEEN_CASING)
    add_lines(chart, paths, color=palette.VISIBLE, linewidth=_SEEN_CORE, zorder=2.1)

    def draw(page: Any, box: Any) -> None:
        middle = (box.bottom + box.top) / 2
        for colour, width in ((INK, _SEEN_CASING), (palette.VISIBLE, _SEEN_CORE)):
            page.line(
                [box.left, box.right], [middle, middle], color=colour, linewidth=width,
                solid_capstyle="butt",
            )  # fmt: skip

    return [Entry("pale band along a line: in view there", draw)] if paths else []


def draw_crest_layer(chart: Map, lines: geopandas.GeoDataFrame) -> list[Entry]:
    """Crest lines by their role."""
    roles = draw_crests(chart, lines)
    return crest_entries(roles)


def draw_skyline(chart: Map, lines: geopandas.GeoDataFrame) -> list[Entry]:
    """The skyline where no crest lines tell of it."""
    paths = coordinates(lines.geometry)
    style = line_style(signs.SKYLINE)
    add_lines(chart, paths, **{name: style[name] for name in ("color", "linewidth", "linestyle")})
    return crest_entries(["skyline"]) if paths else []


def draw_stretches(chart: Map, rows: geopandas.GeoDataFrame) -> list[Entry]:
    """Sections of the ground: what is seen of them and what is not."""
    entries = []
    for state, style in _STRETCHES.items():
        paths = coordinates(rows.geometry[rows["state"] == state])
        if paths:
            add_lines(chart, paths, color=PAPER, linewidth=style["linewidth"] + 1.4, alpha=0.8)
            add_lines(chart, paths, zorder=2.2, **style)
            entries.append(line_entry(_STRETCH_WORDS[state], **style))
    return entries


def draw_sight_lines(chart: Map, rows: geopandas.GeoDataFrame, words: str) -> list[Entry]:
    """Straight lines of sight."""
    paths = coordinates(rows.geometry)
    add_lines(chart, paths, **_SIGHT)
    return [line_entry(words, **_SIGHT)] if paths else []


def draw_landform_lines(chart: Map, layer: str, rows: geopandas.GeoDataFrame, fine: float) -> list[Entry]:
    """Lines of one layer of landforms; ``fine`` is the share of their usual width."""
    if layer == "breaks_of_slope":
        entries = []
        for kind, (words, sign) in _BREAKS.items():
            paths = landforms.paths_of(chart, rows.geometry[rows["kind"] == kind])
            with chart.page.onto(chart.axes):
                if landforms.draw_lines(chart, paths, sign, fine=max(fine, 0.6)):
                    entries.append(landforms.course_entry(words, sign))
        return entries
    words, sign = next((w, s) for name, w, s in _LANDFORM_LINES if name == layer)
    widths = (
        [landforms.order_width(layer, int(order)) for order in rows["order"]] if "order" in rows else None
    )
    paths = landforms.paths_of(chart, rows.geometry)
    with chart.page.onto(chart.axes):
        drawn = landforms.draw_lines(chart, paths, sign, widths=widths, fine=fine)
    if not drawn:
        return []
    steps = sorted(set(widths or ()))
    return [landforms.course_entry(words + (", by order" if len(steps) > 1 else ""), sign, widths=steps)]


def scale_of_landforms(frames: Mapping[str, geopandas.GeoDataFrame], pixel_m: float) -> float | None:
    """The smallest scale of landforms in the layers that is not too fine for a map, metres."""
    usual_px = 26.0  # a landform that long has room for its sign
    scales = sorted({float(s) for frame in frames.values() if "scale_m" in frame for s in frame["scale_m"]})
    return next((s for s in scales if s >= usual_px * pixel_m), scales[-1] if scales else None)
