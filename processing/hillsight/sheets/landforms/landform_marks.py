"""Landforms on a map: lines of many widths with their parts, tops and saddles, and their legend.

Kinds of lines differ by pattern: ridges are unbroken, valley lines dashed, spurs hollow with a bead at the
nose, re-entrants rows of dots, breaks of slope long dashes or dashes and dots.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.sheets.paper import drawn_signs, palette, signs
from hillsight.sheets.paper.drawn_signs import draw_mark
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.maps import Entry, sign_entry
from hillsight.sheets.paper.palette import PAPER

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas

    from hillsight.arrays import Floats
    from hillsight.sheets.paper.maps import Map
    from hillsight.sheets.paper.page import Page

_SHORTEST = 5.0  # pixels; a line below that would be a speck
_TOPS = {"summit": signs.TOP, "knoll": signs.KNOLL, "saddle": signs.SADDLE}


def order_width(layer: str, order: int) -> float:
    """Width of a line of ridges or valley_lines by its order, points."""
    return signs.order_line(layer, order).width


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
    sign: signs.Line,
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


def _layers(kept: list[tuple[Floats, float]], sign: signs.Line, fine: float) -> list[_Pieces]:
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


def draw_point(page: Page, x: float, y: float, kind: str, fine: float = 1.0) -> Box:
    """The mark of a kind of top, or of a saddle; returns the box it fills."""
    return draw_mark(page, x, y, _TOPS[kind], share=fine, zorder=7.5 if kind == "saddle" else 8)


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
    return drawn_signs.half_size(signs.parts(_TOPS[kind]), fine)


def steep_colours(bands_deg: Sequence[float]) -> dict[float, str]:
    """A colour for the start of each band of slope, degrees: the steeper, the darker."""
    ramp, count = palette.STEEP, len(bands_deg)
    start = 1 if count < len(ramp) else 0  # the palest is for a fourth band
    spread = np.linspace(start, len(ramp) - 1, count) if count > 1 else np.array([2.0])
    if count > len(ramp):
        spread = np.linspace(0, len(ramp) - 1, count)
    return {band: ramp[round(float(n))] for band, n in zip(sorted(bands_deg), spread, strict=True)}


def course_entry(text: str, sign: signs.Line, *, widths: Sequence[float] = ()) -> Entry:
    """A piece of line drawn as on the map; with ``widths``, one piece a width from left to right."""

    def draw(page: Page, box: Box) -> None:
        middle = (box.bottom + box.top) / 2
        edges = np.linspace(box.left + 2, box.right - 2, max(len(widths), 1) + 1)
        for place in range(len(edges) - 1):
            width = widths[place] if widths else sign.width
            points = np.array([[edges[place], middle], [edges[place + 1], middle]])
            _draw_sign(page, points, sign, width)

    return Entry(text, draw)


def _draw_sign(page: Page, points: Floats, sign: signs.Line, width: float) -> None:
    for number, pieces in enumerate(_layers([(points, width)], sign, 1.0)):
        _add(page, pieces, 3 + number / 10, Box(0, 0, page.width, page.height))


def point_entry(kind: str, text: str) -> Entry:
    """The mark of a kind of top, or of a saddle."""
    return sign_entry(text, _TOPS[kind])
