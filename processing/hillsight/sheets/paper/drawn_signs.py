"""Signs on a page: marks, lines and areas drawn as :mod:`hillsight.sheets.paper.signs` says."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.sheets.paper import signs
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.page import DOTS_PER_INCH, LINES
from hillsight.sheets.paper.palette import PAPER

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from hillsight.arrays import Flags, Floats
    from hillsight.sheets.paper.page import Page

PIXELS_PER_POINT = DOTS_PER_INCH / 72
_MARKERS = {
    "triangle": "^",
    "triangle_right": ">",
    "triangle_down": "v",
    "circle": "o",
    "square": "s",
    "diamond": "D",
    "star": "*",
    "x": "x",
    "cross": "+",
}


def part_style(part: signs.Part, share: float = 1.0) -> dict[str, Any]:
    """A part of a mark as matplotlib's words for a line of one point; ``share`` of its usual size."""
    return {
        "marker": _MARKERS[part.shape],
        "markersize": part.size * share,
        "markerfacecolor": part.fill or "none",
        "markeredgecolor": part.edge or "none",
        "markeredgewidth": part.edge_width * share,
        "linestyle": "none",
    }


def draw_mark(
    page: Page,
    x: float,
    y: float,
    mark: signs.Mark,
    state: str = "visible",
    *,
    share: float = 1.0,
    zorder: float = 6.0,
) -> Box:
    """Draw a mark at a place of the page, ``share`` of its usual size; returns the box it fills, pixels."""
    pieces = signs.parts(mark, state)
    for number, part in enumerate(pieces):
        page.line([x], [y], zorder=zorder + number / 100, **part_style(part, share))
    half = half_size(pieces, share)
    return Box(x - half, y - half, x + half, y + half)


def half_size(pieces: tuple[signs.Part, ...], share: float = 1.0) -> float:
    """Half the side of the box that a mark fills, pixels."""
    widest = max(part.size * (2**0.5 if part.shape == "diamond" else 1.0) for part in pieces)
    return widest * share * PIXELS_PER_POINT / 2 + 1.5


def line_style(sign: signs.Line, share: float = 1.0) -> dict[str, Any]:
    """A line's colour, width and dash as matplotlib's words; ``share`` of its usual width."""
    width = sign.width * share
    style: dict[str, Any] = {"color": sign.colour, "linewidth": width}
    if sign.dash:  # which matplotlib counts in line widths
        style["linestyle"] = (0, tuple(part / sign.width for part in sign.dash))
    return style


def _stroke(sign: signs.Line, share: float) -> dict[str, Any]:
    """The same with how it ends and bends."""
    caps = {"solid_capstyle": "round", "dash_capstyle": "round"} if sign.cap == "round" else {}
    return {**LINES, **caps, **line_style(sign, share)}


def strokes(sign: signs.Line, share: float = 1.0) -> list[dict[str, Any]]:
    """A line from the bottom up: its rim, itself, its core; the bead is drawn by who knows its lower end."""
    found = []
    plain = replace(sign, dash=(), cap="round")
    if sign.rim:
        rim = replace(plain, colour=PAPER, width=sign.width + sign.rim)
        found.append({**_stroke(rim, share), "alpha": 0.75})
    found.append(_stroke(sign, share))
    if sign.core:
        found.append(_stroke(replace(plain, colour=sign.core_colour, width=sign.core), share))
    return found


def draw_course(
    axes: Axes, points: Floats, sign: signs.Line, *, share: float = 1.0, zorder: float = 2.8
) -> None:
    """Draw a line through (n, 2) points of a map's own axes, or of a page's."""
    for number, style in enumerate(strokes(sign, share)):
        axes.plot(*points.T, zorder=zorder + number / 100, scalex=False, scaley=False, **style)
    if sign.bead:
        axes.plot(
            *points[-1], marker="o", markersize=2 * sign.bead * share, color=sign.colour, markeredgewidth=0,
            zorder=zorder + 0.05, scalex=False, scaley=False,
        )  # fmt: skip


def texture_at(texture: signs.Hatch | signs.Strewn, shape: tuple[int, ...]) -> Flags:
    """Pixels, (rows, columns) at 150 dots an inch, that a texture covers."""
    row, column = np.indices(shape[:2])
    if isinstance(texture, signs.Hatch):
        across = round(texture.pitch * PIXELS_PER_POINT * 2**0.5)
        along = row + column if texture.angle_deg > 0 else row - column
        return np.asarray(along % across < max(1, round(texture.width * PIXELS_PER_POINT * 2**0.5)))
    pitch, half = round(texture.pitch * PIXELS_PER_POINT), texture.size * PIXELS_PER_POINT / 2
    shifted = column + row // pitch % 2 * (pitch // 2)
    middle = pitch // 2 - 1
    down, across_px = row % pitch - middle, shifted % pitch - middle
    if texture.shape == "cross":
        arm = (abs(down) <= half) & (abs(across_px) <= half)
        return np.asarray(arm & ((abs(down) < 1) | (abs(across_px) < 1)))
    if texture.shape == "triangle":
        reach = round(half - 0.5)
        return np.asarray((abs(down) <= reach) & (2 * abs(across_px) <= down + reach))
    return np.asarray(down**2 + across_px**2 <= half**2)


def paint(picture: Floats, where: Flags, sign: signs.Area) -> None:
    """Lay an area's wash and texture over pixels (rows, columns, 3) in place; its edge is a line's matter."""
    wash(picture, where, sign.fill, sign.strength)
    if sign.texture is not None:
        strength = sign.texture.strength if isinstance(sign.texture, signs.Hatch) else 0.9
        wash(picture, where & texture_at(sign.texture, picture.shape), sign.texture.colour, strength)


def wash(picture: Floats, where: Flags, colour: str, strength: float) -> None:
    """Lay a colour over pixels (rows, columns, 3) in place; ``strength`` 0 leaves them, 1 covers them."""
    from matplotlib.colors import to_rgb

    picture[where] = strength * np.array(to_rgb(colour)) + (1 - strength) * picture[where]


def fill_area(
    axes: Axes, outline: Floats, sign: signs.Area, *, share: float = 1.0, zorder: float = 2.5
) -> None:
    """Fill an outline, (n, 2) points of a map's own axes."""
    from matplotlib.patches import Polygon

    # Paper first, so that the wash looks alike on any ground.
    for colour, alpha in ((PAPER, 0.8), (sign.fill, sign.strength)):
        axes.add_patch(Polygon(outline, facecolor=colour, alpha=alpha, edgecolor="none", zorder=zorder))
    if sign.edge is not None:
        draw_course(axes, outline, sign.edge, share=share, zorder=zorder + 0.1)
