"""What every map on a page has: frame, grid, scale bar, north, station mark, reach, legend."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.colors import to_hex, to_rgb

from hillsight.sheets.paper import signs
from hillsight.sheets.paper.drawn_signs import draw_course, draw_mark, line_style, paint
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.palette import INK, PAPER
from hillsight.sheets.paper.relief import as_bytes
from hillsight.words.quantities import length_words, whole_number

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from matplotlib.axes import Axes

    from hillsight.ground.grid import Grid
    from hillsight.sheets.paper.page import Page

_MARGIN = 1.04  # half a map in half widths of what it shows
_SWATCH = (44, 20)  # pixels
ROW = 31  # pixels between legend entries
_POSTS_FROM = 16  # pixels between posts from which they are marked


@dataclass(frozen=True)
class Map:
    """A map at a place of the page; ``limits`` are its edges in metres."""

    page: Page
    axes: Axes
    place: Box
    limits: Box

    @property
    def pixel_m(self) -> float:
        """Metres a pixel."""
        return self.limits.width / self.place.width

    def to_page(self, easting_m: float, northing_m: float) -> tuple[float, float]:
        """Pixels of a place."""
        return (
            self.place.left + (easting_m - self.limits.left) / self.pixel_m,
            self.place.bottom + (northing_m - self.limits.bottom) / self.pixel_m,
        )


def lay_map(page: Page, place: Box, easting_m: float, northing_m: float, reach_m: float, grid: Grid) -> Map:
    """A square map of what terrain there is within the reach; all of the reach where the terrain has it."""
    west, south, east, north = grid.cell_edges_m
    left, right = max(easting_m - reach_m, west), min(easting_m + reach_m, east)
    bottom, top = max(northing_m - reach_m, south), min(northing_m + reach_m, north)
    if left >= right or bottom >= top:  # other ground altogether: draw the reach
        left, right, bottom, top = (
            easting_m - reach_m,
            easting_m + reach_m,
            northing_m - reach_m,
            northing_m + reach_m,
        )
    half_m = max(right - left, top - bottom) / 2 * _MARGIN
    x, y = (left + right) / 2, (bottom + top) / 2
    limits = Box(x - half_m, y - half_m, x + half_m, y + half_m)
    return Map(page, page.frame(place, limits), place, limits)


def nice_step(span: float, most: int) -> float:
    """Smallest of 1, 2, 5 times a power of ten that divides a span into at most so many parts."""
    from matplotlib.ticker import MaxNLocator

    first, second, *_ = MaxNLocator(most, steps=[1, 2, 5, 10], min_n_ticks=1).tick_values(0.0, span)
    return float(second - first)


def draw_posts(chart: Map, grid: Grid) -> str:
    """Dots on the terrain's posts where they stand well apart on the page; words about them, or nothing.

    A map so large that posts can be told apart shows ground between them that nobody measured.
    """
    if min(grid.spacing_x_m, grid.spacing_y_m) < _POSTS_FROM * chart.pixel_m:
        return ""
    limits = chart.limits
    east_m = grid.to_map(np.zeros(grid.columns), np.arange(float(grid.columns)))[0]
    north_m = grid.to_map(np.arange(float(grid.rows)), np.zeros(grid.rows))[1]
    east_m = east_m[(east_m > limits.left) & (east_m < limits.right)]
    north_m = north_m[(north_m > limits.bottom) & (north_m < limits.top)]
    east_m, north_m = (values.ravel() for values in np.meshgrid(east_m, north_m))
    # On the map's own axes, under all signs.
    chart.axes.plot(
        east_m,
        north_m,
        linestyle="none",
        marker="o",
        markersize=1.8,
        color=INK,
        alpha=0.5,
        zorder=2.1,
        scalex=False,
        scaley=False,
    )
    apart = length_words(max(grid.spacing_x_m, grid.spacing_y_m))
    return f"dots: posts of the terrain, {apart} apart; nothing between them is surveyed"


def draw_grid(chart: Map, *, size: float = 7) -> float:
    """Grid lines with eastings below and northings at the left; returns their distance, metres."""
    page, place, limits = chart.page, chart.place, chart.limits
    step = nice_step(limits.width, 9)
    labels: list[Box] = []
    for n in range(ceil(limits.left / step), floor(limits.right / step) + 1):
        x, _ = chart.to_page(n * step, limits.bottom)
        page.line([x, x], [place.bottom, place.top], linewidth=0.45, alpha=0.32, zorder=2)
        page.line([x, x], [place.bottom - 6, place.bottom], linewidth=0.7)
        width = page.size_of(whole_number(n * step), size)[0]
        box = Box(x - width / 2, 0, x + width / 2, 1)
        if not any(box.overlaps(other, 8) for other in labels):
            labels.append(box)
            page.text(x, place.bottom - 17, whole_number(n * step), size, align="center")
    for n in range(ceil(limits.bottom / step), floor(limits.top / step) + 1):
        _, y = chart.to_page(limits.left, n * step)
        page.line([place.left, place.right], [y, y], linewidth=0.45, alpha=0.32, zorder=2)
        page.line([place.left - 6, place.left], [y, y], linewidth=0.7)
        page.text(place.left - 9, y, whole_number(n * step), size, align="right")
    page.box(place, linewidth=1.1, zorder=4)
    return step


def place_words(longitude: float, latitude: float) -> str:
    """Longitude and latitude with letters for the half of the world."""
    return (
        f"{abs(latitude):.5f}° {'N' if latitude >= 0 else 'S'}, "
        f"{abs(longitude):.5f}° {'E' if longitude >= 0 else 'W'}"
    )


def draw_scale_bar(chart: Map, left: float, y: float) -> float:
    """A bar in four parts, its length in round figures; returns its right end."""
    page = chart.page
    whole = nice_step(chart.limits.width * 0.34, 1)
    whole = whole if whole <= chart.limits.width * 0.36 else nice_step(chart.limits.width * 0.34, 2)
    while whole > chart.limits.width * 0.36:
        whole /= 2
    part = whole / 4 / chart.pixel_m
    for i in range(4):
        page.box(
            Box(left + i * part, y - 5, left + (i + 1) * part, y + 5), facecolor=INK if i % 2 == 0 else PAPER
        )
    for share in (0, 2, 4):
        text = "0" if share == 0 else length_words(whole * share / 4)
        page.text(left + share * part, y - 18, text, 7, align="center")
    return left + 4 * part


def draw_north(chart: Map, x: float, bottom: float) -> None:
    """An arrow up the grid, with its letters."""
    page = chart.page
    page.line([x, x], [bottom, bottom + 40], linewidth=1.6, solid_capstyle="butt")
    page.line([x - 8, x, x + 8], [bottom + 27, bottom + 42, bottom + 27], linewidth=1.6)
    page.text(x + 16, bottom + 20, "grid north", 7)


def north_words(station: Any) -> str:
    """How true and magnetic north lie to the map's grid north, in words."""
    convergence = float(station["convergence_deg"])
    words = f"Up is grid north. True north lies {_turned(-convergence)} of grid north"
    declination = station.get("declination_deg")
    if declination is None or not np.isfinite(declination):
        return f"{words}. Magnetic north was not asked for."
    spread = station.get("declination_uncertainty_deg")
    give = f"\u00a0±\u00a0{spread:.1f}°" if spread is not None and np.isfinite(spread) else ""
    day = station.get("declination_date") or "an unknown day"
    return (
        f"{words}; magnetic north lies {_turned(float(declination) - convergence)} of grid north{give} "
        f"(model value for {day})."
    )


def _turned(degrees: float) -> str:
    if abs(degrees) < 0.05:
        return "within 0.1°"
    return f"{abs(degrees):.1f}° to the {'right (east)' if degrees > 0 else 'left (west)'}"


def draw_reach(chart: Map, easting_m: float, northing_m: float, reach_m: float) -> None:
    """The circle within which the ground was judged."""
    from matplotlib.patches import Circle

    style = line_style(signs.REACH)
    chart.axes.add_patch(
        Circle(
            (easting_m, northing_m),
            reach_m,
            fill=False,
            edgecolor=style["color"],
            linewidth=style["linewidth"],
            linestyle=style["linestyle"],
        )
    )


def draw_station(page: Page, x: float, y: float, share: float = 1.0) -> Box:
    """The station's mark, ``share`` of its usual size; returns the box it fills."""
    return draw_mark(page, x, y, signs.STATION, share=share, zorder=7)


@dataclass(frozen=True)
class Entry:
    """One line of a legend: a text, and a way to draw its sample into a box."""

    text: str
    draw: Callable[[Page, Box], None]


def area_entry(text: str, colour: Any) -> Entry:
    """A patch of colour."""
    return ground_entry(text, signs.Area(to_hex(colour), 1.0, text))


def ground_entry(text: str, sign: signs.Area) -> Entry:
    """A patch of painted ground in its edge, ink where the sign has none."""

    def draw(page: Page, box: Box) -> None:
        colours = np.empty((_SWATCH[1], _SWATCH[0], 3))
        colours[:] = to_rgb(PAPER)
        paint(colours, np.ones(colours.shape[:2], bool), sign)
        left, bottom = round(box.left), round(box.bottom)
        right, top = left + _SWATCH[0], bottom + _SWATCH[1]
        page.image(as_bytes(colours), left, bottom)
        if sign.edge is None:
            page.box(Box(left, bottom, right, top), linewidth=0.6)
            return
        ring = np.array([[left, bottom], [right, bottom], [right, top], [left, top], [left, bottom]], float)
        draw_course(page.sheet, ring, sign.edge, zorder=3)

    return Entry(text, draw)


def course_entry(text: str, sign: signs.Line, share: float = 1.0) -> Entry:
    """A piece of a line."""

    def draw(page: Page, box: Box) -> None:
        middle = (box.bottom + box.top) / 2
        points = np.array([[box.left, middle], [box.right, middle]])
        draw_course(page.sheet, points, sign, share=share, zorder=3)

    return Entry(text, draw)


def sign_entry(text: str, mark: signs.Mark, state: str = "visible", share: float = 1.0) -> Entry:
    """A mark in a state."""

    def draw(page: Page, box: Box) -> None:
        draw_mark(page, (box.left + box.right) / 2, (box.bottom + box.top) / 2, mark, state, share=share)

    return Entry(text, draw)


def line_entry(text: str, **style: Any) -> Entry:
    """A piece of line."""

    def draw(page: Page, box: Box) -> None:
        middle = (box.bottom + box.top) / 2
        page.line([box.left, box.right], [middle, middle], **style)

    return Entry(text, draw)


def mark_entry(text: str, **style: Any) -> Entry:
    """A mark."""

    def draw(page: Page, box: Box) -> None:
        x, y = (box.left + box.right) / 2, (box.bottom + box.top) / 2
        page.line([x], [y], linestyle="none", **style)

    return Entry(text, draw)


def station_entry(text: str) -> Entry:
    """The station's mark."""

    def draw(page: Page, box: Box) -> None:
        draw_station(page, (box.left + box.right) / 2, (box.bottom + box.top) / 2, 0.75)

    return Entry(text, draw)


def draw_legend(page: Page, entries: Sequence[Entry], place: Box, columns: int, *, size: float = 8) -> float:
    """Entries in columns, filled downwards; returns the height below the lowest."""
    rows = ceil(len(entries) / columns)
    for i, entry in enumerate(entries):
        left = place.left + (i // rows) * place.width / columns
        y = place.top - (i % rows + 0.5) * ROW
        entry.draw(page, Box(left, y - _SWATCH[1] / 2, left + _SWATCH[0], y + _SWATCH[1] / 2))
        page.text(left + _SWATCH[0] + 12, y, entry.text, size)
    return place.top - rows * ROW
