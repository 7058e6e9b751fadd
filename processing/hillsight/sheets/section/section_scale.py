"""The scales of a section on a page: how long, how tall, how much taller than wide."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor
from typing import TYPE_CHECKING

import numpy as np

from hillsight.reading.section.cover_along import cover_along
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.maps import nice_step
from hillsight.sheets.paper.page import DOTS_PER_INCH
from hillsight.words.quantities import whole_number

if TYPE_CHECKING:
    from hillsight.reading.section.profile import Section
    from hillsight.sheets.paper.page import Page

#: Exaggerations that are chosen from.
_CHOICES = (
    1.0,
    1.5,
    2.0,
    2.5,
    3.0,
    4.0,
    5.0,
    6.0,
    8.0,
    10.0,
    12.0,
    15.0,
    20.0,
    25.0,
    30.0,
    40.0,
    50.0,
    75.0,
    100.0,
)

#: Most that is chosen without being asked for: beyond, a hill looks like no hill.
_MOST_CHOSEN = 10.0

#: Air above the highest and ground below the lowest thing drawn, shares of the height between them.
_ABOVE, _BELOW = 0.06, 0.12

_PIXEL_MM = 25.4 / DOTS_PER_INCH


@dataclass(frozen=True)
class Scale:
    """How a section lies in its place on the page.

    place : pixels; as wide as the section, which may be less than the room given
    pixels_per_m : along the section
    exaggeration : heights are drawn so many times as tall as distances wide
    low_m : height at the lower edge, in the frame of the lowered heights
    """

    place: Box
    pixels_per_m: float
    exaggeration: float
    low_m: float

    def across(self, grid_m: float) -> float:
        """Pixels across of a grid distance."""
        return self.place.left + grid_m * self.pixels_per_m

    def up(self, lowered_m: float) -> float:
        """Pixels up of a lowered height."""
        return self.place.bottom + (lowered_m - self.low_m) * self.pixels_per_m * self.exaggeration

    @property
    def high_m(self) -> float:
        """Height at the upper edge."""
        return self.low_m + self.place.height / (self.pixels_per_m * self.exaggeration)

    @property
    def limits(self) -> Box:
        """Edges in metres."""
        return Box(0.0, self.low_m, self.place.width / self.pixels_per_m, self.high_m)

    def words(self) -> str:
        """The scales as fractions of a page printed at its size, and the exaggeration."""
        across = 1000 / (self.pixels_per_m * _PIXEL_MM)
        lead = (
            "Heights are drawn at the scale of distances, without exaggeration"
            if self.exaggeration == 1.0
            else f"Vertical exaggeration {self.exaggeration:g}: heights are {self.exaggeration:g} times "
            "as tall as distances are wide, and slopes look steeper than they are"
        )
        return (
            f"{lead}. On A4 printed at full size about 1:{_round(across)} across and "
            f"1:{_round(across / self.exaggeration)} up."
        )


def _round(number: float) -> str:
    """Two figures are enough for a scale that a printer may change."""
    places = 1 - floor(np.log10(number))
    return whole_number(round(number, places))


def lay_scale(section: Section, room: Box, exaggeration: float | None) -> Scale:
    """Fit a section into the room there is.

    Without an exaggeration asked for, it is the greatest round one up to ten at which the section fills the
    width. Where heights do not fit, distances are drawn smaller, and the section is narrower than the room.
    """
    samples, course = section.samples, section.course
    tops_m = [section.eye.level_m]
    if course.target is not None:
        tops_m.append(float(samples.lowered_m[-1]) + course.target.height_m)
    along = cover_along(section)
    if along is not None:
        tops_m += (samples.lowered_m + along.tall_m).tolist()
        tops_m += [section.lowered_m(away_m) + tall_m for away_m, tall_m in along.screens_m.tolist()]
    found = np.r_[samples.lowered_m, tops_m]
    found = found[np.isfinite(found)]
    low_m, high_m = float(found.min()), float(found.max())
    relief_m = max(high_m - low_m, 1.0, 1e-4 * section.length_grid_m)
    tall_m = relief_m * (1 + _ABOVE + _BELOW)
    fills = room.width / section.length_grid_m
    if exaggeration is None:
        fitting = [n for n in _CHOICES if n <= _MOST_CHOSEN and n * fills * tall_m <= room.height]
        exaggeration = max(fitting, default=1.0)
    pixels_per_m = min(fills, room.height / (exaggeration * tall_m))
    shown_m = room.height / (pixels_per_m * exaggeration)
    bottom_m = low_m - _BELOW * relief_m
    # Room to spare is shared: ground below, sky above.
    bottom_m -= 0.35 * (shown_m - tall_m)
    place = Box(room.left, room.bottom, room.left + section.length_grid_m * pixels_per_m, room.top)
    return Scale(place, pixels_per_m, exaggeration, bottom_m)


def draw_axes(page: Page, section: Section, scale: Scale, below: float) -> None:
    """Heights at the left, distances over the ground below; ``below`` pixels under the place."""
    place = scale.place
    step = nice_step(scale.high_m - scale.low_m, 9)
    for n in range(ceil(scale.low_m / step), floor(scale.high_m / step) + 1):
        y = scale.up(n * step)
        page.line([place.left, place.right], [y, y], linewidth=0.4, alpha=0.35, zorder=0.5)
        page.line([place.left - 6, place.left], [y, y], linewidth=0.8)
        page.text(place.left - 10, y, f"{n * step:g}".replace("-", "−"), 8, align="right")
    page.text(place.left - 10, place.top + 16, "height, m", 8, align="right")
    length_m = section.length_m
    step = nice_step(length_m, max(2, int(place.width // 130)))
    kilometres = step >= 1000
    bottom = place.bottom - below
    for n in range(floor(length_m / step + 1e-9) + 1):
        x = scale.across(float(np.interp(n * step, section.samples.distance_m, section.samples.grid_m)))
        page.line([x, x], [bottom - 6, bottom], linewidth=0.8)
        shown = n * step / 1000 if kilometres else n * step
        text = f"{shown:,.10g}"
        page.text(x, bottom - 18, text, 8, align="center")
    unit = "km" if kilometres else "m"
    words = f"distance from the station over the ground, {unit}"
    page.text(place.left, bottom - 42, words, 8)
    page.box(place, linewidth=1.0, zorder=4)
