"""The margins of a map sheet: grid figures, scale bar, check bar, north, legend, credits."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor
from typing import TYPE_CHECKING

import numpy as np

from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.maps import north_words
from hillsight.sheets.paper.margins import CAUTION
from hillsight.sheets.paper.page import PER_MM
from hillsight.sheets.paper.palette import INK, QUIET
from hillsight.words.quantities import length_words, whole_number

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.sheets.map.frame import MapFrame
    from hillsight.sheets.map.layout import Layout, Sheet
    from hillsight.sheets.paper.maps import Entry
    from hillsight.sheets.paper.page import Page

#: Length of the check bar, mm of paper.
CHECK_MM = 100.0

_SWATCH_PX = (40.0, 17.0)
_FIGURE, _SMALL, _WORDS = 6.4, 6.2, 6.8  # letter sizes, points
#: Letters (points) and rows (pixels) of a legend, the largest that fit are taken.
_LEGEND_SIZES = ((6.8, 27.0), (6.4, 24.0), (6.0, 22.0), (5.6, 20.0), (5.2, 18.5), (4.8, 17.5))
_LEAST_LETTERS = 2.0
_BAR_MM = 41.0
_LEAST_ANGLE = 9.0  # degrees between drawn arrows, so that they can be told apart


@dataclass(frozen=True)
class North:
    """How the norths lie at a map's middle.

    convergence_deg : true bearing of grid north; declination_deg : of magnetic north, None where not known
    """

    convergence_deg: float
    declination_deg: float | None = None
    declination_uncertainty_deg: float | None = None
    declination_date: str | None = None

    def angles_deg(self) -> dict[str, float]:
        """Each north's angle from grid north, clockwise."""
        angles = {"grid": 0.0, "true": -self.convergence_deg}
        if self.declination_deg is not None and np.isfinite(self.declination_deg):
            angles["magnetic"] = self.declination_deg - self.convergence_deg
        return angles

    def words(self) -> str:
        """In a sentence or two; that the arrows are spread, where they are; of magnetic north where known."""
        words = north_words(
            {
                "convergence_deg": self.convergence_deg,
                "declination_deg": self.declination_deg,
                "declination_uncertainty_deg": self.declination_uncertainty_deg,
                "declination_date": self.declination_date,
            }
        )
        if self.declination_deg is None:
            words = words.partition(" Magnetic")[0]
        angles = self.angles_deg()
        return words if _apart(angles) == angles else f"{words} The arrows are not to scale."


def draw_grid_figures(frame: MapFrame, step_m: float) -> None:
    """Eastings below the map and northings at its left, in metres, with ticks at the grid's lines."""
    page, place, limits = frame.page, frame.place, frame.limits
    last = -1e9
    for n in range(ceil(limits.left / step_m), floor(limits.right / step_m) + 1):
        x = place.left + (n * step_m - limits.left) / frame.pixel_m
        page.line([x, x], [place.bottom - 6, place.bottom], linewidth=0.6)
        text = whole_number(n * step_m)
        half = page.size_of(text, _FIGURE)[0] / 2
        if x - half > last + 10:
            page.text(x, place.bottom - 16, text, _FIGURE, align="center")
            last = x + half
    last = -1e9
    for n in range(ceil(limits.bottom / step_m), floor(limits.top / step_m) + 1):
        y = place.bottom + (n * step_m - limits.bottom) / frame.pixel_m
        page.line([place.left - 6, place.left], [y, y], linewidth=0.6)
        text = whole_number(n * step_m)
        half = page.size_of(text, _FIGURE)[0] / 2
        if y - half > last + 10:
            page.turned_text(place.left - 16, y, text, _FIGURE, 90.0)
            last = y + half


def draw_scales(page: Page, layout: Layout, scale: float) -> None:
    """Scale in figures and words, a bar of ground distances, and a bar of 100 mm to check the print with."""
    row = layout.scales
    top, left = row.top - 6.6, row.left
    page.text(left * PER_MM, (top - 1.2) * PER_MM, f"1:{scale:,.10g}", 10.5, bold=True)
    page.text(
        left * PER_MM,
        (top - 5.6) * PER_MM,
        f"1 cm is {length_words(scale / 100)} on the ground",
        _SMALL,
    )
    draw_bar(page, left + 36.0, top - 3.2, scale)
    right = row.right
    start = right - CHECK_MM
    y = (top - 3.2) * PER_MM
    page.line([start * PER_MM, right * PER_MM], [y, y], linewidth=0.8, solid_capstyle="butt")
    for n in range(11):
        x, tall = (start + n * CHECK_MM / 10) * PER_MM, (2.0 if n % 5 == 0 else 1.2) * PER_MM
        page.line([x, x], [y, y + tall], linewidth=0.6, solid_capstyle="butt")
    page.text(
        right * PER_MM,
        y - 2.6 * PER_MM,
        "This bar is 100 mm long: measure it, printers may shrink a page.",
        _SMALL,
        align="right",
    )


def draw_bar(page: Page, left_mm: float, y_mm: float, scale: float) -> None:
    """A bar in four parts, in round figures of ground distance, up to 41 mm long."""
    whole_m = max(m for m in (100.0, 200.0, 400.0, 1_000.0, 2_000.0, 4_000.0) if m * 1000 / scale <= _BAR_MM)
    part = whole_m * 1000 / scale / 4 * PER_MM
    left, y = left_mm * PER_MM, y_mm * PER_MM
    for i in range(4):
        page.box(
            Box(left + i * part, y - 5, left + (i + 1) * part, y + 5),
            facecolor=INK if i % 2 == 0 else "#FFFFFF",
            linewidth=0.6,
        )
    for share in (0, 2, 4):
        text = "0" if share == 0 else length_words(whole_m * share / 4)
        page.text(left + share * part, y - 2.6 * PER_MM, text, _SMALL, align="center")


def draw_norths(page: Page, left: float, bottom: float, north: North) -> float:
    """Arrows of true, grid and magnetic north from one foot; pixels, returns the right edge.

    They are drawn farther apart than they lie where their letters would run together.
    """
    drawn = _apart(north.angles_deg())
    tall = 92.0
    across = [tall * float(np.sin(np.radians(angle))) for angle in drawn.values()]
    x = left + 14.0 - min(0.0, *across)
    for name, angle in drawn.items():
        turned = np.radians(angle)
        end = np.array([x + tall * np.sin(turned), bottom + tall * np.cos(turned)])
        page.line([x, end[0]], [bottom, end[1]], linewidth=1.1 if name == "grid" else 0.8)
        for side in (-1, 1) if name != "magnetic" else (1,):
            barb = np.radians(angle + 180 + side * 24)
            page.line(
                [end[0], end[0] + 14 * np.sin(barb)], [end[1], end[1] + 14 * np.cos(barb)], linewidth=0.9
            )
        page.text(
            end[0], end[1] + 11, {"grid": "GN", "true": "TN", "magnetic": "MN"}[name], 5.6, align="center"
        )
    return x + max(0.0, *across) + 22.0


def _apart(angles: dict[str, float]) -> dict[str, float]:
    """Angles in their order, at least so far apart that their letters do not touch; grid north stays up."""
    order = sorted(angles, key=lambda name: angles[name])
    at = order.index("grid")
    drawn = dict(angles)
    least = 3 * _LEAST_ANGLE
    for i in range(at + 1, len(order)):
        drawn[order[i]] = max(drawn[order[i]], drawn[order[i - 1]] + least)
    for i in range(at - 1, -1, -1):
        drawn[order[i]] = min(drawn[order[i]], drawn[order[i + 1]] - least)
    return drawn


def draw_entries(page: Page, entries: Sequence[Entry], place: Box) -> None:
    """A legend in as many columns as it takes, filled downwards, letters as large as fit; pixels."""
    if not entries:
        return

    def width_of(groups: list[Sequence[Entry]], size: float) -> list[float]:
        longest = [max(page.size_of(entry.text, size)[0] for entry in group) for group in groups]
        return [_SWATCH_PX[0] + 10 + width for width in longest]

    def fits(widths: list[float]) -> bool:
        return sum(widths) + 14 * (len(widths) - 1) <= place.width

    for size, pitch in _LEGEND_SIZES:
        rows = max(1, int(place.height // pitch))
        rows = ceil(len(entries) / ceil(len(entries) / rows))
        groups = [entries[first : first + rows] for first in range(0, len(entries), rows)]
        if fits(widths := width_of(groups, size)):
            break
    while not fits(widths) and size > _LEAST_LETTERS:  # better small than written over each other
        size *= 0.95
        widths = width_of(groups, size)
    left = place.left
    gap = min(40.0, (place.width - sum(widths)) / max(1, len(widths) - 1)) if len(widths) > 1 else 0.0
    for group, width in zip(groups, widths, strict=False):
        for i, entry in enumerate(group):
            y = place.top - (i + 0.5) * pitch
            entry.draw(page, Box(left, y - _SWATCH_PX[1] / 2, left + _SWATCH_PX[0], y + _SWATCH_PX[1] / 2))
            page.text(left + _SWATCH_PX[0] + 10, y, entry.text, size)
        left += width + gap


def draw_legend_block(
    page: Page, layout: Layout, entries: Sequence[Entry], north: North, words: str, credits: str
) -> None:
    """North, legend, words on the map, and credits with the caution: below the map or beside it."""
    box = layout.legend
    place = Box(box.left * PER_MM, box.bottom * PER_MM, box.right * PER_MM, box.top * PER_MM)
    small = f"{words} {credits} {CAUTION}"
    if layout.is_wide:
        wrapped = page.wrapped(small, place.width, 5.6)
        foot = place.bottom + len(wrapped) * 5.6 * PER_MM * 25.4 / 72 * 1.42
        page.paragraph(place.left, foot, place.width, small, 5.6, colour=QUIET)
        right = draw_norths(page, place.left, place.top - 120, north)
        below = page.paragraph(right + 14, place.top, place.right - right - 14, north.words(), _SMALL)
        below = min(below, place.top - 128)
        draw_entries(page, entries, Box(place.left, foot + 12, place.right, below - 12))
        return
    wrapped = page.wrapped(small, place.width, 5.6)
    foot = place.bottom + len(wrapped) * 5.6 * PER_MM * 25.4 / 72 * 1.42
    page.paragraph(place.left, foot, place.width, small, 5.6, colour=QUIET)
    column = 52.0 * PER_MM
    right = draw_norths(page, place.left, place.top - 112, north)
    page.paragraph(right + 8, place.top, place.left + column - right - 8, north.words(), 5.8)
    draw_entries(page, entries, Box(place.left + column + 26, foot + 8, place.right, place.top))


def draw_neighbours(frame: MapFrame, sheet: Sheet, sheets: Sequence[Sheet]) -> None:
    """Numbers of the sheets that join at each edge."""
    page, place = frame.page, frame.place
    at = {(other.row, other.column): other.number for other in sheets}
    x, y = (place.left + place.right) / 2, (place.bottom + place.top) / 2
    for (down, across), (px, py, turned) in {
        (-1, 0): (x, place.top + 10, 0.0),
        (1, 0): (x, place.bottom - 30, 0.0),
        (0, -1): (place.left - 38, y, 90.0),
        (0, 1): (place.right + 12, y, -90.0),
    }.items():
        number = at.get((sheet.row + down, sheet.column + across))
        if number is not None:
            page.turned_text(px, py, f"joins sheet {number}", 6.2, turned, colour=QUIET)
