"""Signs of landforms: how each kind is drawn on a map and in its legend, as in the styles of the layers.

Kinds of lines differ by pattern: ridges are unbroken, valley lines dashed, spurs hollow with a bead at the
nose, re-entrants rows of dots, breaks of slope long dashes or dashes and dots.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.colors import to_rgb

from hillsight.sheets.paper import palette, relief
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.maps import Entry
from hillsight.sheets.paper.page import DOTS_PER_INCH
from hillsight.sheets.paper.palette import INK, PAPER

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import geopandas

    from hillsight.arrays import Flags, Floats
    from hillsight.sheets.paper.maps import Map
    from hillsight.sheets.paper.page import Page

_POINTS = 72 / DOTS_PER_INCH  # a pixel in points
# Points, order 1 to 4 and higher.
_ORDER_WIDTHS = {"ridges": (0.9, 1.5, 2.2, 3.0), "valley_lines": (0.8, 1.15, 1.6, 2.1)}
_SHORTEST = 5.0  # pixels; a line below that would be a speck
_PATTERN_PITCH = 18  # pixels between the signs on level ground
# How strongly areas are coloured; the rest is paper.
STEEP_STRENGTH, LEVEL_STRENGTH, HOLLOW_STRENGTH = 0.62, 0.45, 0.25


@dataclass(frozen=True)
class LineSign:
    """How a kind of line is drawn.

    width : points; dash : on and off in points, () for an unbroken line; core : width of the paper-coloured
    middle of a hollow line, 0 for none; bead : radius of the dot at its lower end, points, 0 for none; rim :
    how much wider the paper-coloured ground is that the line lies on, points, 0 for none
    """

    colour: str
    width: float
    dash: tuple[float, ...] = ()
    cap: str = "butt"
    core: float = 0.0
    bead: float = 0.0
    rim: float = 0.0


RIDGE = LineSign(palette.GROUND_SHAPE, 1.0, cap="round", rim=0.9)
VALLEY_LINE = LineSign(palette.WATER, 1.0, (3.4, 1.7))
SPUR = LineSign(palette.SPUR, 3.0, cap="round", core=1.3, bead=2.1, rim=0.9)
# The rim covers the valley line that runs along most re-entrants.
RE_ENTRANT = LineSign(palette.RE_ENTRANT, 2.4, (0.1, 4.6), cap="round", rim=0.3)
CONVEX_EDGE = LineSign(palette.BREAK, 2.0, (9.0, 2.0))
LEVEL_OUTLINE = LineSign(palette.LEVEL_EDGE, 0.7)
HOLLOW_OUTLINE = LineSign(palette.WATER, 1.7, (1.6, 2.0))
CONCAVE_FOOT = LineSign(palette.BREAK, 1.3, (5.0, 1.8, 1.2, 1.8, 1.2, 1.8))

TOP_MARKS: dict[str, dict[str, Any]] = {
    "summit": {"marker": "^", "markersize": 8.5, "markerfacecolor": INK, "markeredgecolor": PAPER},
    "knoll": {"marker": "o", "markersize": 4.6, "markerfacecolor": PAPER, "markeredgecolor": INK},
}
SADDLE_MARK: dict[str, Any] = {"marker": "x", "markersize": 5.2, "color": INK}
_MARK_EDGES = {"summit": 0.8, "knoll": 1.1}


def order_width(layer: str, order: int) -> float:
    """Width of a line of ridges or valley_lines by its order, points."""
    widths = _ORDER_WIDTHS[layer]
    return widths[min(max(order, 1), len(widths)) - 1]


def paths_of(chart: Map, lines: geopandas.GeoSeries) -> list[Floats]:
    """Pixels of each line; empty for one too short to draw."""
    import shapely

    paths = []
    for shape in lines:
        points = np.empty((0, 2))
        if shape is not None and not shape.is_empty and shape.length >= _SHORTEST * chart.pixel_m:
            points = np.column_stack(chart.to_page(*shapely.get_coordinates(shape).T))
        paths.append(points)
    return paths


def draw_lines(
    chart: Map,
    paths: Sequence[Floats],
    sign: LineSign,
    *,
    widths: Sequence[float] | None = None,
    fine: float = 1.0,
    zorder: float = 3.0,
) -> int:
    """Draw lines that run downhill, given in pixels; returns how many were long enough to draw.

    Parameters
    ----------
    widths : of each line, points, instead of the sign's
    fine : share of the usual widths, for crowded maps
    """
    wide = [sign.width] * len(paths) if widths is None else list(widths)
    kept = [(points, width * fine) for points, width in zip(paths, wide, strict=True) if len(points) > 1]
    if not kept:
        return 0
    clip = chart.place
    for place, pieces in enumerate(_layers(kept, sign, fine)):
        _add(chart.page, pieces, zorder + place / 10, clip)
    return len(kept)


@dataclass(frozen=True)
class _Pieces:
    paths: list[Floats]
    widths: list[float]
    colour: str
    dashes: list[tuple[float, ...]]
    cap: str


def _layers(kept: list[tuple[Floats, float]], sign: LineSign, fine: float) -> list[_Pieces]:
    """A sign's parts from the bottom up: paper-coloured rim, the line, its hollow, its bead."""
    paths, widths = [points for points, _ in kept], [width for _, width in kept]
    unbroken: list[tuple[float, ...]] = [()] * len(paths)
    layers = []
    if sign.rim:
        layers.append(_Pieces(paths, [width + sign.rim for width in widths], PAPER, unbroken, "round"))
    # Wider lines take longer dashes, but less so than they are wide.
    dashes = [tuple(part * sqrt(width / sign.width) for part in sign.dash) for width in widths]
    layers.append(_Pieces(paths, widths, sign.colour, dashes, sign.cap))
    if sign.core:
        layers.append(_Pieces(paths, [sign.core * fine] * len(paths), PAPER, unbroken, "round"))
    if sign.bead:
        # A line of next to no length with round ends is a dot.
        ends = [np.array([points[-1], points[-1] + 0.1]) for points in paths]
        layers.append(_Pieces(ends, [2 * sign.bead * fine] * len(ends), sign.colour, unbroken, "round"))
    return layers


def _add(page: Page, pieces: _Pieces, zorder: float, clip: Box) -> None:
    from matplotlib.collections import LineCollection
    from matplotlib.transforms import Bbox, TransformedBbox

    # Dashes are counted in line widths; the signs give them in points.
    styles: list[Any] = [
        (0, tuple(part / width for part in dash)) if dash else "solid"
        for dash, width in zip(pieces.dashes, pieces.widths, strict=True)
    ]
    lines = LineCollection(
        pieces.paths,
        colors=pieces.colour,
        linewidths=pieces.widths,
        linestyles=styles,
        capstyle=pieces.cap,  # type: ignore[arg-type,unused-ignore]
        joinstyle="round",
        antialiaseds=True,
        zorder=zorder,
    )
    lines.set_clip_box(
        TransformedBbox(Bbox([[clip.left, clip.bottom], [clip.right, clip.top]]), page.sheet.transData)
    )
    page.add(lines)


def draw_top(page: Page, x: float, y: float, kind: str, fine: float = 1.0) -> Box:
    """The mark of a top; returns the box it fills."""
    style = {**TOP_MARKS[kind]}
    style["markersize"] *= fine
    page.line([x], [y], linestyle="none", markeredgewidth=_MARK_EDGES[kind] * fine, zorder=8, **style)
    half = half_size(kind, fine)
    return Box(x - half, y - half, x + half, y + half)


def by_rank(tops: geopandas.GeoDataFrame) -> geopandas.GeoDataFrame:
    """Tops in the order in which they are worth drawing: summits first, by prominence."""
    keyed = tops.assign(_summit=tops["kind"] == "summit")
    order = ["_summit", "prominence_m", "landform"]
    return keyed.sort_values(order, ascending=[False, False, True], kind="stable").drop(columns="_summit")


def by_climb(saddles: geopandas.GeoDataFrame) -> geopandas.GeoDataFrame:
    """Saddles in the order in which they are worth drawing: the greatest climb first."""
    return saddles.sort_values(["climb_m", "landform"], ascending=[False, True], kind="stable")


def mark_share(fine: float) -> float:
    """Share of their usual size that marks have on a map whose lines have ``fine`` of their usual width."""
    return max(fine, 0.6)


def half_size(kind: str, fine: float) -> float:
    """Half the side of the box that a mark fills, pixels; ``kind`` of top, or saddle."""
    style = SADDLE_MARK if kind == "saddle" else TOP_MARKS[kind]
    return float(style["markersize"]) * fine / _POINTS / 2 + 1.5


def draw_saddle(page: Page, x: float, y: float, fine: float = 1.0) -> Box:
    """The mark of a saddle: a slanting cross with a pale rim; returns the box it fills."""
    size = SADDLE_MARK["markersize"] * fine
    for colour, width, longer in ((PAPER, 3.4, 1.2), (INK, 1.5, 0.0)):
        page.line(
            [x], [y], linestyle="none", marker="x", markersize=size + longer * fine, color=colour,
            markeredgecolor=colour, markeredgewidth=width * fine, zorder=7.5,
        )  # fmt: skip
    half = half_size("saddle", fine)
    return Box(x - half, y - half, x + half, y + half)


def steep_colours(bands_deg: Sequence[float]) -> dict[float, str]:
    """A colour for the start of each band of slope, degrees: the steeper, the darker."""
    ramp, count = palette.STEEP, len(bands_deg)
    start = 1 if count < len(ramp) else 0  # the palest is for a fourth band
    spread = np.linspace(start, len(ramp) - 1, count) if count > 1 else np.array([2.0])
    if count > len(ramp):
        spread = np.linspace(0, len(ramp) - 1, count)
    return {band: ramp[round(float(n))] for band, n in zip(sorted(bands_deg), spread, strict=True)}


def wash(picture: Floats, where: Flags, colour: str, strength: float) -> None:
    """Lay a colour over pixels (rows, columns, 3) in place; ``strength`` 0 leaves them, 1 covers them."""
    mixed = strength * np.array(to_rgb(colour))
    picture[where] = mixed + (1 - strength) * picture[where]


def level_sign(kind: str, shape: tuple[int, ...]) -> Flags:
    """Pixels of the signs on level ground: triangles on flat tops, crosses on shelves, dots on floors."""
    row, column = np.indices(shape[:2])
    shifted = column + row // _PATTERN_PITCH % 2 * (_PATTERN_PITCH // 2)
    down, across = row % _PATTERN_PITCH - 8, shifted % _PATTERN_PITCH - 8
    if kind == "shelf":
        arm = (abs(down) <= 4) & (abs(across) <= 4)
        return np.asarray(arm & ((abs(down) < 1) | (abs(across) < 1)))
    if kind == "floor":
        return np.asarray(down**2 + across**2 <= 5)
    if kind == "flat_top":
        return np.asarray((abs(down) <= 3) & (2 * abs(across) <= down + 3))
    raise ValueError(f"no kind of level ground: {kind}")


def paint_level(picture: Floats, where: Flags, kind: str) -> None:
    """Colour level ground of one kind in place."""
    wash(picture, where, palette.LEVEL, LEVEL_STRENGTH)
    wash(picture, where & level_sign(kind, picture.shape), palette.LEVEL_EDGE, 0.9)


def picture_entry(text: str, paint: Mapping[str, Any]) -> Entry:
    """A swatch of painted ground: ``kind`` of level ground, or a ``colour`` with its ``strength``.

    ``edge`` is the colour of the outline, ink unless given; ``outline`` a sign to draw it with.
    """

    def draw(page: Page, box: Box) -> None:
        colours = np.ones((round(box.height), round(box.width), 3)) * to_rgb(palette.PAPER)
        everywhere = np.ones(colours.shape[:2], bool)
        if "kind" in paint:
            paint_level(colours, everywhere, paint["kind"])
        else:
            wash(colours, everywhere, paint["colour"], paint["strength"])
        left, bottom = round(box.left), round(box.bottom)
        page.image(relief.as_bytes(colours), left, bottom)
        right, top = left + colours.shape[1], bottom + colours.shape[0]
        if "outline" in paint:
            ring = np.array([[left, bottom], [right, bottom], [right, top], [left, top], [left, bottom]])
            _draw_sign(page, ring, paint["outline"], paint["outline"].width)
        else:
            page.box(Box(left, bottom, right, top), edgecolor=paint.get("edge", INK), linewidth=0.6)

    return Entry(text, draw)


def sign_entry(text: str, sign: LineSign, *, widths: Sequence[float] = ()) -> Entry:
    """A piece of line drawn as on the map; with ``widths``, one piece a width from left to right."""

    def draw(page: Page, box: Box) -> None:
        middle = (box.bottom + box.top) / 2
        edges = np.linspace(box.left + 2, box.right - 2, max(len(widths), 1) + 1)
        for place in range(len(edges) - 1):
            width = widths[place] if widths else sign.width
            points = np.array([[edges[place], middle], [edges[place + 1], middle]])
            _draw_sign(page, points, sign, width)

    return Entry(text, draw)


def _draw_sign(page: Page, points: Floats, sign: LineSign, width: float) -> None:
    for number, pieces in enumerate(_layers([(points, width)], sign, 1.0)):
        _add(page, pieces, 3 + number / 10, Box(0, 0, page.width, page.height))


def top_entry(kind: str, text: str) -> Entry:
    """The mark of a kind of top."""

    def draw(page: Page, box: Box) -> None:
        draw_top(page, (box.left + box.right) / 2, (box.bottom + box.top) / 2, kind)

    return Entry(text, draw)


def saddle_entry(text: str) -> Entry:
    """The mark of a saddle."""

    def draw(page: Page, box: Box) -> None:
        draw_saddle(page, (box.left + box.right) / 2, (box.bottom + box.top) / 2)

    return Entry(text, draw)
