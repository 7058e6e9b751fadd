"""The bearing list as a strip: bearings left to right, vertical angles up, the skyline behind the marks."""

from __future__ import annotations

from dataclasses import replace
from math import ceil, floor
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from hillsight.reading.panorama import Panorama, Sector, Standpoint, panorama
from hillsight.sheets.paper import palette, signs
from hillsight.sheets.paper.bearing_marks import SKYLINES, label_words, sign_of, state_of, strip_legend
from hillsight.sheets.paper.drawn_signs import draw_mark, line_style
from hillsight.sheets.paper.labels import Box, rows_above, spread
from hillsight.sheets.paper.maps import (
    draw_legend,
    nice_step,
)
from hillsight.sheets.paper.margins import CAUTION, draw_title, provenance_words, station_name
from hillsight.sheets.paper.marks import left_off_words, name_of
from hillsight.sheets.paper.page import A4_LONG, A4_SHORT, LINES, Page
from hillsight.sheets.paper.palette import INK, QUIET
from hillsight.words.quantities import length_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from hillsight.layers.contents import Content

_LEFT, _RIGHT = 96, 1520  # of the strips; names may run on to the right of it
_PROFILE, _NAMES, _TICKS = 222, 188, 50  # pixels of height: profile, rows of names, bearings below
_LABEL_SIZE = 7.0
_MOST_NAMES = 80  # tried on a strip
_WIDEST_BAR_DEG = 45.0  # a wider extent, drawn at one angle, would say little
_FEET = 9.0  # least pixels between leaders
_SHOWN = ("visible", "partly", "uncertain", "hidden", "unknown")

#: States in which a feature is worth its label more than others.
_SEEN = ("visible", "partly", "uncertain")


def draw_bearings(content: Content) -> Page:
    """Bearing list and skyline of one station from left to right, A4 lengthwise.

    One strip for a sector up to 180 degrees, two for more. ``content`` is in a projected CRS in metres.
    """
    page = Page(A4_LONG, A4_SHORT)
    seen = panorama(content.frames, _standpoint(content), _sector(content))
    span = seen.sector.span_deg
    entries = _entries(seen)
    low, high = _angles(seen, entries)
    draw_title(page, _LEFT, f"From left to right as seen from {station_name(content)}")
    page.text(_LEFT, page.height - 68, _count_words(content, entries, seen.sector), 8)
    strips = 1 if span <= 180 else 2
    profile, names = _heights(strips, span, low, high, named=bool(entries))
    height = profile + names + _TICKS
    top, unlabelled = page.height - 88.0, 0
    drawn: dict[str, None] = {}
    for number in range(strips):
        place = Box(_LEFT, top - height + _TICKS, _RIGHT, top - names)
        strip = _Strip(page, place, seen.sector, number, strips, low, high)
        strip.draw_ground(seen, drawn)
        strip.draw_axes(content.station)
        unlabelled += strip.draw_marks([e for e in entries if strip.holds(e["across_deg"])], names, drawn)
        top -= height + 14
    legend = strip_legend(entries, drawn)
    below = draw_legend(page, legend, Box(_LEFT, top - 6, A4_LONG - 60, top - 6), 4)
    steeper = _steepening(profile, span / strips, low, high)
    scale = "that" if 0.95 < steeper < 1.05 else f"{steeper:.2g} times that"
    words = [
        "Vertical angles are from the level, with curvature and refraction; "
        f"their scale is {scale} of the bearings."
    ]
    if unlabelled:
        words.append(f"{left_off_words(unlabelled).capitalize()}: see the list.")
    below = page.paragraph(_LEFT, below - 8, 1560, " ".join(words), 7.5)
    page.paragraph(_LEFT, below - 4, 1560, f"{provenance_words(content)} {CAUTION}", 6.8, colour=QUIET)
    return page


def _sector(content: Content) -> Sector:
    """The sector that the list was asked for."""
    first, last = (
        value if isinstance(value, (int, float)) else None
        for value in map(content.parameters.get, ("from_bearing_true_deg", "to_bearing_true_deg"))
    )
    return Sector.between(first, last)


def _standpoint(content: Content) -> Standpoint:
    row, refraction = content.station, content.parameters.get("refraction")
    return Standpoint(
        row.geometry.x,
        row.geometry.y,
        float(row["eye_level_m"]),
        0.13 if refraction is None else float(refraction),
        content.frames["stations"].crs,
    )


def _entries(seen: Panorama) -> list[dict[str, Any]]:
    """Features that have a place on the strip, in their order."""
    return [
        row
        for row in seen.features.to_dict("records")
        # Landforms without a name are hundreds; the list and the layer have them.
        if row["state"] in _SHOWN
        and (isinstance(row["name"], str) or not isinstance(row.get("landform"), str))
    ]


def _angles(seen: Panorama, entries: list[dict[str, Any]]) -> tuple[float, float]:
    """Lowest and highest vertical angle to draw: the skyline and all marks of the sector, with some room."""
    shown = replace(seen, features=pd.DataFrame(entries, columns=["vertical_angle_deg"]))
    found = shown.angles_deg()
    if found is None:
        return -2.0, 2.0
    low, high = found
    room = max(0.07 * (high - low), (2.0 - (high - low)) / 2, 0.15)
    return low - room, high + room


def _heights(strips: int, span: float, low: float, high: float, *, named: bool) -> tuple[float, float]:
    """Pixels of height of a strip's profile and of the rows of names above it."""
    if not named:  # nothing needs naming: the profile takes the room
        names, least = 12.0, _PROFILE + _NAMES - 12.0
    else:
        names, least = float(_NAMES), float(_PROFILE)
    if strips == 2:
        return least, names
    # A page to one strip: twice as tall as wide in degrees where that fits.
    room = 2 * (_PROFILE + _NAMES) + _TICKS + 14 - names
    return min(max(2 * (high - low) / span * (_RIGHT - _LEFT), least), room), names


def _steepening(profile: float, span: float, low: float, high: float) -> float:
    return (profile / (high - low)) / ((_RIGHT - _LEFT) / span)


def _count_words(content: Content, entries: list[dict[str, Any]], sector: Sector) -> str:
    counts = {state: sum(e["state"] == state for e in entries) for state in _SHOWN}
    frame = content.rows("bearing_list")
    listed = 0 if frame is None else len(frame)
    words = [f"{number} {state}" for state, number in counts.items() if number]
    undrawn = listed - len(entries)
    if undrawn:
        words.append(f"{undrawn} not drawn: out of reach, no height, or a landform without a name")
    what = f"{listed} features: {', '.join(words)}" if listed else "no features listed"
    start, span = sector.start_deg, sector.span_deg
    part = (
        "round the whole circle"
        if span == 360
        else f"the sector {start % 360:03.0f}° to {(start + span) % 360:03.0f}° true"
    )
    reach = length_words(float(content.station["reach_m"]))
    eye = f"eye at {content.station['eye_level_m']:.1f} m, reach {reach}"
    return f"{what}; {part}; {eye}"


class _Strip:
    """One of the strips that a sector is cut into: bearings from ``first`` degrees right of its edge."""

    def __init__(
        self, page: Page, place: Box, sector: Sector, number: int, strips: int, low: float, high: float
    ) -> None:
        self.page, self.place, self.sector = page, place, sector
        self.span = sector.span_deg / strips
        self.first, self.is_last = number * self.span, number == strips - 1
        self.low, self.high = low, high
        self.axes: Axes = page.frame(place, Box(self.first, low, self.first + self.span, high))

    def holds(self, across_deg: float) -> bool:
        """Whether a bearing that counts on from the sector's edge lies on this strip."""
        return self.first <= across_deg and (self.is_last or across_deg < self.first + self.span)

    def across(self, from_first_deg: float) -> float:
        """Pixels across of a bearing that counts on from this strip's edge."""
        return self.place.left + from_first_deg / self.span * self.place.width

    def up(self, angle_deg: float) -> float:
        """Pixels up of a vertical angle."""
        return self.place.bottom + (angle_deg - self.low) / (self.high - self.low) * self.place.height

    def draw_ground(self, seen: Panorama, drawn: dict[str, None]) -> None:
        """Skyline, ground below it, nearer crests; adds what was drawn to ``drawn``."""
        fixed: dict[str, Any] = {"scalex": False, "scaley": False, **LINES}
        if seen.skyline is not None:
            x, angle = seen.skyline.across_deg, seen.skyline.angle_deg
            self.axes.fill_between(x, angle, self.low, color=palette.LAND, linewidth=0, zorder=1)
            for closed, word in ((True, "skyline"), (False, "open skyline")):
                heights = np.where(seen.skyline.closed == closed, angle, np.nan)
                if np.isfinite(heights).any():
                    drawn[word] = None
                    self.axes.plot(x, heights, color=INK, zorder=4, **{**fixed, **SKYLINES[word]})
        for crest in sorted(seen.crests, key=lambda crest: crest.role == "brow"):
            if crest.role in ("crest", "brow"):
                drawn[crest.role] = None
                style = {**line_style(signs.CREST_ROLES[crest.role], 0.6), "alpha": 0.9}
                self.axes.plot(crest.across_deg, crest.angle_deg, zorder=3, **{**fixed, **style})

    def draw_axes(self, station: Any) -> None:
        """Frame, vertical angles, true bearings with three figures, and compass or grid bearings below."""
        page, place = self.page, self.place
        page.box(place, linewidth=1.0, zorder=4)
        step = nice_step(self.high - self.low, 5)
        for n in range(ceil(self.low / step), floor(self.high / step) + 1):
            y = self.up(n * step)
            page.line([place.left - 6, place.left], [y, y], linewidth=0.7)
            if n == 0:
                page.line([place.left, place.right], [y, y], linewidth=0.6, linestyle=(0, (1, 3)), zorder=1)
            sign = "" if n == 0 else "+" if n > 0 else "−"
            page.text(place.left - 9, y, f"{sign}{abs(n * step):g}°", 7, align="right")
        every = next(s for s in (1.0, 2.0, 5.0, 10.0, 15.0, 30.0) if self.span / s <= 19)
        self._bearings(0.0, every, 0, "true")
        declination = station.get("declination_deg")
        if declination is not None and np.isfinite(declination):
            self._bearings(float(declination), every, 24, "compass")
        else:
            self._bearings(float(station["convergence_deg"]), every, 24, "grid")

    def _bearings(self, offset_deg: float, every: float, below: float, word: str) -> None:
        """One row of bearings; ``offset_deg`` is what makes them true bearings."""
        page, place = self.page, self.place
        bold = below == 0
        page.text(place.right + 24, place.bottom - (12 if bold else 15) - below, word, 7, bold=bold)
        first = self.sector.start_deg + self.first - offset_deg
        last = first + self.span
        for n in range(ceil(first / every - 1e-9), floor(last / every + 1e-9) + 1):
            x = self.across(n * every - first)
            if bold:
                page.line([x, x], [place.bottom - 5, place.bottom], linewidth=0.8)
            else:
                page.line([x, x], [place.bottom - 27, place.bottom - 24], linewidth=0.6)
            shift = 6 if bold else 12
            page.text(
                x, place.bottom - 9 - below - shift / 2, f"{n * every % 360:03.0f}", 7 if bold else 6.5,
                bold=bold, align="center",
            )  # fmt: skip

    def draw_marks(self, entries: list[dict[str, Any]], names: float, drawn: dict[str, None]) -> int:
        """Marks, and names in rows above with leaders; returns how many names found no room."""
        page = self.page
        labels = [label_words(entry) for entry in entries]
        xs = [self.across(e["across_deg"] - self.first) for e in entries]
        ys = [self.up(float(e["vertical_angle_deg"])) for e in entries]
        widths = [page.size_of(text, _LABEL_SIZE)[0] for text in labels]
        height = page.size_of("X", _LABEL_SIZE)[1]
        band = Box(self.place.left - 60, self.place.top + 8, page.width - 14, self.place.top + names - 6)
        boxes, feet = _placed(entries, xs, widths, height, band)
        for entry, x, y, box in zip(entries, xs, ys, boxes, strict=True):
            self._draw_extent(entry, y, drawn)
            minor = box is None and entry["state"] not in _SEEN
            share, zorder = (0.62, 6) if minor else (1.0, 8)
            draw_mark(page, x, y, sign_of(entry), state_of(entry), share=share, zorder=zorder)
        for entry, text, x, foot, y, box in zip(entries, labels, xs, feet, ys, boxes, strict=True):
            if box is None:
                continue
            seen = entry["state"] in _SEEN
            page.line(
                [x, foot, foot],
                [y + 6, band.bottom - 6, box.bottom],
                linewidth=0.5,
                color=palette.LEADER,
                zorder=3,
            )
            page.text(box.left, (box.bottom + box.top) / 2, text, _LABEL_SIZE, colour=INK if seen else QUIET)
        return sum(box is None for box in boxes)

    def _draw_extent(self, entry: dict[str, Any], y: float, drawn: dict[str, None]) -> None:
        """From the left to the right edge of what is seen, if that is wider than the mark."""
        left, right = entry.get("left_edge_true_deg"), entry.get("right_edge_true_deg")
        if left is None or right is None or not np.isfinite([left, right]).all():
            return
        width = (float(right) - float(left)) % 360.0
        if width == 0.0 or width > _WIDEST_BAR_DEG:
            return
        from_first = (float(left) - self.sector.start_deg - self.first) % 360.0
        colour = palette.EVIDENCE_CLASSES.get(entry["evidence_class"], palette.UNCLASSED)
        for shift in (0.0, -360.0):
            a, b = max(from_first + shift, 0.0), min(from_first + shift + width, self.span)
            if b > a and self.across(b) - self.across(a) > 12:
                drawn["extent"] = None
                self.page.line(
                    [self.across(a), self.across(b)], [y, y], color=colour, linewidth=1.3, alpha=0.6, zorder=6
                )


def _placed(
    entries: list[dict[str, Any]], xs: list[float], widths: list[float], height: float, band: Box
) -> tuple[list[Box | None], list[float]]:
    """Boxes of the names: the seen first, then the named by how little hides them, while there is room.

    Also, for each, where the upright part of its leader stands.
    """

    def weight(i: int) -> tuple[bool, bool, float]:
        entry = entries[i]
        by = entry.get("hidden_by_m")
        return (
            entry["state"] not in _SEEN,
            not name_of(entry.get("name")),
            float(by) if by is not None and np.isfinite(by) else np.inf,
        )

    kept: list[int] = []
    boxes: list[Box | None] = []
    feet: list[float] = []
    # What is hidden and has no name needs none: it would take the room of what an argument can use.
    worth = [i for i in range(len(entries)) if weight(i)[:2] != (True, True)]
    for i in sorted(worth, key=weight)[:_MOST_NAMES]:
        tried = [*kept, i]
        stands = spread([xs[j] for j in tried], _FEET)
        found = rows_above(stands, [widths[j] for j in tried], height, band, all_or_none=True)
        if found[-1] is not None:
            kept, boxes, feet = tried, found, stands
    placed: list[Box | None] = [None] * len(entries)
    leaders = list(xs)
    for i, box, foot in zip(kept, boxes, feet, strict=True):
        placed[i], leaders[i] = box, foot
    return placed, leaders
